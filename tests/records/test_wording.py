"""Lists, counts and numbers in words."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.records.wording import capital, counted, hours_text, joined, number


def test_lists_and_counts() -> None:
    assert [joined(items) for items in ((), ("a",), ("a", "b"), ("a", "b", "c"))] == [
        "", "a", "a and b", "a, b and c",
    ]  # fmt: skip
    assert joined(["replace", "repair", "leave it"], last="or") == "replace, repair or leave it"
    assert (counted(1, "line"), counted(0, "line")) == ("1 line", "0 lines")
    assert counted(2, "stretch", "stretches") == "2 stretches"
    assert (capital("ABS sensor"), capital("tire"), capital("")) == ("ABS sensor", "Tire", "")


@pytest.mark.parametrize(
    ("value", "shown", "hours"),
    [("100", "100", "100.0"), ("0.50", "0.5", "0.5"), ("1E+2", "100", "100.0"), ("1.600", "1.6", "1.6"),
     ("0.0", "0", "0.0"), ("2", "2", "2.0")],
)  # fmt: skip
def test_numbers_keep_their_whole_part(value: str, shown: str, hours: str) -> None:
    assert number(Decimal(value)) == shown
    assert hours_text(Decimal(value)) == hours


def test_thousands_are_set_apart_where_asked() -> None:
    assert number(Decimal("87412.50"), grouped=True) == "87,412.5"
    assert number(Decimal("87412.50")) == "87412.5"


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=3))
def test_a_number_in_words_is_the_number(value: Decimal) -> None:
    assert Decimal(number(value)) == value
    assert Decimal(hours_text(value)) == value
