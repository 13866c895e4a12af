"""What a technician says, and what it comes to: readable cases, each worked out by hand in its comments."""

from __future__ import annotations

from decimal import Decimal

import pytest
from estimate_kit import (
    codes,
    component,
    estimate,
    every_ask,
    finding,
    lexicon,
    line,
    lines,
    operation,
    part,
    shop,
)

from voicecheck.estimate import FixedScorer
from voicecheck.records import InputError, MarkupBand, Ref

D = Decimal


# -- one finding, one job ---


def test_front_pads() -> None:
    result = estimate(finding("f1", "brake_pads", "front", urgency="now"))
    (job,) = result.estimate.jobs
    labour, pads = job.lines
    assert (job.title, job.urgency) == ("Front brakes", "now")
    assert (labour.operation, labour.positions, labour.quantity, labour.unit) == (
        "replace", ("front",), D(1), "axle set",
    )  # fmt: skip
    assert (labour.catalogue, labour.hours, labour.unit_price, labour.amount) == (
        "B10", D("1.0"), D("120.00"), D("120.00"),
    )  # fmt: skip
    assert labour.arithmetic == "1 h × 120.00 = 120.00"
    assert (pads.unit_price, pads.amount) == (D("65.600"), D("65.60"))
    assert pads.arithmetic == "cost 41.00 × 1.6 = 65.60"
    assert labour.findings == pads.findings == ("f1",)
    assert job.subtotal == D("185.60")
    totals = result.estimate.totals
    assert (totals.labour, totals.parts, totals.sublet) == (D("120.00"), D("65.60"), D("0.00"))
    assert totals.supplies == D("6.00")  # 5 % of labour, under the cap
    assert totals.tax == D("5.41")  # 8.25 % of 65.60 = 5.412
    assert totals.total == D("197.01")
    assert totals.open_lines == 0
    assert list(every_ask(result)) == []


def test_numbers_are_written_without_the_zeros_of_their_sums() -> None:
    result = estimate(finding("f1", "tyre", "front left"), finding("f2", "brake_caliper", "front left"))
    tyre = next(x for x in lines(result, "labour") if x.catalogue == "W10")
    assert (str(tyre.hours), str(tyre.unit_price), str(tyre.quantity)) == ("0.2", "120.00", "1")


def test_no_finding_is_an_empty_estimate() -> None:
    result = estimate()
    assert result.estimate.jobs == ()
    assert result.estimate.totals.total == D("0.00")


def test_a_diagnosis_is_charged_at_its_own_rate() -> None:
    result = estimate(finding("f1", "master_cylinder", state="suspect", action="diagnose"))
    labour = line(result)
    assert (labour.operation, labour.name, labour.catalogue) == ("diagnose", "Brake diagnosis", "B90")
    assert labour.amount == D("112.00")  # 0.8 h × 140
    assert labour.component == Ref(id="master_cylinder", name="master cylinder")


def test_a_general_diagnosis_is_charged_once_for_its_system() -> None:
    result = estimate(
        finding("f1", "master_cylinder", state="suspect", action="diagnose"),
        finding("f2", "brake_hose", "front left", state="suspect", action="diagnose"),
    )
    assert [x.hours for x in lines(result)] == [D("0.8"), D(0)]
    assert "charged once for the system" in lines(result)[1].arithmetic
    assert result.estimate.totals.labour == D("112.00")


def test_a_diagnosis_that_no_one_sells_is_an_open_line() -> None:
    result = estimate(finding("f1", "starter", state="suspect", action="diagnose"))
    labour = line(result)
    assert (labour.amount, labour.catalogue, labour.unit_price) == (None, None, D("140.00"))
    assert codes(labour.asks) == ["not_in_catalogue"]
    assert result.estimate.totals.open_lines == 1


# -- what is no line ---


def test_what_might_be_wrong_is_not_priced_but_asked() -> None:
    result = estimate(finding("f1", "water_pump", state="suspect"))
    assert lines(result) == []
    (ask,) = result.findings[0].asks
    assert (ask.code, ask.field) == ("possible_only", "action")
    assert ask.message == (
        "Water pump: said as possible only, and replace was advised. Check first, or price it?"
    )


@pytest.mark.parametrize("state", ["ok", "not_checked"])
def test_advice_on_what_is_no_defect_is_asked(state: str) -> None:
    result = estimate(finding("f1", "battery", state=state, conditions=()))
    assert lines(result) == []
    assert codes(result.findings[0].asks) == ["advice_without_defect"]


