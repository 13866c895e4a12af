"""Where a piece of work is, how many parts that makes, and what was left unsaid.

Positions are what a person said; *spots* are the places that parts sit in, one part (or axle set) per spot: a
corner, an axle ("front", "rear"), a side ("left", "right"), ``VEHICLE`` for a component that has no position,
``UNSAID`` for one that has and nobody said which ("? left" where only the axle is missing).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import cast

from voicecheck.lexicon.model import Component
from voicecheck.lexicon.seats import corners_of
from voicecheck.records.vocabulary import CORNERS, POSITIONS, Position, expand

VEHICLE = ""
UNSAID = "?"
AXLES = ("front", "rear")
SIDES = ("left", "right")


def axles_of(component: Component) -> tuple[str, ...]:
    """The axles that a component can belong to as a whole; for axle sets also those of its corners."""
    whole = {a for a in AXLES if a in component.places or "axles" in component.places}
    if component.sets == "axle set":
        whole |= {axle_of(c) for c in corners_of(component)}
    return tuple(a for a in AXLES if a in whole)


def axle_of(spot: str) -> str:
    """ "front" or "rear", or "" for a spot that belongs to no axle."""
    word = spot.split(" ")[0]
    return word if word in AXLES else ""


def side_of(spot: str) -> str:
    """ "left" or "right", or "" for a spot that lies on neither."""
    word = spot.split(" ")[-1]
    return word if word in SIDES else ""


def possible_spots(component: Component) -> tuple[str, ...]:
    """Every spot that the component could be in; empty for one without a position."""
    axles = axles_of(component)
    if component.sets == "axle set" and axles:
        return axles
    sides = SIDES if "sides" in component.places else ()
    return (*corners_of(component), *axles, *sides)


def spots_of(component: Component, positions: Sequence[Position]) -> tuple[str, ...]:
    """The spots that ``positions`` mean for this component, in a fixed order, each once.

    A side alone ("left") of a component with a corner on both axles names one part, and not which: "? left".
    """
    if not positions:
        possible = possible_spots(component)
        if "one" in component.places or not possible:
            return (VEHICLE,)
        return possible if len(possible) == 1 else (UNSAID,)
    found: list[str] = []
    for position in tidy(positions):
        found += _spots_at(component, position)
    # "left" beside "front left" adds nothing: the corner is named
    sides = {side_of(s) for s in found if not unsaid(s)} | ({""} if not all(map(unsaid, found)) else set())
    found = [s for s in found if not (unsaid(s) and side_of(s) in sides)]
    order = (*POSITIONS, VEHICLE, UNSAID, *(f"{UNSAID} {side}" for side in SIDES))
    return tuple(sorted(set(found), key=order.index))


def unsaid(spot: str) -> bool:
    """Whether a spot stands for a place that was not, or not fully, said."""
    return spot.startswith(UNSAID)


def _spots_at(component: Component, position: Position) -> Sequence[str]:
    corners, axles = corners_of(component), axles_of(component)
    within = [c for c in corners if c in expand((position,))]
    if component.sets == "axle set" and axles:
        if axle_of(position):
            return (axle_of(position),)
        return axles if len(axles) == 1 else (UNSAID,)
    sides = "sides" in component.places
    if position in CORNERS:
        if corners:
            return (position,)
        return (side_of(position),) if sides else (axle_of(position),) if axles else (position,)
    if position in AXLES:
        if position in axles:
            return (position,)
        if corners:  # also where it cannot be: a pair is a pair, and the place is asked about
            return within or [c for c in CORNERS if axle_of(c) == position]
        return (UNSAID,) if sides else (position,)
    if sides:
        return (position,)
    if within:
        return within if len(within) == 1 else (f"{UNSAID} {position}",)
    if axles:
        return axles if len(axles) == 1 else (UNSAID,)
    return (position,)


def misplaced(component: Component, spots: Sequence[str]) -> tuple[str, ...]:
    """The spots that the term files do not give to this component; none where they give it no place."""
    possible = possible_spots(component)
    return tuple(s for s in spots if possible and s and s not in possible and not unsaid(s))


def partners(component: Component, spots: Sequence[str]) -> tuple[str, ...]:
    """The spots on the other side that ``spots`` leave out, for a component that is counted in pairs."""
    possible = possible_spots(component)
    other = {"left": "right", "right": "left"}
    found = [f"{axle_of(s)} {other[side_of(s)]}".strip() for s in spots if side_of(s)]
    return tuple(f for f in possible if f in found and f not in spots)


def half_said_axles(component: Component, positions: Sequence[Position]) -> tuple[str, ...]:
    """The axles of an axle-set component of which only one side was named ("left front pads")."""
    if not any(side_of(p) for p in positions):
        return ()
    covered = expand(tuple(positions))
    return tuple(a for a in axles_of(component) if len([c for c in covered if axle_of(c) == a]) == 1)


def tidy(positions: Iterable[Position]) -> tuple[Position, ...]:
    """Positions in a fixed order, without the corners of an axle that is named as a whole.

    A bare side covers nothing: "front left, left" is one corner and a side that may be the same.
    """
    unique = [p for p in POSITIONS if p in set(positions)]
    return tuple(
        p for p in unique if not any(q != p and expand((p,)) < expand((q,)) for q in unique if q in AXLES)
    )


def positions_at(spots: Iterable[str]) -> tuple[Position, ...]:
    """Spots as positions; those that are no position (the whole vehicle, unsaid) fall away."""
    return tuple(s for s in spots if s in POSITIONS)


def ground(spot: str) -> frozenset[str]:
    """What a spot takes up: corners where it has them, else itself. Two spots meet where their grounds do."""
    corners = expand((cast(Position, spot),)) if spot in CORNERS or spot in AXLES else frozenset()
    return frozenset(corners) or frozenset({spot})


def meet(spots: Sequence[str], others: Sequence[str]) -> bool:
    """Whether two pieces of work touch the same place.

    The whole vehicle meets everything, a bare side all that lies on it, an unsaid place only an unsaid one.
    """
    if VEHICLE in spots or VEHICLE in others:
        return True
    here = {g for s in spots for g in ground(s)}
    there = {g for s in others for g in ground(s)}
    if here & there:
        return True
    sides = {side_of(g) for g in here} - {""}, {side_of(g) for g in there} - {""}
    bare = any(g in SIDES for g in here | there)
    return bare and bool(sides[0] & sides[1])
