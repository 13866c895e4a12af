"""Conversions between the units that are spoken."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.records import UNITS, Unit
from voicecheck.records.units import comparable, convert

D = Decimal

calm = settings(deadline=None)  # the first conversion pays for importing pint

FAMILIES: list[set[str]] = [
    {"mm", "cm", "in", "1/32 in", "0.001 in"},
    {"V"}, {"A"}, {"ohm"}, {"%"}, {"count"}, {"code"},
    {"psi", "bar", "kPa"},
    {"mi", "km"},
    {"°C", "°F"},
    {"N·m", "ft·lb"},
    {"min", "s", "h"},
    {"L", "qt"},
    {"year", "month"},
]  # fmt: skip
LENGTHS = FAMILIES[0] | {"mi", "km"}


def test_every_unit_is_in_one_family() -> None:
    assert sorted(u for f in FAMILIES for u in f) == sorted(UNITS)


@pytest.mark.parametrize("one", UNITS)
@pytest.mark.parametrize("other", UNITS)
def test_units_compare_within_their_family_and_nowhere_else(one: Unit, other: Unit) -> None:
    """Miles and millimetres are both lengths: that nobody says a tread in miles is not for here to know."""
    together = any({one, other} <= family for family in (*FAMILIES, LENGTHS))
    assert comparable(one, other) is together
    if together:
        assert isinstance(convert(D("3.5"), one, other), D)
    else:
        with pytest.raises(ValueError, match="cannot be said in"):
            convert(D("3.5"), one, other)


@pytest.mark.external
@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        ("1", "in", "mm", "25.4"),
        ("1", "1/32 in", "mm", "0.79375"),
        ("2", "1/32 in", "mm", "1.5875"),
        ("3", "1/32 in", "mm", "2.38125"),
        ("4", "1/32 in", "mm", "3.175"),
        ("11", "1/32 in", "mm", "8.73125"),
        ("1", "0.001 in", "mm", "0.0254"),
        ("1", "bar", "kPa", "100"),
        ("1", "mi", "km", "1.609344"),
        ("212", "°F", "°C", "100"),
        ("98.6", "°F", "°C", "37"),
        ("1", "qt", "L", "0.946352946"),  # 57.75 × 2.54³ cm³
        ("-40", "°C", "°F", "-40"),
        ("100", "°C", "°F", "212"),
    ],
)
def test_what_is_exact_by_definition_is_exact(value: str, unit: Unit, to: Unit, expected: str) -> None:
    """Source: NIST Special Publication 811, Appendix B.8, exact factors: inch 25.4 mm, mile 1.609344 km,
    bar 100 kPa, t/°C = (t/°F − 32)/1.8 (inch, mile and temperature also read in NHTSA's table of SI units).
    Fractions of an inch follow from the inch by arithmetic. The quart is 57.75 cubic inches by definition."""
    assert convert(D(value), unit, to) == D(expected)


@pytest.mark.external
@pytest.mark.parametrize(
    ("value", "unit", "to", "expected", "digits"),
    [
        ("1", "psi", "kPa", "6.894757", "0.000001"),
        ("1", "ft·lb", "N·m", "1.355818", "0.000001"),
        ("1", "bar", "psi", "14.5038", "0.0001"),
        ("1", "N·m", "ft·lb", "0.7375621493", "0.0000000001"),
        ("1", "mm", "in", "0.0393701", "0.0000001"),
    ],
)
def test_what_is_rounded_in_the_source_agrees_to_its_last_digit(
    value: str, unit: Unit, to: Unit, expected: str, digits: str
) -> None:
    """Source: NIST Special Publication 811, Appendix B.8, as quoted for psi and foot pound-force in published
    tables (seven digits); the last three are inverses computed from the exact inch, pound-force and bar."""
    assert convert(D(value), unit, to).quantize(D(digits)) == D(expected)


def test_the_statutory_millimetres_and_the_two_thirty_seconds_differ() -> None:
    """1.6 mm and 2/32 in are different limits, 0.0125 mm apart; neither may be rounded into the other."""
    assert D("1.6") - convert(D(2), "1/32 in", "mm") == D("0.0125")


def test_a_value_in_its_own_unit_is_untouched() -> None:
    assert str(convert(D("7.10"), "mm", "mm")) == "7.10"


def test_months_and_years() -> None:
    assert convert(D(18), "month", "year") == D("1.5")
    assert convert(D("2.5"), "year", "month") == D(30)


def test_large_whole_results_have_no_exponent() -> None:
    assert str(convert(D(100), "km", "mm")) == "100000000"


@pytest.mark.parametrize("value", [2.5, 2, "2"])
def test_anything_but_a_decimal_is_refused(value: Any) -> None:
    with pytest.raises(TypeError, match="must be a Decimal"):
        convert(value, "in", "mm")


def test_an_unknown_unit_is_named() -> None:
    unknown: Any = "furlong"
    with pytest.raises(ValueError, match="“furlong” is not one of the units"):
        comparable("mm", unknown)


PAIRS = [(a, b) for family in (LENGTHS, *FAMILIES) for a in sorted(family) for b in sorted(family) if a != b]


@calm
@given(st.decimals(-1000, 1000, places=3), st.sampled_from(PAIRS))
def test_there_and_back_is_the_same_to_twenty_digits(value: D, pair: tuple[Unit, Unit]) -> None:
    back = convert(convert(value, *pair), pair[1], pair[0])
    assert abs(back - value) <= max(abs(value), D(1)) * D("1e-20")


@calm
@given(st.decimals(0, 1000, places=3), st.decimals(0, 1000, places=3), st.sampled_from(PAIRS))
def test_more_in_one_unit_is_more_in_the_other(one: D, other: D, pair: tuple[Unit, Unit]) -> None:
    assert (one < other) == (convert(one, *pair) < convert(other, *pair))
