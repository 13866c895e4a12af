"""Turns one cell into the text that our files hold, by the rules of its mapping. Nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import ROUND_HALF_UP, ROUND_UP, Decimal
from typing import Literal

from voicecheck.bring.cells import Cell, alike, plain
from voicecheck.bring.mapping import Column, Measure
from voicecheck.bring.numerals import NumberError, Numbers, parse_number, written
from voicecheck.catalogue.cells import TO_BE_FOUND

FieldKind = Literal["text", "list", "number", "hours", "money", "percent", "factor"]

# what a unit of the mapping may be used for
UNITS_OF: dict[FieldKind, tuple[Measure, ...]] = {
    "hours": ("hours", "minutes", "clock"),
    "money": ("cents",),
    "percent": ("percent", "fraction"),
    "factor": ("factor", "markup percent", "margin percent"),
    "number": (),
    "text": (),
    "list": (),
}
STEP: dict[FieldKind, Decimal] = {"hours": Decimal("0.1"), "money": Decimal("0.01")}
FACTOR_STEP = Decimal("0.0001")  # of a factor made from a margin, which rarely comes out even
FINEST = Decimal("0.000001")  # what our files take
_HUNDRED = Decimal(100)
_RANGE = re.compile(r"(.*[0-9].*?)\s*[-–]\s*(.*[0-9].*)")  # 48-56: from a lower to a higher price


class CellFault(ValueError):  # noqa: N818 - a fault of a cell
    """What is wrong with a cell, and ``todo``, what to do about it."""

    def __init__(self, message: str, todo: str = "Correct the cell.") -> None:
        super().__init__(message)
        self.todo = todo


def convert(
    cell: Cell | None,
    column: Column,
    *,
    kind: FieldKind,
    numbers: Numbers,
    rounded: Callable[[], None] = lambda: None,
    doubt: Callable[[str], None] = lambda _: None,
) -> str:
    """The text of our field for a cell of theirs (``None``: empty). Raises ``CellFault``.

    First what the cell says is translated by ``column.values`` (of a list, each entry too); a text that was
    translated is taken as our own and not read as one of their numbers. A price may be “?” (to be found) or
    a range (48-56). ``rounded`` is called where a value was rounded because the mapping says so, ``doubt``
    with a sentence where a number may well be meant otherwise.
    """
    if column.constant is not None:
        return column.constant
    said = cell.text if cell is not None else ""
    if cell is not None and cell.kind == "no value":
        raise CellFault(
            "a formula that was never calculated",
            "Open the file in the spreadsheet program, let it calculate, save it, and bring it again.",
        )
    if cell is not None and cell.kind == "error":
        raise CellFault(f"the formula went wrong: {said}", "Correct the formula, or write the value.")
    if (translated := column.values.get(alike(said))) is not None:
        return plain(translated)
    if cell is None:
        return ""
    if kind == "text":
        return _text(cell)
    if kind == "list":
        entries = _entries(_text(cell), column.split)
        return " | ".join(column.values.get(alike(entry), entry) for entry in entries)
    if kind == "money" and cell.kind == "text":
        if said == TO_BE_FOUND:
            return said
        if (span := _RANGE.fullmatch(said)) is not None:
            ends = (
                convert(Cell(s), column, kind=kind, numbers=numbers, rounded=rounded) for s in span.groups()
            )
            return "-".join(ends)
    value = _value(cell, column, kind, numbers)
    if kind == "percent" and column.unit is None and not cell.percent and 0 < value < 1:
        doubt(f"read as {written(value)} %; if a fraction is meant, write “unit: fraction” for it")
    return _figure(value, column, kind, rounded)


def _text(cell: Cell) -> str:
    if cell.kind in ("date", "time"):
        raise CellFault(
            f"the spreadsheet took what was typed for a {cell.kind} ({cell.text})",
            "Format the column as text and type the value again.",
        )
    if cell.percent:
        raise CellFault(
            f"a percent cell ({written((cell.number or Decimal(0)) * _HUNDRED)} %) where a text is meant",
            "Format the column as text and type the value again.",
        )
    return cell.text


def _entries(text: str, split: str) -> list[str]:
    parts = text.split(split) if split else text.split("|")
    return [plain(p) for p in parts if plain(p)]


def _value(cell: Cell, column: Column, kind: FieldKind, numbers: Numbers) -> Decimal:
    if cell.kind == "date":
        raise CellFault(
            f"a date ({cell.text}) where a number is meant; a spreadsheet takes “3.5” or “3-5” for one",
            "Format the column as number and type the value again.",
        )
    if column.unit == "clock":
        return _clock(cell)
    if cell.kind == "time":
        raise CellFault(
            f"a time of day ({cell.text}) where a number is meant",
            "If it is a length of time, write “unit: clock” for this column; else type the number.",
        )
    if cell.percent:
        return _percent(cell, column, kind)
    value = cell.number if cell.number is not None else _typed(cell.text, column, kind, numbers)
    if column.unit == "minutes":
        return value / 60
    if column.unit == "cents":
        return value / _HUNDRED
    if column.unit == "fraction":
        return value * _HUNDRED
    if column.unit in ("markup percent", "margin percent"):
        if 0 < value < 1:  # 0.55 for 55 % beside a column that says 55: a markup below 1 % is nobody's
            raise CellFault(
                f"{written(value)} is below 1 %: a fraction where percents are meant",
                "Write it as a percentage (55), or format the cell as percent.",
            )
        return 1 + value / _HUNDRED if column.unit == "markup percent" else _from_margin(value, cell)
    return value


def _percent(cell: Cell, column: Column, kind: FieldKind) -> Decimal:
    """A percent cell stores the fraction and shows the percentage; what is shown is what was meant."""
    shown = (cell.number or Decimal(0)) * _HUNDRED
    if kind == "percent" and column.unit in (None, "percent", "fraction"):
        return shown
    if column.unit == "markup percent":
        return 1 + shown / _HUNDRED
    if column.unit == "margin percent":
        return _from_margin(shown, cell)
    raise CellFault(
        f"a percent cell ({written(shown)} %) where a plain number is meant",
        "Format the cell as number and type the value; for a markup, write “unit: markup percent”.",
    )


def _from_margin(percent: Decimal, cell: Cell) -> Decimal:
    if not 0 <= percent < _HUNDRED:
        raise CellFault(f"“{cell.text}” is no margin from 0 to below 100 %")
    return 1 / (1 - percent / _HUNDRED)


def _typed(text: str, column: Column, kind: FieldKind, numbers: Numbers) -> Decimal:
    body = text
    drop = [*column.drop, "%"] if kind in ("percent", "factor") else list(column.drop)
    for unit in sorted(drop, key=len, reverse=True):
        if unit and body.casefold().endswith(unit.casefold()):
            body = body[: -len(unit)].rstrip()
            break
    if kind == "factor" and "%" in text and column.unit not in ("markup percent", "margin percent"):
        raise CellFault(
            f"“{text}” is a percentage where a factor is meant",
            "Write “unit: markup percent” or “unit: margin percent” for this column.",
        )
    try:
        return parse_number(body, numbers)
    except NumberError as error:
        raise CellFault(
            str(error),
            "Correct the cell, say under “numbers” or “drop” how it is written, or translate it (“values”).",
        ) from error


def _clock(cell: Cell) -> Decimal:
    if cell.kind == "time" and cell.number is not None:
        return cell.number
    hours, colon, minutes = cell.text.partition(":")
    # seconds that a spreadsheet shows (1:30:00) are taken where they are nought
    minutes = minutes.removesuffix(":00") if minutes.count(":") == 1 else minutes
    digits = (hours + minutes).isascii() and hours.isdigit() and minutes.isdigit()
    if not colon or not digits or len(minutes) != 2 or int(minutes) > 59 or len(hours) > 4:
        raise CellFault(f"“{cell.text}” is not hours and minutes, such as 1:30")
    return Decimal(hours) + Decimal(minutes) / 60


def _figure(value: Decimal, column: Column, kind: FieldKind, rounded: Callable[[], None]) -> str:
    """A number for our file, hours and money with their usual digits; rounded where the mapping says so."""
    step = FACTOR_STEP if column.unit == "margin percent" else STEP.get(kind, FINEST)
    how = ROUND_UP if column.round == "up" else ROUND_HALF_UP
    even = value.quantize(step, rounding=how)
    if even != value:
        if kind in STEP and not column.round:
            needed = "tenths of an hour" if kind == "hours" else "two decimals"
            raise CellFault(
                f"{written(value.quantize(FACTOR_STEP))} is finer than {needed}",
                "Correct the cell, or write “round: up” or “round: nearest” for this column.",
            )
        rounded()
    return format(even, "f") if kind in STEP else written(even)
