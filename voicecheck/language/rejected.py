"""Places that are named only to rule them out: "the offside caliper, not the nearside".

Where the right place follows ("not the lower, the upper"), the words are a second thought like "no, sorry".
"""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.reading import Mark, Token

_NEAR = 14  # tokens within which the place that is meant stands
_BEHIND = 3  # tokens between the comma and the place that takes the rejected one's place
_STANDS_FOR_PART = frozenset({"one", "side", "ones"})
_OPPOSITES = (("left", "right"), ("front", "rear"), ("upper", "lower"), ("inner", "outer"))


def without_rejected_places(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Mark]:
    """The marks without places right behind a negation to which an opposite place is named nearby."""
    places = [m for m in marks if m.kind == "place"]
    articles = {m.first for m in marks if m.kind == "grammar" and m.detail == "article"}
    kept = list(marks)
    for cue in marks:
        if cue.kind != "cue" or cue.detail != "negation" or tokens[cue.last - 1].comma:
            continue
        at = cue.last + (cue.last in articles)
        rejected = [m for m in places if m.first in (cue.last, at)]
        if not rejected:
            continue
        end = max(m.last for m in rejected)
        if end < len(tokens) and tokens[end].text in _STANDS_FOR_PART and not tokens[end - 1].comma:
            end += 1
        last = tokens[end - 1]
        others = [m for m in places if m not in rejected and abs(m.first - at) <= _NEAR]
        meant = [m for m in others if any(_oppose(m, r) for r in rejected)]
        named = [m for m in marks if m.kind == "component" and 0 < cue.first - m.first <= _NEAR]
        meant += [m for m in named if any(_names_opposite(tokens, m, r) for r in rejected)]
        if not (last.comma or last.stop or end == len(tokens)) or not meant:
            continue
        kept = [m for m in kept if m is not cue and m not in rejected]
        if last.comma and any(0 <= m.first - end <= _BEHIND for m in meant):
            kept = [m for m in kept if m.first < cue.first or m.first >= end]
            turn = Mark(kind="cue", first=cue.first, last=end, id="", detail="correction")
            kept = sorted([*kept, turn], key=lambda m: (m.first, m.last))
    return kept


def _oppose(one: Mark, two: Mark) -> bool:
    """Whether the two name opposite ends of one axis: left and right, upper and lower."""
    here, there = set(one.id.split()), set(two.id.split())
    return any((a in here and b in there) or (b in here and a in there) for a, b in _OPPOSITES)


def _names_opposite(tokens: Sequence[Token], part: Mark, place: Mark) -> bool:
    """ "the lower ball joint is loose, not the upper": the part's own name has the opposite."""
    words = {token.text for token in tokens[part.first : part.last]}
    said = set(place.id.split())
    return any((a in said and b in words) or (b in said and a in words) for a, b in _OPPOSITES)
