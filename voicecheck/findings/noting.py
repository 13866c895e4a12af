"""Makes notes: a part, where it is, and what a saying says of it."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.filling import Filler
from voicecheck.findings.notes import Note, Saying
from voicecheck.findings.places import Place, as_place, own_axles, resolve, single_axle, sits
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import Scene
from voicecheck.lexicon.model import Component
from voicecheck.records.reading import Mark
from voicecheck.records.vocabulary import Position


def _wide(around: Place, entry: Component) -> Place:
    """Of the place talked about, what holds for several: its axle, where they can be at both, and no side."""
    axles = around.axis().axles
    first = entry.places[0].split()[0]
    return Place(axles=axles) if len(axles) == 1 and first in ("corners", "axles") else Place()


class Noter:
    """Made anew for each reading."""

    def __init__(self, rules: Rules, scene: Scene, filler: Filler) -> None:
        self._components = rules.lexicon.components
        self._tree = rules.tree
        self._scene = scene
        self._filler = filler

    def make(
        self,
        component: str,
        saying: Saying,
        *,
        own: Place,
        place: Place,
        last: tuple[Position, ...] | None = None,
        plural: bool = False,
    ) -> Note:
        """A note that is not kept yet.

        ``own`` is the place in the part's own words, ``place`` the one in the statement after it.
        ``last`` are the positions that "the other side" is opposite to, those of the last note unless given.
        ``plural``: several are spoken of, which are not all at the one corner told of before.
        """
        entry = self._components[component]
        whole = place.plus(own) if place.located else own
        note = Note(component=component)
        if last is None:
            last = self._scene.last_seen() if "same side" in whole.relatives else self._scene.last_positions()
        if not whole.located and (self._is_again(component) or saying.grammar("on_it")):
            before = as_place(self._scene.last_positions())
            note.positions = resolve(entry, before, around=Place(), last=())
        else:
            around = self._scene.around_of(entry)
            if plural and entry.part_of is None and not self._scene.just_headed():
                around = _wide(around, entry)
            note.positions = resolve(entry, whole, around=around, last=last)
        note.placed = "said" if whole.located else ("carried" if note.positions else "none")
        if note.placed == "carried" and not self._scene.around.located and not self._scene.same_breath():
            note.doubts["positions"] = "carried over"
        measured = bool(saying.of_kind("quantity"))
        said = own.qualifiers if measured else [*own.qualifiers, *place.qualifiers]
        note.place = [q for q in dict.fromkeys(said) if q not in entry.place]
        self._filler.fill(note, saying, has_part=True)
        if whole.located and sits(entry):
            self._scene.carry(entry, note, whole)
        return note

    def _is_again(self, component: str) -> bool:
        """Whether the part was just spoken of, and no other place since."""
        before = self._scene.recent[-1] if self._scene.recent else None
        return (
            before is not None
            and before.component == component
            and bool(before.positions)
            and self._scene.around_clause <= before.clause
            and self._scene.clause - before.clause <= 1
        )

    def absent(self, component: str, place: Place, missing: Sequence[str]) -> Note:
        """A note that the part is not there; ``missing`` are the conditions that say so."""
        note = Note(component=component, state="missing", conditions=list(missing[:1]))
        note.positions = resolve(self._components[component], place, around=Place(), last=())
        note.placed = "said" if place.located else "none"
        return note

    def move(self, note: Note, place: Place) -> None:
        """Put a note where the place words say."""
        entry = self._components[note.component]
        note.positions = resolve(entry, place, around=self._scene.around_of(entry), last=note.positions)
        note.placed = "said"
        note.place.extend(q for q in place.qualifiers if q not in entry.place and q not in note.place)

    def advise_all(self, note: Note, saying: Saying) -> None:
        """ "replace both": advice that also says where the fault is, of which no place was told."""
        entry = self._components[note.component]
        around = self._scene.around_of(entry)
        note.positions = resolve(entry, saying.place, around=around, last=())
        note.placed = "said"
        told = Saying([m for m in saying.marks if m.kind != "place"])
        self._filler.fill(note, told, has_part=True)

    def keep_beside(self, before: Note, saying: Saying, span: tuple[int, int]) -> None:
        """ "the left one's dry": a note of the same part elsewhere, from the tokens of ``span``."""
        place = saying.place
        component = self._tree.kind_with(before.component, place.qualifiers) or before.component
        component = self._on_axle(self._components[component], place)
        axle = single_axle(before.positions)
        several = any(self._is_plural(m) for m in saying.of_kind("place", "qualifier"))
        if place.qualifiers and not place.located and not several:
            place = as_place(before.positions)  # "the lower has play": at the corner of the upper
            place.qualifiers = list(saying.place.qualifiers)
        full = place.plus(Place(axles=axle)) if axle and not place.axles and not place.positions else place
        note = self.make(component, saying, own=Place(qualifiers=list(place.qualifiers)), place=full)
        if {"other side", "same side"} & set(place.relatives):
            entry = self._components[before.component]
            note.positions = resolve(entry, place, around=Place(), last=before.positions)
        note.ranges.append(span)
        note.clause = self._scene.clause
        self._scene.keep_beside(note)

    def _is_plural(self, mark: Mark) -> bool:
        """ "the inners": those of both sides."""
        return self._scene.tokens[mark.last - 1].text.endswith("s")

    def _on_axle(self, entry: Component, place: Place) -> str:
        """ "rear wiper's torn, the fronts are fine": the kind of part that can be at the axle said."""
        said = set(place.axles)
        if said and entry.kind_of is not None and not said & set(own_axles(entry)):
            general = self._components[entry.kind_of]
            if said & set(own_axles(general)):
                return general.id
        return entry.id
