"""The estimate's taxes and limits against published rules.

Each test names its source and how far it was confirmed: *verified* was read in a stored copy of the rule,
*secondary* in a page that quotes it, *memory* not at all. Nothing here is legal advice; a stored copy may be
older than the rule in force. Percentages are examples; what the rules settle is *what* is taxed.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from voicecheck.catalogue import load_limits, load_prices
from voicecheck.estimate.limits import judge
from voicecheck.estimate.totals import terms_of, total
from voicecheck.records import Limit, Line, LineKind, Measure, Totals, Unit
from voicecheck.records.money import round_money
from voicecheck.records.units import convert
from voicecheck.resources import shared_dir

pytestmark = pytest.mark.external

D = Decimal

PROFILE = """\
name: one shop in several places
market: US
currency: USD
labour_rate: 150.00
supplies_percent: 5
jurisdiction: {place}
taxes:
  - {{name: California, percent: 7.25, on: [part, fluid], jurisdiction: California}}
  - {{name: Texas, percent: 6.25, on: [part, fluid, supplies], jurisdiction: Texas}}
  - {{name: Minnesota, percent: 6.875, on: [part, fluid], jurisdiction: Minnesota}}
  - {{name: New York State, percent: 4, on: [labour, part, fluid, supplies], jurisdiction: New York}}
  - {{name: New York local, percent: 4.5, on: [labour, part, fluid, supplies], jurisdiction: New York}}
