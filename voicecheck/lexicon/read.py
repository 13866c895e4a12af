"""Reads one term file into rows, with every fault of form named. No meaning is looked at here."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

from voicecheck.records.problems import Problem

LONGEST_CELL = 16_000  # characters; a longer one is a quote that was never closed, or a pasted page


class Columns(NamedTuple):
    """The columns of a file: ``required`` must be there, ``optional`` may be left out."""

    required: tuple[str, ...]
    optional: tuple[str, ...] = ("notes",)

    @property
    def allowed(self) -> tuple[str, ...]:
        return self.required + self.optional


@dataclass(frozen=True, slots=True)
class Row:
    """One row: where it stands (``number`` 1 is the first line of the file), its stripped cells by column."""

    file: str
    number: int
    cells: dict[str, str]

    def one(self, column: str) -> str:
        """A cell; "" where the column was left out."""
        return self.cells.get(column, "")

    def many(self, column: str) -> tuple[str, ...]:
        """The values of a cell, split at "|"; empty ones and repeats are left out."""
        parts = (part.strip() for part in self.one(column).split("|"))
        return tuple(dict.fromkeys(part for part in parts if part))

    def problem(
        self, column: str, message: str, *, severity: Literal["error", "warning"] = "error"
    ) -> Problem:
        """A problem at a column of this row."""
        return Problem(file=self.file, row=self.number, field=column, message=message, severity=severity)


def read_rows(path: Path, *, shown: str, columns: Columns) -> tuple[list[Row], list[Problem]]:
    """The rows of a term file (blank rows and comments left out) and all faults of its form.

    ``shown`` is the file's name in problems. A file with a fault in its header gives no rows.
    """
    problems: list[Problem] = []

    def fault(row: int | None, field: str, message: str) -> None:
        problems.append(Problem(file=shown, row=row, field=field, message=message))

    try:
        data = path.read_bytes()
    except OSError as error:
        fault(None, "", f"cannot be read: {error.strerror or error}")
        return [], problems
    try:
        text = data.decode("utf-8-sig")  # spreadsheets put a mark in front
    except UnicodeDecodeError as error:
        fault(data.count(b"\n", 0, error.start) + 1, "", "is not UTF-8 text; save the sheet as “CSV UTF-8”")
        return [], problems
    if "\x00" in text:
        fault(text.count("\n", 0, text.index("\x00")) + 1, "", "holds a zero byte; it is not a text file")
        return [], problems

    lines, torn = _split(text)
    for begins in torn:
        fault(begins, "", "a quote is opened and not closed, or text follows a closing quote")
    while lines and _skipped(lines[0][1]):
        lines.pop(0)
    if not lines:
        if not problems:
            fault(1, "", f"is empty; it needs a header with {_listed(columns.required)}")
        return [], problems

    number, header = lines[0]
    header = [cell.strip() for cell in header]
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        fault(number, "", "columns are not separated by commas; save the sheet as comma-separated CSV")
        return [], problems
    sound = True
    for name in dict.fromkeys(header):
        if name not in columns.allowed:
            fault(number, name, f"unknown column “{name}”; allowed are {_listed(columns.allowed)}")
            sound = False
        elif header.count(name) > 1:
            fault(number, name, f"the column “{name}” is there {header.count(name)} times")
            sound = False
    for name in columns.required:
        if name not in header:
            fault(number, name, f"the column “{name}” is missing; needed are {_listed(columns.required)}")
            sound = False
    if not sound:
        return [], problems

    rows: list[Row] = []
    for number, cells in lines[1:]:
        if _skipped(cells):
            continue
        if len(cells) != len(header):
            fault(number, "", f"has {len(cells)} cells where the header has {len(header)}")
            continue
        row = Row(shown, number, {column: cell.strip() for column, cell in zip(header, cells, strict=True)})
        long = [column for column, cell in row.cells.items() if len(cell) > LONGEST_CELL]
        for column in long:
            length = len(row.one(column))
            fault(number, column, f"the cell has {length} characters; at most {LONGEST_CELL} are read")
        if not long:
            rows.append(row)
    return rows, problems


def _split(text: str) -> tuple[list[tuple[int, list[str]]], list[int]]:
    """The lines with the number each begins at, and the lines with a fault in their quotes.

    After such a fault reading goes on at the next line, so that one slip does not hide the rest.
    """
    physical = list(io.StringIO(text, newline=""))
    lines: list[tuple[int, list[str]]] = []
    torn: list[int] = []
    start = 0
    while start < len(physical):
        reader = csv.reader(physical[start:], strict=True)
        read = 0
        try:
            for cells in reader:
                lines.append((start + read + 1, cells))
                read = reader.line_num
        except csv.Error:
            torn.append(start + read + 1)
            read += 1
        start += read
    return lines, torn


def _skipped(cells: Sequence[str]) -> bool:
    return not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)
