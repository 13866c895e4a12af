"""Where a part can sit, and which of its seats positions cover."""

from __future__ import annotations

from collections.abc import Iterable

from voicecheck.lexicon.model import Component
from voicecheck.records.vocabulary import CORNERS, Position, expand

_AXLES = ("front", "rear")
_SIDES = ("left", "right")


def corners_of(component: Component) -> tuple[str, ...]:
    """The corners that a component can sit in, in the order of ``CORNERS``."""
    found: set[str] = set()
    for place in component.places:
        axle, _, rest = place.partition(" ")
        if place == "corners":
            found.update(CORNERS)
        elif axle in _AXLES and rest in ("corners", "sides"):
            found.update(f"{axle} {side}" for side in _SIDES)
    return tuple(c for c in CORNERS if c in found)


def seats(component: Component) -> frozenset[str]:
    """Where a component can sit: corners; an axle or a side as a whole only where no corner of it is a
    seat.
    """
    corners = set(corners_of(component))
    places = component.places
    axles = {a for a in _AXLES if a in places or "axles" in places}
    axles -= {corner.split(" ")[0] for corner in corners}
    sides = _SIDES if "sides" in places and not corners else ()
    return frozenset(corners | axles | set(sides))


def seated(positions: Iterable[Position], component: Component | None) -> frozenset[str]:
    """The seats of a component that ``positions`` cover; the corners they cover where it is not known.

    Positions are spread over corners by ``records.expand`` first, so that [front] is [front left, front
    right]. Positions of a part that has only one seat, or none, say nothing: the result is empty then.
    """
    listed = tuple(positions)
    corners = expand(listed)
    if component is None:
        return frozenset(corners)
    possible = seats(component)
    if not possible or (len(possible) == 1 and "one" not in component.places):
        return frozenset()
    found = {str(corner) for corner in corners if corner in possible}
    for whole in possible - set(CORNERS):
        # "left" does not say which axle, "front" not which side: only a corner or the seat itself does.
        if any(whole in position.split(" ") for position in listed):
            found.add(whole)
    return frozenset(found)
