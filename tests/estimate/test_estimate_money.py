"""Rates, ranges, fees, discounts and taxes, each worked out by hand; and any of them computed again."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from estimate_kit import estimate, finding, line, lines, operation, part, prices, shop
from hypothesis import given, settings
from hypothesis import strategies as st
from recompute_kit import Again
from test_estimate_properties import some_findings

from voicecheck.estimate import EstimateResult
from voicecheck.estimate.pricing import taxes_of
from voicecheck.records import (
    Discount,
    FeeRule,
    Finding,
    LineChange,
    MarkupBand,
    PartUse,
    RateRule,
    Scope,
    TaxRule,
)

D = Decimal
BATTERY = finding("f1", "battery")  # 0.3 h × 120 = 36.00; part 110 × 1.4 = 154.00


def again(result: EstimateResult) -> list[str]:
    return Again(json.loads(result.estimate.model_dump_json(by_alias=True))).faults()


# -- labour by type ---


def test_work_on_a_system_may_have_its_own_rate() -> None:
    rules = (RateRule(type="electrical", systems=("electrical", "lighting")),)
    data = shop(electrical_rate=D("130.00"), rate_for=rules)
    labour = line(estimate(BATTERY, data=data))
    assert (labour.rate_type, labour.unit_price, labour.amount) == ("electrical", D("130.00"), D("39.00"))
    assert line(estimate(finding("f1", "radiator"), data=data)).rate_type == "mechanical"


def test_a_kind_of_labour_without_a_rate_is_charged_at_the_mechanical_one() -> None:
    rules = (RateRule(type="electrical", systems=("electrical",)),)
    labour = line(estimate(BATTERY, data=shop(rate_for=rules)))
    assert (labour.rate_type, labour.unit_price) == ("electrical", D("120.00"))


def test_a_diagnosis_is_diagnostic_unless_a_rule_says_otherwise() -> None:
    item = finding("f1", "master_cylinder", state="suspect", action="diagnose")
    assert line(estimate(item)).rate_type == "diagnostic"
    rules = (RateRule(type="mechanical", actions=("diagnose",)),)
    assert line(estimate(item, data=shop(rate_for=rules))).unit_price == D("120.00")


# -- ranges and fixed prices ---


def test_a_price_that_is_a_range_stays_one_to_the_total() -> None:
    use = PartUse(
        name="belt", kind="part", quantity=D(2), unit="each", price=D("48.00"), price_high=D("56.00")
    )
    row = operation("E10", "electrical", "battery", "replace", "vehicle", "0.5", parts=(use,))
    result = estimate(BATTERY, data=shop(row, without=["E10"]))
    (belt,) = lines(result, "part")
    # 48 × 1.6 = 76.80, twice 153.60; 56 is in the next band: × 1.4 = 78.40, twice 156.80
    assert (belt.amount, belt.amount_high) == (D("153.60"), D("156.80"))
    assert belt.arithmetic == (
        "cost 48.00 × 1.6 = 76.80 to cost 56.00 × 1.4 = 78.40; 2 × 76.80 to 78.40 = 153.60 to 156.80"
    )
    (job,) = result.estimate.jobs
    assert (job.subtotal, job.subtotal_high) == (D("213.60"), D("216.80"))
    totals = result.estimate.totals
    # supplies 3.00; tax 8.25 % of 153.60 = 12.67, of 156.80 = 12.94
    assert (totals.total, totals.total_high) == (D("229.27"), D("232.74"))
    assert again(result) == []


def test_a_dearer_part_may_sell_for_less_in_the_next_band() -> None:
    use = PartUse(
        name="belt", kind="part", quantity=D(1), unit="each", price=D("49.00"), price_high=D("51.00")
    )
    row = operation("E10", "electrical", "battery", "replace", "vehicle", "0.5", parts=(use,))
    (belt,) = lines(estimate(BATTERY, data=shop(row, without=["E10"])), "part")
    assert (belt.unit_price, belt.unit_price_high) == (D("71.40"), D("78.40"))  # 51 × 1.4, 49 × 1.6


def test_a_fixed_part_price_is_not_marked_up() -> None:
    use = part("battery", "110.00").model_copy(update={"fixed": True, "condition": "reconditioned"})
    row = operation("E10", "electrical", "battery", "replace", "vehicle", "0.3", parts=(use,))
    (battery,) = lines(estimate(BATTERY, data=shop(row, without=["E10"])), "part")
    assert (battery.amount, battery.part_condition) == (D("110.00"), "reconditioned")
    assert battery.arithmetic == "price 110.00"


def test_sublet_work_with_a_range() -> None:
    row = operation("E10", "electrical", "battery", "replace", "vehicle", None, sublet=True, price=D("20.00"),
                    price_high=D("25.00"))  # fmt: skip
    sent = line(estimate(BATTERY, data=shop(row, without=["E10"])), "sublet")
    assert (sent.amount, sent.amount_high) == (D("23.00"), D("28.75"))
    assert sent.arithmetic == "cost 20.00 to 25.00 + 15 % = 23.00 to 28.75"


# -- fees ---


def test_fees_come_with_their_work_and_are_lines() -> None:
    fees = (
        FeeRule(
            name="tyre disposal", amount=D("3.50"), work=Scope(components=("tyre",), actions=("replace",))
        ),
        FeeRule(name="paperwork", amount=D("2.00"), per="line", work=Scope(components=("tyre",))),
    )
    result = estimate(finding("f1", "tyre", "front", "rear left"), data=shop(fees=fees))
    one, other = lines(result, "fee")
    assert (one.name, one.quantity, one.amount, other.amount) == (
        "tyre disposal",
        D(3),
        D("10.50"),
        D("2.00"),
    )
    assert one.asked_by == "policy"
    assert one.why == "The price profile has it with “Replace tyre”."
    assert result.estimate.totals.fees == D("12.50")
    assert again(result) == []


# -- discounts ---


def test_a_discount_lowers_what_is_taxed() -> None:
    off = (Discount(reason="Fleet", on="parts", percent=D(10)),)
    totals = estimate(BATTERY, data=shop(discounts=off)).estimate.totals
    # parts 154.00, less 15.40 = 138.60; tax 8.25 % = 11.43
    assert (totals.parts, totals.discount, totals.tax) == (D("154.00"), D("15.40"), D("11.43"))
    assert totals.total == D("36.00") + D("154.00") + D("1.80") - D("15.40") + D("11.43")
    assert totals.arithmetic["discount"] == "Fleet: 10 % of parts 154.00 = 15.40"
    assert totals.tax_lines[0].arithmetic == "Tax: 8.25 % of parts 138.60 after discount = 11.43"


def test_a_discount_on_the_total_comes_off_every_kind_in_proportion() -> None:
    off = Discount(reason="Came back", on="total", amount=D("19.18"))
    totals = estimate(BATTERY, discounts=[off]).estimate.totals
    # of 191.80 (36.00 + 154.00 + 1.80) a tenth is taken; parts are 138.60 to the tax
    assert (totals.discount, totals.tax_lines[0].base, totals.tax) == (D("19.18"), D("138.60"), D("11.43"))


def test_a_discount_never_goes_below_nothing() -> None:
    off = Discount(reason="Goodwill", on="labour", amount=D("50.00"))
    totals = estimate(BATTERY, discounts=[off]).estimate.totals
    assert totals.discount == D("36.00")
    assert totals.discount_lines[0].arithmetic == (
        "Goodwill: 50.00 off labour 36.00, no more than there is: 36.00"
    )


# -- taxes ---


def test_several_taxes_by_place() -> None:
    taxes = (
        TaxRule(name="State tax", percent=D("6.25"), on=("part", "fluid"), jurisdiction="There"),
        TaxRule(name="City tax", percent=D("2"), on=("part",), jurisdiction="There"),
        TaxRule(name="Other tax", percent=D("4"), on=("labour", "part"), jurisdiction="Elsewhere"),
    )
    profile = prices(tax_percent=D(0), taxes=taxes, jurisdiction="There")
    assert [t.name for t in taxes_of(profile)] == ["State tax", "City tax"]
    totals = estimate(BATTERY, data=shop(tax_percent=D(0), taxes=taxes, jurisdiction="There")).estimate.totals
    assert [(t.name, t.base, t.amount) for t in totals.tax_lines] == [
        ("State tax", D("154.00"), D("9.63")),  # 9.625, half up
        ("City tax", D("154.00"), D("3.08")),
    ]
    assert totals.tax == D("12.71")
    assert totals.arithmetic["total"] == ("labour 36.00 + parts 154.00 + supplies 1.80 + tax 12.71 = 204.51")


def test_the_terms_of_the_totals_are_in_the_estimate() -> None:
    terms = estimate(BATTERY).estimate.terms
    assert terms is not None
    assert (terms.smallest, terms.supplies_percent, terms.supplies_cap) == (D("0.01"), D(5), D("30.00"))
    assert terms.rates == {"mechanical": D("120.00"), "electrical": D("120.00"), "diagnostic": D("140.00")}
    assert [(t.name, t.percent, t.on) for t in terms.taxes] == [("Tax", D("8.25"), ("part", "fluid"))]


@pytest.mark.parametrize(("currency", "smallest"), [("USD", "0.01"), ("JPY", "1"), ("KWD", "0.001")])
def test_the_currency_says_how_fine_money_is(currency: str, smallest: str) -> None:
    result = estimate(BATTERY, data=shop(currency=currency))
    assert result.estimate.terms is not None
    assert result.estimate.terms.smallest == D(smallest)
    assert again(result) == []


# -- anything, again ---

cents = st.integers(0, 30_000).map(lambda n: D(n) / 100)
percents = st.integers(0, 4_000).map(lambda n: D(n) / 100)
kinds = st.lists(
    st.sampled_from(["labour", "part", "fluid", "sublet", "fee", "supplies"]), min_size=1, unique=True
).map(tuple)


@st.composite
def profiles(draw: st.DrawFn) -> dict[str, Any]:
    on = st.sampled_from(["labour", "parts", "total"])
    discount = st.one_of(
        st.builds(Discount, reason=st.just("a"), on=on, percent=percents),
        st.builds(Discount, reason=st.just("b"), on=on, amount=cents),
    )
    fee = st.builds(
        FeeRule, name=st.just("fee"), amount=cents.filter(bool), per=st.sampled_from(["each", "line"]),
        work=st.builds(Scope, components=st.sampled_from([("tyre",), ("battery",), ("brake_pads",)])),
    )  # fmt: skip
    return {
        "labour_rate": draw(cents) + 1,
        "markup": (
            MarkupBand(up_to=D(50), factor=draw(percents) + 1),
            MarkupBand(up_to=None, factor=D("1.37")),
        ),
        "supplies_percent": draw(percents),
        "supplies_cap": draw(st.one_of(st.none(), cents)),
        "discounts": tuple(draw(st.lists(discount, max_size=2))),
        "fees": tuple(draw(st.lists(fee, max_size=2))),
        "tax_percent": D(0),
        "taxes": tuple(
            draw(st.lists(st.builds(TaxRule, name=st.just("t"), percent=percents, on=kinds), max_size=3))
        ),
    }


@settings(deadline=None, max_examples=80)
@given(some_findings(), profiles(), st.data())
def test_whatever_the_profile_the_json_computes_again(
    findings: list[Finding], profile: dict[str, Any], data: st.DataObject
) -> None:
    """Also with jobs put off, hours and prices changed, and lines left off."""
    stock = shop(**profile)
    first = estimate(*findings, data=stock)
    assert again(first) == []
    ids = [x.id for x in lines(first)]
    off = frozenset(j.id for j in first.estimate.jobs if data.draw(st.booleans()))
    changes = [
        LineChange(
            line=i,
            hours=data.draw(st.one_of(st.none(), cents)),
            unit_price=data.draw(st.one_of(st.none(), cents)),
            left_off=data.draw(st.sampled_from([False, False, True])),
            by="someone",
        )
        for i in ids
        if data.draw(st.sampled_from([False, False, True]))
    ]
    result = estimate(*findings, data=stock, put_off=off, changes=changes)
    assert again(result) == []
    assert (result.unmatched, result.unknown_jobs) == ((), ())
    kept = [x.id for x in lines(result)] + [x.id for x in result.estimate.left_off]
    assert sorted(kept) == sorted(ids), "every line is there, or was left off"
    totals = result.estimate.totals
    assert totals.total >= 0
    assert totals.discount <= totals.labour + totals.parts + totals.sublet + totals.fees + totals.supplies
