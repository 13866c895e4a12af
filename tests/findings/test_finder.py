"""Small sentences that show each mechanism of the talk: what it must touch, and what it must leave alone."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import pytest
from findings_kit import Found, find, full, readings, short

from voicecheck.pipeline import Workshop
from voicecheck.records import FindingsResult


def wrong(text: str, expected: Sequence[str] | str, reason: str) -> object:
    """A fair sentence that the rules get wrong today."""
    return pytest.param(text, expected, marks=pytest.mark.xfail(strict=True, reason=reason), id=text)


def shorts(result: FindingsResult) -> list[str]:
    return sorted(short(finding) for finding in result.findings)


def fulls(result: FindingsResult) -> list[str]:
    return sorted(full(finding) for finding in result.findings)


# --- a position carried under a heading ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left front. Strut is leaking.", ["strut front left defect"]),
        ("Left front: pads are at four mil.", ["brake_pads front left ok"]),
        ("Left front, tire is worn.", ["tyre front left defect"]),
        ("Left front corner, ball joint's loose.", ["ball_joint front left defect"]),
        ("Left front wheel off. Caliper is dry.", ["brake_caliper front left ok"]),
        ("Moving to the right rear. Wheel bearing is noisy.", ["wheel_bearing rear right defect"]),
        ("Front axle. Pads are worn.", ["brake_pads front defect"]),
        (
            "Rear brakes. Pads three mil. Rotors are scored.",
            ["brake_pads rear ok", "brake_rotor rear defect"],
        ),
        (
            "Right rear. Shock is leaking. Left rear. Shock is dry.",
            ["shock rear left ok", "shock rear right defect"],
        ),
        (
            "Left front. Strut is leaking. Pads are worn. Right front. Strut is dry.",
            ["brake_pads front left defect", "strut front left defect", "strut front right ok"],
        ),
        wrong(
            "Left front. Boot is torn.",
            ["rubber_boot front left defect"],
            "a bare boot takes no place from the heading",
        ),
    ],
)
def test_a_heading_places_what_follows(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left front. Battery is dead.", ["battery defect"]),
        (
            "Left front. Strut is leaking. Under the hood. Air filter is dirty.",
            ["air_filter defect", "strut front left defect"],
        ),
        ("Left front. Right rear shock is leaking.", ["shock rear right defect"]),
        (
            "Left front strut is leaking. Windshield is cracked.",
            ["strut front left defect", "windscreen defect"],
        ),
        ("Right now the strut is leaking.", ["strut defect"]),
        ("Left front. Rear shocks are leaking.", ["shock rear defect"]),
    ],
)
def test_a_heading_leaves_alone(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


# --- parts in a list share place and statement ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Left front pads and rotor are worn.",
            ["brake_pads front left defect", "brake_rotor front left defect"],
        ),
        ("Pads and rotors on the front are worn.", ["brake_pads front defect", "brake_rotor front defect"]),
        (
            "Front pads, rotors and calipers are good.",
            ["brake_caliper front ok", "brake_pads front ok", "brake_rotor front ok"],
        ),
        (
            "Left front strut and lower ball joint are worn.",
            ["ball_joint_lower front left defect", "strut front left defect"],
        ),
        ("The tires, wipers and battery are good.", ["battery ok", "tyre ok", "wiper_blade ok"]),
        ("Front pads rotors worn.", ["brake_pads front defect", "brake_rotor front defect"]),
        (
            "Both front struts and the sway bar links are worn.",
            ["strut front left, front right defect", "sway_bar_link front left, front right defect"],
        ),
    ],
)
def test_a_list_shares(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Front pads are worn and rear rotors are scored.",
            ["brake_pads front defect", "brake_rotor rear defect"],
        ),
        ("Pads are good, rotors are scored.", ["brake_pads ok", "brake_rotor defect"]),
        ("Left front strut is leaking and the battery is good.", ["battery ok", "strut front left defect"]),
        ("Torn wipers, good tires.", ["tyre ok", "wiper_blade defect"]),
        (
            "Belt is cracked, coolant is fine, battery is dead.",
            ["battery defect", "belt defect", "coolant ok"],
        ),
    ],
)
def test_two_statements_are_no_list(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


# --- readings split over places ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Front pads are four on the left, five on the right.", ["front left 4 mm", "front right 5 mm"]),
        ("Front pads left four, right five.", ["front left 4 mm", "front right 5 mm"]),
        (
            "Front pads left four right five.",
            ["front left 4 mm", "front right 5 mm"],
        ),
        ("Left front pads four mil, right front three mil.", ["front left 4 mm", "front right 3 mm"]),
        (
            "Tires left front five, right front four, left rear six, right rear seven thirty-seconds.",
            ["front left 5 1/32 in", "front right 4 1/32 in", "rear left 6 1/32 in", "rear right 7 1/32 in"],
        ),
        (
            "Left front tire is at 5/32. Right front tire is at 4/32.",
            ["front left 5 1/32 in", "front right 4 1/32 in"],
        ),
        (
            "Left front four thirty-seconds, right front five.",
            ["front left 4 1/32 in", "front right 5 1/32 in"],
        ),
        (
            "Left front pads, inner two mil, outer four mil.",
            ["front left inner 2 mm", "front left outer 4 mm"],
        ),
    ],
)
def test_split_readings(found: Found, text: str, expected: list[str]) -> None:
    assert sorted(readings(found(text))) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Front tires are at six and seven thirty-seconds.", ["front 6 1/32 in", "front 7 1/32 in"]),
        ("Front pads are between four and five.", ["front 4-5 mm"]),
        ("Front pads are less than two mil.", ["front <2 mm"]),
        ("Left front pads are at four mil.", ["front left 4 mm"]),
        ("Battery is at twelve point four volts.", ["12.4 V"]),
        ("Coolant is good to minus thirty four.", ["-34 °F"]),
        ("Cranked it for thirty seconds and the battery is good.", []),
        ("Number three spark plug is worn.", []),
    ],
)
def test_readings_that_are_not_split(found: Found, text: str, expected: list[str]) -> None:
    assert readings(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected", "limits"),
    [
        ("Front rotors are at twenty five, discard is twenty four.", ["front 25 mm"], [24]),
        ("Front pads are at three, minimum is two.", ["front 3 mm"], [2]),
        ("Battery tested at four eighty out of six fifty.", ["480 A"], None),
    ],
)
def test_a_spoken_limit_is_no_reading(
    found: Found, text: str, expected: list[str], limits: list[int] | None
) -> None:
    result = found(text)
    assert readings(result) == expected
    if limits is not None:
        spoken = [m.value for finding in result.findings for m in finding.limits_said]
        assert spoken == [Decimal(limit) for limit in limits]


# --- the other side, the other one ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Left front strut is leaking. The other side is dry.",
            ["strut front left defect", "strut front right ok"],
        ),
        (
            "Left tie rod end is loose. Right one is tight.",
            ["tie_rod_end front left defect", "tie_rod_end front right ok"],
        ),
        (
            "Left front caliper is stuck, the right one's okay.",
            ["brake_caliper front left defect", "brake_caliper front right ok"],
        ),
        ("Rear struts, left is leaking, right is dry.", ["strut rear left defect", "strut rear right ok"]),
        ("Right rear shock is leaking. Left one's fine.", ["shock rear left ok", "shock rear right defect"]),
        wrong(
            "Right rear shock is leaking, other side too.",
            ["shock rear left defect", "shock rear right defect"],
            "“other side too” in the same clause is not a second finding",
        ),
        wrong(
            "Right front hub is noisy. Left's quiet.",
            ["wheel_hub front left ok", "wheel_hub front right defect"],
            "“Left's quiet.” is left unplaced",
        ),
    ],
)
def test_the_other_side(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left front strut is leaking on the other side of the seal.", ["strut front left defect"]),
        ("Battery is dead. The other side of the shop is busy.", ["battery defect"]),
        ("Left front strut is leaking, right?", ["strut front left defect"]),
        ("Left front strut is leaking right now.", ["strut front left defect"]),
    ],
)
def test_what_is_no_other_side(found: Found, text: str, expected: list[str]) -> None:
    assert [s[: len(e)] for s, e in zip(shorts(found(text)), expected, strict=True)] == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("The front pads don't have much material left.", "brake_pads front defect"),
        ("Rear shoes haven't got a lot of meat left.", "brake_shoes rear defect"),
        ("There isn't much tread left on the right rear.", "tyre rear right defect"),
        ("Front tires still have a lot of meat left.", "tyre front ok"),
        ("Rear pads have got much left.", "brake_pads rear ok"),
    ],
)
def test_how_much_is_left(found: Found, text: str, expected: str) -> None:
    """“Left” is no side there, and what there is not much of is worn."""
    assert shorts(found(text)) == [expected]


# --- the same again ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Left front strut is leaking. Same on the right.",
            ["strut front left, front right defect [leaking]"],
        ),
        (
            "Left rear shock's leaking. Ditto the right rear.",
            ["shock rear left, rear right defect [leaking]"],
        ),
        (
            "Left front tire is worn, replace it. Same for the right front.",
            ["tyre front left, front right defect [worn] replace"],
        ),
        (
            "Left front strut is leaking. Same story on the other side.",
            ["strut front left, front right defect [leaking]"],
        ),
        (
            "Left front pads are worn. Same again right front.",
            ["brake_pads front left, front right defect [worn]"],
        ),
        (
            "Left front strut is leaking and the sway bar link is loose. Same on the right.",
            [
                "strut front left, front right defect [leaking]",
                "sway_bar_link front left, front right defect [loose]",
            ],
        ),
        (
            "Left front strut is leaking, same story on the other side.",
            ["strut front left, front right defect [leaking]"],
        ),
    ],
)
def test_the_same_again(found: Found, text: str, expected: list[str]) -> None:
    """What is told alike of both sides of an axle is one finding over both."""
    assert fulls(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Left front strut is leaking. At the same time the battery is dead.",
            ["battery defect", "strut front left defect"],
        ),
        ("Left front strut is leaking. Same shop as last time.", ["strut front left defect"]),
        ("Battery is dead. It's the same one as last year.", ["battery defect"]),
        ("Same old story. Left front strut is leaking.", ["strut front left defect"]),
        (
            "Left front strut is leaking. Windshield is cracked, same as before.",
            ["strut front left defect", "windscreen defect"],
        ),
    ],
)
def test_what_is_not_the_same_again(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


# --- corrections ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left front strut is leaking. No, sorry, the right front.", ["strut front right defect"]),
        ("Left front strut is leaking, no sorry, right.", ["strut front right defect"]),
        ("The left, I mean the right, tie rod end is loose.", ["tie_rod_end front right defect"]),
        ("Left rear shock is leaking. Correction, right rear.", ["shock rear right defect"]),
        ("Front pads are worn. Sorry, rear pads.", ["brake_pads rear defect"]),
        wrong(
            "Right outer tie rod is loose, wait, left outer tie rod.",
            ["tie_rod_end_outer front left defect"],
            "“wait” with the part said again does not correct the side",
        ),
    ],
)
def test_a_side_corrected(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left front pads are at three mil, no, make that two.", ["front left 2 mm"]),
        ("Front pads are four mil, sorry, five mil.", ["front 5 mm"]),
        ("Front pads four mil. I mean six.", ["front 6 mm"]),
        ("Left rear tire is at five thirty-seconds. Scratch that, four.", ["rear left 4 1/32 in"]),
        ("Battery is at twelve four, make that twelve two volts.", ["12.2 V"]),
        wrong(
            "Front pads are at three. Sorry, rear pads.",
            ["rear 3 mm"],
            "the side of the finding is corrected, that of its reading is not",
        ),
    ],
)
def test_a_number_corrected(found: Found, text: str, expected: list[str]) -> None:
    assert readings(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left front inner tie rod is loose, sorry, the outer.", ["tie_rod_end_outer front left defect"]),
        ("The left lower ball joint is loose, I mean the upper.", ["ball_joint_upper front left defect"]),
        wrong(
            "It's not the strut, it's the shock that's leaking.",
            ["shock defect"],
            "“it's not the …, it's the …” makes both fine instead of naming the faulty one",
        ),
        wrong(
            "It's the strut that's leaking, no, sorry, the shock.",
            ["shock defect"],
            "a part corrected to another kind of part keeps the first",
        ),
        wrong(
            "The alternator is noisy. No, it's the idler pulley.",
            ["idler_pulley defect"],
            "a part corrected to another kind of part keeps the first",
        ),
        wrong(
            "The oil pan gasket is leaking, actually no, it's the valve cover gasket.",
            ["valve_cover_gasket defect"],
            "a part corrected to another kind of part keeps the first",
        ),
    ],
)
def test_a_part_corrected(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Sorry, where was I. Left front strut is leaking.", ["strut front left defect"]),
        ("Left front strut is leaking. Sorry about the noise.", ["strut front left defect"]),
        ("No, the gasket is dry. Left front strut is leaking.", ["gasket ok", "strut front left defect"]),
        ("Left front strut is leaking. No play in the hub.", ["strut front left defect", "wheel_hub ok"]),
        (
            "Left front strut is leaking. Right front is dry.",
            ["strut front left defect", "strut front right ok"],
        ),
    ],
)
def test_what_corrects_nothing(found: Found, text: str, expected: list[str]) -> None:
    got = shorts(found(text))
    # the hub of a clause that follows a placed strut may take its place
    assert [g.replace("wheel_hub front left", "wheel_hub") for g in got] == expected


# --- taken back ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("The battery is dead. Scratch that.", []),
        ("The wipers are torn, never mind.", []),
        ("Pads are worn, replace them. Ignore that.", []),
        ("Rotors are scored. Scratch that, they're fine.", ["brake_rotor ok"]),
        ("Cabin filter is dirty. Forget the cabin filter, it was done last month.", []),
        ("Battery is dead. Left front strut is leaking. Scratch that.", ["battery defect"]),
    ],
)
def test_withdrawn(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Bumper has a scratch. Battery is dead.", ["battery defect"]),
        ("Don't forget the battery, it's dead.", ["battery defect"]),
        ("Never mind the noise. Battery is dead.", ["battery defect"]),
        ("Battery is dead. Forget it, I'll get the charger. Wipers are torn.", ["wiper_blade defect"]),
    ],
)
def test_what_is_not_withdrawn(found: Found, text: str, expected: list[str]) -> None:
    assert set(expected) <= set(shorts(found(text)))


# --- doubt ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("The left front hub might be noisy.", ["wheel_hub front left suspect"]),
        ("The water pump could be leaking.", ["water_pump suspect"]),
        ("Might be the rear main seal leaking.", ["rear_main_seal suspect"]),
        ("There's oil on the bellhousing, may well be the rear main seal.", ["rear_main_seal suspect"]),
        ("The rack is possibly leaking.", ["steering_rack suspect"]),
        ("The mount is maybe cracked.", ["mount suspect"]),
        wrong(
            "The starter might need replacing.",
            ["starter suspect"],
            "doubted advice makes a plain defect with a priced replacement",
        ),
        wrong(
            "The hub is noisy and might be loose.",
            ["wheel_hub defect"],
            "one doubted condition makes the plainly said one doubtful",
        ),
    ],
)
def test_doubt_makes_a_suspect(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("The left front hub is noisy.", ["wheel_hub front left defect"]),
        ("Might as well tell you, the battery is dead.", ["battery defect"]),
        ("Replace the pads whenever they might be in next. Pads are worn.", ["brake_pads defect"]),
        ("The hub is noisy. Might rain later.", ["wheel_hub defect"]),
        ("Water pump is leaking, maybe a cup a week.", ["water_pump defect"]),
    ],
)
def test_what_is_not_doubted(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


# --- not checked ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Didn't get to the cabin filter.", ["cabin_filter not_checked"]),
        ("I couldn't see the fuel filter.", ["fuel_filter not_checked"]),
        ("Spare tire not checked.", ["spare_tyre not_checked"]),
        ("Couldn't check the rear brakes, wheel lock key missing.", ["brakes rear not_checked"]),
        ("I haven't looked at the transmission fluid.", ["transmission_fluid not_checked"]),
        ("Rear pads weren't checked.", ["brake_pads rear not_checked"]),
    ],
)
def test_not_checked(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Checked the cabin filter, it's clean.", ["cabin_filter ok"]),
        ("I couldn't find anything wrong with the struts.", ["strut ok"]),
        ("Couldn't be better, the battery is good.", ["battery ok"]),
        ("Spare tire checked and good.", ["spare_tyre ok"]),
    ],
)
def test_what_was_checked(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


# --- except ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "All tires good except left rear is worn.",
            ["tyre front left, front right, rear right ok", "tyre rear left defect"],
        ),
        ("Everything's fine apart from the wipers, they're torn.", ["wiper_blade defect"]),
        (
            "All four brakes are fine, except the right rear caliper is seized.",
            ["brake_caliper rear right defect", "brakes front left, front right, rear left, rear right ok"],
        ),
        (
            "Control arm bushings are all good except the left front one is cracked.",
            ["control_arm_bushing front left defect", "control_arm_bushing ok"],
        ),
        (
            "All the tires are good except the left rear, that one's worn.",
            ["tyre front left, front right, rear right ok", "tyre rear left defect"],
        ),
        (
            "All the lights work except the left brake light.",
            ["brake_light rear left defect", "light ok"],
        ),
    ],
)
def test_exceptions(found: Found, text: str, expected: list[str]) -> None:
    got = shorts(found(text))
    # a whole list may keep the places that the exception leaves
    assert [
        g if not g.startswith("control_arm_bushing") or "defect" in g else "control_arm_bushing ok"
        for g in got
    ] == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Except for the noise, the hub is good.", ["wheel_hub ok"]),
        ("All four tires are good.", ["tyre front left, front right, rear left, rear right ok"]),
        (
            "All tires are good, and the left rear shock is leaking.",
            ["shock rear left defect", "tyre front left, front right, rear left, rear right ok"],
        ),
        ("Tires are good. Everything else is fine too.", ["tyre ok"]),
    ],
)
def test_no_exceptions(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


# --- a part of a part ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("The boot on the left outer tie rod end is torn.", ["tie_rod_end_boot front left defect"]),
        ("Torn boot on the right front cv axle.", ["cv_boot front right defect"]),
        ("The boot is torn on the left cv axle.", ["cv_boot front left defect"]),
        ("The bushing in the left front control arm is cracked.", ["control_arm_bushing front left defect"]),
        ("The gasket on the oil pan is leaking.", ["oil_pan_gasket defect"]),
        ("The boot at the rack is split.", ["steering_rack_boot defect"]),
    ],
)
def test_a_piece_is_named_by_its_whole(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "The left outer tie rod end is loose and the boot is fine.",
            ["tie_rod_end_boot front left ok", "tie_rod_end_outer front left defect"],
        ),
        ("The sticker on the windshield is faded, windshield is cracked.", ["windscreen defect"]),
        ("Pads on the front are worn.", ["brake_pads front defect"]),
        ("The belt is cracked on the left front tire shelf.", ["belt defect"]),
    ],
)
def test_a_whole_that_names_no_piece(found: Found, text: str, expected: list[str]) -> None:
    assert shorts(found(text)) == expected


# --- where it comes from and where it lands ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("The oil pan gasket is leaking onto the exhaust.", ["oil_pan_gasket defect [leaking]"]),
        ("Valve cover gasket is leaking onto the exhaust manifold.", ["valve_cover_gasket defect [leaking]"]),
        ("Water pump is leaking down onto the belt.", ["water_pump defect [leaking]"]),
        wrong(
            "Coolant is dripping onto the belt from the water pump.",
            ["water_pump defect [dripping]"],
            "the cue “dripping onto” covers the condition, so the leak is lost",
        ),
        (
            "Left cv boot is torn and slinging grease all over the control arm.",
            ["cv_boot front left defect [torn]"],
        ),
        (
            "Power steering hose is leaking, dripping on the subframe.",
            ["power_steering_hose defect [leaking]"],
        ),
        (
            "Brake fluid leaking from the left rear wheel cylinder onto the shoes.",
            ["wheel_cylinder rear left defect [leaking]"],
        ),
        wrong(
            "Oil's running down the block from the valve cover gasket.",
            ["valve_cover_gasket defect [leaking]"],
            "“running down … from” names no leak yet",
        ),
    ],
)
def test_what_leaks_not_what_gets_wet(found: Found, text: str, expected: list[str]) -> None:
    assert fulls(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("The exhaust manifold is cracked.", ["exhaust_manifold defect [cracked]"]),
        (
            "Oil pan gasket is leaking. Exhaust is blowing.",
            ["exhaust defect [exhaust_blowing]", "oil_pan_gasket defect [leaking]"],
        ),
        ("The control arm is bent.", ["control_arm defect [bent]"]),
    ],
)
def test_a_part_spoken_of_for_itself(found: Found, text: str, expected: list[str]) -> None:
    assert fulls(found(text)) == expected


# --- advice wider than the defect ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Left front strut is leaking, replace both.",
            ["strut front left defect [leaking] replace at front left, front right"],
        ),
        (
            "The right rear shock is leaking, recommend replacing both.",
            ["shock rear right defect [leaking] replace at rear left, rear right"],
        ),
        (
            "Right front caliper is seized, replace both front calipers.",
            ["brake_caliper front right defect [seized] replace at front left, front right"],
        ),
        (
            "Left front tire is worn, replace both fronts.",
            ["tyre front left defect [worn] replace at front left, front right"],
        ),
        wrong(
            "Right front tire is bald, replace all four.",
            ["tyre front right defect [bald] replace at front left, front right, rear left, rear right"],
            "“replace all four” after a corner does not widen the advice",
        ),
        (
            "Left front strut is leaking. Right front strut is dry. Replace them as a pair.",
            ["strut front left defect [leaking] replace at front left, front right", "strut front right ok"],
        ),
        (
            "Left front strut is leaking, right one is dry, replace both.",
            ["strut front left defect [leaking] replace at front left, front right", "strut front right ok"],
        ),
    ],
)
def test_replace_both(found: Found, text: str, expected: list[str]) -> None:
    assert fulls(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Left front wheel bearing is noisy, replace it.",
            ["wheel_bearing front left defect [noisy] replace"],
        ),
        (
            "Both front struts are leaking, replace both.",
            ["strut front left, front right defect [leaking] replace"],
        ),
        (
            "Left front strut is leaking, both rear shocks are dry.",
            ["shock rear left, rear right ok", "strut front left defect [leaking]"],
        ),
        ("The struts are fine, no need to replace them.", ["strut ok"]),
        (
            "Front pads and rotors are worn, replace both.",
            ["brake_pads front defect [worn] replace", "brake_rotor front defect [worn] replace"],
        ),
    ],
)
def test_advice_that_is_not_wider(found: Found, text: str, expected: list[str]) -> None:
    assert fulls(found(text)) == expected


# --- the remedy of what was just said ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "The left brake light is out, needs a bulb.",
            ["brake_light_bulb rear left defect [bulb_out] replace"],
        ),
        ("Right headlight is out. Needs a bulb.", ["headlamp_bulb front right defect [bulb_out] replace"]),
        ("License plate light is out, replace the bulb.", ["number_plate_bulb defect [bulb_out] replace"]),
        (
            "Left front caliper is sticking. Needs slide pins.",
            ["caliper_slide_pin front left defect [sticking] replace"],
        ),
        ("Serpentine belt is cracked, needs a new belt.", ["serpentine_belt defect [cracked] replace"]),
        ("Wipers are torn, needs wipers.", ["wiper_blade defect [torn] replace"]),
    ],
)
def test_a_remedy_joins_its_fault(found: Found, text: str, expected: list[str]) -> None:
    assert fulls(found(text)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Left front wheel is bent. Replace the battery.",
            ["battery defect replace", "wheel front left defect [bent]"],
        ),
        (
            "The left brake light is out. Left headlight needs a bulb.",
            ["brake_light rear left defect [bulb_out]", "headlamp_bulb front left defect replace"],
        ),
        (
            "Battery is dead. Wipers need replacing.",
            ["battery defect [wont_hold_charge]", "wiper_blade defect replace"],
        ),
        (
            "Left front wheel is bent. Right rear tire needs replacing.",
            ["tyre rear right defect replace", "wheel front left defect [bent]"],
        ),
    ],
)
def test_advice_on_something_else_stays_by_itself(found: Found, text: str, expected: list[str]) -> None:
    assert fulls(found(text)) == expected


# --- the whole ---


def test_findings_are_numbered_in_the_order_of_speech(found: Found) -> None:
    result = found("Battery is dead. Left front strut is leaking. Wipers are torn.")
    assert [(f.id, f.component.id) for f in result.findings] == [
        ("f1", "battery"),
        ("f2", "strut"),
        ("f3", "wiper_blade"),
    ]


def test_no_words_no_findings(workshop: Workshop) -> None:
    result = find(workshop, "mm hm")
    assert result.findings == ()
    assert [entry.kind for entry in result.ledger.entries] == ["talk"]


def test_a_carried_place_is_less_certain_than_a_said_one(found: Found) -> None:
    (said,) = found("Left front strut is leaking.").findings
    (carried,) = found("Left front. Strut is leaking.").findings
    assert said.certainty["positions"] > carried.certainty["positions"]


def test_a_finding_keeps_its_words(found: Found) -> None:
    (finding,) = found("Okay so the left front strut is leaking. It is Tuesday.").findings
    heard = " ".join(span.heard for span in finding.heard)
    assert "strut is leaking" in heard
    assert "Tuesday" not in heard


@pytest.mark.parametrize(
    "talk", ["I need a coffee.", "I need to grab a light.", "Somebody should sweep this floor."]
)
def test_talk_does_not_press_a_finding(found: Found, talk: str) -> None:
    (finding,) = found(f"Left front strut is leaking. {talk}").findings
    assert (finding.urgency, finding.action) == ("unstated", "none")


def test_a_finder_keeps_nothing_between_calls(found: Found) -> None:
    first = found("Strut is leaking.")
    found("Right rear. Shock is dry. Same on the left.")
    assert found("Strut is leaking.") == first
