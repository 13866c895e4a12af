"""Second thoughts: "no, sorry, the right one", "not the strut, it's the shock", "scratch that"."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.filling import Filler
from voicecheck.findings.items import ClauseItems
from voicecheck.findings.naming import Namer
from voicecheck.findings.notes import Note, Saying, last_place, says_anything, split_sayings
from voicecheck.findings.noting import Noter
from voicecheck.findings.places import Place, on_same_axle, resolve
from voicecheck.findings.readings import reading_marks
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
        elif standing:
            self._amend_last(standing[-1], saying, span)

    def _amend_last(self, note: Note, saying: Saying, span: tuple[int, int]) -> None:
        """ "no, sorry, the left", "make that four": the last part's place, reading or fault as said last."""
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
        if saying.of_kind("condition"):
            note.conditions = []
            note.state = None
        if says_anything(saying.marks):
            self._filler.fill(note, Saying([m for m in saying.marks if m.kind != "place"]), has_part=False)
        note.ranges.append(span)

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
