"""A second reading of what the rules made of the talk, and what is taken from it.

The rules say where a statement about a part is and what it says; a second reader, taught on labelled
narrations, says for each such place how likely it is a finding at all, and of which state, advice, urgency
and seats. Where it is sure enough against the rules, its word counts; parts that the rules passed over and
it is sure of become findings. How sure is enough was learned on narrations that had no part in teaching it
(``Trust``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol, cast

from pydantic import Field

from voicecheck.findings.notes import Note
from voicecheck.lexicon.model import Component, Lexicon
from voicecheck.lexicon.seats import seated, seats
from voicecheck.records.base import Record
from voicecheck.records.reading import Reading
from voicecheck.records.vocabulary import POSITIONS, UNPRICED_ACTIONS, Action, Position, State, Urgency

Range = tuple[int, int]
_CERTAIN = ("defect", "missing")


@dataclass(frozen=True, slots=True)
class Candidate:
    """A place in the talk that may be a finding, in word ranges: what was heard of it, and where its part is
    named.

    ``kind`` is "draft" for what the rules made a finding, with what they read, "mention" for a part that they
    named and left alone, "label" (in teaching only) for the words that a label points at. ``seats`` are those
    of the rules, ``possible`` all that the part has.
    """

    kind: Literal["draft", "mention", "label"]
    component: str
    spans: tuple[Range, ...]
    parts: tuple[Range, ...]
    possible: frozenset[str]
    seats: frozenset[str] = frozenset()
    state: State | None = None
    action: Action | None = None
    urgency: Urgency | None = None
    conditions: bool = False
    wider: bool = False
    inside: bool = False  # of a mention: among words that a finding rests on
    counts: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Judgement:
    """How likely a candidate is a finding, and then each state, action, urgency (they sum to 1) and seat
    (each for itself), 0–1.
    """

    stands: float
    states: Mapping[str, float]
    actions: Mapping[str, float]
    urgencies: Mapping[str, float]
    seats: Mapping[str, float]


class SecondReader(Protocol):
    """Judges candidates of one narration, in their order."""

    def judge(self, words: Sequence[str], candidates: Sequence[Candidate]) -> list[Judgement]: ...


class Trust(Record):
    """From which likelihood on the second reader's word counts against the rules'.

    ``state``, ``action``, ``seats``: to change the field of a finding. ``drop``: a finding below it is none.
    ``add``: a mention above it is one. More than 1, or less than 0 for ``drop``: never.
    """

    state: float
    action: float
    seats: float
    drop: float
    add: float
    figures: dict[str, float | int | str] = Field(default_factory=dict)


class Review:
    """Takes into the notes of one reading what the second reader is sure of."""

    def __init__(self, lexicon: Lexicon, *, reader: SecondReader, trust: Trust) -> None:
        self._lexicon = lexicon
        self._reader = reader
        self._trust = trust

    def of(
        self,
        notes: Sequence[Note],
        counts: Sequence[dict[str, float]],
        *,
        reading: Reading,
        words: Sequence[str],
    ) -> tuple[list[Note], list[dict[str, float]]]:
        """The notes that stand, in order of first mention, and what the second reader makes of each as it
        stands, as counts of its evidence. ``counts`` are those of the notes as the rules left them.
        """
        drafts, mentions = candidates_of(notes, counts, reading, self._lexicon)
        if not drafts and not mentions:
            return [], []
        judged = self._reader.judge(words, [*drafts, *(one.candidate for one in mentions)])
        kept: list[tuple[Note, dict[str, float]]] = []
        for note, judgement in zip(notes, judged[: len(notes)], strict=True):
            if judgement.stands >= self._trust.drop or note.done_with is not None:
                changed = self._read_again(note, judgement)
                kept.append((note, self._told(note, judgement, changed=changed)))
        for mention, judgement in zip(mentions, judged[len(notes) :], strict=True):
            if judgement.stands >= self._trust.add:
                note = self._found(mention, judgement, notes, reading)
                kept.append((note, self._told(note, judgement, changed=True) | {"second_found": 1.0}))
        kept.sort(key=lambda each: min(each[0].ranges, default=(0, 0)))
        return [note for note, _ in kept], [told for _, told in kept]

    def _read_again(self, note: Note, judgement: Judgement) -> bool:
        """The second reader is surer of another state, other advice or other seats than the rules read.

        Three things it may not do: make a certain fault of what was only thought possible, call faulty what
        was said to be fine and ordered all the same, and put paid work on a part that has no certain fault.
        """
        part = self._lexicon.components[note.component]
        changed = False
        state, sure = _likeliest(judgement.states)
        possible = note.state == "suspect" and state in _CERTAIN
        wanted_fine = note.state == "ok" and note.is_priced
        if state != (note.state or "defect") and sure >= self._trust.state and not (possible or wanted_fine):
            note.state = cast(State, state)
            note.doubts.pop("state", None)
            if state in ("ok", "not_checked"):
                note.conditions.clear()
            changed = True
        action, sure = _likeliest(judgement.actions)
        paid = action not in (*UNPRICED_ACTIONS, "diagnose") and not note.is_priced
        unfounded = paid and (note.state or "defect") not in _CERTAIN
        if action != (note.action or "none") and sure >= self._trust.action and not unfounded:
            note.action = cast(Action, action)
            note.doubts.pop("action", None)
            if action in UNPRICED_ACTIONS:
                note.action_positions = ()
            changed = True
        wanted, sure = _seats(judgement, part)
        if wanted != seated(note.positions, part) and sure >= self._trust.seats and not note.action_positions:
            note.positions = _positions(wanted)
            note.placed = "said" if wanted else "none"
            note.doubts.pop("positions", None)
            changed = True
        return changed

    def _found(self, mention: Mention, judgement: Judgement, notes: Sequence[Note], reading: Reading) -> Note:
        """A part that the rules named and left alone, of which the second reader reads a state or advice."""
        part = self._lexicon.components[mention.component]
        wanted, _ = _seats(judgement, part)
        first, last = _free_around(mention, notes, reading)
        said = [
            mark.id
            for mark in reading.clauses[mention.clause].marks
            if mark.kind == "condition" and not mark.negated and first <= mark.first and mark.last <= last
        ]
        state = cast(State, _likeliest(judgement.states)[0])
        action = cast(Action, _likeliest(judgement.actions)[0])
        if state not in _CERTAIN and action not in UNPRICED_ACTIONS:
            action = "diagnose" if state == "suspect" else "none"
        bad = state not in ("ok", "not_checked")
        return Note(
            conditions=[
                condition
                for condition in dict.fromkeys(said)
                if bad
                and (term := self._lexicon.conditions[condition]).state != "ok"
                and self._lexicon.fits(term.fits, mention.component)
            ],
            component=mention.component,
            positions=_positions(wanted),
            placed="said" if wanted else "none",
            state=state,
            action=action,
            urgency=cast(Urgency, _likeliest(judgement.urgencies)[0]),
            ranges=[(first, last)],
            clause=mention.clause,
        )

    def _told(self, note: Note, judgement: Judgement, *, changed: bool) -> dict[str, float]:
        """What the second reader makes of the note as it stands now, as counts of its evidence."""
        part = self._lexicon.components[note.component]
        mine = seated(note.positions, part)
        seat = min((p if s in mine else 1 - p for s, p in _possible(judgement, part)), default=1.0)
        state = judgement.states.get(note.state or "defect", 0.0)
        action = judgement.actions.get(note.action or "none", 0.0)
        together = judgement.stands * state * action * seat
        return {
            "second_stands": judgement.stands,
            "second_state": state,
            "second_action": action,
            "second_seats": seat,
            "second_all": together,
            "second_sure": min(2.0, -math.log10(max(1e-2, 1.0 - together))),
            "second_changed": float(changed),
        }


@dataclass(frozen=True, slots=True)
class Mention:
    """A part named among words, in token and word ranges, that no note is about."""

    component: str
    tokens: Range
    clause: int
    candidate: Candidate


def candidates_of(
    notes: Sequence[Note], counts: Sequence[Mapping[str, float]], reading: Reading, lexicon: Lexicon
) -> tuple[list[Candidate], list[Mention]]:
    """What there is to judge: the notes with the counts of their evidence, and the parts named that no note
    of theirs rests on; each in order.
    """
    named = _named(reading)
    spans = [word_ranges(note, reading) for note in notes]
    drafts = [
        _draft(note, counted, lexicon.components[note.component], spans=its, named=named)
        for note, counted, its in zip(notes, counts, spans, strict=True)
    ]
    told = {at for its in spans for first, last in its for at in range(first, last)}
    own = {(note.component, part) for note, draft in zip(notes, drafts, strict=True) for part in draft.parts}
    mentions = [
        Mention(
            component,
            tokens,
            clause,
            Candidate(
                kind="mention",
                component=component,
                spans=(words,),
                parts=(words,),
                possible=seats(lexicon.components[component]),
                inside=not told.isdisjoint(range(*words)),
            ),
        )
        for component, words, tokens, clause in named
        if (component, words) not in own
    ]
    return drafts, mentions


def _draft(
    note: Note,
    counts: Mapping[str, float],
    part: Component,
    *,
    spans: tuple[Range, ...],
    named: Sequence[tuple[str, Range, Range, int]],
) -> Candidate:
    return Candidate(
        kind="draft",
        component=note.component,
        spans=spans,
        parts=tuple(
            words
            for component, words, _, _ in named
            if component == note.component and any(a <= words[0] and words[1] <= b for a, b in spans)
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


def _free_around(mention: Mention, notes: Sequence[Note], reading: Reading) -> Range:
    """The tokens of the mention's clause around it up to those that a note rests on."""
    clause = reading.clauses[mention.clause]
    taken = {at for note in notes for a, b in note.ranges for at in range(a, b)}
    first, last = mention.tokens
    while first > clause.first and first - 1 not in taken:
        first -= 1
    while last < clause.last and last not in taken:
        last += 1
    return first, last


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


