"""One finding for one thing: what was said twice, summed up, or advised after the defect was told."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.notes import Note
from voicecheck.findings.parts import PartTree
from voicecheck.findings.places import axles_of, usual_axle
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.vocabulary import CORNERS, UNPRICED_ACTIONS, expand

FAULTY = ("defect", "missing", "suspect")


class Merger:
    """Merges notes by part and place; knows which parts are kinds of which."""

    def __init__(self, lexicon: Lexicon, *, tree: PartTree | None = None) -> None:
        self._lexicon = lexicon
        self._tree = tree or PartTree(lexicon)

    def merge(self, notes: Sequence[Note]) -> list[Note]:
        """The notes that become findings, in order of first mention."""
        kept: list[Note] = []
        for note in notes:
            if note.withdrawn or not note.says_something:
                continue
            if self._is_advice_for_several(note) and self._spread(kept, note):
                continue
            home = self._home(kept, note)
            if home is None:
                self._absorb_readings(kept, note)
                kept.append(note)
            else:
                self._into(home, note, fine_beside=self._fine_beside(kept, home, note))
                kept.remove(home)
                self._absorb_readings(kept, home)
                kept.append(home)
        kept.sort(key=lambda note: min(note.ranges, default=(0, 0)))
        kept = [self._settled(note) for note in kept]
        for note in kept:
            self._go_round(note)
        return self._faults_taken_out(self._sides_joined(kept))

    def _go_round(self, note: Note) -> None:
        """ "Pads are nine, nine, eight, eight": four readings of a part that sits at each wheel, told in one
        breath and without a place, go from front to rear; where the sides of an axle differ, which is left
        and which right is not known.
        """
        values = [m.value for m in note.measures]
        if len(values) != len(CORNERS) or values[0] != values[1] or values[2] != values[3]:
            return
        alike = {(m.what, m.unit, m.bound, m.high, m.place) for m in note.measures}
        told = note.positions or any(m.position for m in note.measures)
        if told or len(alike) != 1 or self._lexicon.components[note.component].places[:1] != ("corners",):
            return
        note.measures = [
            m.model_copy(update={"position": corner})
            for m, corner in zip(note.measures, CORNERS, strict=True)
        ]
        note.positions, note.placed = CORNERS, "said"

    def _is_of(self, faulty: str, fine: str) -> bool:
        """The same part, or what it sits in, which is replaced for it (the hub for its bearing)."""
        return faulty == fine or self._tree.is_whole_of(faulty, fine)

    def _faults_taken_out(self, notes: list[Note]) -> list[Note]:
        """ "Tires are good ... left rear's got a nail": what is fine is so at the other places, also where
        the exception is told later; praise without a place of a part that is not at each wheel keeps none.
        """
        for fine in notes:
            if fine.state != "ok" or fine.action not in (None, "none"):
                continue
            entry = self._lexicon.components[fine.component]
            wide = expand(fine.positions)
            out = expand(
                [
                    p
                    for n in notes
                    if self._is_of(n.component, fine.component)
                    and n.place == fine.place
                    and n.state in FAULTY
                    for p in n.positions
                ]
            )
            if not wide and fine.placed == "none" and "corners" in entry.places:
                seats = [CORNERS, tuple(c for c in CORNERS if c.split()[0] in usual_axle(entry))]
                wide = min((frozenset(s) for s in seats if out < set(s)), key=len, default=wide)
            if wide & out and out < wide:
                fine.positions = tuple(p for p in CORNERS if p in wide - out)
        return notes

    def _sides_joined(self, notes: Sequence[Note]) -> list[Note]:
        """ "Left front, pads six, good. Right front, pads six": what is said alike of the two sides of one
        axle is one finding over both.
        """
        kept: list[Note] = []
        for note in notes:
            twin = next((other for other in kept if _is_other_side(other, note)), None)
            if twin is None:
                kept.append(note)
                continue
            twin.positions = (*twin.positions, *note.positions)
            twin.conditions.extend(c for c in note.conditions if c not in twin.conditions)
            twin.measures.extend(note.measures)
            twin.limits_said.extend(note.limits_said)
            twin.ranges.extend(note.ranges)
            if not (_by_reading(twin) and _by_reading(note)):
                twin.doubts.pop("state", None)
            _take_in(twin, note)
        return kept

    @staticmethod
    def _is_advice_for_several(note: Note) -> bool:
        advised = note.action is not None and note.action not in UNPRICED_ACTIONS
        return note.state is None and advised and len(expand(note.positions)) > 1

    def _spread(self, kept: list[Note], note: Note) -> bool:
        """ "both need replacing" after faults on each side: one finding over all of them, with their
        evidence.
        """
        here = expand(note.positions)
        faults = [
            other
            for other in kept
            if self._tree.related(other.component, note.component)
            and expand(other.positions)
            and expand(other.positions) <= here
            and other.state in ("defect", "missing")
            and other.action in (None, "none", note.action)
        ]
        if not faults:
            return False
        first = faults[0]
        for other in faults[1:]:
            kept.remove(other)
            widen(first, other)
        self._into(first, note, fine_beside=self._fine_beside(kept, first, note))
        kept.remove(first)
        self._absorb_readings(kept, first)
        kept.append(first)
        return True

    def _home(self, kept: Sequence[Note], note: Note) -> Note | None:
        for other in reversed(kept):
            if not self._tree.related(other.component, note.component):
                continue
            if other.component != note.component and other.state is not None and note.state is not None:
                continue
            if other.place and note.place and set(other.place) != set(note.place):
                continue
            here, there = expand(note.positions), expand(other.positions)
            advice_only = note.state is None
            if here == there or (not here and (advice_only or note.placed == "none")):
                if advice_only and other.state == "ok" and not _by_reading(other) and here != there:
                    continue
                return other
            if (
                advice_only
                and here
                and there
                and there < here
                and other.state in ("defect", "missing", "suspect")
            ):
                return other
            if (
                not there
                and here
                and other.placed != "said"
                and note.placed == "said"
                and other.state == note.state
            ):
                return other
        return None

    def _absorb_readings(self, kept: list[Note], note: Note) -> None:
        """ "pads three ... pads four ... pads are low, recommend pads": plain readings join the judgement."""
        if note.state not in (None, "defect") or note.action is None or note.action in UNPRICED_ACTIONS:
            return
        here = expand(note.positions)
        inside = [
            other
            for other in kept
            if self._tree.related(other.component, note.component)
            and expand(other.positions)
            and expand(other.positions) <= here
            and (_by_reading(other) or (other.state == "defect" and other.action is None))
        ]
        if not inside:
            return
        for other in inside:
            kept.remove(other)
            _take_in(note, other)
            for condition in other.conditions:
                if condition not in note.conditions:
                    note.conditions.append(condition)
            note.measures = [*other.measures, *note.measures]
            note.limits_said = [*other.limits_said, *note.limits_said]
            note.ranges = [*other.ranges, *note.ranges]

    def _fine_beside(self, kept: Sequence[Note], home: Note, note: Note) -> bool:
        """Whether the same part was said to be fine elsewhere within the note's places."""
        here = expand(note.positions)
        return any(
            other is not home
            and other.component == home.component
            and other.state == "ok"
            and not _by_reading(other)
            and expand(other.positions) <= here
            and expand(other.positions)
            for other in kept
        )

    def _into(self, home: Note, note: Note, *, fine_beside: bool) -> None:
        """Later words stand; a defect is not talked away by a second remark that is fine."""
        here, there = set(expand(note.positions)), set(expand(home.positions))
        only_advised = home.state is None and not home.conditions
        if note.action == "none" and note.state == "ok" and only_advised and not _by_reading(note):
            home.action = "none"  # "put it down for rotors ... no, leave the rotors, they're fine"
        if note.state is not None:
            if home.state is None or _by_reading(home) or note.state in ("defect", "missing"):
                home.state = note.state if not (note.state == "ok" and home.state == "defect") else home.state
            elif home.state in ("suspect", "not_checked"):
                home.state = note.state
        home.conditions.extend(c for c in note.conditions if c not in home.conditions)
        home.measures.extend(m for m in note.measures if m not in home.measures)
        home.limits_said.extend(m for m in note.limits_said if m not in home.limits_said)
        if note.action is not None and (note.action != "none" or home.action is None):
            home.action = note.action
        if note.action_positions:
            home.action_positions = note.action_positions
        elif there < here and note.state is None:
            if home.placed == "carried" and note.placed == "said" and not fine_beside:
                home.positions, home.placed = note.positions, "said"
            else:
                home.action_positions = note.positions
        if note.urgency is not None and not (home.urgency == "now" and note.urgency == "soon"):
            home.urgency = note.urgency
        for name in ("only_if", "because", "otherwise"):
            if not getattr(home, name):
                setattr(home, name, getattr(note, name))
        home.sublet = home.sublet or note.sublet
        _take_in(home, note)
        if not there and here:
            home.positions, home.placed = note.positions, note.placed
        if home.component in self._tree.line(note.component):
            home.component = note.component
        home.ranges.extend(note.ranges)
        if home.state == "ok":
            home.conditions = []

    def _settled(self, note: Note) -> Note:
        """What was left open: advice alone means a defect, no advice is "none", a missing part is put in."""
        if note.state is None or (
            note.state == "ok"
            and note.action is not None
            and note.action not in UNPRICED_ACTIONS
            and _by_reading(note)
        ):
            note.state = (
                "ok"
                if note.action in UNPRICED_ACTIONS
                else ("missing" if note.action == "install" else "defect")
            )
        if note.action is None:
            note.action = "none"
        if note.action == "replace" and self._lexicon.components[note.component].advice == "service":
            note.action = "service"  # changing a fluid
        if note.state == "missing" and note.action == "replace":
            note.action = "install"  # there is nothing to take off
        if note.action == "monitor" and note.urgency is None:
            note.urgency = "later"  # watching is for later, by its meaning
        return note


