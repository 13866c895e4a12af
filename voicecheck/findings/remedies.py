"""Advice on one part that mends another: "brake light out, needs a bulb", "replace both"."""

from __future__ import annotations

from voicecheck.findings.items import Item
from voicecheck.findings.notes import Note
from voicecheck.findings.places import as_place
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import MEMORY, Scene
from voicecheck.findings.words import joined
from voicecheck.records.vocabulary import UNPRICED_ACTIONS

_ORDER = 3  # the most words of a sentence that orders a part by naming it
_LONGEST_LEAD = 5  # words of a phrase that orders what follows ("give it a")
_BEFORE_ORDER = 2  # words before it that say nothing ("just a")

WIDE = frozenset({"both", "all", "each"})  # relatives that take in more than one place or part


class Remedies:
    """Made anew for each reading."""

    def __init__(self, rules: Rules, scene: Scene) -> None:
        self._components = rules.lexicon.components
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
        ordered = before.clause == note.clause or self._is_whole_sentence(note)
        if action is None and ordered:
            action = self._components[note.component].advice  # "tail light is out, bulb", "... is out. Bulb."
        if note.state is not None or action in (None, *UNPRICED_ACTIONS) or before.clause < note.clause - 1:
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
            named = note.component  # "bubble in the sidewall. Replace that tire": the whole has the fault
        if named is None:
            return False
        before.component = named
        before.action, before.urgency = action, note.urgency or before.urgency
        before.ranges.extend(note.ranges)
        before.together = before.together or note.together
        return True

    def _is_whole_sentence(self, note: Note) -> bool:
        """ "Bulb.", "Just the bulb.": a sentence of a few words that only names one part."""
        first, last = note.ranges[0]
        tokens = self._scene.tokens
        opens = first == 0 or any(t.stop for t in tokens[max(0, first - _BEFORE_ORDER) : first])
        if self._is_led(first, last):
            return True
        plural = tokens[last - 1].text.endswith("s") and not tokens[last - 1].text.endswith("ss")
        return opens and tokens[last - 1].stop and last - first <= _ORDER and not plural

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
        if self.of_last(notes):
            return
        for note in notes:
            if not note.says_something:
                self._scene.dismiss(*note.ranges[0], why="heading")
        if len(notes) == 1 and not notes[0].says_something and notes[0].placed == "said":
            self._scene.around = as_place(notes[0].positions)
        self._scene.keep(notes)
