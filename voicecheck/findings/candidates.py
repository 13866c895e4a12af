"""What a second reader is asked to judge: the rules' findings, and other talk that may be one.

That is parts that the rules named and left alone ("mention"), and places or words of state that stand apart
from any part, with the part that was spoken of before ("apart"): "hood hinges, the left needs replacing,
*right one* moves free".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

from voicecheck.findings.notes import Note, is_state
from voicecheck.findings.parts import PartTree, is_compound, singular
from voicecheck.lexicon.model import Component, Lexicon
from voicecheck.lexicon.seats import seated, seats
from voicecheck.records.reading import Clause, Reading
from voicecheck.records.vocabulary import Action, State, Urgency

Range = tuple[int, int]
_BACK = 60  # words back to which a part was just spoken of
_LATEST = 2  # parts just spoken of of which words that stand apart may tell
_WHOLES = 3  # parts just spoken of whose names a bare word may end
_ENDINGS = 2  # parts that one bare word may be, at most


@dataclass(frozen=True, slots=True)
class Candidate:
    """A place in the talk that may be a finding, in word ranges: what was heard of it, and where its part is
    named.

    ``kind`` is "draft" for what the rules made a finding, with what they read, "mention" for a part that they
    named and left alone, "apart" for words that may tell of a part named before, "label" (in teaching only)
    for the words that a label points at. ``name`` is the part's name. ``seats`` are those of the rules,
    ``possible`` all that the part has. ``inside``: among words that a finding rests on; ``own``: one of the
    same part.
    """

    kind: Literal["draft", "mention", "apart", "label"]
    component: str
    name: str
    spans: tuple[Range, ...]
    parts: tuple[Range, ...]
    possible: frozenset[str]
    seats: frozenset[str] = frozenset()
    state: State | None = None
    action: Action | None = None
    urgency: Urgency | None = None
    conditions: bool = False
    wider: bool = False
    inside: bool = False
    own: bool = False
    counts: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Mention:
    """Words that may tell of a part and are no finding of the rules, in tokens: those that name or place it,
    and where what is said of it ends.
    """

    component: str
    tokens: Range
    end: int
    clause: int
    candidate: Candidate


@dataclass(frozen=True, slots=True)
class _Named:
    """A part named among words: its component, words, tokens, and clause."""

    component: str
    words: Range
    tokens: Range
    clause: int


class Candidates:
    """Finds what there is to judge in a reading; knows how the lexicon's parts hang together."""

    def __init__(self, lexicon: Lexicon, tree: PartTree) -> None:
        self._components = lexicon.components
        self._tree = tree
        self._endings = Endings(lexicon)

    def of(
        self, notes: Sequence[Note], counts: Sequence[Mapping[str, float]], reading: Reading
    ) -> tuple[list[Candidate], list[Mention]]:
        """The notes with the counts of their evidence, and what else may be a finding; each in order."""
        named = _named(reading)
        spans = [word_ranges(note, reading) for note in notes]
        drafts = [
            _draft(note, counted, self._components[note.component], spans=its, named=named)
            for note, counted, its in zip(notes, counts, spans, strict=True)
        ]
        told = _told(drafts)
        left_alone = self._left_alone(drafts, named, reading, told=told)
        ended = self._ended(named, reading, told=told)
        return drafts, [*left_alone, *ended, *self._apart(named, reading, told=told)]

    def _left_alone(
        self, drafts: Sequence[Candidate], named: Sequence[_Named], reading: Reading, *, told: _Told
    ) -> list[Mention]:
        own = {(draft.component, part) for draft in drafts for part in draft.parts}
        return [
            Mention(
                one.component,
                one.tokens,
                reading.clauses[one.clause].last,
                one.clause,
                self._candidate("mention", one.component, (one.words,), one.words, told=told),
            )
            for one in named
            if (one.component, one.words) not in own
        ]

    def _apart(self, named: Sequence[_Named], reading: Reading, *, told: _Told) -> list[Mention]:
        """Places and states that stand apart from any part, each with the part that a finding was last about;
        and where a finding rests on its part's name a second time.
        """
        owners = {one.words: self._owners(one, told) for one in named}
        found: list[Mention] = []
        recent: list[tuple[str, Range]] = []
        by_clause: dict[int, list[_Named]] = {}
        for one in named:
            by_clause.setdefault(one.clause, []).append(one)
        for number, clause in enumerate(reading.clauses):
            parts = by_clause.get(number, [])
            stands = dict(_standing_apart(clause)) if clause.mood == "said" else {}
            heads = sorted(stands.keys() | {one.tokens[0] for one in parts})
            for first, end in pairwise((*heads, clause.last)):
                if first in stands:
                    stand = (first, stands[first])
                    words = _words(reading, *stand)
                    for before, where in _latest(recent, words[0], _LATEST):
                        component = self._kind(before, clause, first, end)
                        spans = (where, _words(reading, first, end))
                        candidate = self._candidate("apart", component, spans, words, told=told)
                        found.append(Mention(component, stand, end, number, candidate))
                    continue
                for one in (each for each in parts if each.tokens[0] == first):
                    for draft in owners[one.words]:
                        if one.words in draft.parts[1:]:
                            candidate = self._candidate(
                                "apart", one.component, (one.words,), one.words, told=told
                            )
                            found.append(Mention(one.component, one.tokens, end, number, candidate))
                        recent.append((draft.component, one.words))
        return found

    def _ended(self, named: Sequence[_Named], reading: Reading, *, told: _Told) -> list[Mention]:
        """Bare words that end the name of a part whose name begins like that of one just spoken of: "sliding
        door opens halfway, the *track* is clean".
        """
        starts: dict[int, list[_Named]] = {}
        for one in named:
            starts.setdefault(one.tokens[0], []).append(one)
        found: list[Mention] = []
        passed: list[tuple[str, Range]] = []
        for number, clause in enumerate(reading.clauses):
            at = clause.first
            while at < clause.last:
                here = starts.get(at, [])
                end = max((one.tokens[1] for one in here), default=at + 1)
                word = reading.tokens[at].text
                if end == at + 1 and self._endings.has(word):
                    words = _words(reading, at, end)
                    own = {one.component for one in here}
                    before = [part for part, _ in _latest(passed, words[0], _WHOLES)]
                    for component in self._endings.of(word, before):
                        if component not in own:
                            candidate = self._candidate("mention", component, (words,), words, told=told)
                            found.append(Mention(component, (at, end), clause.last, number, candidate))
                passed += (
                    (one.component, one.words) for inside in range(at, end) for one in starts.get(inside, ())
                )
                at = end
        return found

    def _owners(self, one: _Named, told: _Told) -> list[Candidate]:
        """The drafts that a named part is a part of the words of, by its own name or a more general one."""
        first, last = one.words
        return [
            draft
            for draft in told.get(first, ())
            if any(a <= first and last <= b for a, b in draft.spans)
            and (one.words in draft.parts or self._tree.same_line(one.component, draft.component))
        ]

    def _kind(self, component: str, clause: Clause, first: int, end: int) -> str:
        """The inner one of the tie rods where "inner" was said, and none of several."""
        said = {m.id for m in clause.marks if m.detail == "qualifier" and first <= m.first < end}
        return (self._tree.kind_with(component, sorted(said)) if said else None) or component

    def _candidate(
        self,
        kind: Literal["mention", "apart"],
        component: str,
        spans: tuple[Range, ...],
        words: Range,
        *,
        told: _Told,
    ) -> Candidate:
        owners = [draft for at in range(*words) for draft in told.get(at, ())]
        return Candidate(
            kind=kind,
            component=component,
            name=self._components[component].name,
            spans=spans,
            parts=(words,),
            possible=seats(self._components[component]),
            inside=bool(owners),
            own=any(draft.component == component for draft in owners),
        )


