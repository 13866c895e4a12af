"""What is wrong with somebody's table, told so that they can find the cell and know what to do."""

from __future__ import annotations

from typing import Literal

from voicecheck.records import Record


class Fault(Record):
    """One fault. ``row`` and ``column`` are theirs: the row of their file, the heading of their column.

    ``cell`` is the spreadsheet's name of the place ("C12"), "" for text files; ``field`` is ours; ``value``
    what stands in their cell; ``message`` what is wrong and what is allowed; ``todo`` what to do about it.
    """

    row: int | None = None
    column: str = ""
    cell: str = ""
    field: str = ""
    value: str = ""
    message: str
    todo: str = ""
    severity: Literal["error", "warning"] = "error"

    def __str__(self) -> str:
        where = [f"row {self.row}"] if self.row is not None else []
        if self.column:
            where.append(f"column “{self.column}”")
        if self.cell:
            where.append(f"cell {self.cell}")
        place = ", ".join(where)
        ours = f" [{self.field}]" if self.field else ""
        todo = f" {self.todo}" if self.todo else ""
        return f"{place}{ours}{': ' if place or ours else ''}{self.message.rstrip('.')}.{todo}"


class FaultList:
    """The faults found so far, and ``notes`` on what was found out on the way."""

    def __init__(self) -> None:
        self.found: list[Fault] = []
        self.notes: list[str] = []

    def add(self, fault: Fault) -> None:
        self.found.append(fault)

    @property
    def errors(self) -> int:
        """How many keep the table from being used."""
        return sum(f.severity == "error" for f in self.found)

    def in_order(self) -> tuple[Fault, ...]:
        """All faults by row, those about the whole table first; what is said twice of a cell, once."""
        unique = dict.fromkeys(self.found)
        return tuple(sorted(unique, key=lambda f: f.row or 0))
