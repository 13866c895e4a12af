"""A second reading of what the rules made of the talk, and what is taken from it.

The rules say where a statement about a part is and what it says; a second reader, taught on labelled
narrations, says for each such place how likely it is a finding at all, and of which state, advice, urgency
and seats. Where it is sure enough against the rules, its word counts; parts that the rules passed over, and
words that tell of a part named before, become findings where it is sure of them. How sure is enough was
learned on narrations that had no part in teaching it (``Trust``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import NamedTuple, Protocol, cast

from pydantic import Field

from voicecheck.findings.candidates import Candidate, Candidates, Mention, Range
from voicecheck.findings.merge import widen
from voicecheck.findings.notes import FINE_OR_FAULT, Note
from voicecheck.findings.parts import PartTree
from voicecheck.lexicon.model import Component, Lexicon
from voicecheck.lexicon.seats import seated, seats
from voicecheck.records.base import Record
from voicecheck.records.reading import Reading
from voicecheck.records.vocabulary import (
    POSITIONS,
    UNPRICED_ACTIONS,
    URGENCIES,
    Action,
    Position,
    State,
    Urgency,
)

_CERTAIN = ("defect", "missing")
_FOLLOWS = 8  # tokens between two statements of which the one goes on with the other


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
    ``add``: a part left alone above it is one; ``apart``: words that tell of a part named before. More than
    1, or less than 0 for ``drop``: never. ``fine``: below it a person is asked before a fault that the rules
    read counts as fine. ``show``: from it on a part left alone that is no finding is shown as unplaced.
    """

    state: float
    action: float
    seats: float
    drop: float
    add: float
    apart: float = 2.0
    fine: float = 0.95
    show: float = 0.25
    figures: dict[str, float | int | str] = Field(default_factory=dict)


class Reviewed(NamedTuple):
    """The notes that stand, in order of first mention; what the second reader makes of each as it stands, as
    counts of its evidence; and the tokens that may tell of a part and are in no note.
    """

    notes: list[Note]
    told: list[dict[str, float]]
    maybe: list[Range]