class Endings:
    """Which parts a bare word may be after others were named: those whose name it ends, where the name begins
    as one of theirs does.
    """

    def __init__(self, lexicon: Lexicon) -> None:
        self._named: dict[str, frozenset[str]] = {}
        self._begun: dict[str, frozenset[str]] = {}
        self._ended: dict[str, dict[str, list[str]]] = {}
        for entry in lexicon.components.values():
            names = [name.split() for name in entry.names if is_compound(name)]
            self._named[entry.id] = frozenset(
                " ".join([*words[:-1], last]) for words in names for last in (words[-1], singular(words[-1]))
            )
            self._begun[entry.id] = frozenset(
                " ".join(words[:count]) for words in names for count in range(1, len(words))
            )
            for *first, last in names:
                if first:
                    parts = self._ended.setdefault(singular(last), {}).setdefault(" ".join(first), [])
                    parts.extend([] if entry.id in parts else [entry.id])

    def has(self, word: str) -> bool:
        """Whether the name of any part ends with the word."""
        return singular(word) in self._ended

    def of(self, word: str, before: Sequence[str]) -> list[str]:
        """The likeliest ids for ``word``; ``before`` are the parts spoken of, the latest first, each once."""
        ends = self._ended.get(singular(word), {})
        found: list[str] = []
        for at, whole in enumerate(before):
            named, begun = self._named[whole], self._begun[whole]
            for start in sorted((named | begun) & ends.keys(), key=lambda start: (-start.count(" "), start)):
                if start in named or " " in start:
                    found += ends[start]
                elif not at:  # "brake" of "brake pads" begins many a name
                    found += ends[start][:1]
        return [part for part in dict.fromkeys(found) if part not in before[:1]][:_ENDINGS]


