"""Advice on one part that mends another: "brake light out, needs a bulb", "replace both"."""

from __future__ import annotations

from voicecheck.findings.items import Item
from voicecheck.findings.notes import Note
from voicecheck.findings.places import as_place, other_side_too
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import MEMORY, Scene
from voicecheck.findings.words import joined
from voicecheck.records.vocabulary import UNPRICED_ACTIONS, expand

_ORDER = 3  # the most words of a sentence that orders a part by naming it
_LIST = 2  # parts, from which their names alone are an order for all of them
_SUMMARY_REACH = 4  # clauses between a fault and the list that orders its part
_FAULT_REACH = 3  # clauses between a fault and the order of the part by its name
_LONGEST_LEAD = 5  # words of a phrase that orders what follows ("give it a")
_BEFORE_ORDER = 2  # words before it that say nothing ("just a")

WIDE = frozenset({"both", "all", "each"})  # relatives that take in more than one place or part


class Remedies:
    """Made anew for each reading."""

    def __init__(self, rules: Rules, scene: Scene) -> None:
        self._components = rules.lexicon.components
        self._conditions = rules.lexicon.conditions
        self._fits = rules.lexicon.fits
        self._tree = rules.tree
        self._scene = scene
        self._words = rules.words

    def of_last(self, notes: list[Note]) -> bool:
        """ "brake light out, needs a bulb": advice on a piece mends the whole just said to be faulty, and
        advice on a whole its faulty piece.

        Returns whether the note became the remedy of the last one, and is no note of its own.
        """
        if len(notes) != 1 or not self._scene.recent:
            return False
        note, before = notes[0], self._scene.recent[-1]
        action = note.action
        ordered = self._rests_before(note) if before.clause == note.clause else self._is_whole_sentence(note)
        if action is None and ordered:
            action = self._components[note.component].advice  # "tail light is out, bulb", "... is out. Bulb."
        if note.state is not None or action in (None, *UNPRICED_ACTIONS):
            return False
        faulty = self._faulty_for(note, before)
        if faulty is not None:
            faulty.action, faulty.urgency = action, note.urgency or faulty.urgency
            if self._is_pair(note):
                faulty.action_positions = other_side_too(self._components[faulty.component], faulty.positions)
            faulty.ranges.extend(note.ranges)
            return True
        if before.clause < note.clause - 1:
            return False
        if before.state not in ("defect", "missing") or before.action is not None:
            return False
        same = before.component == note.component and not before.measures and note.action is None
        if same and before.clause == note.clause:
            return False
        if note.placed == "said" and set(note.positions) != set(before.positions):
            return False
        named = before.component if same else self._piece(note.component, before.component)
        if named is None and self._tree.is_whole_of(note.component, before.component):
            # "bubble in the sidewall. Replace that tire": the whole has the fault, where it can be said of it
            named = note.component if self._can_have(note.component, before) else before.component
        if named is None:
            return False
        before.component = named
        before.action, before.urgency = action, note.urgency or before.urgency
        if self._is_pair(note):
            before.action_positions = other_side_too(self._components[named], before.positions)
        before.ranges.extend(note.ranges)
        before.together = before.together or note.together
        return True

    def _can_have(self, whole: str, before: Note) -> bool:
        """Whether the fault told is one of the whole as well: a hub does not hum, its bearing does."""
        told = [self._conditions[c].fits for c in before.conditions]
        return not told or any(self._fits(fits, whole) for fits in told)

    def _is_summary(self, notes: list[Note]) -> bool:
        """ "Pads and rotors.": a sentence that only lists parts told to be faulty, on which nothing is
        advised yet, orders them.
        """
        if len({n.component for n in notes}) < _LIST or any(n.says_something for n in notes):
            return False
        (first, last), tokens = notes[0].ranges[0], self._scene.tokens
        opens = first == 0 or any(t.stop for t in tokens[max(0, first - _BEFORE_ORDER) : first])
        if not opens or not tokens[last - 1].stop:
            return False
        found = [(note, self._open_faults(note)) for note in notes]
        if not all(faults for _, faults in found):
            return False
        for note, faults in found:
            for fault in faults:
                fault.action = self._components[fault.component].advice
                fault.ranges.extend(note.ranges)
        return True

    def _open_faults(self, note: Note) -> list[Note]:
        """The faults of the part that were told since it was last fine, and have no advice yet."""
        here = expand(note.positions)
        return [
            n
            for n in self._scene.latest(2 * MEMORY)
            if n.component == note.component
            and n.state in ("defect", "missing")
            and n.action is None
            and not n.withdrawn
            and note.clause - n.last_told <= _SUMMARY_REACH
            and (note.placed != "said" or expand(n.positions) <= here)
        ]

    def _faulty_for(self, note: Note, before: Note) -> Note | None:
        """ "Left's cut, the other side's fine. One tyre please.": the part ordered by its name alone is the
        faulty one, on which nothing is advised yet.
        """
        told = before.component == note.component and before.state == "ok" and not before.doubts
        if not told or note.state is not None or note.placed == "said":
            return None
        for other in self._scene.latest():
            near = note.clause - other.last_told <= _FAULT_REACH and not other.withdrawn
            if near and other.component == note.component and other.state in ("defect", "missing"):
                return other if other.action is None else None
        return None

    def _is_pair(self, note: Note) -> bool:
        """ "That's a pair of shocks": the remedy is for two sides."""
        said = (token.text for first, last in note.ranges for token in self._scene.tokens[first:last])
        return any(word in self._words.pair_word for word in said)

    def _rests_before(self, note: Note) -> bool:
        """ "..., bulb": a part that is only named behind a rest; not in "grease all over the wheel"."""
        first, _ = note.ranges[0]
        tokens = self._scene.tokens
        return any(t.comma or t.stop for t in tokens[max(0, first - _BEFORE_ORDER) : first])

    def _is_whole_sentence(self, note: Note) -> bool:
        """ "Bulb.", "Just the bulb.": a sentence of a few words that only names one part."""
        first, last = note.ranges[0]
        tokens = self._scene.tokens
        opens = first == 0 or any(t.stop for t in tokens[max(0, first - _BEFORE_ORDER) : first])
        if self._is_led(first, last):
            return True
        plural = tokens[last - 1].text.endswith("s") and not tokens[last - 1].text.endswith("ss")
        several = len(expand(self._scene.recent[-1].positions)) > 1  # "both are out. Bulbs."
        several = several and tokens[first].text not in self._words.definite  # not "that's the wipers"
        return opens and tokens[last - 1].stop and last - first <= _ORDER and (several or not plural)

    def _is_led(self, first: int, last: int) -> bool:
        """ "Give it a hose.": whether the sentence up to token ``last`` begins with words that order it."""
        tokens = self._scene.tokens
        start = first
        while start and not tokens[start - 1].stop and first - start < _LONGEST_LEAD:
            start -= 1
        words = [token.text for token in tokens[start:last]]
        return tokens[last - 1].stop and any(
            joined(words[:size]) in self._words.order_lead
            for size in range(max(1, len(words) - _ORDER), min(_LONGEST_LEAD, len(words) - 1) + 1)
        )

    def tie(self) -> None:
        """ "while we're in there, do the belt too": ties work said to go together, at the end of a clause.

        The other work is of the same clause or the one before it, the nearest first.
        """
        clause = self._scene.clause
        for note in self._scene.notes[-MEMORY:]:
            if not note.together or note.done_with is not None or note.last_told < clause:
                continue
            priced = [n for n in self._scene.latest() if n is not note and n.last_told >= clause - 1]
            priced = [n for n in priced if n.is_priced and n.component != note.component]
            other = max(priced, key=lambda n: n.last_told, default=None)
            if note.is_priced and other is not None and other.done_with is not note:
                note.done_with = other

    def _piece(self, component: str, whole: str) -> str | None:
        part_of = self._components[component].part_of
        if part_of is not None and part_of in self._tree.family(whole):
            return component
        return self._tree.piece_of(component, whole)

    def of_all(self, notes: list[Note]) -> bool:
        """ "Bulbs for all of those": one piece as the remedy for every fault told that has such a piece."""
        if len(notes) != 1 or notes[0].state is not None:
            return False
        piece = notes[0]
        done = False
        for before in self._scene.notes[-2 * MEMORY :]:
            if before.withdrawn or before.state != "defect" or before.action is not None:
                continue
            named = self._tree.piece_of(piece.component, before.component)
            if named is not None:
                before.component, before.action = named, self._components[named].advice
                before.urgency = before.urgency or piece.urgency
                before.ranges.extend(piece.ranges)
                done = True
        return done

    def share(self, last: Item) -> None:
        """ "air filter's dirty, cabin filter's dirty, replace both": advice at the end for the parts before
        it.
        """
        wide = any(m.detail == "plural_pronoun" or (m.kind == "place" and m.id in WIDE) for m in last.trail)
        here = [n for n in self._scene.statement if n.clause == self._scene.clause and not n.withdrawn]
        if not wide or not here or here[-1].action in (None, *UNPRICED_ACTIONS):
            return
        final = here[-1]
        for note in here[:-1]:
            faulty = note.state in ("defect", "missing")
            if note.component != final.component and faulty and note.action is None:
                note.action, note.urgency = final.action, note.urgency or final.urgency

    def keep(self, notes: list[Note]) -> None:
        """Keep the notes of a statement, unless they are the remedy of what was said before."""
        if self.of_last(notes) or self._is_summary(notes):
            return
        for note in notes:
            if not note.says_something:
                self._scene.dismiss(*note.ranges[0], why="heading")
        if len(notes) == 1 and not notes[0].says_something and notes[0].placed == "said":
            self._scene.around = as_place(notes[0].positions)
        self._scene.keep(notes)
