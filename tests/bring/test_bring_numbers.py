"""Numbers as people write them: what is clear is read, what is not is refused."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.bring.cells import LAST_COLUMN, Cell, column_number, letter
from voicecheck.bring.convert import CellFault, convert
from voicecheck.bring.mapping import Column
from voicecheck.bring.numerals import NumberError, Numbers, Thousands, parse_number, written

D = Decimal
US = Numbers(thousands=",", currency=("$", "USD"))
CONTINENT = Numbers(decimal=",", thousands=".", currency=("€",))
SPACED = Numbers(decimal=",", thousands=" ")


@pytest.mark.parametrize(
    ("text", "numbers", "value"),
    [
        ("1,234.50", US, "1234.5"),
        ("$1,234.50", US, "1234.5"),
        ("-$ 12", US, "-12"),
        ("12 USD", US, "12"),
        ("12.", US, "12"),
        (".5", US, "0.5"),
        ("1.234,50 €", CONTINENT, "1234.5"),
        ("1 234,50", SPACED, "1234.5"),
        ("1\u00a0234\u202f567,5", SPACED, "1234567.5"),
        ("1'234.5", Numbers(thousands="'"), "1234.5"),
        ("1’234.5", Numbers(thousands="'"), "1234.5"),
        ("−3", Numbers(), "-3"),
        ("-0", Numbers(), "0"),
    ],
)
def test_numbers_by_their_rules(text: str, numbers: Numbers, value: str) -> None:
    assert parse_number(text, numbers) == D(value)


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("1,234", Numbers()),  # a thousand, or one and a bit
        ("1.234", CONTINENT.model_copy(update={"thousands": ""})),
        ("1,23", US),
        ("12,34,567", US),
        (",123", US),
        ("1.5.2", US),
        ("(12.00)", US),
        ("12-", US),
        ("£5", US),
        ("", US),
        (".", US),
        ("-", US),
        ("１２", US),  # full-width digits
        ("1e5", US),
        ("NaN", US),
        ("9" * 13, US),
        ("0." + "1" * 13, US),
    ],
)
def test_what_is_not_clear_is_refused(text: str, numbers: Numbers) -> None:
    with pytest.raises(NumberError):
        parse_number(text, numbers)


AMOUNTS = st.decimals(min_value=D("-999999999"), max_value=D("999999999"), places=2)
MARKS: list[tuple[str, Thousands]] = [(".", ","), (",", "."), (",", " "), (".", "'"), (",", ""), (".", "")]


@given(AMOUNTS, st.sampled_from(MARKS), st.sampled_from(["", "$", "€"]), st.booleans())
def test_what_is_written_by_the_rules_comes_back(
    value: Decimal, marks: tuple[str, Thousands], sign: str, behind: bool
) -> None:
    decimal, thousands = marks
    whole, _, rest = f"{abs(value):,.2f}".partition(".")
    text = whole.replace(",", thousands) + decimal + rest
    text = f"{text} {sign}" if behind else f"{sign}{text}"
    text = ("-" if value < 0 else "") + text
    numbers = Numbers.model_validate({"decimal": decimal, "thousands": thousands, "currency": (sign,)})
    assert parse_number(text, numbers) == value


@given(st.text(max_size=20), st.sampled_from([US, CONTINENT, SPACED]))
def test_any_text_is_a_number_or_refused(text: str, numbers: Numbers) -> None:
    try:
        value = parse_number(text, numbers)
    except NumberError:
        return
    assert value.is_finite()
    assert any(c in "0123456789" for c in text)


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=D("-1e9"), max_value=D("1e9"), places=6))
def test_our_own_writing_is_plain_and_exact(value: Decimal) -> None:
    text = written(value)
    assert D(text) == value
    assert "E" not in text.upper()


@given(st.integers(0, LAST_COLUMN - 1))
def test_letters_of_columns(column: int) -> None:
    assert column_number(letter(column)) == column


@pytest.mark.parametrize(("name", "number"), [("A", 0), ("z", 25), ("AA", 26), ("XFD", 16383)])
def test_letters_as_spreadsheets_have_them(name: str, number: int) -> None:
    assert column_number(name) == number


def number(text: str, *, percent: bool = False) -> Cell:
    return Cell(text, "number", D(text), percent=percent)


@pytest.mark.parametrize(
    ("cell", "column", "kind", "text"),
    [
        (number("72"), Column(unit="minutes"), "hours", "1.2"),
        (number("50"), Column(unit="minutes", round="up"), "hours", "0.9"),
        (number("50"), Column(unit="minutes", round="nearest"), "hours", "0.8"),
        (Cell("1:30", "time", D("1.5")), Column(unit="clock"), "hours", "1.5"),
        (Cell("1:30"), Column(unit="clock"), "hours", "1.5"),
        (Cell("1:30:00"), Column(unit="clock"), "hours", "1.5"),
        (Cell("1.5 hrs"), Column(drop=("h", "hrs")), "hours", "1.5"),
        (number("1250"), Column(unit="cents"), "money", "12.50"),
        (number("64"), Column(), "money", "64.00"),
        (Cell("POA"), Column(values={"poa": "?"}), "money", "?"),
        (None, Column(values={"": "?"}), "money", "?"),
        (None, Column(), "money", ""),
        (number("0.0825", percent=True), Column(), "percent", "8.25"),
        (number("8.25"), Column(), "percent", "8.25"),
        (Cell("8.25 %"), Column(), "percent", "8.25"),
        (number("0.0825"), Column(unit="fraction"), "percent", "8.25"),
        (number("0.55", percent=True), Column(unit="markup percent"), "factor", "1.55"),
        (Cell("55%"), Column(unit="markup percent"), "factor", "1.55"),
        (number("40"), Column(unit="margin percent"), "factor", "1.6667"),
        (number("1001"), Column(), "text", "1001"),
        (Cell("00123", "number", D(123), zeros=5), Column(), "text", "00123"),
        (Cell("a; b ;;c"), Column(split=";"), "list", "a | b | c"),
        (None, Column(constant="axle"), "text", "axle"),
    ],
)  # fmt: skip
def test_cells_by_their_mapping(cell: Cell | None, column: Column, kind: str, text: str) -> None:
    assert convert(cell, column, kind=kind, numbers=Numbers()) == text  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("cell", "column", "kind", "says"),
    [
        (number("50"), Column(unit="minutes"), "hours", "tenths"),
        (number("12.505"), Column(), "money", "two decimals"),
        (Cell("2024-05-03", "date"), Column(), "money", "date"),
        (Cell("2024-05-03", "date"), Column(), "text", "date"),
        (Cell("1:30", "time", D("1.5")), Column(), "hours", "unit: clock"),
        (Cell("1:75"), Column(unit="clock"), "hours", "hours and minutes"),
        (number("0.5", percent=True), Column(), "money", "percent cell"),
        (number("0.5", percent=True), Column(), "factor", "markup percent"),
        (Cell("55%"), Column(), "factor", "markup percent"),
        (number("100"), Column(unit="margin percent"), "factor", "margin"),
        (Cell("", "no value"), Column(), "money", "never calculated"),
        (Cell("#REF!", "error"), Column(), "text", "#REF!"),
        (Cell("about 5"), Column(), "money", "not a number"),
    ],
)
def test_traps_are_told_with_what_to_do(cell: Cell, column: Column, kind: str, says: str) -> None:
    with pytest.raises(CellFault) as caught:
        convert(cell, column, kind=kind, numbers=Numbers())  # type: ignore[arg-type]
    assert says in f"{caught.value} {caught.value.todo}"
    assert caught.value.todo.endswith(".")


def test_rounding_is_counted() -> None:
    seen: list[int] = []
    column = Column(round="nearest")
    for text in ("1.00", "1.005"):
        convert(number(text), column, kind="money", numbers=Numbers(), rounded=lambda: seen.append(1))
    assert len(seen) == 1