@pytest.mark.parametrize("action", ["none", "monitor"])
@pytest.mark.parametrize("state", ["ok", "not_checked", "suspect"])
def test_what_needs_nothing_brings_neither_line_nor_question(state: str, action: str) -> None:
    result = estimate(finding("f1", "battery", state=state, action=action))
    assert lines(result) == []
    assert list(every_ask(result)) == []


def test_a_defect_without_advice_is_asked() -> None:
    result = estimate(finding("f1", "tie_rod_end_outer", "front right", action="none"))
    assert lines(result) == []
    (ask,) = result.findings[0].asks
    assert ask.code == "no_advice"
    assert ask.message == "Front right tie rod end outer: worn. Replace, repair, watch or leave it?"
    assert ask.choices == ("Replace", "Repair", "Watch", "Leave it")


def test_a_missing_part_without_advice_is_asked() -> None:
    result = estimate(finding("f1", "wiper_blade", "rear", state="missing", action="none", conditions=()))
    assert result.findings[0].asks[0].message == "Rear wiper blade: missing. Install or leave it?"


def test_a_defect_that_other_work_settles_is_not_asked_about() -> None:
    """The torn boot goes with the joint, and the other strut with its pair."""
    result = estimate(
        finding("f1", "tie_rod_end_boot", "front right", action="none"),
        finding("f2", "tie_rod_end_outer", "front right"),
        finding("f3", "strut", "front left", action_positions=("front left", "front right")),
        finding("f4", "strut", "front right", action="none"),
    )
    assert [f.asks for f in result.findings] == [(), (), (), ()]


def test_the_boot_on_the_other_side_is_still_asked_about() -> None:
    result = estimate(
        finding("f1", "tie_rod_end_boot", "front left", action="none"),
        finding("f2", "tie_rod_end_outer", "front right"),
    )
    assert codes(result.findings[0].asks) == ["no_advice"]


# -- how many, and where ---


@pytest.mark.parametrize(
    ("component_id", "positions", "quantity", "hours"),
    [
        ("wheel_cylinder", ["rear"], 2, "1.4"),
        ("wheel_cylinder", ["rear left"], 1, "0.7"),
        ("brake_pads", ["front"], 1, "1"),
        ("brake_pads", ["front", "rear"], 2, "2"),
        ("brake_pads", ["front left", "front right"], 1, "1"),
        ("brake_shoes", [], 1, "1.4"),  # only the rear axle has them
        ("tyre", ["front left", "rear left"], 2, "0.8"),
        ("tyre", ["front", "rear"], 4, "1.6"),
        ("tie_rod_end_outer", ["left"], 1, "0.7"),  # only the front axle has them
        ("brake_rotor", ["front"], 2, "1"),
        ("headlamp", ["left"], 1, "0.5"),
        ("headlamp", ["front left"], 1, "0.5"),
        ("headlamp", ["left", "right"], 2, "1"),
        ("battery", [], 1, "0.3"),
    ],
)
def test_quantity_counts_parts_and_axle_sets(
    component_id: str, positions: list[str], quantity: int, hours: str
) -> None:
    labour = line(estimate(finding("f1", component_id, *positions)))
    assert (labour.quantity, labour.hours) == (D(quantity), D(hours))
    assert list(labour.positions) == positions
    assert not {"side_not_said", "axle_not_said"} & set(codes(labour.asks))


def test_advice_that_reaches_further_than_the_defect_sets_the_scope() -> None:
    """ "Right one leaks, do both":"""
    result = estimate(
        finding("f1", "wheel_cylinder", "rear right", action_positions=("rear left", "rear right")),
        finding("f2", "wheel_cylinder", "rear left", state="ok", action="none", conditions=()),
    )
    labour = line(result)
    assert (labour.quantity, labour.positions, labour.findings) == (
        D(2),
        ("rear left", "rear right"),
        ("f1",),
    )


def test_a_side_that_was_not_said_is_asked_and_one_is_counted() -> None:
    labour = line(estimate(finding("f1", "tyre")))
    (ask,) = labour.asks
    assert (labour.quantity, ask.code, ask.field) == (D(1), "side_not_said", "positions")
    assert ask.choices == (
        "front left", "front right", "rear left", "rear right", "both front", "both rear",
    )  # fmt: skip


