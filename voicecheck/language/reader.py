"""The language stage: a transcript in, a ``Reading`` out."""

from __future__ import annotations

from collections.abc import Sequence
from voicecheck.language.moods import moods
from voicecheck.language.overlap import settle
from voicecheck.language.phrases import PhraseFinder
from voicecheck.language.polarity import apply_polarity
from voicecheck.language.quantities import QuantityFinder
from voicecheck.language.tokens import tokenise
from voicecheck.lexicon.model import Lexicon, TermMatcher
from voicecheck.records.base import Record
from voicecheck.records.reading import Clause, Mark, Opening, Reading, Token
from voicecheck.records.transcript import Transcript

_PAIR_REACH = 40  # tokens within which left and right are a pair
_NAME_PAUSE_S = 1.0  # nobody rests this long inside a name


class ReaderSettings(Record):
    """``pause_s``: a silence this long ends a clause even where no stop was written."""

    pause_s: float = 0.85


class Reader:
    """Marks words with the lexicon and cuts the stream into clauses.

    Made once per lexicon; ``read`` keeps no state between calls.
    """

    def __init__(
        self, lexicon: Lexicon, matcher: TermMatcher, *, settings: ReaderSettings | None = None
    ) -> None:
        self._matcher = matcher
        self._settings = settings or ReaderSettings()
        self._phrases = PhraseFinder(lexicon.grammar)
        self._articles = {term.said for term in lexicon.grammar if term.kind == "article"}
        self._quantities = QuantityFinder(
            units={term.said: term.value for term in lexicon.grammar if term.kind == "unit"}  # type: ignore[misc]
        )

    def read(self, transcript: Transcript) -> Reading:
        """Clauses over all tokens, with settled marks and their polarity."""
        tokens = tokenise(transcript)
        if not tokens:
            return Reading(tokens=(), clauses=())
        texts = [token.text for token in tokens]
        grammar = [*self._phrases.find(texts), *_same_alone(tokens)]
        marks = self._terms(tokens)
        quantities = self._quantities.find(tokens, grammar)
        asked = {
            at for at, token in enumerate(tokens) if token.stop and "?" in transcript.words[token.word].read
        }
        settled = settle([*marks, *quantities, *grammar], size=len(tokens))
        settled = _drop_false_sides(settled)
        settled = _drop_tags(settled, asked)
        settled = _drop_occasions(settled)
        settled = _drop_false_negations(settled)
        settled = _drop_interjections(tokens, settled)
        settled = _bounded(settled)
        return Reading(tokens=tokens, clauses=self._clauses(tokens, settled, asked))

    @staticmethod
    def _only_lists(tokens: Sequence[Token], marks: Sequence[Mark], first: int) -> bool:
        """ "... two front tyres and then tracking": what follows the cue only names parts up to the next stop."""
        last = first
        while last < len(tokens) and not (tokens[last].stop or tokens[last].comma):
            last += 1
        inside = [m for m in marks if m.first >= first and m.last <= last + 1]
        says = any(
            m.kind in ("condition", "quantity", "action")
            or (m.kind == "cue" and m.detail in ("ok", "advice"))
            for m in inside
        )
        return any(m.kind == "component" for m in inside) and not says and last - first <= 4

    def _terms(self, tokens: Sequence[Token]) -> list[Mark]:
        """Lexicon phrases. No phrase runs over a stop, and only cues run over a comma ("no, sorry")."""
        marks: list[Mark] = []
        sentence = piece = 0
        for at, token in enumerate(tokens, start=1):
            rests = token.stop or token.pause_s > _NAME_PAUSE_S or at == len(tokens)
            if rests or token.comma:
                marks.extend(self._matched(tokens, piece, at, cues=False))
                piece = at
            if rests:
                marks.extend(self._matched(tokens, sentence, at, cues=True))
                sentence = at
        return marks

    def _matched(self, tokens: Sequence[Token], first: int, last: int, *, cues: bool) -> list[Mark]:
        texts = [token.text for token in tokens[first:last]]
        return [
            Mark(
                kind=m.kind,
                first=first + m.first,
                last=first + (self._bare_end(texts, m.first, m.last) if cues else m.last),
                id=m.id,
                detail=m.detail,
            )
            for m in self._matcher.match(texts)
            if (m.kind == "cue") == cues
        ]

    def _bare_end(self, texts: Sequence[str], first: int, last: int) -> int:
        """A cue's end without the article that belongs to what follows ("I mean [the upper]")."""
        while last - first > 1 and texts[last - 1] in self._articles:
            last -= 1
        return last

    def _clauses(self, tokens: Sequence[Token], marks: Sequence[Mark], asked: set[int]) -> tuple[Clause, ...]:
        openings: dict[int, Opening] = {0: "start"}
        supposing = -1
        for at in range(1, len(tokens)):
            before = tokens[at - 1]
            if before.stop:
                openings[at] = "stop"
            elif before.pause_s >= self._settings.pause_s:
                openings[at] = "pause"
        for mark in marks:
            if mark.kind == "grammar" and mark.detail == "supposes":
                supposing = mark.first
            if mark.kind == "cue" and mark.detail == "clause" and mark.first not in openings:
                opened = max((at for at in openings if at <= mark.first), default=0)
                lists = self._only_lists(tokens, marks, mark.last)
                if supposing < opened and not lists:  # "if it's the bearing, then ...": the same supposition
                    openings[mark.first] = "cue"
        firsts = sorted(openings)
        by_first: list[list[Mark]] = [[] for _ in firsts]
        at = 0
        for mark in marks:
            while at + 1 < len(firsts) and mark.first >= firsts[at + 1]:
                at += 1
            by_first[at].append(mark)
        clauses = []
        for number, first in enumerate(firsts):
            last = firsts[number + 1] if number + 1 < len(firsts) else len(tokens)
            inside = [mark for mark in by_first[number] if mark.last <= last]
            stretches = moods(tokens, inside, first=first, last=last, asked=(last - 1) in asked)
            for stretch in stretches:
                turned = apply_polarity(tokens, inside, first=stretch.first, last=stretch.last)
                clauses.append(
                    Clause(
                        first=stretch.first,
                        last=stretch.last,
                        opened_by=openings[first] if stretch.first == first else "comma",
                        mood=stretch.mood,
                        marks=tuple(turned),
                    )
                )
        return tuple(clauses)


