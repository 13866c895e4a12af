"""Small pieces, wholes, exceptions and orders around a part, one group for each mechanism.

Each group has sentences that its rule should touch and sentences that it should leave alone.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from findings_kit import Found

from voicecheck.records.finding import FindingsResult


def told(result: FindingsResult) -> list[str]:
    """Each finding as "component state action", sorted."""
    return sorted(f"{f.component.id} {f.state} {f.action}" for f in result.findings)


def cases(groups: dict[str, Sequence[str]]) -> list[object]:
    return [pytest.param(text, list(expected), id=text) for text, expected in groups.items()]


@pytest.mark.parametrize(
    ("text", "expected"),
    cases(
        {
            # a fault of the part it is on
            "Left sway bar link, the boot's split, replace it.": ["sway_bar_link defect replace"],
            "Rear bumper cover is cracked and the clips are broken, replace it.": ["bumper defect replace"],
            "Battery cable, the clamp's cracked, replace the cable.": ["battery_cable defect replace"],
            "Radiator, the tank's got a hairline crack in it, replace it.": ["radiator defect replace"],
            "Air box is open, the clip's broken, fix it.": ["air_filter_housing defect repair"],
            # of its own: named fully, named again, fine, in another sentence, or its whole is fine
            "Exhaust clamp's broken, replace the clamp.": ["exhaust_clamp defect replace"],
            "Outer tie rod end on the left, boot's ripped.": ["tie_rod_end_boot defect none"],
            "Radiator's good, the fuel tank's rusty.": ["fuel_tank defect none", "radiator ok none"],
            "Battery's fine but the clamp's loose, tighten it.": ["battery ok none", "clamp defect tighten"],
            "Left inner tie rod, no play. The boot's torn.": [
                "rubber_boot defect none",
                "tie_rod_end_inner ok none",
            ],
        }
    ),
)
def test_small_pieces(found: Found, text: str, expected: list[str]) -> None:
    assert told(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "corners"),
    [
        ("Brakes all look good.", 0),
        ("Brakes are fine all round.", 0),
        ("All the lights work.", 0),
        ("Suspension's good all round.", 0),
        ("Lights all work.", 0),
        ("All four brakes are fine.", 4),
        ("Wheel bearings are quiet all round.", 4),
        ("Tires are good all the way around.", 4),
        ("Brake hoses are good all round.", 4),
        ("Rear brakes are fine.", 1),
    ],
)
def test_wholes_have_no_corners(found: Found, text: str, corners: int) -> None:
    (finding,) = found(text).findings
    assert finding.state == "ok"
    assert len(finding.positions) == corners


@pytest.mark.parametrize(
    ("text", "expected"),
    cases(
        {
            "Tires are all legal except the left front.": ["tyre defect none", "tyre ok none"],
            "Pads are good all round except the right rear, that's at two.": [
                "brake_pads defect none",
                "brake_pads ok none",
            ],
            "Wheel bearings are quiet bar the right rear, that's growling, replace it.": [
                "wheel_bearing defect replace",
                "wheel_bearing ok none",
            ],
            "Struts are dry apart from the left front, which is leaking.": [
                "strut defect none",
                "strut ok none",
            ],
            "Lug nuts are all tight except one on the left rear.": [
                "wheel_nut defect none",
                "wheel_nut ok none",
            ],
            # no exception from praise
            "All four tires are at eight except the right rear, that's at seven.": ["tyre ok none"],
            "Springs are all fine, had the bar on each.": ["spring ok none"],
            "Struts are dry and quiet.": ["strut ok none"],
            "Left front tire's fine.": ["tyre ok none"],
            "Wheel bearings are quiet, I had the bar on them.": ["wheel_bearing ok none"],
        }
    ),
)
def test_exceptions_from_praise(found: Found, text: str, expected: list[str]) -> None:
    assert sorted(set(told(found(text)))) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    cases(
        {
            "Air intake hose is split. Give it a hose.": ["air_intake_hose defect replace"],
            "Belt's cracked, get a belt on it.": ["belt defect replace"],
            "Thermostat's stuck open, pop a thermostat in.": ["thermostat defect replace"],
            "Steering damper's had it. Could use one.": ["steering_damper defect replace"],
            "Engine air filter's dirty, put down a filter.": ["air_filter defect replace"],
            "Rear shocks are leaking. Has to be done.": ["shock defect replace"],
            "Going to need front pads, they're at two millimeters.": ["brake_pads defect replace"],
            # nothing is ordered
            "Air intake hose is split.": ["air_intake_hose defect none"],
            "Belt's fine, I had a look at it.": ["belt ok none"],
            "The thermostat's in there, it opens fine.": ["thermostat ok none"],
            "Front pads are at six millimeters.": ["brake_pads ok none"],
            "Air filter's dirty, I had a look at it.": ["air_filter defect none"],
        }
    ),
)
def test_orders_around_a_part(found: Found, text: str, expected: list[str]) -> None:
    assert told(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    cases(
        {
            "The condenser's leaking. Needs a condenser. Then recharge it.": ["ac_condenser defect replace"],
            "Front struts, left is leaking, right is dry, replace both.": [
                "strut defect replace",
                "strut ok none",
            ],
            "Front struts, left is dry, right is leaking, replace both.": [
                "strut defect replace",
                "strut ok none",
            ],
            "Upper radiator hose is soft, replace it. Same for the lower.": [
                "radiator_hose_lower defect replace",
                "radiator_hose_upper defect replace",
            ],
            "Left rear tire's low, needs air.": ["tyre defect top up"],
            "The parking brake is loose, needs adjusted.": ["parking_brake defect adjust"],
            "Headlights need work.": ["headlamp defect replace"],
            "The slide pins are dry. Clean and lube those.": ["caliper_slide_pin defect service"],
            "Left front strut is leaking, right is leaking, replace both.": ["strut defect replace"],
            "Coolant's brown, flush it.": ["coolant defect service"],
        }
    ),
)
def test_which_work_stands(found: Found, text: str, expected: list[str]) -> None:
    assert sorted(set(told(found(text)))) == expected


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("Tires are all sixes.", [6]),
        ("Tires are fives all round.", [5]),
        ("Tires, sixes across the front, sevens in the rear.", [6, 7]),
        ("Front pads are sixes, rears are fives.", [6, 5]),
        ("Front tires are fours.", [4]),
        ("Left front tire's at six.", [6]),
        ("The exhaust is fine.", []),
        ("The boxes in the trunk are in the way.", []),
    ],
)
def test_numbers_in_the_plural(found: Found, text: str, values: list[int]) -> None:
    assert [m.value for f in found(text).findings for m in f.measures] == values