def test_an_axle_that_was_not_said_is_asked_and_one_is_counted() -> None:
    labour = line(estimate(finding("f1", "brake_hose", "left")))
    (ask,) = labour.asks
    assert (labour.quantity, ask.code, ask.choices) == (D(1), "axle_not_said", ("front left", "rear left"))


def test_a_side_left_open_by_an_axle_is_asked() -> None:
    labour = line(estimate(finding("f1", "headlamp", "front")))
    (ask,) = labour.asks
    assert (labour.quantity, ask.code, ask.choices) == (D(1), "side_not_said", ("left", "right"))


def test_two_sides_of_an_unsaid_axle_are_two_parts() -> None:
    labour = line(estimate(finding("f1", "brake_hose", "left", "right")))
    assert (labour.quantity, codes(labour.asks)) == (D(2), ["axle_not_said"])


def test_a_place_where_the_component_never_is_is_asked_about() -> None:
    labour = line(estimate(finding("f1", "wheel_cylinder", "front")))
    (ask,) = labour.asks
    assert (labour.quantity, ask.code) == (D(2), "place_unusual")
    assert ask.message == (
        "Wheel cylinder: front was said, and the term files have it at rear left and rear right only. "
        "Where is it?"
    )


def test_a_place_for_what_has_none_is_taken_as_said() -> None:
    labour = line(estimate(finding("f1", "radiator", "left")))
    assert (labour.positions, labour.asks) == (("left",), ())


def test_pads_of_an_unsaid_axle() -> None:
    labour = line(estimate(finding("f1", "brake_pads")))
    assert labour.quantity == D(1)
    assert labour.asks[0].choices == ("front", "rear", "both")


def test_a_place_in_which_the_component_may_but_need_not_be_is_not_asked_for() -> None:
    labour = line(estimate(finding("f1", "differential")))
    assert "side_not_said" not in codes(labour.asks)


def test_pads_on_one_side_make_one_axle_set_and_a_question() -> None:
    labour = line(estimate(finding("f1", "brake_pads", "front left", place=("inner",))))
    assert (labour.quantity, labour.positions, labour.place) == (D(1), ("front left",), ())
    assert codes(labour.asks) == ["axle_set"]


def test_one_of_a_pair_is_not_doubled_but_asked() -> None:
    result = estimate(finding("f1", "brake_rotor", "front left"))
    labour = line(result)
    (ask,) = labour.asks
    assert (labour.quantity, labour.hours, ask.code) == (D(1), D("0.5"), "pair_policy")
    assert ask.message == (
        "Brake rotor: as shop policy both sides of an axle are replaced, and only front left was named. "
        "Do front right as well?"
    )
    assert ask.choices == ("Add front right", "Only front left")
    assert line(result, "part").quantity == D(1)


def test_a_catalogue_row_by_the_axle_says_that_it_holds_both_sides() -> None:
    per_axle = operation(
        "B22", "brakes", "brake_rotor", "replace", "axle", "0.9", parts=(part("rotor", "60.00", "2"),)
    )
    result = estimate(finding("f1", "brake_rotor", "front left"), data=shop(per_axle, without=["B20"]))
    assert "those of both sides" in line(result).asks[0].message
    assert line(result, "part").quantity == D(2)


def test_the_row_that_the_scope_fills_is_chosen() -> None:
    per_axle = operation("B22", "brakes", "brake_rotor", "replace", "axle", "0.9")
    data = shop(per_axle)
    assert line(estimate(finding("f1", "brake_rotor", "front"), data=data)).catalogue == "B22"
    assert line(estimate(finding("f1", "brake_rotor", "front left"), data=data)).catalogue == "B20"


# -- the same work said more than once ---


def test_left_and_right_become_one_line() -> None:
    result = estimate(
        finding("f1", "brake_caliper", "front left"), finding("f2", "brake_caliper", "front right")
    )
    labour = line(result)
    assert (labour.quantity, labour.findings) == (D(2), ("f1", "f2"))
    assert labour.positions == ("front left", "front right")
    assert labour.asks == ()


def test_tyres_of_two_axles_become_one_line() -> None:
    result = estimate(finding("f1", "tyre", "front left"), finding("f2", "tyre", "rear left"))
    labour = line(result)
    assert (labour.quantity, labour.positions) == (D(2), ("front left", "rear left"))
    assert result.estimate.jobs[0].title == "Front and rear wheels and tires"


