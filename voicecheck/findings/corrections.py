"""Second thoughts: "no, sorry, the right one", "not the strut, it's the shock", "scratch that"."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.filling import Filler
from voicecheck.findings.items import ClauseItems
from voicecheck.findings.naming import Namer
from voicecheck.findings.notes import Note, Saying, last_place, says_anything, split_sayings
from voicecheck.findings.noting import Noter
from voicecheck.findings.places import Place, on_same_axle, other_side_too, resolve
from voicecheck.findings.readings import reading_marks
from voicecheck.findings.remedies import WIDE
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import Scene
from voicecheck.records.reading import Clause
from voicecheck.records.vocabulary import UNPRICED_ACTIONS


class Corrections:
    """Made anew for each reading."""

    def __init__(self, rules: Rules, scene: Scene, *, filler: Filler, noter: Noter, namer: Namer) -> None:
        self._components = rules.lexicon.components
        self._tree = rules.tree
        self._scene = scene
        self._filler = filler
        self._noter = noter
        self._namer = namer

    def amend(self, cut: ClauseItems) -> None:
        """What follows "no, sorry" and names no part: the last word stands."""
        saying = Saying(cut.head)
        span = (cut.head_first, cut.head_last)
        parts = split_sayings(self._scene.tokens, saying.marks)
        standing = self._scene.standing
        if len(parts) > 1 and all(part.place.located and part.states for part in parts):
            for part in parts:
                self._amend_at(standing, part, span)
        elif standing and self._is_widened(parts):
            self._amend_last(standing[-1], parts[0], span)
            told = [m for part in parts[1:] for m in part.marks if m.kind != "place"]
            self._filler.fill(standing[-1], Saying(told), has_part=False)
        elif standing:
            self._amend_last(standing[-1], saying, span)

    @staticmethod
    def _is_widened(parts: Sequence[Saying]) -> bool:
        """ "make that both, the right's humming too": both first, and then what is wrong with the other."""
        wide = not parts[0].place.absolute and bool(WIDE & set(parts[0].place.relatives))
        told = [m for part in parts[1:] for m in part.of_kind("condition")]
        fine = any(part.cues("ok") for part in parts[1:])
        return wide and not parts[0].states and bool(told) and not fine and not any(m.negated for m in told)

    def _amend_last(self, note: Note, saying: Saying, span: tuple[int, int]) -> None:
        """ "no, sorry, the left", "make that four": the last part's place, reading or fault as said last."""
        ordered = self._wide_order(saying)
        if ordered is not None:
            saying = Saying([m for m in saying.marks if m not in ordered.marks])
        place = last_place(saying)
        other = self._tree.sibling(note.component, Place.of(saying.marks).qualifiers)
        if other is not None:
            note.component = other
            place = Place(positions=place.positions, sides=place.sides, axles=place.axles)
        if place.located:
            self._noter.move(note, place)
        quantities = reading_marks(self._scene.tokens, saying)
        if quantities and note.measures and not saying.of_kind("condition"):
            fresh = self._filler.measures(note, saying, quantities)
            if fresh:
                note.measures = [*note.measures[: -len(fresh)], *fresh]
            saying = Saying([m for m in saying.marks if m.kind != "quantity"])
        cleared = any(not m.negated for m in saying.cues("ok")) and not saying.advises
        if saying.of_kind("condition") or cleared:  # "no wait, I read it wrong, it's fine"
            note.conditions = []
            note.state = None
        if says_anything(saying.marks):
            self._filler.fill(note, Saying([m for m in saying.marks if m.kind != "place"]), has_part=False)
        if ordered is not None:
            here = Saying([m for m in ordered.marks if m.kind != "place"])
            self._filler.fill(note, here, has_part=True)
            note.action_positions = other_side_too(self._components[note.component], note.positions)
        note.ranges.append(span)

    @staticmethod
    def _wide_order(saying: Saying) -> Saying | None:
        """ "correction, right rear, replace both of them": the work ordered behind the place put right, where
        it takes in both sides.
        """
        orders = [m for m in (*saying.of_kind("action"), *saying.cues("advice")) if not m.negated]
        if not orders:
            return None
        start = min(m.first for m in orders)
        behind = Saying([m for m in saying.marks if m.first >= start])
        before = Saying([m for m in saying.marks if m.first < start])
        wide = bool(WIDE & set(behind.place.relatives)) and not behind.place.absolute
        return behind if wide and before.place.located else None

    def _amend_at(self, standing: Sequence[Note], saying: Saying, span: tuple[int, int]) -> None:
        """One of several corrected places: "five on the right and four on the left"."""
        if not standing:
            return
        entry = self._components[standing[-1].component]
        place = on_same_axle(saying.place, [p for n in standing for p in n.positions])
        positions = resolve(entry, place, around=self._scene.around_of(entry), last=standing[-1].positions)
        note = next((n for n in standing if set(n.positions) == set(positions)), None)
        if note is None:
            self._noter.keep_beside(standing[-1], saying, span)
            return
        if saying.of_kind("quantity"):
            note.measures = []
        self._filler.fill(note, saying, has_part=False)
        note.ranges.append(span)

    def replace(self, rejected: Sequence[str], notes: Sequence[Note]) -> None:
        """ "not strut, it's a shock": what was said of the first goes to the second."""
        for before in self._scene.standing:
            if not set(self._tree.line(before.component)) & set(rejected):
                continue
            before.withdrawn = True
            for note in notes:
                if not note.says_something:
                    _inherit(note, before)
                    note.ranges.extend(before.ranges)

    def supersede(self, notes: Sequence[Note]) -> None:
        """After "no, sorry", a statement about the same part elsewhere or otherwise takes the earlier one's
        place.
        """
        earlier = [n for n in self._scene.standing if n not in notes]
        for note in notes:
            for before in earlier:
                if not self._tree.same_line(before.component, note.component):
                    continue
                if not note.says_something:
                    _inherit(note, before)
                    note.measures = [*before.measures, *note.measures]
                note.ranges.extend(before.ranges)
                before.withdrawn = True

    # -- "scratch that" ---------------------------------------------------------------------------------

    @staticmethod
    def names_what_goes(after: Clause, cut: ClauseItems) -> bool:
        """Whether the words after a withdrawal start with a part: "forget the battery"."""
        if any(m.detail == "names_cause" for m in after.marks if m.first <= after.first):
            return False
        return bool(cut.items) and not says_anything(cut.head) and cut.items[0].first - after.first <= 1

    def take_back_named(self, cut: ClauseItems) -> None:
        """The first item's parts are taken back; what was seen to be fine stays fine."""
        item = cut.items[0]
        for part in item.parts:
            family = self._tree.family(self._namer.specific(part))
            for note in self._scene.notes:
                if note.component not in family:
                    continue
                if note.state in ("ok", "not_checked"):
                    note.action = None if note.action not in UNPRICED_ACTIONS else note.action
                else:
                    note.withdrawn = True
        self._scene.dismiss(item.first, item.last, why="taken back")

    def take_back_last(self) -> None:
        """The notes of the last item are taken back; its parts stay in mind for what is said next."""
        blanks = []
        for note in self._scene.recent:
            note.withdrawn = True
            blanks.append(
                Note(
                    component=note.component,
                    positions=note.positions,
                    placed=note.placed,
                    clause=self._scene.clause,
                )
            )
        self._scene.start(blanks)


def _inherit(note: Note, before: Note) -> None:
    """What was said of the part before holds for the one that takes its place."""
    note.state, note.action, note.urgency = before.state, before.action, before.urgency
    note.conditions = list(before.conditions)
    note.positions = note.positions or before.positions
