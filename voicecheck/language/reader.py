"""The language stage: a transcript in, a ``Reading`` out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from voicecheck.language.as_new import with_new_as_state
from voicecheck.language.idle import bounded, without_idle_words
from voicecheck.language.moods import moods
from voicecheck.language.overlap import settle
from voicecheck.language.phrases import PhraseFinder, phrases_of
from voicecheck.language.polarity import apply_polarity
from voicecheck.language.praise import praise_marks
from voicecheck.language.quantities import QuantityFinder, depth_talk
from voicecheck.language.rejected import without_rejected_places
from voicecheck.language.runon import with_breaks
from voicecheck.language.tokens import tokenise
from voicecheck.lexicon.model import Lexicon, TermMatcher
from voicecheck.records.base import Record
from voicecheck.records.reading import Clause, Mark, Opening, Reading, Token
from voicecheck.records.transcript import Transcript

_SHORT_LIST = 4  # tokens
_NEW_PART = "new_part"  # the condition of what is new
_LONGEST_ALSO = 3  # tokens ("does as well")
_TO_PLACE = 3  # tokens before a place that only lead to it ("and on the")
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
        self._lexicon = lexicon
        self._matcher = matcher
        self._settings = settings or ReaderSettings()
        self._phrases = PhraseFinder(lexicon.grammar)
        self._articles = phrases_of(lexicon.grammar, "article")
        self._general = frozenset(c.kind_of for c in lexicon.components.values() if c.kind_of is not None)
        self._same_alone = phrases_of(lexicon.grammar, "same_alone")
        self._praises = phrases_of(lexicon.grammar, "praises")
        self._also = phrases_of(lexicon.grammar, "same_behind")
        joins = phrases_of(lexicon.grammar, "conjunction") | phrases_of(lexicon.grammar, "contrast")
        self._new_ends = tuple(sorted(self._also | joins))
        self._quantities = QuantityFinder(
            units={term.said: term.value for term in lexicon.grammar if term.kind == "unit"},  # type: ignore[misc]
            market=lexicon.market,
        )

    def read(self, transcript: Transcript) -> Reading:
        """Clauses over all tokens, with settled marks and their polarity."""
        tokens = tokenise(transcript)
        if not tokens:
            return Reading(tokens=(), clauses=())
        asked = {
            at for at, token in enumerate(tokens) if token.stop and "?" in transcript.words[token.word].read
        }
        settled = self._marks(tokens, asked)
        broken = with_breaks(tokens, settled)
        if broken is not None:
            tokens = tuple(broken)
            settled = self._marks(tokens, asked)
        return Reading(tokens=tokens, clauses=self._clauses(tokens, settled, asked))

    def _marks(self, tokens: Sequence[Token], asked: set[int]) -> list[Mark]:
        """All marks, overlaps settled, idle words out."""
        grammar = [*self._phrases.find([t.text for t in tokens]), *self._same_between_rests(tokens)]
        marks = self._terms(tokens)
        treads = depth_talk(tokens, marks, self._lexicon)
        quantities = self._quantities.find(tokens, grammar, tread=treads)
        settled = settle([*marks, *quantities, *grammar], size=len(tokens), general=self._general)
        settled.extend(self._same_behind_places(tokens, settled))
        settled.extend(praise_marks(tokens, settled, self._praises))
        settled.sort(key=lambda m: (m.first, m.last))
        settled = with_new_as_state(tokens, settled, condition=_NEW_PART, ends=self._new_ends)
        settled = without_rejected_places(tokens, settled)
        return bounded(without_idle_words(tokens, settled, asked))

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

    def _same_between_rests(self, tokens: Sequence[Token]) -> list[Mark]:
        """ "..., same, ..." between two rests: as before."""
        marks = []
        for at, token in enumerate(tokens):
            rests = token.comma or token.stop or at == len(tokens) - 1
            opens = at == 0 or tokens[at - 1].comma or tokens[at - 1].stop
            if token.text in self._same_alone and rests and opens:
                marks.append(Mark(kind="grammar", first=at, last=at + 1, id=token.text, detail="same"))
        return marks

    def _same_behind_places(self, tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Mark]:
        """ "Passenger side too.": a stretch between two rests that is only a place and a word for "also"."""
        rests = {at for at, t in enumerate(tokens, start=1) if t.comma or t.stop} | {0, len(tokens)}
        behind = {m.last: m for m in marks if m.kind == "place" and m.last not in rests}
        found = []
        for at, place in behind.items():
            before = place.first
            while before not in rests and place.first - before <= _TO_PLACE:
                before -= 1
            for last in range(at + 1, at + _LONGEST_ALSO + 1):
                said = " ".join(token.text for token in tokens[at:last])
                if said not in self._also or last not in rests or before not in rests:
                    continue
                if not any(before <= m.first < last and m.kind in ("component", "action") for m in marks):
                    found.append(Mark(kind="grammar", first=at, last=last, id=said, detail="same"))
        return found

    def _clauses(self, tokens: Sequence[Token], marks: Sequence[Mark], asked: set[int]) -> tuple[Clause, ...]:
        openings = self._openings(tokens, marks)
        clauses: list[Clause] = []
        for (first, last), inside in _by_clause(openings, marks, size=len(tokens)):
            for stretch in moods(tokens, inside, first=first, last=last, asked=(last - 1) in asked):
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

    def _openings(self, tokens: Sequence[Token], marks: Sequence[Mark]) -> dict[int, Opening]:
        """The first tokens of the clauses, and what opens each."""
        openings: dict[int, Opening] = {0: "start"}
        for at, before in enumerate(tokens[:-1], start=1):
            if before.stop:
                openings[at] = "stop"
            elif before.pause_s >= self._settings.pause_s:
                openings[at] = "pause"
        supposing = -1
        for mark in marks:
            if mark.kind == "grammar" and mark.detail == "supposes":
                supposing = mark.first
            if mark.kind == "cue" and mark.detail == "clause" and mark.first not in openings:
                opened = max((at for at in openings if at <= mark.first), default=0)
                if supposing < opened and not _only_lists(tokens, marks, mark.last):
                    openings[mark.first] = (
                        "cue"  # not in "if it's the bearing, then ...": the same supposition
                    )
        return openings


def _by_clause(
    openings: Iterable[int], marks: Sequence[Mark], *, size: int
) -> list[tuple[tuple[int, int], list[Mark]]]:
    """Token ranges of the clauses with the marks inside; a mark over a border belongs to none."""
    firsts = sorted(openings)
    inside: list[list[Mark]] = [[] for _ in firsts]
    ranges = list(pairwise([*firsts, size]))
    number = 0
    for mark in marks:
        while number + 1 < len(firsts) and mark.first >= firsts[number + 1]:
            number += 1
        if mark.last <= ranges[number][1]:
            inside[number].append(mark)
    return list(zip(ranges, inside, strict=True))


def _only_lists(tokens: Sequence[Token], marks: Sequence[Mark], first: int) -> bool:
    """ "... two front tyres and then tracking": what follows the cue only names parts up to the next stop."""
    last = first
    while last < len(tokens) and not (tokens[last].stop or tokens[last].comma):
        last += 1
    if last - first > _SHORT_LIST:
        return False
    inside = [m for m in marks if m.first >= first and m.last <= last + 1]
    says = any(
        m.kind in ("condition", "quantity", "action") or (m.kind == "cue" and m.detail in ("ok", "advice"))
        for m in inside
    )
    return any(m.kind == "component" for m in inside) and not says