def test_pads_of_two_axles_stay_two_lines() -> None:
    result = estimate(finding("f1", "brake_pads", "front"), finding("f2", "brake_pads", "rear"))
    assert [(x.positions, x.quantity) for x in lines(result, "labour")] == [
        (("front",), D(1)), (("rear",), D(1)),
    ]  # fmt: skip
    assert [j.title for j in result.estimate.jobs] == ["Front brakes", "Rear brakes"]


def test_an_axle_said_twice_is_one_set() -> None:
    result = estimate(finding("f1", "brake_pads", "front left"), finding("f2", "brake_pads", "front right"))
    labour = line(result)
    assert (labour.quantity, labour.asks) == (D(1), ())


def test_a_wider_position_swallows_the_narrower() -> None:
    result = estimate(finding("f1", "tyre", "front left"), finding("f2", "tyre", "front"))
    assert (line(result).positions, line(result).quantity) == (("front",), D(2))


def test_different_urgency_is_a_different_line() -> None:
    result = estimate(
        finding("f1", "tyre", "front left", urgency="later"),
        finding("f2", "tyre", "front right", urgency="now"),
    )
    assert [(j.urgency, j.lines[0].positions) for j in result.estimate.jobs] == [
        ("now", ("front right",)), ("later", ("front left",)),
    ]  # fmt: skip


def test_the_same_part_is_not_sold_at_two_urgencies() -> None:
    """ "Front tyres today, all four before winter": four tyres, not six."""
    result = estimate(
        finding("f1", "tyre", "front", urgency="now"), finding("f2", "tyre", "front", "rear", urgency="soon")
    )
    now, soon = lines(result, "labour")
    assert (now.quantity, soon.quantity) == (D(2), D(2))
    assert soon.positions == ("rear left", "rear right")
    assert soon.why == "Without front left and front right, which another line covers."


def test_an_unsaid_side_is_not_taken_for_one_that_was_said() -> None:
    result = estimate(finding("f1", "tyre"), finding("f2", "tyre", "front left"))
    assert len(lines(result, "labour")) == 2


def test_replacing_and_repairing_the_same_part_is_asked() -> None:
    result = estimate(
        finding("f1", "brake_rotor", "front"), finding("f2", "brake_rotor", "front", action="resurface")
    )
    sublet = line(result, "sublet")
    assert codes(sublet.asks) == ["two_actions"]
    assert (
        sublet.asks[0].message
        == "Both resurface and replace were advised for the front brake rotor; which one?"
    )


# -- the catalogue ---


def test_a_more_general_row_serves_without_a_question() -> None:
    labour = line(estimate(finding("f1", "tie_rod_end_outer", "front left"), data=shop(without=["S90"])))
    assert (labour.catalogue, labour.asks) == ("S10", ())
    assert labour.component == Ref(id="tie_rod_end_outer", name="tie rod end outer")


def test_the_other_hose_is_offered_and_never_used() -> None:
    """However alike the names: an operation for another known component is another part."""
    result = estimate(
        finding("f1", "radiator_hose_lower"),
        scorer=FixedScorer({("radiator hose lower", "radiator hose upper"): 97.0}),
    )
    labour = line(result)
    assert (labour.catalogue, labour.amount, labour.hours) == (None, None, None)
    assert codes(labour.asks) == ["not_in_catalogue"]
    assert [(c.code, c.score) for c in labour.candidates] == [("C30", 97.0)]
    assert result.estimate.totals.open_lines == 1


@pytest.mark.parametrize(
    ("best", "second", "used"),
    [(90.0, 80.0, True), (85.0, 75.0, True), (84.9, 10.0, False), (95.0, 85.1, False)],
)
def test_a_name_is_used_only_when_alike_and_alone_and_then_asked(
    best: float, second: float, used: bool
) -> None:
    rows = [
        operation("X1", "exhaust", "unknown_a", "replace", "each", "0.8", name="silencer"),
        operation("X2", "exhaust", "unknown_b", "replace", "each", "0.8", name="silencer strap"),
    ]
    scorer = FixedScorer({("muffler", "silencer"): best, ("muffler", "silencer strap"): second})
    labour = line(estimate(finding("f1", "muffler"), data=shop(*rows), scorer=scorer))
    assert labour.catalogue == ("X1" if used else None)
    assert codes(labour.asks) == (["catalogue_match"] if used else ["not_in_catalogue"])
    assert "X2" in [c.code for c in labour.candidates] or second < 50


