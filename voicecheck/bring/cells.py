"""What one cell and one row of somebody's table hold, whatever file they came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

LAST_COLUMN = 16_384  # of any sheet: XFD
CellKind = Literal["text", "number", "date", "time", "error", "no value"]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell that is not empty.

    ``text`` is what it says, trimmed, line breaks and runs of spaces as one space. ``number`` is the value of
    a cell that a spreadsheet stores as a number (of a percent cell the stored fraction: 8.25 % is 0.0825), of
    a "time" cell its hours. "no value" is a formula that was never calculated, "error" one that went wrong.
    ``zeros`` is the width of a number that is shown with leading zeros ("00123" has 5).
    """

    text: str
    kind: CellKind = "text"
    number: Decimal | None = None
    percent: bool = False
    zeros: int = 0


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number in the file or sheet (1 is the first) and its cells by column (0 is the first).

    ``width`` counts the columns that the file gives the row, empty ones too; 0 where the file does not say.
    ``broken`` says why nothing from this row on can be read.
    """

    number: int
    cells: dict[int, Cell] = field(default_factory=dict)
    width: int = 0
    broken: str = ""


def letter(column: int) -> str:
    """The spreadsheet's name of a column: 0 is "A", 26 is "AA"."""
    name, rest = "", column + 1
    while rest:
        rest, digit = divmod(rest - 1, 26)
        name = chr(ord("A") + digit) + name
    return name


def column_number(letters: str) -> int | None:
    """The column that ``letter`` names so, or ``None`` for what is no column name."""
    wanted = letters.strip().upper()
    if not 1 <= len(wanted) <= 3 or any(not "A" <= c <= "Z" for c in wanted):
        return None
    total = 0
    for c in wanted:
        total = total * 26 + ord(c) - ord("A") + 1
    return total - 1 if total <= LAST_COLUMN else None


def plain(text: str) -> str:
    """``text`` trimmed, with single spaces where there were line breaks, tabs and runs of spaces."""
    return " ".join(text.split())


def alike(text: str) -> str:
    """``text`` as headings and translated values are compared: ``plain`` and without capitals."""
    return plain(text).casefold()
