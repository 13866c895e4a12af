"""From place words to positions of a part."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.findings.places import Place, doubtful, has_sides, own_axles, resolve, sits
from voicecheck.lexicon import Lexicon
from voicecheck.lexicon.model import Component
from voicecheck.records.reading import Mark
from voicecheck.records.vocabulary import CORNERS, POSITIONS, Position, expand

PLACES = (
    "corners",
    "front corners",
    "rear corners",
    "axles",
    "front",
    "rear",
    "sides",
    "front sides",
    "rear sides",
)
NOWHERE = Place()


def part(*places: str) -> Component:
    return Component(id="x", name="x", system="brakes", places=places)


def where(
    component: Component, said: Place, *, around: Place = NOWHERE, last: Sequence[Position] = ()
) -> list[str]:
    return sorted(resolve(component, said, around=around, last=last))


def marks(*said: tuple[str, str]) -> list[Mark]:
    """Place marks (detail, id) one after the other."""
    return [
        Mark(kind="place", first=at, last=at + 1, id=id, detail=detail)
        for at, (detail, id) in enumerate(said)
    ]


# --- words to a place ---


def test_words_are_collected_by_what_they_say() -> None:
    place = Place.of(
        marks(
            ("position", "front left"),
            ("side", "right"),
            ("axle", "rear"),
            ("relative", "both"),
            ("qualifier", "lower"),
        )
    )
    assert place.positions == ["front left"]
    assert place.sides == ["right"]
    assert place.axles == ["rear"]
    assert place.relatives == ["both"]
    assert place.qualifiers == ["lower"]
    assert place.located


def test_a_qualifier_is_no_place() -> None:
    assert not Place.of(marks(("qualifier", "inner"))).located


def test_one_phrase_may_hold_several_positions() -> None:
    assert Place.of(marks(("position", "front left|front right"))).positions == ["front left", "front right"]
    assert Place.of(marks(("position", "front"))).axles == ["front"]
    assert Place.of(marks(("position", "left"))).sides == ["left"]


def test_other_marks_say_no_place() -> None:
    assert not Place.of([Mark(kind="component", first=0, last=1, id="strut")]).located


# --- place to positions ---


@pytest.mark.parametrize(
    ("places", "said", "expected"),
    [
        ("corners", Place(sides=["left"], axles=["front"]), ["front left"]),
        ("corners", Place(positions=["rear right"]), ["rear right"]),
        ("corners", Place(sides=["left"]), ["left"]),  # which axle was not said: nothing is guessed
        ("corners", Place(axles=["rear"]), ["rear"]),
        ("corners", Place(axles=["rear"], relatives=["both"]), ["rear left", "rear right"]),
        ("corners", Place(relatives=["all"]), sorted(CORNERS)),
        ("corners", Place(sides=["left", "right"], axles=["front"]), ["front left", "front right"]),
        ("corners", Place(), []),
        ("front sides", Place(sides=["left"]), ["front left"]),
        ("front sides", Place(relatives=["both"]), ["front left", "front right"]),
        ("rear corners", Place(sides=["right"]), ["rear right"]),
        ("front corners", Place(positions=["rear left"]), ["rear left"]),  # said so: kept, and asked about
        ("axles", Place(axles=["rear"]), ["rear"]),
        ("axles", Place(positions=["rear left"]), ["rear"]),  # sold by the axle
        ("axles", Place(sides=["left"]), []),
        ("sides", Place(sides=["left"]), ["left"]),
        ("sides", Place(relatives=["both"]), ["left", "right"]),
        ("front", Place(axles=["front"]), ["front"]),
        ("one", Place(sides=["left"]), []),
        ("one", Place(positions=["front left"]), []),
    ],
)
def test_what_was_said_of_the_part_itself(places: str, said: Place, expected: list[str]) -> None:
    assert where(part(places), said) == expected


@pytest.mark.parametrize(
    ("places", "said", "around", "expected"),
    [
        ("corners", Place(), Place(positions=["front left"]), ["front left"]),
        ("corners", Place(sides=["right"]), Place(axles=["front"]), ["front right"]),
        ("corners", Place(sides=["right"]), Place(positions=["front left"]), ["front right"]),
        ("corners", Place(axles=["rear"]), Place(sides=["left"]), ["rear left"]),
        ("corners", Place(axles=["rear"]), Place(positions=["front left"]), ["rear"]),
        ("corners", Place(relatives=["both"]), Place(axles=["rear"]), ["rear left", "rear right"]),
        ("corners", Place(positions=["rear right"]), Place(positions=["front left"]), ["rear right"]),
        ("one", Place(), Place(positions=["front left"]), []),
        ("axles", Place(), Place(positions=["front left"]), []),
    ],
)
def test_what_the_talk_around_adds(places: str, said: Place, around: Place, expected: list[str]) -> None:
    assert where(part(places), said, around=around) == expected


@pytest.mark.parametrize(
    ("last", "expected"),
    [
        (["front left"], ["front right"]),
        (["left"], ["right"]),
        (["rear right"], ["rear left"]),
        (["front left", "rear left"], ["front right", "rear right"]),
    ],
)
def test_the_other_side(last: list[Position], expected: list[str]) -> None:
    assert where(part("corners"), Place(relatives=["other side"]), last=last) == expected


def test_the_same_side() -> None:
    assert where(part("corners"), Place(relatives=["same side"]), last=["front left"]) == ["front left"]


def test_a_place_that_cannot_be_is_doubtful() -> None:
    assert doubtful(part("front sides"), ["rear left"])
    assert not doubtful(part("front sides"), ["front left"])
    assert not doubtful(part("corners"), ["rear left"])
    assert not doubtful(part("one"), [])


def test_where_parts_sit() -> None:
    assert sits(part("one")) == frozenset()
    assert sits(part("corners")) == frozenset(CORNERS)
    assert sits(part("front sides", "rear")) == {"front left", "front right", "rear"}
    assert has_sides(part("sides"))
    assert not has_sides(part("axles"))
    assert own_axles(part("rear corners")) == ["rear"]


def test_every_shipped_part_sits_where_the_words_can_reach(lexicon: Lexicon) -> None:
    for component in lexicon.components.values():
        assert sits(component) <= set(POSITIONS), component.id
        assert component.places, component.id


# --- properties ---

_SIDES = st.lists(st.sampled_from(["left", "right"]), unique=True, max_size=2)
_AXLES = st.lists(st.sampled_from(["front", "rear"]), unique=True, max_size=2)
_CORNERS = st.lists(st.sampled_from(CORNERS), unique=True, max_size=2)
_RELATIVES = st.lists(
    st.sampled_from(["both", "all", "each", "other side", "same side"]), unique=True, max_size=2
)
_SAID = st.builds(Place, positions=_CORNERS, sides=_SIDES, axles=_AXLES, relatives=_RELATIVES)
_AROUND = st.builds(Place, positions=_CORNERS, sides=_SIDES, axles=_AXLES)
_LAST = st.lists(st.sampled_from(POSITIONS), unique=True, max_size=2)
_PARTS = st.lists(st.sampled_from(PLACES), unique=True, min_size=1, max_size=2).map(lambda p: part(*p))


def reachable(component: Component) -> frozenset[Position]:
    """The corners that a part covers where it sits."""
    return expand([p for p in POSITIONS if p in sits(component)])


def said_exactly(said: Place, last: Sequence[Position]) -> set[str]:
    """Positions that the words name by themselves."""
    named = {*said.positions, *said.axles, *said.sides}
    named |= {f"{axle} {side}" for axle in said.axles for side in said.sides}
    if {"other side", "same side"} & set(said.relatives):
        named |= set(last) | {"left", "right", *CORNERS}
    if {"both", "all", "each"} & set(said.relatives):
        named |= {f"{axle} {side}" for axle in said.axles for side in ("left", "right")}
    return named


@given(_PARTS, _SAID, _LAST)
def test_a_part_is_put_where_it_can_be_or_exactly_where_it_was_said(
    component: Component, said: Place, last: list[Position]
) -> None:
    for position in resolve(component, said, around=NOWHERE, last=last):
        assert position in POSITIONS
        possible = expand([position]) & reachable(component)
        assert possible or position in said_exactly(said, last), position


@given(_PARTS, _SAID, _AROUND, _LAST)
def test_the_talk_around_puts_no_part_where_it_cannot_be(
    component: Component, said: Place, around: Place, last: list[Position]
) -> None:
    for position in resolve(component, said, around=around, last=last):
        possible = expand([position]) & reachable(component)
        assert possible or position in said_exactly(said, last), position


@given(_SAID, _AROUND, _LAST)
def test_a_part_of_which_there_is_one_has_no_position(
    said: Place, around: Place, last: list[Position]
) -> None:
    assert resolve(part("one"), said, around=around, last=last) == ()


@given(_PARTS, _SAID, _AROUND, _LAST)
def test_no_position_twice(component: Component, said: Place, around: Place, last: list[Position]) -> None:
    found = resolve(component, said, around=around, last=last)
    assert len(found) == len(set(found))


@given(st.lists(st.sampled_from([*CORNERS, "left", "right"]), unique=True, min_size=1, max_size=4))
def test_mirrored_twice_is_the_same(last: list[Position]) -> None:
    other = Place(relatives=["other side"])
    once = resolve(part("corners"), other, around=NOWHERE, last=last)
    twice = resolve(part("corners"), other, around=NOWHERE, last=once)
    assert sorted(twice) == sorted(last)
    assert {word for p in once for word in p.split()} - {"left", "right"} == {
        word for p in last for word in p.split()
    } - {"left", "right"}


@given(st.sampled_from(["front", "rear"]), st.sampled_from(["corners", "sides"]))
def test_both_on_an_axle_are_two_corners(axle: str, places: str) -> None:
    found = where(part("corners"), Place(axles=[axle], relatives=["both"]))
    assert found == [f"{axle} left", f"{axle} right"]


_WORDS = st.lists(
    st.sampled_from(
        [
            ("side", "left"),
            ("side", "right"),
            ("axle", "front"),
            ("axle", "rear"),
            ("position", "rear left"),
            ("relative", "both"),
        ]
    ),
    unique=True,
    min_size=1,
    max_size=3,
)


@given(_PARTS, _WORDS, _AROUND)
def test_the_order_of_place_words_does_not_matter(
    component: Component, words: list[tuple[str, str]], around: Place
) -> None:
    results = {
        frozenset(resolve(component, Place.of(marks(*order)), around=around, last=()))
        for order in permutations(words)
    }
    assert len(results) == 1


def test_positions_are_the_closed_set() -> None:
    assert get_args(Position) == POSITIONS
