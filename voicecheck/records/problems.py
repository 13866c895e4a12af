"""A fault in a data file, named so that an owner can find it in a spreadsheet."""

from __future__ import annotations

from typing import Literal

from voicecheck.records.base import Record


class Problem(Record):
    """One fault: ``file`` and ``row`` (1 is the first line of the file), ``field`` (column) and what is
    wrong.

    ``severity`` is "error" (the file cannot be used) or "warning" (it can, but something is doubtful).
    """

    file: str
    row: int | None
    field: str
    message: str
    severity: Literal["error", "warning"] = "error"

    def __str__(self) -> str:
        where = self.file if self.row is None else f"{self.file}:{self.row}"
        column = f" [{self.field}]" if self.field else ""
        return f"{where}{column}: {self.message}"