def _is_other_side(one: Note, two: Note) -> bool:
    """Whether two notes tell the same of a part, one at the left and one at the right of an axle."""
    here, there = expand(one.positions), expand(two.positions)
    if one.component != two.component or len(here) != 1 or len(there) != 1 or here == there:
        return False
    if axles_of(one.positions) != axles_of(two.positions) or not axles_of(one.positions):
        return False
    told = (one.state, one.action, one.urgency, one.place)
    alike = told == (two.state, two.action, two.urgency, two.place)
    if one.conditions != two.conditions and one.action in (None, *UNPRICED_ACTIONS):
        return False  # told apart, and no work that is the same for both
    return (
        alike
        and not one.action_positions
        and not two.action_positions
        and (one.state in ("ok", "not_checked") or bool(one.conditions and two.conditions))
    )


def widen(home: Note, note: Note) -> None:
    """What the note says of its places is said at home as well: places, faults, readings, words."""
    home.positions = tuple(dict.fromkeys((*home.positions, *note.positions)))
    home.conditions.extend(c for c in note.conditions if c not in home.conditions)
    home.measures.extend(m for m in note.measures if m not in home.measures)
    home.limits_said.extend(m for m in note.limits_said if m not in home.limits_said)
    home.ranges.extend(note.ranges)
    _take_in(home, note)


def _take_in(home: Note, note: Note) -> None:
    """Who points at the note points at its home from now on."""
    note.merged = home
    home.done_with = home.done_with or note.done_with


def _by_reading(note: Note) -> bool:
    return note.doubts.get("state") == "reading only"
