"""Everyday turns of talk, one group for each rule: sentences it should touch, and some that it should not."""

from __future__ import annotations

import pytest
from findings_kit import Found, findings


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Horn doesn't work, it's the relay. Replace the relay.", ["relay - defect replace"]),
        (
            "Driver's window won't go down, turns out to be the motor. Replace it.",
            ["window_motor front left defect replace"],
        ),
        (
            "Struts are dry. There's a clunk when you turn. It's the left sway bar link. Replace that.",
            ["strut - ok none", "sway_bar_link front left defect replace"],
        ),
        (
            "Rotors are fine. There's coolant running down the front of the block, it's the water pump. "
            "Replace it.",
            ["brake_rotor - ok none", "water_pump - defect replace"],
        ),
        # not here
        ("Left front caliper's seized. That's the brakes done.", ["brake_caliper front left defect none"]),
        (
            "Battery's weak. It's the left front tire that's flat.",
            ["battery - defect none", "tyre front left defect none"],
        ),
        (
            "Rotors are scored, it's the pads that need replacing.",
            ["brake_pads - defect replace", "brake_rotor - defect none"],
        ),
        ("Rear wiper's torn. That's the wipers.", ["rear_wiper_blade rear defect none"]),
    ],
)
def test_the_part_named_as_the_cause_takes_the_fault(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left brake light, out. Bulb.", ["brake_light_bulb rear left defect replace"]),
        ("Left front turn signal, bulb's out. Bulb.", ["turn_signal_bulb front left defect replace"]),
        ("Driver's seat belt is frayed. New belt.", ["seat_belt front left defect replace"]),
        ("Door mirror on the left is cracked. New glass.", ["mirror_glass left defect replace"]),
        (
            "Thermostat housing gasket's weeping. Needs a gasket.",
            ["thermostat_housing_gasket - defect replace"],
        ),
        # not here
        ("Left brake light's out. Tires.", ["brake_light rear left defect none"]),
        ("Left brake light's fine. Bulb.", ["brake_light rear left ok none"]),
        ("Rear wiper's torn. Coolant.", ["rear_wiper_blade rear defect none"]),
        (
            "Left front strut's leaking. Boot's fine.",
            ["strut front left defect none", "strut_boot front left ok none"],
        ),
        ("Rotors are scored. Pads, six millimeters.", ["brake_pads - ok none", "brake_rotor - defect none"]),
    ],
)
def test_a_part_by_itself_after_its_fault_is_an_order(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Everybody wants to sell a rear main on these. His is dry.", ["rear_main_seal - ok none"]),
        ("Water pump's dry, don't let anybody sell her a water pump.", ["water_pump - ok none"]),
        ("I was going to write up a water pump, but that's just rain water.", []),
        (
            "Do that before anybody sells her a rack. Tie rod end's loose, replace it.",
            ["tie_rod_end - defect replace"],
        ),
        (
            "Spark plugs are fine. You never throw plugs at a misfire like that.",
            ["spark_plug - ok none"],
        ),
        # not here
        (
            "Don't let anybody drive it. Left front tire is bald, replace it.",
            ["tyre front left defect replace"],
        ),
        ("Everybody wants new tires. These are bald, replace them.", ["tyre - defect replace"]),
        ("Sell her a battery, this one's dead.", ["battery - defect replace"]),
        ("Quote a water pump, it's leaking.", ["water_pump - defect replace"]),
    ],
)
def test_talk_of_selling_is_no_advice(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Left front, pads six millimeters, good. Right front, pads five millimeters, good.",
            ["brake_pads front left/front right ok none"],
        ),
        (
            "Pads are eight millimeters in the front and seven in the rear, good.",
            ["brake_pads front/rear ok none"],
        ),
        # not here
        (
            "Left front strut's leaking. Right front strut's bent.",
            ["strut front left defect none", "strut front right defect none"],
        ),
        (
            "Left front rotor's smooth. Right rear rotor's smooth.",
            ["brake_rotor front left ok none", "brake_rotor rear right ok none"],
        ),
        (
            "Left front rotor's smooth. Right front rotor's scored.",
            ["brake_rotor front left ok none", "brake_rotor front right defect none"],
        ),
    ],
)
def test_two_sides_that_are_alike_are_one_finding(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Right front sway bar link is loose, replace it. Leaf springs are fine.",
            ["leaf_spring - ok none", "sway_bar_link front right defect replace"],
        ),
        (
            "Right front caliper is fine. Struts are dry.",
            ["brake_caliper front right ok none", "strut - ok none"],
        ),
        (
            "Rear brake pads are good. Sway bar links are tight.",
            ["brake_pads rear ok none", "sway_bar_link - ok none"],
        ),
        # not here
        (
            "Right front caliper is fine, strut's dry.",
            ["brake_caliper front right ok none", "strut front right ok none"],
        ),
        (
            "Left front. Control arm bushings are torn.",
            ["control_arm_bushing front left defect none"],
        ),
    ],
)
def test_several_are_not_all_at_the_corner_told_before(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Rear wiper's dead. Could be the motor, could be the switch, run that down.",
            ["rear_wiper_blade rear defect diagnose"],
        ),
        (
            "Left front wheel's noisy, could be the bearing or the tire, find out which.",
            ["wheel front left defect diagnose"],
        ),
        # not here
        (
            "Rear wiper is not working. Could be the motor.",
            ["rear_wiper_blade rear defect none", "rear_wiper_motor - suspect none"],
        ),
        (
            "Pads are worn, could be the caliper is sticking.",
            ["brake_caliper - suspect none", "brake_pads - defect none"],
        ),
    ],
)
def test_parts_left_open_are_no_findings(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Rear shocks, left one's leaking, right one's dry, but do the pair.",
            ["shock rear left defect replace at rear left/rear right", "shock rear right ok none"],
        ),
        (
            "The muffler's rusted through and the hanger's broken. Both need replacing.",
            ["exhaust_hanger - defect replace", "muffler - defect replace"],
        ),
        ("Front tires are bald. Needs two.", ["tyre front defect replace"]),
        ("Rear rotors are lipped, they want doing with the pads.", ["brake_rotor rear defect replace"]),
        ("Exhaust has a hole in it. Get it welded.", ["exhaust - defect repair"]),
        ("The coolant is low. Needs topped off.", ["coolant - defect top up"]),
        # not here
        ("Front tires are bald, they have changed color.", ["tyre front defect none"]),
        (
            "Left shock is dry, right shock is dry, don't do the pair.",
            ["shock left ok none", "shock right ok none"],
        ),
    ],
)
def test_whose_work_it_is(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "There's oil coming from the valve cover gasket. Needs a gasket.",
            ["valve_cover_gasket - defect replace"],
        ),
        ("Left rear shock, there's oil all the way down the tube.", ["shock rear left defect none"]),
        ("Rack's dry. There's oil running down the back of the block.", ["steering_rack - ok none"]),
        # not here
        ("Oil's black, change it.", ["engine_oil - defect service"]),
        ("Oil is leaking from the pan gasket.", ["oil_pan_gasket - defect none"]),
        ("Coolant's below the low line, top it off.", ["coolant - defect top up"]),
    ],
)
def test_a_fluid_that_comes_out_is_the_trace_of_a_leak(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Cabin filter's as black as a boot. Change it.", ["cabin_filter - defect replace"]),
        (
            "Left lower ball joint has forty thou, and thirty's all you get.",
            ["ball_joint_lower front left defect none"],
        ),
        ("Tires, rears, bald in the middle.", ["tyre rear left/rear right defect none"]),
        ("How's the serpentine belt? Fine.", ["serpentine_belt - ok none"]),
        ("Did you check the left front strut? It's dry.", ["strut front left ok none"]),
        ("Glow plugs are worn. They're all the same age, so fit a set.", ["glow_plug - defect replace"]),
        ("I didn't get to the left front strut.", ["strut front left not_checked none"]),
    ],
)
def test_small_words(found: Found, text: str, expected: list[str]) -> None:
    assert findings(found, text) == expected
