"""Turns of talk that need more than the nearest word: headings, limits, remedies, what was ruled out."""

from __future__ import annotations

import pytest
from findings_kit import Found, findings


def test_what_advice_has_for_its_object_names_the_part(found: Found) -> None:
    text = "The parking brake cable is stuck, wheel gets hot after a drive. Should put in a new cable."
    assert "parking_brake_cable - defect replace" in findings(found, text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Lower ball joint has play. Put one in it.", "ball_joint_lower - defect replace"),
        ("Fog light is missing on the left. Put one in.", "fog_light front left missing install"),
        ("Heat shield is loose. Refit it.", "heat_shield - defect install"),
        ("Driveshaft center bearing, rumbling. Wants doing.", "centre_bearing - defect replace"),
        ("Coolant's brown, so flush and refill.", "coolant - defect service"),
    ],
)
def test_the_work_that_is_meant(found: Found, text: str, expected: str) -> None:
    assert findings(found, text) == [expected]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Center link, both ends snug.", ["centre_link - ok none"]),
        ("Idler arm is snug.", ["idler_arm - ok none"]),
        ("Clamp's loose, snug it.", ["clamp - defect tighten"]),
        ("Air filter's dirty, clean it.", ["air_filter - defect clean"]),
    ],
)
def test_praise_and_orders_in_one_word(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("Lower ball joint has ninety thousandths and you're allowed fifty.", "defect"),
        ("Lower ball joint has thirty thousandths and you're allowed fifty.", "ok"),
        (
            "Right rear rotor is eight point one millimeters and the minimum on these is eight point four.",
            "defect",
        ),
        ("Right rear rotor is nine millimeters and the minimum on these is eight point four.", "ok"),
        ("Upper ball joint has forty thousandths, thirty is all you get.", "defect"),
    ],
)
def test_a_reading_beyond_the_limit_that_was_spoken_is_a_defect(found: Found, text: str, state: str) -> None:
    (finding,) = found(text).findings
    assert finding.state == state
    assert len(finding.measures) == len(finding.limits_said) == 1


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Front tires are fine. Backs, right one is fine, but the left is bald, replace it.",
            [
                "tyre front ok none",
                "tyre rear left defect replace",
                "tyre rear right ok none",
            ],
        ),
        (
            "Upper ball joint on the driver's side is tight. Lower has play.",
            ["ball_joint_lower front left defect none", "ball_joint_upper front left ok none"],
        ),
        (
            "Lower ball joint has play. Passenger side, upper and lower, both of them are nice and tight.",
            [
                "ball_joint_lower - defect none",
                "ball_joint_lower front right ok none",
                "ball_joint_upper front right ok none",
            ],
        ),
        (
            "Left tie rod end is tight and so is the right.",
            ["tie_rod_end front left/front right ok none"],
        ),
        (
            "Left front strut is fine. Leave the front pads alone, they've got seven left.",
            ["brake_pads front ok none", "strut front left ok none"],
        ),
    ],
)
def test_places_from_headings_and_what_was_said_before(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Front U joint's dry and squeaky, back one's loose, replace both of them.",
            ["universal_joint front defect replace", "universal_joint rear defect replace"],
        ),
        (
            "Struts are blown, replace both.",
            ["strut front left/front right defect replace"],
        ),
        (
            "Coil spring left is broken. Change left and right, otherwise the car is not straight.",
            ["coil_spring left defect replace at left/right"],
        ),
        (
            "Right rear tire has a bulge in the sidewall. Replace that tire.",
            ["tyre rear right defect replace"],
        ),
        ("Right front indicator, bulb gone.", ["turn_signal_bulb front right defect none"]),
        (
            "Tail light and bulb on the left are fine.",
            ["bulb left ok none", "tail_light rear left ok none"],
        ),
    ],
)
def test_advice_for_several_and_for_a_piece(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("It's not the cooling fan, I watched that kick on, it works.", ["cooling_fan - ok none"]),
        ("It's not the water pump. That's pumping fine.", ["water_pump - ok none"]),
        ("It's not the water pump. The thermostat is stuck.", ["thermostat - defect none"]),
    ],
)
def test_a_part_that_was_ruled_out(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Rear wiper is not working. Could be the motor.",
            ["rear_wiper_motor - suspect none", "rear_wiper_blade rear defect none"],
        ),
        (
            "Radiator, there's a hairline crack. Cap doesn't hold, needs a cap.",
            ["radiator - defect none", "radiator_cap - defect replace"],
        ),
    ],
)
def test_one_word_is_the_part_of_what_was_just_spoken_of(
    found: Found, text: str, expected: list[str]
) -> None:
    assert findings(found, text) == sorted(expected)


def test_where_something_touches_is_no_subject(found: Found) -> None:
    text = "Back glass is fine. The left wiper arm's bent, it's standing up off the glass. Replace it."
    assert findings(found, text) == ["rear_window - ok none", "wiper_arm front left defect replace"]
