"""Sets, follow-ons and conclusions as shop policy: added, asked or neither, each with its reason."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from estimate_kit import (
    codes,
    component,
    estimate,
    finding,
    lexicon,
    lines,
    operation,
    part,
    reading,
    shop,
    span,
)
from hypothesis import given, settings
from recompute_kit import Again
from test_estimate_properties import some_findings

from voicecheck.estimate import EstimateResult
from voicecheck.records import (
    Conclusion,
    Finding,
    FollowOn,
    Line,
    PartUse,
    Policies,
    Ref,
    Scope,
    SetPolicy,
    ShopData,
)

D = Decimal
BALANCE = "So that the car brakes straight."
FLUID = operation("B60", "brakes", "brake_fluid", "service", "vehicle", "0.5", name="Change brake fluid",
                  parts=(part("brake fluid", "11.00", "1", "L", "fluid"),))  # fmt: skip
MORE = lexicon(component("brake_fluid", "brakes"), component("brake_hardware", "brakes", "axles"))


def with_policies(*more: Any, **policies: Any) -> ShopData:
    return shop(*more).model_copy(update={"policies": Policies.model_validate(policies)})


def rotors(by: str) -> SetPolicy:
    scope = Scope(components=("brake_rotor",), actions=("replace",))
    return SetPolicy.model_validate({"id": "r", "work": scope, "by": by, "says": BALANCE})


def alignment(mode: str, **after: Any) -> FollowOn:
    scope = Scope.model_validate(after or {"systems": ("steering",), "actions": ("replace",)})
    return FollowOn.model_validate(
        {"id": "a", "after": scope, "component": "wheel_alignment", "action": "adjust", "mode": mode,
         "says": "What was loosened there sets the wheels' angles."}
    )  # fmt: skip


def fluid(mode: str) -> FollowOn:
    return FollowOn.model_validate(
        {"id": "f", "after": Scope(components=("brake_caliper", "brake_hose")), "component": "brake_fluid",
         "action": "service", "mode": mode, "says": "The hydraulics are opened."}
    )  # fmt: skip


def labour(result: EstimateResult) -> list[Line]:
    return lines(result, "labour")


# -- sets ---


def test_one_side_is_asked_about_with_the_shops_reason() -> None:
    result = estimate(finding("f1", "brake_rotor", "front left"), data=with_policies(sets=(rotors("ask"),)))
    (ask,) = labour(result)[0].asks
    assert ask.code == "pair_policy"
    assert ask.message == (f"Brake rotor: only front left was named. {BALANCE} Do front right as well?")


def test_by_axle_the_other_side_is_added_and_says_who_wants_it() -> None:
    result = estimate(finding("f1", "brake_rotor", "front left"), data=with_policies(sets=(rotors("axle"),)))
    (job,) = result.estimate.jobs
    said, other = labour(result)
    assert (said.positions, said.asked_by, said.why) == (("front left",), "technician", "")
    assert (other.positions, other.asked_by, other.why) == (("front right",), "policy", BALANCE)
    assert (said.id, other.id) == ("f1:B20:labour", "f1:policy:B20:labour")
    assert other.findings == ("f1",)
    assert codes(said.asks) == codes(other.asks) == []
    assert len(job.lines) == 4, "each side with its part, in one job"


def test_by_axle_adds_nothing_where_the_row_counts_axles_or_the_other_side_was_said() -> None:
    row = operation("B20", "brakes", "brake_rotor", "replace", "axle", "0.9")
    data = with_policies(sets=(rotors("axle"),))
    whole = data.model_copy(update={"catalogue": shop(row, without=["B20"]).catalogue})
    assert [x.quantity for x in labour(estimate(finding("f1", "brake_rotor", "front left"), data=whole))] == [
        1
    ]
    both = estimate(
        finding("f1", "brake_rotor", "front left"), finding("f2", "brake_rotor", "front right"), data=data
    )
    assert [x.quantity for x in labour(both)] == [2]


def test_by_side_nothing_is_asked() -> None:
    result = estimate(finding("f1", "brake_rotor", "front left"), data=with_policies(sets=(rotors("side"),)))
    assert [codes(x.asks) for x in labour(result)] == [[]]


def test_a_policy_may_ask_about_parts_that_come_one_by_one() -> None:
    rule = SetPolicy(id="t", work=Scope(components=("tyre",)), by="ask", says="Both tyres of an axle match.")
    result = estimate(finding("f1", "tyre", "rear left"), data=with_policies(sets=(rule,)))
    assert codes(labour(result)[0].asks) == ["pair_policy"]


# -- what follows ---

TIE_ROD = finding("f1", "tie_rod_end_outer", "front left", urgency="soon")


def test_asked_by_default_with_the_reason() -> None:
    result = estimate(TIE_ROD, data=with_policies(follow_ons=(alignment("ask"),)))
    (ask,) = labour(result)[0].asks
    assert ask.message == (
        "“Wheel alignment” (S90) usually follows “Replace tie rod end”: add it? "
        "What was loosened there sets the wheels' angles."
    )


def test_added_where_the_policy_says_so() -> None:
    struts = finding("f2", "strut", "front", urgency="now")
    data = with_policies(
        follow_ons=(alignment("add", systems=("steering", "suspension"), actions=("replace",)),)
    )
    result = estimate(TIE_ROD, struts, data=data)
    (added,) = [x for x in labour(result) if x.asked_by == "policy"]
    assert (added.id, added.catalogue, added.hours) == ("f1:policy:S90:labour", "S90", D("1.0"))
    assert added.why == "What was loosened there sets the wheels' angles."
    assert added.findings == ("f1", "f2")
    assert [a for x in labour(result) for a in x.asks] == []
    steering = next(j for j in result.estimate.jobs if added in j.lines)
    assert (steering.title, steering.urgency) == ("Front steering", "soon"), "with the work that it follows"


def test_off_silences_the_catalogue_too_but_only_for_its_own_causes() -> None:
    data = with_policies(follow_ons=(alignment("off"),))
    assert [codes(x.asks) for x in labour(estimate(TIE_ROD, data=data))] == [[]]
    struts = estimate(TIE_ROD, finding("f2", "strut", "front"), data=data)
    assert [codes(x.asks) for x in labour(struts)] == [[], ["follow_on"]]


@pytest.mark.parametrize("mode", ["ask", "add"])
def test_what_was_said_anyway_is_neither_asked_nor_added(mode: str) -> None:
    said = finding("f2", "wheel_alignment", action="adjust")
    result = estimate(TIE_ROD, said, data=with_policies(follow_ons=(alignment(mode),)))
    assert [(x.asked_by, codes(x.asks)) for x in labour(result)] == [("technician", [])] * 2


def test_the_catalogues_own_follow_ons_have_a_mode() -> None:
    added = estimate(TIE_ROD, data=with_policies(catalogue_follow_ons="add"))
    assert [(x.catalogue, x.asked_by) for x in labour(added)] == [("S10", "technician"), ("S90", "catalogue")]
    assert labour(added)[1].why == "The catalogue names it as following “Replace tie rod end”."
    off = estimate(TIE_ROD, data=with_policies(catalogue_follow_ons="off"))
    assert [codes(x.asks) for x in labour(off)] == [[]]


def test_a_fluid_that_the_row_brings_itself_is_not_asked_for() -> None:
    """The caliper's row has brake fluid, the hose's has none."""
    data = with_policies(FLUID, follow_ons=(fluid("ask"),))
    assert codes(
        labour(estimate(finding("f1", "brake_hose", "rear left"), data=data, lexicon=MORE))[0].asks
    ) == ["follow_on"]
    caliper = estimate(finding("f1", "brake_caliper", "front left", "front right"), data=data, lexicon=MORE)
    assert codes(labour(caliper)[0].asks) == []


def test_work_that_the_catalogue_lacks_is_added_open() -> None:
    data = with_policies(follow_ons=(fluid("add"),))
    result = estimate(finding("f1", "brake_hose", "rear left"), data=data, lexicon=MORE)
    assert [(x.name, x.amount) for x in labour(result)][1] == ("Service brake fluid", None)
    assert result.estimate.totals.open_lines == 1


def test_a_part_comes_with_the_work_unless_its_row_has_it() -> None:
    def kit(mode: str, name: str = "fitting kit") -> FollowOn:
        use = PartUse(name=name, kind="part", quantity=D(1), unit="kit", price=D("9.50"))
        return FollowOn.model_validate(
            {"id": name, "after": Scope(components=("brake_pads",)), "part": use, "mode": mode,
             "says": "Clips are renewed."}
        )  # fmt: skip

    pads = finding("f1", "brake_pads", "front", "rear")
    added = estimate(pads, data=with_policies(follow_ons=(kit("add"), kit("add", "Brake pads, axle set"))))
    own, clips = lines(added, "part")
    assert (clips.name, clips.quantity, clips.amount) == ("fitting kit", D(2), D("30.40"))  # 2 × 9.50 × 1.6
    assert (clips.asked_by, clips.why, own.asked_by) == ("policy", "Clips are renewed.", "catalogue")
    asked = estimate(pads, data=with_policies(follow_ons=(kit("ask"),)))
    assert (
        labour(asked)[0].asks[0].message == "Fitting kit usually goes with this: add it? Clips are renewed."
    )


def test_a_fee_is_such_a_part() -> None:
    use = PartUse(name="coolant disposal", kind="fee", quantity=D(1), unit="each", price=D("4.00"))
    rule = FollowOn(id="w", after=Scope(systems=("cooling",)), part=use, mode="add", says="It is handed in.")
    result = estimate(finding("f1", "radiator"), data=with_policies(follow_ons=(rule,)))
    (fee,) = lines(result, "fee")
    assert (fee.amount, fee.asked_by, result.estimate.totals.fees) == (D("4.00"), "policy", D("4.00"))


def test_what_comes_with_a_job_is_put_off_with_it() -> None:
    data = with_policies(follow_ons=(alignment("add"),))
    result = estimate(TIE_ROD, data=data, put_off=frozenset({"f1:S10:labour"}))
    assert [(j.put_off, len(j.lines)) for j in result.estimate.jobs] == [(True, 3)]
    assert result.estimate.totals.total == D("0.00")


# -- what a condition means ---

NOT_MACHINED = Conclusion(
    id="m", components=("brake_rotor",), conditions=("below_minimum", "beyond_limit"),
    not_enough=("none", "monitor", "resurface"), instead="replace",
    says="Below its minimum it is not machined.",
)  # fmt: skip


def below(action: str) -> Finding:
    worn = (Ref(id="below_minimum", name="below minimum"),)
    return finding("f1", "brake_rotor", "front", action=action, conditions=worn)


def test_machining_what_is_below_its_minimum_is_asked_about() -> None:
    result = estimate(below("resurface"), data=with_policies(conclusions=(NOT_MACHINED,)))
    (ask,) = result.findings[0].asks
    assert ask.code == "condition_vs_advice"
    assert ask.message == (
        "Front brake rotor: below minimum, and the advice was to resurface it. "
        "Below its minimum it is not machined. Replace brake rotor?"
    )
    assert len(lines(result, "sublet")) == 1, "the line stands until someone answers"


def test_replacing_it_is_what_it_needs() -> None:
    result = estimate(below("replace"), data=with_policies(conclusions=(NOT_MACHINED,)))
    assert result.findings[0].asks == ()


def test_without_advice_the_rule_is_the_first_choice() -> None:
    result = estimate(below("none"), data=with_policies(conclusions=(NOT_MACHINED,)))
    (ask,) = result.findings[0].asks
    assert (ask.code, ask.choices[0]) == ("no_advice", "Replace brake rotor")
    assert "Below its minimum it is not machined." in ask.message


def test_a_reading_beyond_its_limit_counts_as_a_condition() -> None:
    item = finding(
        "f1", "brake_rotor", "front left", action="resurface", conditions=(),
        measures=(reading("rotor_thickness", "21.4", "mm"),),
        limits_said=(reading("rotor_thickness", "22", "mm"),), heard=(span("minimum is 22"),),
    )  # fmt: skip
    result = estimate(item, data=with_policies(conclusions=(NOT_MACHINED,)))
    assert codes(result.findings[0].asks) == ["condition_vs_advice"]


def test_the_work_may_be_on_another_component() -> None:
    rule = Conclusion(
        id="b", components=("tie_rod_end_boot",), conditions=("torn",), not_enough=("none",),
        instead="replace", target="tie_rod_end_outer", says="Grit gets into the joint.",
    )  # fmt: skip
    torn = finding(
        "f1", "tie_rod_end_boot", "front left", action="none", conditions=(Ref(id="torn", name="torn"),)
    )
    (ask,) = estimate(torn, data=with_policies(conclusions=(rule,))).findings[0].asks
    assert ask.choices == ("Replace tie rod end outer", "Replace", "Repair", "Watch", "Leave it")


# -- anything ---


@settings(deadline=None, max_examples=60)
@given(some_findings())
def test_with_everything_added_nothing_said_changes_and_all_computes_again(findings: list[Finding]) -> None:
    import json

    data = with_policies(
        FLUID,
        sets=(rotors("axle"),),
        follow_ons=(alignment("add", systems=("steering", "suspension")), fluid("add")),
        catalogue_follow_ons="add",
    )
    plain = estimate(*findings, lexicon=MORE, data=with_policies(FLUID, catalogue_follow_ons="off"))
    result = estimate(*findings, lexicon=MORE, data=data)
    said = [x.id for x in lines(result) if ":policy:" not in x.id and ":catalogue:" not in x.id]
    assert sorted(said) == sorted(x.id for x in lines(plain))
    for x in lines(result, "labour", "sublet"):
        assert (x.asked_by == "technician") or x.why
    assert Again(json.loads(result.estimate.model_dump_json(by_alias=True))).faults() == []
    assert estimate(*findings[::-1], lexicon=MORE, data=data).estimate == result.estimate
