"""Where a reading and what was said about it disagree."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from estimate_kit import LIMITS, codes, estimate, finding, lines, reading, shop, span

from voicecheck.estimate.limits import judge
from voicecheck.records import Ask, Finding, Limit, Policies, Ref

D = Decimal


def asks(item: Finding, *, limits: tuple[Limit, ...] = LIMITS, market: str = "US") -> tuple[Ask, ...]:
    return estimate(item, data=shop(limits=limits), market=market).findings[0].asks


def tyre(value: str, unit: str = "1/32 in", **more: Any) -> Finding:
    said: dict[str, Any] = {"state": "ok", "action": "none", "conditions": ()} | more
    bound = said.pop("bound", "=")
    return finding(
        "f1", "tyre", "front left", measures=(reading("tread depth", value, unit, bound=bound),), **said
    )


def test_a_reading_below_the_limit_that_was_called_fine() -> None:
    (ask,) = asks(tyre("1"))
    assert (ask.code, ask.field) == ("limit_vs_advice", "action")
    assert ask.message == (
        "Front left tyre, tread depth: 1 1/32 in against at least 2 1/32 in (a law); "
        "it was said to be fine. Is that meant?"
    )
    assert ask.choices == ("Price the work", "Leave it as said")


@pytest.mark.parametrize("value", ["2", "8"])
def test_a_reading_at_or_above_the_limit_raises_nothing(value: str) -> None:
    assert asks(tyre(value)) == ()


def test_watching_what_is_beyond_its_limit_is_asked_about() -> None:
    (ask,) = asks(tyre("1", state="defect", action="monitor"))
    assert "the advice was to keep an eye on it" in ask.message


def test_a_defect_without_advice_gets_one_question_that_names_the_limit() -> None:
    (ask,) = asks(tyre("1", state="defect", conditions=(Ref(id="worn", name="worn"),)))
    assert ask.code == "no_advice"
    assert ask.message == (
        "Front left tyre: worn. Front left tyre, tread depth: 1 1/32 in against at least 2 1/32 in (a law). "
        "Replace, repair, watch or leave it?"
    )


def test_units_are_converted_and_the_markets_limits_kept_apart() -> None:
    assert codes(asks(tyre("1.5", "mm"))) == ["limit_vs_advice"]  # 2/32 in is 1.5875 mm
    assert asks(tyre("1.59", "mm")) == ()
    assert codes(asks(tyre("1.59", "mm"), market="UK")) == ["limit_vs_advice"]  # there it is 1.6 mm


def test_a_unit_that_cannot_be_compared_is_left_alone() -> None:
    assert asks(tyre("1", "psi")) == ()


def test_another_measure_is_left_alone() -> None:
    item = finding(
        "f1", "tyre", "front left", state="ok", action="none", measures=(reading("pressure", "1", "mm"),)
    )
    assert asks(item) == ()


def test_a_measure_is_known_by_any_of_its_names() -> None:
    for name in ("tread_depth", "tread depth", "Tread"):
        item = finding(
            "f1", "tyre", "front left", state="ok", action="none", measures=(reading(name, "1", "1/32 in"),)
        )
        assert codes(asks(item)) == ["limit_vs_advice"]


def test_the_good_half_of_a_pair_that_is_replaced_is_not_asked_about() -> None:
    result = estimate(
        finding("f1", "brake_pads", "front left"),
        finding("f2", "brake_pads", "front right", state="ok", action="none", conditions=(),
                measures=(reading("pad thickness", "2.5", "mm"),)),
    )  # fmt: skip
    assert result.findings[1].asks == ()


def test_replacing_what_is_within_its_limit_for_no_other_reason_is_asked_about() -> None:
    item = tyre("7", state="defect", action="replace")
    (ask,) = asks(item)
    assert (ask.code, ask.choices[0]) == ("limit_vs_advice", "Replace it")
    assert len(lines(estimate(item), "labour")) == 1  # the line stands until someone answers


def test_replacing_it_for_another_reason_is_not() -> None:
    assert asks(tyre("7", state="defect", action="replace", conditions=(Ref(id="cut", name="cut"),))) == ()


def test_the_limit_of_the_more_general_component_serves() -> None:
    limit = Limit(id="x", component="tie_rod_end", measure="play", bound="max", value=D(1), unit="mm",
                  source="a handbook", status="secondary")  # fmt: skip
    item = finding(
        "f1",
        "tie_rod_end_outer",
        "front left",
        state="ok",
        action="none",
        measures=(reading("play", "2", "mm"),),
    )
    (ask,) = asks(item, limits=(limit,))
    assert "2 mm against at most 1 mm (a handbook, secondary)" in ask.message


def test_a_limit_for_one_axle_is_kept_to_it() -> None:
    limit = LIMITS[0].model_copy(update={"scope": "rear", "value": D(4)})
    assert asks(tyre("3"), limits=(limit,)) == ()
    assert asks(tyre("3").model_copy(update={"positions": ("rear left",)}), limits=(limit,)) != ()


def test_a_limit_of_narrower_scope_steps_back_behind_one_for_all() -> None:
    heavy = LIMITS[0].model_copy(update={"id": "heavy", "scope": "heavy vehicles", "value": D(4)})
    assert asks(tyre("3"), limits=(*LIMITS, heavy)) == ()
    (ask,) = asks(tyre("3"), limits=(heavy,))
    assert "(a law, for heavy vehicles)" in ask.message


# -- limits that were spoken ---


def rotor_limit(value: str) -> Limit:
    return Limit(
        id="r",
        component="brake_rotor",
        measure="rotor_thickness",
        bound="min",
        value=D(value),
        unit="mm",
        source="own",
        status="common practice",
    )


def rotor(value: str, limit: str, words: str, **more: Any) -> Finding:
    said: dict[str, Any] = {"state": "ok", "action": "none", "conditions": ()} | more
    bound = said.pop("bound", "=")
    return finding(
        "f1",
        "brake_rotor",
        "front left",
        measures=(reading("rotor thickness", value, "mm"),),
        limits_said=(reading("rotor thickness", limit, "mm", bound=bound),),
        heard=(span(f"rotor is {value} {words} {limit}"),),
        **said,
    )


def test_a_spoken_minimum_is_a_limit() -> None:
    (ask,) = asks(rotor("24", "26", "minimum is"))
    assert "24 mm against at least 26 mm (said in the recording)" in ask.message
    assert asks(rotor("26.5", "26", "minimum is")) == ()


def test_a_spoken_maximum_is_a_limit() -> None:
    assert codes(asks(rotor("27", "26", "maximum is"))) == ["limit_vs_advice"]
    assert asks(rotor("25", "26", "maximum is")) == ()


def test_the_size_when_new_is_no_limit() -> None:
    assert asks(rotor("24", "26", "new is")) == ()


def test_a_limit_of_unknown_direction_is_not_used() -> None:
    assert asks(rotor("24", "26", "book says")) == ()
    assert asks(rotor("28", "26", "book says")) == ()


def test_a_spoken_limit_may_carry_its_direction_or_take_the_shops() -> None:
    assert codes(asks(rotor("24", "26", "book says", bound=">"))) == ["limit_vs_advice"]
    shops = rotor_limit("20")
    assert codes(asks(rotor("24", "26", "book says"), limits=(shops,))) == ["limit_vs_advice"]


def test_a_spoken_limit_goes_before_the_shops() -> None:
    shops = rotor_limit("25")
    assert asks(rotor("24", "22", "minimum is"), limits=(shops,)) == ()


# -- what a bound or a range can tell ---


@pytest.mark.parametrize(
    ("said", "bound", "verdict"),
    [
        ({"value": "3"}, "min", "within"),
        ({"value": "2.9"}, "min", "beyond"),
        ({"value": "3", "bound": "<"}, "min", "beyond"),
        ({"value": "4", "bound": "<"}, "min", "open"),
        ({"value": "3", "bound": ">"}, "min", "within"),
        ({"value": "2", "bound": ">"}, "min", "open"),
        ({"value": "2", "bound": "~"}, "min", "beyond"),
        ({"value": "2", "high": D(4)}, "min", "beyond"),
        ({"value": "3", "high": D(4)}, "min", "within"),
        ({"value": "3"}, "max", "within"),
        ({"value": "3.1"}, "max", "beyond"),
        ({"value": "3", "bound": ">"}, "max", "beyond"),
        ({"value": "2", "bound": ">"}, "max", "open"),
        ({"value": "3", "bound": "<"}, "max", "within"),
        ({"value": "4", "bound": "<"}, "max", "open"),
        ({"value": "2", "high": D(4)}, "max", "beyond"),
    ],
)
def test_a_reading_against_three_millimetres(said: dict[str, Any], bound: Any, verdict: str) -> None:
    value = said.pop("value")
    assert judge(reading("x", value, "mm", **said), bound, D(3), "mm") == verdict


@pytest.mark.parametrize("bound", ["<", ">"])
def test_what_a_bound_leaves_open_is_not_asked_about(bound: str) -> None:
    value = "3" if bound == "<" else "1"
    assert asks(tyre(value, bound=bound)) == ()


# -- every reading beside its limits ---


def checks(item: Finding, *, limits: tuple[Limit, ...] = LIMITS, near: str = "0") -> list[Any]:
    data = shop(limits=limits).model_copy(update={"policies": Policies(near_limit_percent=D(near))})
    return list(estimate(item, data=data).estimate.checks)


@pytest.mark.parametrize(
    ("value", "verdict", "left", "agrees"),
    [("1", "beyond", "-1", False), ("2", "within", "0", True), ("2.4", "within", "0.4", True)],
)
def test_a_reading_says_how_it_stands(value: str, verdict: str, left: str, agrees: bool) -> None:
    (found,) = checks(tyre(value))
    assert (found.verdict, found.left, found.agrees) == (verdict, D(left), agrees)
    assert (found.origin, found.source, found.limit, found.unit_limit) == (
        "published",
        "a law",
        D(2),
        "1/32 in",
    )
    assert found.message.startswith("Front left tyre, tread depth: ")


def test_what_is_near_its_limit_is_reported_by_the_shops_margin() -> None:
    assert [c.verdict for c in checks(tyre("2.4"), near="25")] == ["near"]
    assert [c.verdict for c in checks(tyre("2.5"), near="25")] == ["within"]


def test_advice_short_of_the_limit_marks_what_is_near_too() -> None:
    advice = LIMITS[0].model_copy(update={"id": "advice", "scope": "advice", "value": D(4)})
    assert [c.verdict for c in checks(tyre("3"), limits=(LIMITS[0], advice))] == ["near"]
    assert [c.verdict for c in checks(tyre("4"), limits=(LIMITS[0], advice))] == ["within"]


def test_spoken_shop_and_published_limits_are_all_reported() -> None:
    own = LIMITS[0].model_copy(update={"id": "own", "value": D(5), "status": "shop", "source": "our own"})
    item = tyre("4", heard=(span("minimum is 3"),), limits_said=(reading("tread depth", "3", "1/32 in"),))
    found = checks(item, limits=(LIMITS[0], own))
    assert [(c.origin, c.verdict) for c in found] == [
        ("spoken", "within"), ("shop", "beyond"), ("published", "within"),
    ]  # fmt: skip


def test_the_shops_own_limit_is_asked_about_before_the_published_one() -> None:
    own = LIMITS[0].model_copy(
        update={"id": "own", "value": D(5), "status": "shop", "source": "our own limit"}
    )
    (ask,) = asks(tyre("1"), limits=(LIMITS[0], own))
    assert "at least 5 1/32 in (our own limit)" in ask.message


def test_work_on_what_is_beyond_its_limit_agrees() -> None:
    (found,) = checks(tyre("1", state="defect", action="replace"))
    assert (found.verdict, found.agrees) == ("beyond", True)


def test_what_is_only_bounded_has_no_rest() -> None:
    (found,) = checks(tyre("3", bound="<"))
    assert (found.verdict, found.left) == ("open", None)


def test_replacing_what_is_near_its_limit_raises_no_question() -> None:
    item = tyre("2.4", state="defect", action="replace")
    assert codes(asks(item)) == ["limit_vs_advice"], "without a margin it is within the limit like any other"
    data = shop().model_copy(update={"policies": Policies(near_limit_percent=D(25))})
    result = estimate(item, data=data)
    assert result.findings[0].asks == ()
    assert [c.agrees for c in result.estimate.checks] == [True]
