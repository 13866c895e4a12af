"""The examples of docs/bringing_data.md do what the page says."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from bring_kit import bring, told

from voicecheck.bring import KINDS, Kind, report_lines
from voicecheck.bring.delimited import ENCODINGS
from voicecheck.bring.mapping import MEASURES, PART_FIELDS
from voicecheck.bring.shapes import LISTS, SETTINGS
from voicecheck.catalogue import load_prices

PAGE = (Path(__file__).parents[2] / "docs/bringing_data.md").read_text(encoding="utf-8")


def block(name: str) -> str:
    found = re.search(rf"<!-- {re.escape(name)} -->\n\n```\w*\n(.*?)```", PAGE, re.DOTALL)
    assert found, name
    return found[1]


def rows(name: str) -> list[list[Any]]:
    """A table of the page as a spreadsheet would hold it: numbers as numbers, unless they are written out."""
    found = re.search(rf"<!-- table: {re.escape(name)} -->\n\n((?:\|.*\n)+)", PAGE)
    assert found, name
    lines = [[c.strip() for c in line.strip("|").split("|")] for line in found[1].splitlines()]
    return [
        [float(c) if re.fullmatch(r"[0-9.]+", c) else c or None for c in line]
        for line in [lines[0], *lines[2:]]
    ]


def workbook(path: Path, **sheets: list[list[Any]]) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, lines in sheets.items():
        page = book.create_sheet(name)
        for line in lines:
            page.append(line)
    book.save(path)
    return path


def first_of_nearest(text: str) -> str:
    """Without the further candidates, which change with every new term of the lexicon."""
    return re.sub(r"(nearest: [^,.]*)[^.]*\.", r"\1.", text)


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)  # the page shows short paths


def test_the_example(tmp_path: Path) -> None:
    table = rows("our_work")
    source = workbook(Path("our_work.xlsx"), Labor=table)
    dry = bring(Path(), source, block("mapping: our_work"), dry_run=True)
    assert "\n".join(report_lines(dry)) + "\n" == block("report: our_work")
    assert bring(Path(), source, block("mapping: our_work")).written
    table[1][2] = "Brake padz"
    table[2][7] = datetime.date(2026, 3, 5)
    faulty = bring(Path(), workbook(source, Labor=table), block("mapping: our_work"))
    report = list(report_lines(faulty))
    told_now = "\n".join(report[report.index("Faults: 2") :]) + "\n"
    assert first_of_nearest(told_now) == first_of_nearest(block("faults: our_work"))


def test_the_example_of_rates(tmp_path: Path) -> None:
    sheets = {name: rows(f"our_rates/{name}") for name in ("Rates", "Markup", "Taxed")}
    outcome = bring(Path(), workbook(Path("r.xlsx"), **sheets), block("mapping: our_rates"), kind="prices")
    assert outcome.written, told(outcome)
    made = load_prices(outcome.target)
    assert (str(made.labour_rate), str(made.tax_percent), made.taxed) == ("141.00", "8.25", ("part", "fluid"))
    assert [str(b.factor) for b in made.markup] == ["1.75", "1.4", "1.28"]


def test_every_key_is_described() -> None:
    kinds: tuple[Kind, ...] = ("prices", "policies")
    names = {*KINDS, *ENCODINGS, *MEASURES, *PART_FIELDS}
    for kind in kinds:
        names |= {*SETTINGS[kind], *LISTS[kind], *(f for fields in LISTS[kind].values() for f in fields)}
    assert not [name for name in names if name not in PAGE]