class Review:
    """Takes into the notes of one reading what the second reader is sure of."""

    def __init__(self, lexicon: Lexicon, *, reader: SecondReader, trust: Trust) -> None:
        self._lexicon = lexicon
        self._tree = PartTree(lexicon)
        self._candidates = Candidates(lexicon, self._tree)
        self._reader = reader
        self._trust = trust

    def of(
        self,
        notes: Sequence[Note],
        counts: Sequence[dict[str, float]],
        *,
        reading: Reading,
        words: Sequence[str],
    ) -> Reviewed:
        """What stands after the second reading; ``counts`` are those of the notes as the rules left them."""
        drafts, mentions = self._candidates.of(notes, counts, reading)
        if not drafts and not mentions:
            return Reviewed([], [], [])
        judged = self._reader.judge(words, [*drafts, *(one.candidate for one in mentions)])
        kept: list[tuple[Note, dict[str, float]]] = []
        dropped: list[Note] = []
        for note, judgement in zip(notes, judged[: len(notes)], strict=True):
            if judgement.stands >= self._trust.drop or note.done_with is not None:
                changed = self._read_again(note, judgement)
                kept.append((note, self._told(note, judgement, changed=changed)))
            else:
                dropped.append(note)
        for note in dropped:
            self._leave_readings([other for other, _ in kept], note)
        for note, judgement in self._more(mentions, judged[len(notes) :], notes, kept, reading):
            kept.append((note, self._told(note, judgement, changed=True) | {"second_found": 1.0}))
        kept.sort(key=lambda each: min(each[0].ranges, default=(0, 0)))
        kept = self._joined(kept)
        standing = [note for note, _ in kept]
        maybe = self._maybe(mentions, judged[len(notes) :], standing, reading)
        return Reviewed(standing, [told for _, told in kept], maybe)

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
            note.doubts.pop("state", None)
            if state == "ok" and note.state != "not_checked" and sure < self._trust.fine:
                note.doubts["state"] = FINE_OR_FAULT
            note.state = cast(State, state)
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

    def _more(
        self,
        mentions: Sequence[Mention],
        judged: Sequence[Judgement],
        notes: Sequence[Note],
        kept: Sequence[tuple[Note, dict[str, float]]],
        reading: Reading,
    ) -> list[tuple[Note, Judgement]]:
        """What else the second reader takes for findings, the surest first; the same is not found twice, and
        the same words do not tell of two parts.
        """
        found: list[tuple[Note, Judgement]] = []
        told: set[Range] = set()
        standing = [note for note, _ in kept]
        taken = _taken(notes)
        for mention, judgement in sorted(
            zip(mentions, judged, strict=True), key=lambda each: -each[1].stands
        ):
            apart = mention.candidate.kind == "apart"
            surer = mention.tokens in told
            told.add(mention.tokens)
            if surer or judgement.stands < (self._trust.apart if apart else self._trust.add):
                continue
            note = self._found(mention, judgement, taken, reading)
            beside = [*standing, *(other for other, _ in found)] if apart else [other for other, _ in found]
            covering = [other for other in beside if self._covers(other, note)]
            if any(not self._is_twin(other, note) for other in covering):
                continue
            if apart and not covering:
                self._hand_over(standing, note)
            found.append((note, judgement))
        return found

    def _maybe(
        self,
        mentions: Sequence[Mention],
        judged: Sequence[Judgement],
        notes: Sequence[Note],
        reading: Reading,
    ) -> list[Range]:
        """Where a part was named with more words, and it is likely enough that something was said of it."""
        taken = _taken(notes)
        around = [
            _free_around(mention, taken, reading)
            for mention, judgement in zip(mentions, judged, strict=True)
            if mention.candidate.kind == "mention" and judgement.stands >= self._trust.show
        ]
        alone = {mention.tokens for mention in mentions}
        return [free for free in around if free not in alone]

    def _joined(self, kept: Sequence[tuple[Note, dict[str, float]]]) -> list[tuple[Note, dict[str, float]]]:
        """What stands alike of one part, with the same advice, where the one place lies in the other, is one
        finding.
        """
        joined: list[tuple[Note, dict[str, float]]] = []
        for note, told in kept:
            twin = next((other for other, _ in joined if self._is_twin(other, note)), None)
            if twin is None:
                joined.append((note, told))
                continue
            widen(twin, note)
            twin.urgency = min(twin.urgency, note.urgency, key=_urgent)
            for name in ("only_if", "because", "otherwise"):
                setattr(twin, name, getattr(twin, name) or getattr(note, name))
            twin.sublet = twin.sublet or note.sublet
        return joined

    def _is_twin(self, other: Note, note: Note) -> bool:
        """Bare pieces ("the seal ... the seal") are not known to be the same, nor are two that have no place
        and are told far from each other.
        """
        said = (note.component, note.state, note.action, note.place, note.action_positions)
        if said != (other.component, other.state, other.action, other.place, other.action_positions):
            return False
        part = self._lexicon.components[note.component]
        mine, theirs = seated(note.positions, part), seated(other.positions, part)
        if self._tree.is_general_piece(note.component) or bool(mine) != bool(theirs):
            return False
        if not mine:
            return _near(other, note)
        return mine <= theirs or theirs <= mine or _are_opposite(mine, theirs)

    def _covers(self, other: Note, note: Note) -> bool:
        """Whether another note tells of the same part at the same place."""
        if other.component != note.component:
            return False
        part = self._lexicon.components[note.component]
        mine, theirs = seated(note.positions, part), seated(other.positions, part)
        return bool(mine & theirs) or not mine or not theirs

    def _leave_readings(self, kept: Sequence[Note], note: Note) -> None:
        """What is no finding of its own, because another takes in its place ("tires, eight left front ...
        nine left rear"), leaves that one its readings and its words.
        """
        part = self._lexicon.components[note.component]
        mine = seated(note.positions, part)
        for other in kept:
            here = other.component == note.component and other.state == note.state
            if here and note.measures and mine and mine <= seated(other.positions, part):
                other.measures.extend(m for m in note.measures if m not in other.measures)
                other.ranges.extend(note.ranges)
                return

    @staticmethod
    def _hand_over(standing: Sequence[Note], note: Note) -> None:
        """A reading taken where the new note is goes to it."""
        for other in standing:
            if other.component == note.component:
                theirs = [m for m in other.measures if m.position in note.positions]
                note.measures.extend(theirs)
                other.measures = [m for m in other.measures if m not in theirs]

    def _found(
        self, mention: Mention, judgement: Judgement, taken: AbstractSet[int], reading: Reading
    ) -> Note:
        """A part that the rules named and left alone, of which the second reader reads a state or advice."""
        part = self._lexicon.components[mention.component]
        wanted, _ = _seats(judgement, part)
        apart = mention.candidate.kind == "apart"
        first, last = (mention.tokens[0], mention.end) if apart else _free_around(mention, taken, reading)
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


def _taken(notes: Sequence[Note]) -> AbstractSet[int]:
    """The tokens that notes rest on."""
    return {at for note in notes for a, b in note.ranges for at in range(a, b)}


def _free_around(mention: Mention, taken: AbstractSet[int], reading: Reading) -> Range:
    """The tokens of the mention's clause around it up to those that are taken."""
    clause = reading.clauses[mention.clause]
    first, last = mention.tokens
    while first > clause.first and first - 1 not in taken:
        first -= 1
    while last < clause.last and last not in taken:
        last += 1
    return first, last


def _urgent(urgency: Urgency | None) -> int:
    return URGENCIES.index(urgency or "unstated")


def _are_opposite(mine: AbstractSet[str], theirs: AbstractSet[str]) -> bool:
    """Whether the seats are the two sides of the same end of the car, or of the car."""
    return len({seat.removesuffix("left").removesuffix("right") for seat in (*mine, *theirs)}) == 1


def _near(one: Note, two: Note) -> bool:
    """Whether the words of one follow those of the other closely."""
    return any(max(a[0], b[0]) - min(a[1], b[1]) <= _FOLLOWS for a in one.ranges for b in two.ranges)


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