"""


def line(kind: LineKind, amount: str) -> Line:
    return Line(kind=kind, name=kind, operation="replace", component=None, quantity=D(1), amount=D(amount))


# 300.00 labour, 130.00 parts and fluids, 6.00 waste disposal; supplies 5 % of labour = 15.00
LINES = (line("labour", "300.00"), line("part", "120.00"), line("fluid", "10.00"), line("fee", "6.00"))


def in_(place: str, tmp_path: Path) -> Totals:
    """The totals of the same lines in one place, with the profile read from its file."""
    path = tmp_path / "prices.yaml"
    path.write_text(PROFILE.format(place=place), encoding="utf-8")
    prices = load_prices(path)
    return total(LINES, terms_of(prices), prices.currency)


def test_california_taxes_parts_that_are_separately_charged_and_no_repair_labour(tmp_path: Path) -> None:
    """CDTFA Regulation 1546 (18 CCR 1546)(a), (b); verified, except fabrication labour (not modelled)."""
    found = in_("California", tmp_path)
    assert [t.base for t in found.tax_lines] == [D("130.00")]
    assert found.tax == D("9.43")  # 9.425
    assert found.total == D("300.00") + D("130.00") + D("6.00") + D("15.00") + D("9.43")


def test_texas_taxes_parts_and_consumables_that_are_separately_stated(tmp_path: Path) -> None:
    """Texas Comptroller, publication 94-113 (2003); verified. Lump-sum jobs are not modelled."""
    found = in_("Texas", tmp_path)
    assert [t.base for t in found.tax_lines] == [D("145.00")]  # with the supplies
    assert found.tax == D("9.06")  # 9.0625


def test_minnesota_taxes_neither_stated_labour_nor_stated_waste_disposal(tmp_path: Path) -> None:
    """Minnesota Department of Revenue, guide for motor vehicle repair (2017); verified."""
    found = in_("Minnesota", tmp_path)
    assert [t.base for t in found.tax_lines] == [D("130.00")]  # neither the 300.00 nor the fee of 6.00
    assert found.tax == D("8.94")  # 8.9375


def test_new_york_taxes_parts_and_repair_labour(tmp_path: Path) -> None:
    """New York Tax Law 1105(c)(3); from memory, not confirmed. State and local tax are stated apart."""
    found = in_("New York", tmp_path)
    assert [(t.name, t.base, t.amount) for t in found.tax_lines] == [
        ("New York State", D("445.00"), D("17.80")),
        ("New York local", D("445.00"), D("20.03")),  # 20.025
    ]
    assert found.tax == D("37.83")


@pytest.mark.parametrize(("exact", "rounded"), [("9.425", "9.43"), ("9.4249", "9.42"), ("-9.425", "-9.43")])
def test_half_a_cent_is_rounded_up(exact: str, rounded: str) -> None:
    """Common practice: no published rule on rounding was read, so none is claimed."""
    assert round_money(D(exact), "USD") == D(rounded)


# -- limits ---

# id of the row, value as published, unit, citation
PUBLISHED: list[tuple[str, Fraction, Unit, str]] = [
    ("tread_us", Fraction(2, 32), "in", "49 CFR 570.9(a)"),  # memory; verified in the text for over 10,000 lb
    ("tread_us_maryland", Fraction(2, 32), "in", "COMAR 11.22.04.06"),
    ("tread_us_heavy_front", Fraction(4, 32), "in", "49 CFR 570.62(a)"),
    ("tread_us_heavy_other", Fraction(2, 32), "in", "49 CFR 570.62(a)"),
    ("tread_uk", Fraction(16, 10), "mm", "UK tyre rules for cars"),
    ("pads_us_heavy", Fraction(1, 16), "in", "49 CFR 570.59(c)"),
    ("pads_us_heavy_riveted", Fraction(1, 32), "in", "49 CFR 570.59(c)"),
    ("pads_us", Fraction(1, 16), "in", "49 CFR 570.5(g)"),  # memory
    ("pads_uk", Fraction(15, 10), "mm", "MOT inspection manual 1.1.13"),
    ("shoes_us_commercial_steer_strip", Fraction(3, 16), "in", "49 CFR 393.47(d)(1)"),
    ("shoes_us_commercial_steer_two_pad", Fraction(1, 4), "in", "49 CFR 393.47(d)(1)"),
    ("pads_us_commercial_steer_air", Fraction(1, 8), "in", "49 CFR 393.47(d)(1)"),
    ("shoes_us_commercial_other_air", Fraction(1, 4), "in", "49 CFR 393.47(d)(2)"),
    ("free_play_us_16", Fraction(2), "in", "49 CFR 570.7(a)"),
    ("free_play_us_18", Fraction(9, 4), "in", "49 CFR 570.7(a)"),
    ("free_play_us_20", Fraction(5, 2), "in", "49 CFR 570.7(a)"),
    ("free_play_us_22", Fraction(11, 4), "in", "49 CFR 570.7(a)"),
    ("free_play_us_commercial_power_16", Fraction(17, 4), "in", "49 CFR 393.209(b)"),
    ("free_play_us_commercial_manual_19", Fraction(19, 8), "in", "49 CFR 393.209(b)"),
    ("free_play_us_commercial_power_22", Fraction(23, 4), "in", "49 CFR 393.209(b)"),
    ("linkage_play_us", Fraction(1, 4), "in", "49 CFR 570.7(b)"),
    ("linkage_play_us_heavy_18", Fraction(3, 8), "in", "49 CFR 570.60(b)"),
    ("wheel_runout_us", Fraction(1, 8), "in", "49 CFR 570.10(b)"),
]
MM_OF_AN_INCH = Fraction(254, 10)  # exact by definition


@pytest.fixture(scope="module")
def limits() -> dict[str, Limit]:
    return {x.id: x for x in load_limits(shared_dir() / "limits.csv")}


def exactly(value: Fraction) -> Decimal:
    return D(value.numerator) / D(value.denominator)


@pytest.mark.parametrize(("row", "published", "unit", "source"), PUBLISHED, ids=[p[0] for p in PUBLISHED])
def test_a_shipped_limit_is_the_published_one_to_the_last_digit(
    limits: dict[str, Limit], row: str, published: Fraction, unit: Unit, source: str
) -> None:
    """The regulations named with each row; statuses as in ``shared/limits.csv``.

    Judged in millimetres, a ten-thousandth on either side of the exact conversion (1 in = 25.4 mm).
    """
    limit = limits[row]
    assert source in limit.source
    in_mm = exactly(published * (MM_OF_AN_INCH if unit == "in" else 1))
    assert convert(limit.value, limit.unit, "mm") == in_mm
    step = D("0.0001") if limit.bound == "min" else D("-0.0001")
    for value, verdict in ((in_mm - step, "beyond"), (in_mm, "within"), (in_mm + step, "within")):
        reading = Measure(what=limit.measure, value=value, unit="mm")
        assert judge(reading, limit.bound, limit.value, limit.unit) == verdict


def test_one_sixteenth_is_not_quite_the_metric_minimum() -> None:
    """1.6 mm (UK tyre rules, secondary) and 2/32 in = 1.5875 mm (computed) differ by 0.0125 mm."""
    assert D("1.6") - convert(D(2), "1/32 in", "mm") == D("0.0125")
    between = Measure(what="tread_depth", value=D("1.59"), unit="mm")
    assert judge(between, "min", D(2), "1/32 in") == "within"
    assert judge(between, "min", D("1.6"), "mm") == "beyond"