def _latest(spoken: Sequence[tuple[str, Range]], word: int, count: int) -> list[tuple[str, Range]]:
    """The last ``count`` parts spoken of within reach before a word, the latest first, each once with the
    latest words that name it.
    """
    found: dict[str, Range] = {}
    for part, where in reversed(spoken):
        if word - where[1] > _BACK or len(found) == count:
            break
        found.setdefault(part, where)
    return list(found.items())


def _draft(
    note: Note,
    counts: Mapping[str, float],
    part: Component,
    *,
    spans: tuple[Range, ...],
    named: Sequence[_Named],
) -> Candidate:
    return Candidate(
        kind="draft",
        component=note.component,
        name=part.name,
        spans=spans,
        parts=tuple(
            one.words
            for one in named
            if one.component == note.component
            and any(a <= one.words[0] and one.words[1] <= b for a, b in spans)
        ),
        possible=seats(part),
        seats=seated(note.positions, part),
        state=note.state or "defect",
        action=note.action or "none",
        urgency=note.urgency or "unstated",
        conditions=bool(note.conditions),
        wider=bool(note.action_positions) and set(note.action_positions) != set(note.positions),
        counts=counts,
    )


_Told = Mapping[int, Sequence[Candidate]]


def _told(drafts: Sequence[Candidate]) -> _Told:
    """For each word the drafts that rest on it, in order."""
    told: dict[int, list[Candidate]] = {}
    for draft in drafts:
        for first, last in draft.spans:
            for at in range(first, last):
                told.setdefault(at, []).append(draft)
    return told


def _standing_apart(clause: Clause) -> list[Range]:
    """The clause's place words that no part stands beside, those that follow each other as one; where it has
    neither, its first word of state. In tokens.
    """
    parts = [m for m in clause.marks if m.kind == "component"]
    begin, end = {m.first for m in parts}, {m.last for m in parts}
    runs: list[Range] = []
    for place in sorted((m for m in clause.marks if m.kind == "place"), key=lambda m: (m.first, m.last)):
        if runs and place.first <= runs[-1][1]:
            runs[-1] = (runs[-1][0], max(runs[-1][1], place.last))
        else:
            runs.append((place.first, place.last))
    apart = [(first, last) for first, last in runs if first not in end and begin.isdisjoint((last, last + 1))]
    if parts or apart:
        return apart
    states = [m for m in clause.marks if is_state(m) and m.kind != "quantity"]
    return [(m.first, m.last) for m in states[:1]]


def word_ranges(note: Note, reading: Reading) -> tuple[Range, ...]:
    """The note's token ranges as word ranges, joined where they touch."""
    tokens = reading.tokens
    ranges = sorted({(tokens[a].word, tokens[b - 1].word + 1) for a, b in note.ranges if b > a})
    joined: list[Range] = []
    for first, last in ranges:
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return tuple(joined)


def _words(reading: Reading, first: int, last: int) -> Range:
    return reading.tokens[first].word, reading.tokens[last - 1].word + 1


def _named(reading: Reading) -> list[_Named]:
    """Every mark of a part, in order, the same words once."""
    found: dict[tuple[Range, str], _Named] = {}
    for number, clause in enumerate(reading.clauses):
        for mark in clause.marks:
            if mark.kind == "component":
                words = _words(reading, mark.first, mark.last)
                found.setdefault((words, mark.id), _Named(mark.id, words, (mark.first, mark.last), number))
    return [found[key] for key in sorted(found)]