def test_the_real_scorer_on_a_catalogue_with_names_of_its_own() -> None:
    rows = [
        operation("X1", "exhaust", "own_1", "replace", "each", "0.8", name="Replace rear muffler"),
        operation("X2", "exhaust", "own_2", "replace", "each", "0.3", name="Replace exhaust hanger"),
    ]
    labour = line(estimate(finding("f1", "muffler"), data=shop(*rows)))
    assert labour.catalogue == "X1"
    assert codes(labour.asks) == ["catalogue_match"]


def test_two_names_equally_alike_are_left_to_the_advisor() -> None:
    rows = [
        operation("X1", "exhaust", "own_1", "replace", "each", "0.8", name="Replace muffler, left"),
        operation("X2", "exhaust", "own_2", "replace", "each", "0.8", name="Replace muffler, right"),
    ]
    labour = line(estimate(finding("f1", "muffler"), data=shop(*rows)))
    assert labour.catalogue is None
    assert {c.code for c in labour.candidates} == {"X1", "X2"}


def test_a_missing_part_is_put_in_by_the_row_for_replacing_and_asked() -> None:
    labour = line(estimate(finding("f1", "battery", state="missing", action="install", conditions=())))
    assert (labour.catalogue, labour.operation) == ("E10", "install")
    assert codes(labour.asks) == ["catalogue_match"]


def test_two_rows_for_the_same_work_are_asked_about() -> None:
    twin = operation(
        "E12", "electrical", "battery", "replace", "vehicle", "0.8", name="Replace battery in boot"
    )
    labour = line(estimate(finding("f1", "battery"), data=shop(twin)))
    assert (labour.catalogue, codes(labour.asks)) == ("E10", ["catalogue_choice"])
    assert [c.code for c in labour.candidates] == ["E12"]


def test_a_component_that_the_term_files_lack_is_named() -> None:
    with pytest.raises(InputError, match="Finding f1 is about “flux_capacitor”"):
        estimate(finding("f1", "flux_capacitor"))


def test_findings_with_one_id_are_refused() -> None:
    with pytest.raises(ValueError, match="more than one finding has the id f1"):
        estimate(finding("f1", "battery"), finding("f1", "radiator"))


# -- prices ---


def test_an_unknown_price_is_open_and_never_zero() -> None:
    result = estimate(finding("f1", "wheel_cylinder", "rear"))
    cylinder = line(result, "part")
    assert (cylinder.quantity, cylinder.unit_price, cylinder.amount) == (D(2), None, None)
    assert codes(cylinder.asks) == ["price_open"]
    totals = result.estimate.totals
    assert (totals.open_lines, totals.parts, totals.labour) == (1, D("0.00"), D("168.00"))


def test_markup_goes_by_band_and_fluids_by_the_litre() -> None:
    result = estimate(finding("f1", "brake_caliper", "front"))
    caliper, fluid = line(result, "part"), line(result, "fluid")
    assert caliper.arithmetic == "cost 120.00 × 1.4 = 168.00; 2 × 168.00 = 336.00"
    assert (fluid.quantity, fluid.unit, fluid.amount) == (D("1.0"), "L", D("19.20"))
    assert fluid.arithmetic == "cost 12.00 × 1.6 = 19.20"
    assert fluid.why == "Goes with “Replace brake caliper”."


def test_a_cost_at_the_edge_of_a_band_belongs_to_it() -> None:
    edge = operation("M1", "exhaust", "muffler", "replace", "each", "0.5", parts=(part("muffler", "50.00"),))
    assert line(estimate(finding("f1", "muffler"), data=shop(edge)), "part").amount == D("80.00")


def test_a_cost_beyond_every_band_is_open() -> None:
    data = shop(markup=(MarkupBand(up_to=D(100), factor=D(2)),))
    battery = line(estimate(finding("f1", "battery"), data=data), "part")
    assert (battery.amount, codes(battery.asks)) == (None, ["price_open"])
    assert "no markup band" in battery.asks[0].message


def test_without_bands_the_price_is_the_price() -> None:
    battery = line(estimate(finding("f1", "battery"), data=shop(markup=())), "part")
    assert (battery.amount, battery.arithmetic) == (D("110.00"), "price 110.00")


