"""Words that judge, place, deny or advise nothing where they stand, though they do elsewhere.

"right now" is no side, "at the last oil change" no advice, "No, the gasket is dry" no denial.
"""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.reading import Mark, Token

_PAIR_REACH = 40  # tokens within which left and right are a pair


def without_idle_words(tokens: Sequence[Token], marks: Sequence[Mark], asked: set[int]) -> list[Mark]:
    """The settled marks without those of idle words. ``asked`` are the tokens that end a question."""
    kept = _drop_false_sides(tokens, marks)
    kept = _drop_tags(tokens, kept, asked)
    kept = _drop_occasions(kept)
    kept = _drop_false_negations(kept)
    kept = _drop_single_verbs(tokens, kept)
    kept = _drop_infinitives(tokens, kept)
    return _drop_interjections(tokens, kept)


def _drop_false_sides(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Mark]:
    """ "right now", "material left", "come back": the word is no side there."""
    covered = {
        at
        for mark in marks
        if mark.kind == "grammar" and mark.detail == "not_a_side"
        for at in range(mark.first, mark.last)
    }
    parts = [mark for mark in marks if mark.kind in ("component", "place")]
    covered |= _remainders(marks)
    kept = []
    for mark in marks:
        bare = mark.first + (tokens[mark.first].text == "the")  # "the rear" of "the rear bush"
        if mark.kind == "place" and mark.last - bare == 1 and bare in covered:
            last = tokens[mark.last - 1]
            followed = not (last.comma or last.stop) and any(
                part.first == mark.last and part.first not in covered for part in parts if part is not mark
            )
            if not followed:
                continue
        kept.append(mark)
    return kept


def _remainders(marks: Sequence[Mark]) -> set[int]:
    """ "they've got seven left": what remains, unless the other side is told beside it ("four left, six
    right").
    """
    counted = {m.last for m in marks if m.kind == "quantity" and m.value is not None}
    sides = [m for m in marks if m.kind == "place" and m.last - m.first == 1]
    return {
        m.first
        for m in sides
        if m.id == "left"
        and m.first in counted
        and not any(o.id == "right" and abs(o.first - m.first) <= _PAIR_REACH for o in sides)
    }


def _drop_tags(tokens: Sequence[Token], marks: Sequence[Mark], asked: set[int]) -> list[Mark]:
    """ "... those are good, right?": the tag is no side; but "Rears? Three." and "Left? Five. Right? Four."
    ask and answer where.
    """
    tags = {m.first for m in marks if m.kind == "grammar" and m.detail == "tag"}
    sides = [m for m in marks if m.kind == "place" and m.last - m.first == 1 and m.first in asked]
    alone = {m.first for m in sides if m.first == 0 or tokens[m.first - 1].stop}
    told = [
        m.first for m in marks if m.kind == "place" and m.last - 1 in asked and m.id.split()[0] != "right"
    ]
    answered = {at for at in alone & tags if any(0 < at - other <= _PAIR_REACH for other in told)}
    idle = {m.first for m in sides if m.first in tags} - answered
    return [m for m in marks if not (m.kind == "place" and m.last - m.first == 1 and m.first in idle)]


def _drop_occasions(marks: Sequence[Mark]) -> list[Mark]:
    """ "at the last oil change": a time, and neither a part nor advice."""
    after = {m.last: m.id for m in marks if m.kind == "grammar" and m.detail == "occasion"}
    return [
        m
        for m in marks
        if m.first not in after
        or not (m.kind == "action" or (m.kind == "component" and after[m.first] != "action"))
    ]


def _drop_false_negations(marks: Sequence[Mark]) -> list[Mark]:
    """A negation inside a phrase that only looks like one is none."""
    pseudo = {
        at
        for mark in marks
        if mark.kind == "cue" and mark.detail == "pseudo_negation"
        for at in range(mark.first, mark.last)
    }
    return [
        mark
        for mark in marks
        if not (mark.kind == "cue" and mark.detail == "negation" and mark.first in pseudo)
    ]