def _same_alone(tokens: Sequence[Token]) -> list[Mark]:
    """ "..., same, ..." between two rests: as before."""
    marks = []
    for at, token in enumerate(tokens):
        rests = token.comma or token.stop or at == len(tokens) - 1
        opens = at == 0 or tokens[at - 1].comma or tokens[at - 1].stop
        if token.text == "same" and rests and opens:
            marks.append(Mark(kind="grammar", first=at, last=at + 1, id="same", detail="same"))
    return marks


def _drop_false_sides(marks: Sequence[Mark]) -> list[Mark]:
    """ "right now", "material left", "come back": the word is no side there."""
    covered = {
        at
        for mark in marks
        if mark.kind == "grammar" and mark.detail == "not_a_side"
        for at in range(mark.first, mark.last)
    }
    parts = [mark for mark in marks if mark.kind in ("component", "place")]
    kept = []
    for mark in marks:
        if mark.kind == "place" and mark.last - mark.first == 1 and mark.first in covered:
            followed = any(
                part.first == mark.last and part.first not in covered for part in parts if part is not mark
            )
            if not followed:
                continue
        kept.append(mark)
    return kept


def _drop_tags(marks: Sequence[Mark], asked: set[int]) -> list[Mark]:
    """ "... those are good, right?": the tag is no side."""
    return [m for m in marks if not (m.kind == "place" and m.last - m.first == 1 and m.first in asked)]


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


def _drop_interjections(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Mark]:
    """ "No, the gasket is dry", "Okay, next", "it's all scored": words that judge, deny or place nothing there."""
    openers = {m.first for m in marks if m.kind == "grammar" and m.detail == "opener"}
    kept = []
    for number, mark in enumerate(marks):
        single = mark.last - mark.first == 1
        if mark.kind == "cue" and single:
            if mark.detail == "negation" and (tokens[mark.first].comma or tokens[mark.first].stop):
                continue
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


def _bounded(marks: Sequence[Mark]) -> list[Mark]:
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
