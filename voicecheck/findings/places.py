"""From place words to positions of a part: what was said, what the part allows, and what carries over.

Left and right are the driver's, facing forward. Where only a side is known of a part that sits at all
corners, the side stays a side: nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from voicecheck.lexicon.model import Component
from voicecheck.records.reading import Mark
from voicecheck.records.vocabulary import CORNERS, Position, expand

_MIRROR: dict[str, str] = {"left": "right", "right": "left"}
_SIDED = ("corners", "front corners", "rear corners", "sides", "front sides", "rear sides")


@dataclass(slots=True)
class Place:
    """Place words as said: whole positions, loose sides and axles, relatives ("both", "other side"),
    qualifiers.
    """

    positions: list[Position] = field(default_factory=list)
    sides: list[str] = field(default_factory=list)
    axles: list[str] = field(default_factory=list)
    relatives: list[str] = field(default_factory=list)
    qualifiers: list[str] = field(default_factory=list)

    @property
    def located(self) -> bool:
        """Whether any position word was said (qualifiers do not count)."""
        return bool(self.positions or self.sides or self.axles or self.relatives)

    @property
    def absolute(self) -> bool:
        """Whether a corner, a side or an axle was said, and not only "both" or "the other side"."""
        return bool(self.positions or self.sides or self.axles)

    @staticmethod
    def of(marks: Sequence[Mark]) -> Place:
        """Collect the place marks of ``marks``; others are ignored."""
        place = Place()
        for mark in marks:
            if mark.kind != "place":
                continue
            if mark.detail == "position":
                for value in mark.id.split("|"):
                    if value in CORNERS:
                        _add(place.positions, value)
                    elif value in ("front", "rear"):
                        _add(place.axles, value)
                    else:
                        _add(place.sides, value)
            elif mark.detail == "side":
                _add(place.sides, mark.id)
            elif mark.detail == "axle":
                _add(place.axles, mark.id)
            elif mark.detail == "relative":
                _add(place.relatives, mark.id)
            else:
                _add(place.qualifiers, mark.id)
        return place

    def plus(self, other: Place) -> Place:
        """This place, with what it does not say taken from ``other``."""
        if self.positions:
            return self
        axis = other.axis()
        return Place(
            positions=[] if self.sides or self.axles else list(other.positions),
            sides=list(self.sides or (axis.sides if self.axles else other.sides)),
            axles=list(self.axles or (axis.axles if self.sides else other.axles)),
            relatives=list(self.relatives),
            qualifiers=list(self.qualifiers),
        )

    def axis(self) -> Place:
        """What of this place can complete another: its axles and sides, those of its corners included."""
        axles = list(dict.fromkeys([*self.axles, *(p.split()[0] for p in self.positions)]))
        sides = list(dict.fromkeys([*self.sides, *(p.split()[1] for p in self.positions)]))
        return Place(positions=list(self.positions), sides=sides, axles=axles)


def _add(values: list, value: object) -> None:  # type: ignore[type-arg]
    if value not in values:
        values.append(value)


def as_place(positions: Sequence[Position]) -> Place:
    """Positions of a note as the place words that say them."""
    place = Place()
    for position in positions:
        if " " in position:
            place.positions.append(position)
        elif position in ("front", "rear"):
            place.axles.append(position)
        else:
            place.sides.append(position)
    return place


def as_positions(place: Place) -> tuple[Position, ...]:
    """The corners or sides that place words name, whatever the part; an axle alone names none."""
    return tuple(place.positions or _product(place.axles, place.sides) or place.sides)  # type: ignore[arg-type]


def axles_of(positions: Iterable[Position]) -> frozenset[str]:
    """The axles that positions lie on; a mere side lies on none."""
    return frozenset(axle for p in positions if (axle := p.split()[0]) in ("front", "rear"))


def single_axle(positions: Sequence[Position]) -> list[str]:
    """The axle of the positions where it is one and the same, else nothing."""
    axles = axles_of(positions)
    return list(axles) if len(axles) == 1 else []


def on_same_axle(place: Place, positions: Sequence[Position]) -> Place:
    """ "the left": said of a part told at one axle, the left of that axle."""
    axle = single_axle(positions)
    if place.axles or place.positions or not axle:
        return place
    return Place(sides=place.sides, axles=axle, relatives=place.relatives)


def sits(component: Component) -> frozenset[str]:
    """The corners and axles where the part can be."""
    found: set[str] = set()
    for places in component.places:
        if places in ("corners", "sides"):
            found.update(CORNERS)
        elif places == "axles":
            found.update(("front", "rear"))
        elif places in ("front", "rear"):
            found.add(places)
        elif places.startswith(("front ", "rear ")):
            axle = places.split()[0]
            found.update(c for c in CORNERS if c.startswith(axle))
    return frozenset(found)


def has_sides(component: Component) -> bool:
    """Whether left and right tell two of them apart."""
    return any(places in _SIDED for places in component.places)


def own_axles(component: Component) -> list[str]:
    """The axles where the part can be: one of them is a default, two are a question."""
    return [axle for axle in ("front", "rear") if any(where.startswith(axle) for where in sits(component))]


def usual_axle(component: Component) -> list[str]:
    """The axle of the first place listed, where that is one axle: a CV boot is a front one unless said
    otherwise.
    """
    first = component.places[0].split()[0] if component.places else ""
    return [first] if first in ("front", "rear") else []


def other_side_too(entry: Component, positions: Sequence[Position]) -> tuple[Position, ...]:
    """Both sides of where the part is said to be, if that is one side only; otherwise nothing."""
    mirrored = [p for p in _mirrored(positions) if p not in positions]
    return _allowed(entry, [*positions, *mirrored]) if len(mirrored) == len(positions) else ()


def resolve(
    component: Component, said: Place, *, around: Place, last: Sequence[Position]
) -> tuple[Position, ...]:
    """Positions of a part from its own place words, then from the place talked about (``around``).

    ``last`` are the positions of the part spoken of before, for "the other side" and "same side".
    """
    if not sits(component):
        return ()
    if "other side" in said.relatives:
        mirrored = _mirrored(last)
        if mirrored:
            return _allowed(component, mirrored)
    if "others" in said.relatives and last:
        rest = [c for c in CORNERS if c in sits(component) and c not in expand(list(last))]
        return tuple(rest)
    if "same side" in said.relatives and last:
        sides = list(dict.fromkeys(p.split()[1] for p in last if " " in p))
        if said.axles and sides and has_sides(component):
            return _allowed(component, _product(said.axles, sides))  # "the front one on that side"
        return _allowed(component, list(last))
    if said.positions:
        extra: list[Position] = [p for p in _product(said.axles, said.sides) if p not in said.positions]
        return _allowed(component, [*said.positions, *extra])
    whole = bool({"both", "all", "each"} & set(said.relatives))
    if whole and not said.absolute and len(around.positions) > 1 and has_sides(component):
        told = [p for p in around.positions if p in sits(component)]
        if len(told) > 1:
            return _allowed(component, told)  # "front nearside, back nearside, both tyres"
    here = said
    if "one" in component.places or not has_sides(component):
        around = Place()  # a part that can be the only one of its kind has a place only where one is said
    around = _within_reach(component, said, around)
    context = around.axis()
    if not whole:
        if not said.located:
            here = Place(positions=context.positions, sides=context.sides, axles=context.axles)
            if here.positions:
                return _allowed(component, here.positions)
        elif said.sides and not said.axles:
            here = Place(sides=said.sides, axles=context.axles)
        elif said.axles and not said.sides and around.sides and component.sets != "axle set":
            here = Place(sides=around.sides, axles=said.axles)
    axles = list(here.axles)
    sides = list(here.sides)
    if whole:
        if "all" in said.relatives and not axles and not sides:
            axles = own_axles(component) or axles
            return _allowed(component, _product(axles, ["left", "right"]))
        if not axles and len(own_axles(component)) != 1:
            axles = context.axles
        if not sides:
            sides = ["left", "right"]
    own = own_axles(component)
    if not axles and (sides or whole):
        axles = own if len(own) == 1 else usual_axle(component)
    if not has_sides(component):
        return _allowed(component, list(axles))  # type: ignore[arg-type]
    if set(component.places) <= {"sides", "one"} and sides:
        return tuple(sides)  # type: ignore[arg-type]  # a mirror has a side and no axle
    if axles and sides:
        return _allowed(component, _product(axles, sides))
    if axles:
        return _allowed(component, list(axles))  # type: ignore[arg-type]
    if component.places and set(component.places) & {"front sides", "rear sides"}:
        return _allowed(component, _product(own, sides))
    return tuple(sides)  # type: ignore[arg-type]


def _within_reach(component: Component, said: Place, around: Place) -> Place:
    """Of the place talked about, what the part can be at: only its own words put it where it cannot be."""
    own = own_axles(component)
    if any(axle not in own for axle in said.axles):
        return Place()
    return Place(
        positions=[p for p in around.positions if p in sits(component)],
        sides=around.sides,
        axles=[axle for axle in around.axles if axle in own],
    )


def _product(axles: Sequence[str], sides: Sequence[str]) -> list[Position]:
    return [f"{axle} {side}" for axle in axles for side in sides]  # type: ignore[misc]


def _mirrored(positions: Sequence[Position]) -> list[Position]:
    result: list[Position] = []
    for position in positions:
        words = [_MIRROR.get(word, word) for word in position.split()]
        mirrored: Position = " ".join(words)  # type: ignore[assignment]
        if mirrored != position:
            result.append(mirrored)
    return result


def _allowed(component: Component, positions: Sequence[Position]) -> tuple[Position, ...]:
    """Positions where the part can be. A said place where it cannot be is kept: dropping it would hide a
    doubt.
    """
    domain = sits(component)
    if not has_sides(component):
        axles = list(dict.fromkeys(p.split()[0] for p in positions))
        return tuple(a for a in axles if a in domain)  # type: ignore[misc]
    kept = [p for p in dict.fromkeys(positions) if p not in CORNERS or p in domain]
    return tuple(kept or dict.fromkeys(positions))


def doubtful(component: Component, positions: Sequence[Position]) -> bool:
    """Whether a position lies where the part cannot be."""
    domain = sits(component)
    return any(p in CORNERS and p not in domain for p in positions) if has_sides(component) else False