def _drop_single_verbs(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Mark]:
    """ "Needs work": praise only where several things stand right before the verb ("the lights work")."""
    verbs = {m.first for m in marks if m.kind == "grammar" and m.detail == "plural_verb"}
    if not verbs:
        return list(marks)
    several = {
        m.last
        for m in marks
        if (m.kind == "component" and tokens[m.last - 1].text.endswith("s"))
        or (m.kind == "grammar" and m.detail == "plural_pronoun")
        or (m.kind == "place" and m.detail == "relative")
    }
    return [
        m
        for m in marks
        if not (m.kind == "cue" and m.detail == "ok" and m.last - m.first == 1 and m.first in verbs)
        or (m.first in several and not tokens[m.first - 1].stop)
    ]


def _drop_infinitives(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Mark]:
    """ "He wants to cap his spending": between "to" and what it is done to, the name of a part is a verb."""
    to = {m.last for m in marks if m.kind == "grammar" and m.detail == "preposition" and m.id == "to"}
    ordered = {m.last for m in marks if m.kind == "cue" and m.detail in ("advice", "urgency")}
    before = {at for at in to | ordered if at and tokens[at - 1].text == "to"}
    objects = {m.first for m in marks if m.kind == "grammar" and m.detail in ("determiner", "definite")}
    return [
        m
        for m in marks
        if not (
            m.kind == "component"
            and m.last - m.first == 1
            and m.first in before
            and m.last in objects
            and not (tokens[m.first].comma or tokens[m.first].stop or tokens[m.first].text.endswith("s"))
        )
    ]


def _drop_interjections(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Mark]:
    """ "No, the gasket is dry", "Okay, next", "it's all scored": words that judge, deny or place nothing
    there.
    """
    behind_place = {m.last for m in marks if m.kind == "place" and not tokens[m.last - 1].comma}
    openers = {m.first for m in marks if m.kind == "grammar" and m.detail == "opener"}
    kept = []
    for number, mark in enumerate(marks):
        single = mark.last - mark.first == 1
        if mark.kind == "cue" and single:
            rests = tokens[mark.first].comma or tokens[mark.first].stop
            if (
                mark.detail == "negation"
                and rests
                and not (mark.first in behind_place and tokens[mark.first].text.endswith(("n't", "nt")))
            ):
                if tokens[mark.first].comma and _only_places(tokens, marks, mark.last):
                    kept.append(mark.model_copy(update={"detail": "correction", "id": ""}))
                continue  # but "No, the left." puts the place right
            if (
                mark.detail == "ok"
                and mark.first in openers
                and (mark.first == 0 or tokens[mark.first - 1].stop)
            ):
                continue
        if mark.kind == "place" and mark.id == "right" and single and tokens[mark.first].comma:
            opens = mark.first == 0 or tokens[mark.first - 1].stop
            paired = any(
                m.kind == "place" and "left" in m.id and 0 < mark.first - m.first < _PAIR_REACH for m in marks
            )
            if opens and not paired:
                continue  # "Right, small hatchback": no side, unless a left was just spoken of
        if mark.kind == "place" and mark.detail == "relative" and single and mark.id == "all":
            following = next((m for m in marks[number + 1 :] if m.first >= mark.last), None)
            if (
                following is not None
                and following.first == mark.last
                and following.kind in ("condition", "action")
            ):
                continue
        kept.append(mark)
    return kept


def _only_places(tokens: Sequence[Token], marks: Sequence[Mark], first: int) -> bool:
    """Whether the sentence from token ``first`` on only says a place."""
    last = first
    while last < len(tokens) and not (tokens[last].stop or tokens[last].comma):
        last += 1
    end = min(last + 1, len(tokens))
    said = [m for m in marks if m.first >= first and m.last <= end and m.kind != "grammar"]
    told = {at for m in said if m.kind == "place" for at in range(m.first, m.last)}
    small = {m.first for m in marks if m.kind == "grammar" and m.detail in ("article", "pronoun_one")}
    return bool(told) and all(at in told or at in small for at in range(first, end))


def bounded(marks: Sequence[Mark]) -> list[Mark]:
    """Quantities take the bound said right before them ("less than two mil")."""
    bounds = {
        at: mark
        for mark in marks
        if mark.kind == "cue" and mark.detail == "bound"
        for at in (mark.last, mark.last + 1)
    }
    return [
        mark.model_copy(update={"bound": bounds[mark.first].id})
        if mark.kind == "quantity" and mark.first in bounds
        else mark
        for mark in marks
    ]
