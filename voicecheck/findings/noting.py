"""Makes notes: a part, where it is, and what a saying says of it."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.filling import Filler
from voicecheck.findings.notes import Note, Saying
from voicecheck.findings.parts import head_words
from voicecheck.findings.places import Place, as_place, own_axles, resolve, single_axle, sits
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import Scene
from voicecheck.lexicon.model import Component
from voicecheck.records.vocabulary import Position, expand

_ALL_BUT = 3  # corners: fewer than these may be singled out
_NEAR = 2  # clauses from a piece to the whole that it belongs to


def _by_axle(entry: Component) -> bool:
    """Whether front and rear tell two of them apart."""
    return not {"axles", "front", "rear"}.isdisjoint(entry.places)


def _is_on_it(saying: Saying) -> bool:
    """ "a new boot on it"; not in "keep an eye on it"."""
    orders = [*saying.of_kind("action"), *saying.of_kind("cue")]
    return any(
        not any(o.first < m.first and m.last <= o.last for o in orders) for m in saying.grammar("on_it")
    )


def _wide(around: Place, entry: Component, *, headed: bool) -> Place:
    """Of the place talked about, what holds for several: its axle, where they can be at both, and no side.

    ``headed``: the axle was said as a heading ("Rear axle."), and holds for what is only there as well.
    """
    axles = around.axis().axles
    first = entry.places[0].split()[0]
    if headed and not around.positions and not around.sides and len(axles) == 1 and axles == own_axles(entry):
        return Place(axles=axles)
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
        if plural and whole.relatives == ["other side"] and not whole.absolute:
            # "the other tires"
            whole = Place(relatives=["others"], qualifiers=whole.qualifiers)
        if "others" in whole.relatives:
            last = self._told_of(component) or last
        ends = self._end_of_whole(entry, whole)
        if last is None:
            last = self._scene.last_seen() if "same side" in whole.relatives else self._scene.last_positions()
        if not whole.located:
            whole = whole.plus(self._axle_told(entry))
        if not whole.located and (self._is_again(component) or _is_on_it(saying)):
            before = as_place(self._scene.last_positions())
            note.positions = resolve(entry, before, around=Place(), last=())
        else:
            around = self._scene.around_of(entry)
            if plural and entry.part_of is None and not self._scene.just_headed():
                headed = around is self._scene.around
                around = _wide(around, entry, headed=headed)
            note.positions = resolve(entry, whole, around=around, last=last)
        if ends:
            note.positions, note.place = ends, list(whole.axles)
        note.placed = "said" if whole.located else ("carried" if note.positions else "none")
        if note.placed == "carried" and not self._scene.around.located and not self._scene.same_breath():
            note.doubts["positions"] = "carried over"
        measured = bool(saying.of_kind("quantity"))
        said = own.qualifiers if measured else [*own.qualifiers, *place.qualifiers]
        note.place += [q for q in dict.fromkeys(said) if q not in (*entry.place, *note.place)]
        self._filler.fill(note, saying, has_part=True)
        if whole.located and sits(entry) and not ends:
            self._scene.carry(entry, note, whole)
        return note

    def _end_of_whole(self, entry: Component, said: Place) -> tuple[Position, ...]:
        """ "Left lower control arm, the rear bushing": the rear one of a part at a corner just named, where
        the piece has names that tell its ends apart. Returns where that part is.
        """
        if len(said.axles) != 1 or said.positions or said.sides or said.relatives:
            return ()
        ends = {f"{axle} {head_words(name)[-1]}" for axle in said.axles for name in entry.names}
        if not any(end in name and not name.startswith(end) for end in ends for name in entry.names):
            return ()
        headed = self._scene.around_clause == self._scene.clause
        around = tuple(self._scene.around.positions) if headed else ()
        before = self._scene.recent[-1] if self._scene.recent else None
        if not around and before is not None and self._scene.clause - before.last_told <= 1:
            pieces = self._tree.is_whole_of(before.component, entry.id) or before.component == entry.id
            around = before.positions if pieces else ()
        return around if len(around) == 1 and " " in around[0] else ()

    def _told_of(self, component: str) -> tuple[Position, ...]:
        """Where the part was told of just before: the others are all but those."""
        near = [n for n in self._scene.latest() if n.component == component and not n.withdrawn]
        singled = [n for n in near if n.placed == "said" and len(expand(n.positions)) < _ALL_BUT]
        return tuple(dict.fromkeys(p for n in singled for p in n.positions))

    def _axle_told(self, entry: Component) -> Place:
        """ "At the rear, hanger's perished", "bushings are shot, the bar's fine": of a part that has an axle
        and no side, the axle said at the head of the sentence, or that of the piece just told of.
        """
        own = own_axles(entry)
        if not own or any(place.endswith("corners") for place in entry.places) or not _by_axle(entry):
            return Place()
        around = self._scene.around
        headed = self._scene.around_clause == self._scene.clause and len(around.axles) == 1
        if headed and not around.sides and around.axles[0] in own:
            return Place(axles=list(around.axles))
        before = self._scene.recent[-1] if self._scene.recent else None
        if before is None or self._scene.clause - before.last_told > _NEAR:
            return Place()
        axle = single_axle(before.positions)
        return Place(axles=axle) if self._tree.is_whole_of(entry.id, before.component) else Place()

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
        several = any(self._scene.is_plural(m) for m in saying.of_kind("place", "qualifier"))
        if place.qualifiers and not place.located and not several:
            place = as_place(before.positions)  # "the lower has play": at the corner of the upper
            place.qualifiers = list(saying.place.qualifiers)
        full = place.plus(Place(axles=axle)) if axle and not place.axles and not place.positions else place
        measured = bool(saying.of_kind("quantity"))  # "inner two, outer four": where it was measured
        own = Place(qualifiers=[] if measured else list(place.qualifiers))
        note = self.make(component, saying, own=own, place=full)
        if {"other side", "same side"} & set(place.relatives):
            entry = self._components[before.component]
            note.positions = resolve(entry, place, around=Place(), last=before.positions)
        note.ranges.append(span)
        note.clause = self._scene.clause
        self._scene.keep_beside(note)

    def _on_axle(self, entry: Component, place: Place) -> str:
        """ "rear wiper's torn, the fronts are fine": the kind of part that can be at the axle said."""
        said = set(place.axles)
        if said and entry.kind_of is not None and not said & set(own_axles(entry)):
            general = self._components[entry.kind_of]
            if said & set(own_axles(general)):
                return general.id
        return entry.id