def test_rounding_happens_once_on_the_line_and_is_said() -> None:
    odd = operation("M1", "exhaust", "muffler", "replace", "each", "0.5", parts=(part("clamp", "1.33", "3"),))
    clamps = line(estimate(finding("f1", "muffler"), data=shop(odd)), "part")
    # 1.33 × 1.6 = 2.128, three of them 6.384; rounding each first would give 6.39
    assert (clamps.unit_price, clamps.amount) == (D("2.128"), D("6.38"))
    assert clamps.arithmetic == "cost 1.33 × 1.6 = 2.128; 3 × 2.128 = 6.384, rounded to 6.38"


def test_sublet_work_carries_its_own_markup() -> None:
    result = estimate(finding("f1", "brake_rotor", "front", action="resurface"))
    sublet = line(result, "sublet")
    assert (sublet.unit_price, sublet.amount) == (D("23.0000"), D("46.00"))
    assert sublet.arithmetic == "cost 20.00 + 15 % = 23.00; 2 × 23.00 = 46.00"
    assert result.estimate.totals.sublet == D("46.00")
    assert lines(result, "labour") == []


def test_sublet_work_without_a_price_is_open() -> None:
    sublet = line(estimate(finding("f1", "starter", action="repair")), "sublet")
    assert (sublet.amount, codes(sublet.asks)) == (None, ["price_open"])


def test_what_is_said_to_be_sent_out_is_not_charged_at_the_shops_hours() -> None:
    result = estimate(finding("f1", "radiator", sublet=True))
    (sublet,) = lines(result)
    assert (sublet.kind, sublet.amount, sublet.hours, sublet.catalogue) == ("sublet", None, None, "C10")
    assert codes(sublet.asks) == ["price_open"]


def test_a_fixed_price_is_the_price() -> None:
    labour = line(estimate(finding("f1", "battery", action="service")))
    assert (labour.hours, labour.amount) == (None, D("29.00"))
    assert labour.arithmetic == "Fixed price 29.00 × 1 = 29.00"


def test_supplies_stop_at_their_cap_and_tax_covers_what_the_profile_names() -> None:
    data = shop(taxed=("labour", "part", "fluid", "supplies"), tax_percent=D(20))
    totals = estimate(finding("f1", "radiator"), finding("f2", "water_pump"), data=data).estimate.totals
    # hours 2.0 + 2.5 − 0.4 shared = 4.1 → 492.00, of which 5 % = 24.60 is under the cap of 30
    assert (totals.labour, totals.supplies) == (D("492.00"), D("24.60"))
    # radiator 150 × 1.4 = 210, coolant 6 × 8 = 48, pump 70 × 1.4 = 98
    assert totals.parts == D("356.00")
    assert totals.tax == D("174.52")  # 20 % of 872.60
    assert totals.total == D("1047.12")
    capped = estimate(finding("f1", "tyre", "front", "rear"), finding("f2", "radiator"),
                      finding("f3", "water_pump"), data=data)  # fmt: skip
    assert capped.estimate.totals.supplies == D("30.00")


def test_a_price_profile_of_another_market_is_asked_about() -> None:
    result = estimate(finding("f1", "battery"), market="UK")
    assert codes(result.asks) == ["market_differs"]


def test_the_market_spells_the_title() -> None:
    data = shop(market="UK", currency="GBP")
    result = estimate(finding("f1", "tyre", "front left"), data=data, market="UK")
    assert (result.estimate.jobs[0].title, result.asks) == ("Front wheels and tyres", ())


# -- labour that is charged once ---


def test_one_wheel_comes_off_once() -> None:
    result = estimate(finding("f1", "tyre", "front left"), finding("f2", "brake_caliper", "front left"))
    caliper, tyre = sorted(lines(result, "labour"), key=lambda x: x.catalogue or "")
    assert (caliper.hours, tyre.hours) == (D("0.9"), D("0.2"))
    assert tyre.arithmetic == (
        "0.4 h, less 0.2 h for wheel off, front left, already in “Replace brake caliper” = 0.2 h; "
        "0.2 h × 120.00 = 24.00"
    )


def test_another_wheel_comes_off_for_itself() -> None:
    result = estimate(finding("f1", "tyre", "front right"), finding("f2", "brake_caliper", "front left"))
    assert sum((x.hours or D(0)) for x in lines(result, "labour")) == D("1.3")


