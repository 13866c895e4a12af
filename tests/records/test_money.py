"""Money: exact, half up, never a float."""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.records.money import exact, format_money, percent_of, round_money, sum_money

D = Decimal


@pytest.mark.parametrize(
    ("amount", "currency", "rounded"),
    [
        ("2.005", "USD", "2.01"),  # half up, where half even gives 2.00
        ("2.015", "GBP", "2.02"),
        ("2.0049", "USD", "2.00"),
        ("-2.005", "USD", "-2.01"),  # halves go away from zero on both sides
        ("104.5", "JPY", "105"),
        ("1.0005", "KWD", "1.001"),
        ("7", "EUR", "7.00"),
    ],
)
def test_rounds_half_up_to_the_smallest_unit_of_the_currency(
    amount: str, currency: str, rounded: str
) -> None:
    assert str(round_money(D(amount), currency)) == rounded


@pytest.mark.parametrize("amount", [1.5, 1, True, "1.50", None])
def test_anything_but_a_decimal_is_refused(amount: Any) -> None:
    for use in (
        lambda: round_money(amount, "USD"),
        lambda: sum_money([D("1.00"), amount], "USD"),
        lambda: format_money(amount, "USD", "en_US"),
        lambda: percent_of(amount, D(5), "USD"),
        lambda: percent_of(D(5), amount, "USD"),
    ):
        with pytest.raises(TypeError, match="must be a Decimal"):
            use()


def test_not_a_number_and_infinity_are_refused() -> None:
    for amount in (D("NaN"), D("Infinity")):
        with pytest.raises(ValueError, match="finite"):
            exact(amount)


def test_an_unknown_currency_is_refused() -> None:
    with pytest.raises(ValueError, match="“QQQ” is not a currency"):
        round_money(D(1), "QQQ")


def test_the_sum_of_nothing_is_zero_with_its_digits() -> None:
    assert str(sum_money([], "USD")) == "0.00"


def test_a_percentage_is_rounded_once() -> None:
    assert percent_of(D("65.60"), D("8.25"), "USD") == D("5.41")  # 5.412


@pytest.mark.parametrize(
    ("amount", "currency", "locale", "text"),
    [
        ("1234.5", "USD", "en_US", "$1,234.50"),
        ("1234.565", "GBP", "en_GB", "£1,234.57"),
        ("0.125", "USD", "en_US", "$0.13"),  # babel alone would say 0.12
        ("1234.5", "JPY", "en_US", "¥1,235"),
    ],
)
def test_is_written_as_the_locale_does(amount: str, currency: str, locale: str, text: str) -> None:
    assert format_money(D(amount), currency, locale) == text


@settings(deadline=None)  # the first example pays for importing babel
@given(st.lists(st.decimals(-10_000, 10_000, places=2)))
def test_rounded_amounts_add_up_exactly(amounts: list[D]) -> None:
    assert sum_money(amounts, "USD") == sum(amounts, D(0))


@settings(deadline=None)  # the first example pays for importing babel
@given(st.decimals(-10_000, 10_000, places=6))
def test_rounding_moves_by_half_a_unit_at_most_and_only_once(amount: D) -> None:
    rounded = round_money(amount, "USD")
    assert abs(rounded - amount) <= D("0.005")
    assert round_money(rounded, "USD") == rounded


def test_importing_the_records_loads_neither_babel_nor_pint() -> None:
    code = (
        "import sys, voicecheck.records, voicecheck.records.money, voicecheck.records.units;"
        "sys.exit(any(m.split('.')[0] in ('babel', 'pint') for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
