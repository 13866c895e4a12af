"""Collects the faults of one file, so that an owner sees all of them at once."""

from __future__ import annotations

import difflib
from collections.abc import Container, Iterable
from pathlib import Path

from voicecheck.records import DataError, Problem


class Faults:
    """The faults of one file, in the order found."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.found: list[Problem] = []

    def error(self, message: str, *, row: int | None = None, field: str = "") -> None:
        """Note a fault that makes the file unusable."""
        self.found.append(Problem(file=self.path.name, row=row, field=field, message=message))

    def warn(self, message: str, *, row: int | None = None, field: str = "") -> None:
        """Note something doubtful that does not stop the file from being used."""
        self.found.append(
            Problem(file=self.path.name, row=row, field=field, message=message, severity="warning")
        )

    @property
    def errors(self) -> list[Problem]:
        """Only the faults that make the file unusable."""
        return [p for p in self.found if p.severity == "error"]

    def in_order(self) -> list[Problem]:
        """All faults by row, those about the whole file first."""
        return sorted(self.found, key=lambda p: p.row or 0)

    def stop_on_errors(self) -> None:
        """Raise ``DataError`` with every fault (warnings too) when the file cannot be used."""
        errors = sorted(self.errors, key=lambda p: p.row or 0)
        if not errors:
            return
        count = "one fault" if len(errors) == 1 else f"{len(errors)} faults"
        raise DataError(
            f"{self.path} cannot be used, it has {count}; the first: {errors[0]}",
            problems=self.in_order(),
            hint="Correct the rows named, then try again.",
        )


def nearest(word: str, known: Container[str] | Iterable[str]) -> str:
    """A hint such as ``; nearest: brake_pads, brake_shoes``, or "" when nothing known looks alike."""
    if not isinstance(known, Iterable):
        return ""
    close = difflib.get_close_matches(word, [str(k) for k in known], n=3, cutoff=0.6)
    return f"; nearest: {', '.join(close)}" if close else ""


def one_of(allowed: Iterable[str]) -> str:
    """``allowed`` as a list for a message."""
    return ", ".join(allowed)
