"""Small tables of invented work, and ways to bring them."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl

from voicecheck.bring import Kind, Outcome, bring_table
from voicecheck.lexicon import Lexicon, load_lexicon
from voicecheck.resources import lexicon_dir

DAY = datetime.date(2026, 3, 14)

TABLE: list[list[Any]] = [
    ["Op", "What", "Part", "Work", "Minutes", "Material", "Qty", "Cost"],
    ["A-1", "Front pads", "brake pads", "R&R", 72, "pad set", 1, 48.5],
    ["A-2", "Rotor", "Brake rotor", "R&R", 60, "rotor", 2, 61.25],
    ["A-3", "Bleed", "brake fluid", "flush", 42, "", None, None],
]
MAP = """\
format: voicecheck-mapping/1
for: catalogue
columns:
  code: Op
  name: What
  component: Part
  action: { column: Work, values: { "r&r": replace, flush: service } }
  per: { constant: axle }
  hours: { column: Minutes, unit: minutes }
parts:
  - { name: Material, quantity: Qty, price: Cost }
"""


@cache
def words() -> Lexicon:
    return load_lexicon(lexicon_dir(), None, market="US")


def table(**changed: Any) -> list[list[Any]]:
    """``TABLE`` with single cells changed, named as a spreadsheet does: ``E2="x"``."""
    rows = [list(row) for row in TABLE]
    for name, value in changed.items():
        rows[int(name[1:]) - 1][ord(name[0]) - ord("A")] = value
    return rows


def write_xlsx(path: Path, rows: Sequence[Sequence[Any]], *, sheet: str = "Labour") -> Path:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.title = sheet
    for row in rows:
        page.append(list(row))
    book.save(path)
    return path


def write_csv(
    path: Path, rows: Sequence[Sequence[Any]], *, delimiter: str = ",", encoding: str = "utf-8"
) -> Path:
    def cell(value: Any) -> str:
        text = "" if value is None else str(value)
        quoted = any(c in text for c in (delimiter, '"', "\n", "\r"))
        return '"' + text.replace('"', '""') + '"' if quoted else text

    text = "\r\n".join(delimiter.join(cell(v) for v in row) for row in rows) + "\r\n"
    path.write_bytes(text.encode(encoding))
    return path


def bring(
    folder: Path,
    source: Path,
    mapping: str = MAP,
    *,
    kind: Kind = "catalogue",
    dry_run: bool = False,
    sheet: str = "",
) -> Outcome:
    """Bring ``source`` into ``folder / "shop"`` with the mapping given as text."""
    path = folder / "mapping.yaml"
    path.write_text(mapping, encoding="utf-8")
    return bring_table(
        kind, source, path, to=folder / "shop", lexicon=words(), today=DAY, dry_run=dry_run, sheet=sheet
    )


def told(outcome: Outcome) -> str:
    """Every fault as it is told, one on a line."""
    return "\n".join(str(f) for f in outcome.faults)