def test_an_axle_opens_both_of_its_corners() -> None:
    """Pads: 1.0 h with 0.4 h for two wheels; each tyre saves the 0.2 h of its wheel."""
    result = estimate(finding("f1", "brake_pads", "front"), finding("f2", "tyre", "front", "rear"))
    pads, tyres = sorted(lines(result, "labour"), key=lambda x: x.catalogue or "")
    assert (pads.hours, tyres.hours) == (D("1.0"), D("1.2"))
    assert "less 0.4 h for wheel off, front left and front right" in tyres.arithmetic


def test_the_more_urgent_job_pays_for_what_is_shared() -> None:
    """All that is agreed to is one visit: the later job finds the system drained, whatever its code."""
    result = estimate(finding("f1", "radiator", urgency="later"), finding("f2", "water_pump", urgency="now"))
    assert [(x.catalogue, x.hours) for x in lines(result, "labour")] == [("C20", D("2.5")), ("C10", D("1.6"))]


def test_three_that_share_a_step_pay_for_it_once() -> None:
    result = estimate(
        finding("f1", "radiator"), finding("f2", "water_pump"), finding("f3", "radiator_hose_upper")
    )
    assert [x.hours for x in lines(result, "labour")] == [D("2.0"), D("2.1"), D("0.2")]


def test_what_another_operation_includes_costs_nothing_more_but_its_parts() -> None:
    result = estimate(finding("f1", "strut_mount", "front left"), finding("f2", "strut", "front left"))
    mount, strut = lines(result, "labour")
    assert (mount.hours, mount.amount, strut.hours) == (D("0.0"), D("0.00"), D("1.5"))
    assert mount.arithmetic.startswith("1.2 h, less 1.2 h that is part of “Replace strut” = 0 h")
    assert [x.amount for x in lines(result, "part")] == [D("32.00"), D("112.00")]


def test_included_work_on_the_other_side_is_charged() -> None:
    result = estimate(finding("f1", "strut_mount", "front"), finding("f2", "strut", "front left"))
    mount, strut = lines(result, "labour")
    assert (mount.hours, strut.hours) == (D("1.2"), D("1.5"))


def test_never_less_than_the_longest_operation() -> None:
    """A row that claims to include more hours than it has takes over no more than its own."""
    short = operation("U10", "suspension", "strut", "replace", "each", "0.5", includes=("U11",))
    result = estimate(
        finding("f1", "strut_mount", "front left"),
        finding("f2", "strut", "front left"),
        data=shop(short, without=["U10"]),
    )
    assert sum((x.hours or D(0)) for x in lines(result, "labour")) == D("1.2")


def test_rows_that_include_each_other_are_both_charged() -> None:
    rows = [
        operation("U10", "suspension", "strut", "replace", "each", "1.5", includes=("U11",)),
        operation("U11", "suspension", "strut_mount", "replace", "each", "1.2", includes=("U10",)),
    ]
    result = estimate(
        finding("f1", "strut_mount", "front left"),
        finding("f2", "strut", "front left"),
        data=shop(*rows, without=["U10", "U11"]),
    )
    assert [x.hours for x in lines(result, "labour")] == [D("1.2"), D("1.5")]


def test_work_inside_a_fixed_price_is_asked_about() -> None:
    fixed = operation(
        "U10", "suspension", "strut", "replace", "each", None, price=D("300.00"), includes=("U11",)
    )
    result = estimate(
        finding("f1", "strut_mount", "front left"),
        finding("f2", "strut", "front left", "front right"),
        data=shop(fixed, without=["U10"]),
    )
    mount = lines(result, "labour")[0]
    assert (mount.hours, codes(mount.asks)) == (D("1.2"), ["charge_again"])


def test_a_per_vehicle_row_for_two_parts_is_asked_about() -> None:
    general = component("hose", "cooling")
    one = component("hose_a", "cooling", kind_of="hose")
    two = component("hose_b", "cooling", kind_of="hose")
    row = operation("C50", "cooling", "hose", "replace", "vehicle", "0.5")
    result = estimate(
        finding("f1", "hose_a"), finding("f2", "hose_b"), data=shop(row), lexicon=lexicon(general, one, two)
    )
    assert [codes(x.asks) for x in lines(result)] == [[], ["charge_again"]]


# -- jobs ---


