"""Bare orders: "So that's pads and rotors up front and a tire.", "Recommendations. Rear pads. Brake flush.",
"Tires, tie rod, alignment." of what was told to be worn.

A clause that only names parts says nothing by itself. It orders them where words that sum up stand before
it, or where it names a part that was told to be faulty and on which nothing is advised yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from voicecheck.findings.items import ClauseItems, Item, Part
from voicecheck.findings.naming import Namer
from voicecheck.findings.notes import Note, is_state
from voicecheck.findings.places import Place
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import Scene
from voicecheck.findings.words import joined
from voicecheck.records.reading import Clause, Mark
from voicecheck.records.vocabulary import expand

_LONGEST = 6  # words of a phrase that sums up
_SEVERAL = 2  # parts that make a list
_NEAR = 3  # clauses between a fault and one part that is only named again
_TELLING = (
    "ok",
    "not_checked",
    "no_action",
    "hedge",
    "negation",
    "except",
    "correction",
    "withdrawal",
    "vehicle",
)
_JUDGING = ("copula", "singular_copula", "existential", "preposition", "supposes", "same", "done_before")


class SummingUp:
    """Made anew for each reading."""

    def __init__(self, rules: Rules, scene: Scene, namer: Namer) -> None:
        self._components = rules.lexicon.components
        self._tree = rules.tree
        self._words = rules.words
        self._scene = scene
        self._namer = namer
        self._since = -1  # the last clause that summed up

    def listen(self, clause: Clause, cut: ClauseItems) -> None:
        """A clause without parts that says a list follows ("Recommendations."), or was the list."""
        if not cut.items and self._sums_up(clause.first, clause.last):
            self._since = self._scene.clause

    def orders(self, clause: Clause, cut: ClauseItems, following: Clause | None) -> bool:
        """Whether the clause only names parts, and orders them by that."""
        if not cut.items or not self._only_names(cut):
            return False
        first = cut.items[0].parts[0].mark.first
        last = cut.items[-1].parts[-1].mark.last
        listed = sum(len(item.parts) for item in cut.items) >= _SEVERAL
        led = self._sums_up(clause.first, first) or self._sums_up(last, clause.last)
        led = led or (listed and self._holds(clause.first, first, self._words.leads_list))
        if led or self._since == self._scene.clause - 1 >= 0:
            if following is not None and _judges_first(following):
                return False
            self._since = self._scene.clause
            return True
        return self._names_told(clause, cut, following)

    def _names_told(self, clause: Clause, cut: ClauseItems, following: Clause | None) -> bool:
        """ "Tires, tie rod, alignment.": a sentence of parts, one of them told to be faulty and waiting for
        advice; one part alone has to be told of right before.
        """
        tokens = self._scene.tokens
        opens = clause.first == 0 or tokens[clause.first - 1].stop
        ends = tokens[clause.last - 1].stop or (following is not None and _says_nothing(following))
        if not opens or not ends or (following is not None and _judges_first(following)):
            return False
        parts = [(part, Place.of([*part.lead, *item.trail])) for item in cut.items for part in item.parts]
        waiting = [bool(self._waiting(self._namer.specific(part), place)) for part, place in parts]
        if len(parts) >= _SEVERAL:
            fine = [self._is_fine(part) for part, _ in parts]
            return any(waiting) and not any(fine)
        part, place = parts[0]
        pointed = [*cut.head, *part.lead]
        named = part.mark.first and tokens[part.mark.first - 1].text in self._words.definite
        if named and any(m.detail == "pronoun" for m in pointed):
            return False  # "That's the wipers.": done with, and no order
        told = self._waiting(self._namer.specific(part), place)
        return any(self._scene.clause - n.last_told <= _NEAR for n in told)

    def _only_names(self, cut: ClauseItems) -> bool:
        marks: list[Mark] = list(cut.head)
        leading = [m for item in cut.items for part in item.parts for m in part.lead]
        for item in cut.items:
            if item.excepted:
                return False
            marks.extend(m for part in item.parts for m in part.lead)
            marks.extend(item.trail)
        start = cut.items[0].parts[0].mark.first
        return not any(
            (is_state(m) and not (m.kind == "quantity" and m in leading and m.id == "number"))
            or (m.kind == "action" and not self._is_work_named(m, cut))
            or (m.kind == "cue" and m.detail in (*_TELLING, "advice"))
            or (
                m.kind == "grammar"
                and m.detail in _JUDGING
                and m.first >= start
                and not _leads_place(m, marks)
            )
            for m in marks
        )

    def _is_work_named(self, action: Mark, cut: ClauseItems) -> bool:
        """ "alignment", "brake flush": work that is named in a list like a part; no "replace", which is for
        all of it.
        """
        text = self._scene.tokens[action.last - 1].text
        parts = [part for item in cut.items for part in item.parts]
        if any(part.mark.first <= action.first and action.last <= part.mark.last for part in parts):
            return True
        beside = any(part.mark.last == action.first for part in parts)
        return beside and action.id != "replace" and not text.endswith(self._words.past_ending)

    def apart(self, items: Sequence[Item]) -> list[Item]:
        """ "Rear pads, rear rotors, coolant flush": the work named last is that of the last part alone."""
        single: list[Item] = []
        for item in items:
            last = item.parts[-1]
            named = [m for m in item.trail if m.kind == "action" and m.first == last.mark.last]
            if len(item.parts) > 1 and named:
                rest = [m for m in item.trail if m.kind == "place"]
                single.append(replace(item, parts=item.parts[:-1], trail=rest, last=last.mark.first))
                item = replace(item, parts=[last], first=last.mark.first)
            single.append(item)
        return single

    def _sums_up(self, first: int, last: int) -> bool:
        return self._holds(first, last, self._words.sums_up)

    def _holds(self, first: int, last: int, phrases: frozenset[str]) -> bool:
        texts = [token.text for token in self._scene.tokens[first:last]]
        return any(
            joined(texts[at : at + size]).removesuffix("'s") in phrases
            or joined(texts[at : at + size]) in phrases
            for at in range(len(texts))
            for size in range(1, min(_LONGEST, len(texts) - at) + 1)
        )

    def _waiting(self, component: str, place: Place) -> list[Note]:
        """The faults of a part on which nothing is advised yet, at the places said."""
        return [
            note
            for note in self._scene.notes
            if not note.withdrawn
            and note.state in ("defect", "missing")
            and note.action is None
            and self._is_same(note.component, component)
            and _agrees(note, place)
        ]

    def _is_same(self, told: str, named: str) -> bool:
        """The same part, or one named more generally: in a summing-up "gaiter" is the gaiter told of."""
        return told == named or named in self._tree.line(told) or told in self._tree.line(named)

    def _is_fine(self, part: Part) -> bool:
        told = [n for n in self._scene.notes if n.component == part.component and not n.withdrawn]
        return bool(told) and told[-1].state == "ok" and not told[-1].doubts

    def fold(self, notes: Sequence[Note]) -> list[Note]:
        """Give the orders to the faults that wait for them; what is left are orders of parts not told of."""
        left = []
        for note in notes:
            here = expand(note.positions)
            told = [n for n in self._scene.notes if not n.withdrawn and n.says_something]
            told = [n for n in told if self._is_same(n.component, note.component)]
            near = [n for n in told if not here or not n.positions or expand(n.positions) & here]
            faults = [n for n in near if n.state in ("defect", "missing") and n.action is None]
            if not faults:
                if not any(n.is_priced for n in near):
                    left.append(note)
                continue
            for fault in faults:
                fault.action, fault.urgency = note.action, note.urgency or fault.urgency
                fault.touched = self._scene.clause
                fault.ranges.extend(note.ranges)
                if not fault.positions and here:
                    fault.positions, fault.placed = note.positions, note.placed
                elif expand(fault.positions) < here:
                    fault.action_positions = note.positions
        return left


def _agrees(note: Note, place: Place) -> bool:
    """Whether a fault may be at the place said with a part: no other axle, no other side."""
    axles = {p.split()[0] for p in place.positions} | set(place.axles)
    sides = {p.split()[-1] for p in place.positions} | set(place.sides)
    told = [p.split() for p in expand(note.positions)] or [p.split() for p in note.positions]
    if axles and told and not any(axles & set(words) for words in told):
        return False
    return not (sides & {"left", "right"} and told and not any(sides & set(words) for words in told))


def _leads_place(preposition: Mark, marks: Sequence[Mark]) -> bool:
    """ "hose on the right front": a preposition before a place word joins no second part."""
    return any(
        m.kind == "place" and m.first - preposition.last <= 1 and m.last > preposition.first for m in marks
    )


def _says_nothing(clause: Clause) -> bool:
    """ "..., then.", "..., please.": closed-class words and fillers."""
    idle = ("filler", "chatter", "clause")
    return all(m.kind == "grammar" or (m.kind == "cue" and m.detail in idle) for m in clause.marks)


def _judges_first(clause: Clause) -> bool:
    """Whether a clause goes on about what was named: a judgement before any part ("Good.", "Four mil.")."""
    for mark in clause.marks:
        if mark.kind == "component":
            return False
        if is_state(mark):
            return True
    return False
