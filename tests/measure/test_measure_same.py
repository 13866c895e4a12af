"""What counts as the same name and the same position."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from measure_helpers import COMPONENTS

from voicecheck.lexicon import Lexicon
from voicecheck.lexicon.seats import seated
from voicecheck.measure.same import Names
from voicecheck.records import Position, Ref

BY_ID = {c.id: c for c in COMPONENTS}


@pytest.mark.parametrize(
    ("id_", "gold", "place", "gold_place", "same"),
    [
        ("brake_pads", ["brake pad"], (), (), True),
        ("tire", ["tyres"], (), (), True),
        ("u_joint", ["U joint"], (), (), True),
        ("u_joint", ["u-joints"], (), (), True),
        ("headlamp", ["head light"], (), (), True),
        ("tire", ["wheel", "tires"], (), (), True),
        ("tire", ["wheel"], (), (), False),
        ("ball_joint", ["lower ball joint"], ("lower",), (), True),
        ("ball_joint", ["lower ball joint"], (), (), False),
        ("ball_joint", ["lower ball joint", "ball joint"], (), (), True),
        ("ball_joint", ["lower ball joint", "ball joint"], ("upper",), (), False),
        ("tie_rod_end_outer", ["tie rod end"], (), ("outer",), True),
        ("tie_rod_end_outer", ["outer track rod end"], (), (), False),
        ("tie_rod_end_outer", ["tie rod end"], (), ("inner",), False),
        # the bare name belongs to the general component
        ("tie_rod_end_outer", ["tie rod end"], (), (), False),
        ("tie_rod_end", ["outer tie rod end"], (), (), False),
        ("tie_rod_end", ["outer tie rod end", "tie rod end"], (), (), True),
        ("battery", ["battery"], ("cylinder 3",), ("cylinder 2",), False),
    ],
)
def test_components_by_name(
    lexicon: Lexicon,
    id_: str,
    gold: Sequence[str],
    place: Sequence[str],
    gold_place: Sequence[str],
    *,
    same: bool,
) -> None:
    ref = Ref(id=id_, name=BY_ID[id_].name)
    found = Names(lexicon).same_component(ref, place=place, positions=(), gold=gold, gold_place=gold_place)
    assert found is same


def test_an_axle_may_be_in_the_name(lexicon: Lexicon) -> None:
    names, ref = Names(lexicon), Ref(id="differential", name="differential")
    assert names.same_component(ref, place=(), positions=("rear",), gold=["rear diff"])
    assert not names.same_component(ref, place=(), positions=("front",), gold=["rear diff"])


def test_a_component_that_the_lexicon_does_not_have_goes_by_its_own_name(lexicon: Lexicon) -> None:
    names, ref = Names(lexicon), Ref(id="tow_bar", name="tow bar")
    assert names.same_component(ref, place=(), positions=(), gold=["towbars"])


FL, FR, RL, RR = "front left", "front right", "rear left", "rear right"


@pytest.mark.parametrize(
    ("id_", "one", "other", "same"),
    [
        ("tire", ["front"], [FL, FR], True),
        ("tire", ["left"], [FL, RL], True),
        ("tire", ["front"], [FL], False),
        ("tire", [], [FL], False),
        ("tire", ["front", "rear"], [FL, FR, RL, RR], True),
        ("headlamp", ["left"], [FL], True),
        ("headlamp", ["left"], ["right"], False),
        ("headlamp", ["front"], [FL, FR], True),
        ("differential", ["rear"], [RL, RR], True),
        ("differential", ["front"], ["rear"], False),
        ("differential", ["left"], [], True),
        ("door", ["left"], [RL], True),
        ("door", ["left"], ["right"], False),
        ("door", ["rear"], [], True),
        ("battery", ["front"], [], True),
        ("rear_wiper", ["rear"], [], True),
        ("u_joint", ["rear"], [], False),
    ],
)
def test_positions_on_the_seats_of_a_component(
    id_: str, one: list[Position], other: list[Position], *, same: bool
) -> None:
    assert (seated(one, BY_ID[id_]) == seated(other, BY_ID[id_])) is same


def test_positions_without_a_known_component_are_corners() -> None:
    assert seated(["front"], None) == {FL, FR}