def _named(reading: Reading) -> list[tuple[str, Range, Range, int]]:
    """Every mark of a part: component, words, tokens, clause; in order, the same words once."""
    found: dict[tuple[Range, str], tuple[str, Range, Range, int]] = {}
    for number, clause in enumerate(reading.clauses):
        for mark in clause.marks:
            if mark.kind == "component":
                words = (reading.tokens[mark.first].word, reading.tokens[mark.last - 1].word + 1)
                found.setdefault((words, mark.id), (mark.id, words, (mark.first, mark.last), number))
    return [found[key] for key in sorted(found)]


def _likeliest(shares: Mapping[str, float]) -> tuple[str, float]:
    best = max(shares, key=lambda name: shares[name])
    return best, shares[best]


def _possible(judgement: Judgement, part: Component) -> list[tuple[str, float]]:
    possible = seats(part)
    return [(seat, share) for seat, share in judgement.seats.items() if seat in possible]


def _seats(judgement: Judgement, part: Component) -> tuple[frozenset[str], float]:
    """The likeliest seats, and how sure the least sure of them is. A part with one seat has none to tell."""
    shares = _possible(judgement, part)
    if seated(POSITIONS, part) == frozenset():
        return frozenset(), 0.0
    wanted = frozenset(seat for seat, share in shares if share > 0.5)
    return wanted, min((max(share, 1 - share) for _, share in shares), default=0.0)


def _positions(wanted: frozenset[str]) -> tuple[Position, ...]:
    return tuple(position for position in POSITIONS if position in wanted)