def test_jobs_come_in_order_of_urgency_and_as_said() -> None:
    result = estimate(
        finding("f1", "battery", urgency="later"),
        finding("f2", "radiator"),
        finding("f3", "brake_shoes", urgency="soon"),
        finding("f10", "headlamp", "left", urgency="now"),
        finding("f9", "tyre", "rear left", urgency="now"),
    )
    assert [(j.urgency, j.title) for j in result.estimate.jobs] == [
        ("now", "Rear wheels and tires"),
        ("now", "Lighting"),
        ("soon", "Rear brakes"),
        ("unstated", "Cooling system"),
        ("later", "Electrical system"),
    ]


def test_one_axle_of_one_system_is_one_job() -> None:
    result = estimate(
        finding("f1", "brake_pads", "front", urgency="now"),
        finding("f2", "brake_rotor", "front", urgency="now"),
        finding("f3", "brake_shoes", urgency="now"),
    )
    assert [(j.title, len(j.lines)) for j in result.estimate.jobs] == [
        ("Front brakes", 4),
        ("Rear brakes", 2),
    ]


def test_what_is_to_be_done_together_is_one_job_at_its_most_urgent() -> None:
    result = estimate(
        finding("f1", "radiator", urgency="now"),
        finding("f2", "battery", urgency="later", done_with="f1"),
        finding("f3", "headlamp", "left", urgency="later"),
    )
    together, apart = result.estimate.jobs
    assert (together.title, together.urgency) == ("Cooling system and electrical system", "now")
    assert [x.name for x in together.lines if x.kind == "labour"] == ["Replace radiator", "Replace battery"]
    assert (apart.title, apart.urgency) == ("Lighting", "later")


def test_a_condition_keeps_its_own_job() -> None:
    result = estimate(
        finding("f1", "brake_pads", "front", urgency="soon"),
        finding(
            "f2", "brake_rotor", "front", urgency="soon", only_if="if they are keeping it", done_with="f1"
        ),
    )
    assert [(j.title, j.only_if) for j in result.estimate.jobs] == [
        ("Front brakes", ""), ("Front brakes", "if they are keeping it"),
    ]  # fmt: skip


def test_an_open_line_is_in_its_job_and_in_no_sum() -> None:
    result = estimate(finding("f1", "muffler"))
    (job,) = result.estimate.jobs
    assert (job.title, job.subtotal, result.estimate.totals.open_lines) == ("Exhaust", D("0.00"), 1)
    assert job.lines[0].name == "Replace muffler"


# -- fluids ---


def test_one_cooling_system_filled_twice_is_asked_about() -> None:
    coolant = part("coolant", "5.00", "6", "L", "fluid")
    pump = operation(
        "C21", "cooling", "water_pump", "replace", "vehicle", "2.5",
        shares=("coolant drained",), shared_hours=D("0.4"), parts=(coolant,),
    )  # fmt: skip
    data = shop(pump, without=["C20"])
    result = estimate(finding("f1", "radiator"), finding("f2", "water_pump"), data=data)
    first, second = lines(result, "fluid")
    assert (codes(first.asks), codes(second.asks)) == ([], ["fluid_twice"])
    assert (
        second.asks[0].message
        == "Coolant is already on the draft with “Replace radiator”: is it filled once?"
    )
    assert first.amount == second.amount == D("48.00")
    result = estimate(
        finding("f1", "radiator"), finding("f2", "water_pump", urgency="later"),
        data=data, put_off=frozenset({"f2:C21:labour"}),
    )  # fmt: skip
    assert [codes(x.asks) for x in lines(result, "fluid")] == [[], []], "on another day it is filled again"


# -- what usually follows ---


def test_a_follow_on_is_asked_once_and_not_added() -> None:
    result = estimate(finding("f1", "tie_rod_end_outer", "front left"), finding("f2", "strut", "front"))
    asks = [a for x in lines(result) for a in x.asks]
    assert codes(asks) == ["follow_on"]
    assert asks[0].message == (
        "“Wheel alignment” (S90) usually follows “Replace tie rod end” and “Replace strut”: add it?"
    )
    assert "S90" not in [x.catalogue for x in lines(result)]


def test_a_follow_on_that_was_advised_anyway_is_not_asked() -> None:
    result = estimate(
        finding("f1", "tie_rod_end_outer", "front left"), finding("f2", "wheel_alignment", action="adjust")
    )
    assert [codes(x.asks) for x in lines(result, "labour")] == [[], []]
