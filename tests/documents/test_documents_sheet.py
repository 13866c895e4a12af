"""CSV: complete, read back as written, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest
from sample_draft import empty_draft, sample_draft, uk_draft

from voicecheck.documents import COLUMNS, to_csv
from voicecheck.documents import sheet as module
from voicecheck.records import URGENCIES, Draft


def rows_of(draft: Draft) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(to_csv(draft), newline="")))


def test_round_trip_of_every_line() -> None:
    draft = sample_draft()
    jobs = sorted(draft.estimate.jobs, key=lambda job: URGENCIES.index(job.urgency))
    expected = [(job, line) for job in jobs for line in job.lines]
    rows = rows_of(draft)
    assert len(rows) == len(expected)
    for row, (job, line) in zip(rows, expected, strict=True):
        assert row["job_title"] == job.title
        assert row["name"] == line.name
        assert row["operation"] == line.operation
        assert tuple(filter(None, row["positions"].split("|"))) == line.positions
        assert tuple(filter(None, row["findings"].split("|"))) == line.findings
        assert Decimal(row["quantity"]) == line.quantity
        for name, value in (("hours", line.hours), ("unit_price", line.unit_price), ("amount", line.amount)):
            assert (Decimal(row[name]) if row[name] else None) == value
        assert (row["open"] == "to be priced") == (line.amount is None)
        for ask in line.asks:
            assert ask.message in row["questions"]


def test_header_is_documented_column_by_column() -> None:
    assert to_csv(empty_draft()) == ",".join(COLUMNS) + "\r\n"
    assert module.__doc__ is not None
    for column in COLUMNS:
        assert f"`{column}`" in module.__doc__


@pytest.mark.parametrize("evil", ["=1+1", "+1", "-1", "@A1", "\t=1", "\r=1", "\n=1", "  =1", "＝1"])
def test_formulas_are_disarmed(evil: str) -> None:
    draft = uk_draft()
    line = (
        draft.estimate.jobs[0]
        .lines[0]
        .model_copy(update={"name": evil, "why": evil, "arithmetic": evil, "catalogue": evil, "unit": evil})
    )
    job = draft.estimate.jobs[0].model_copy(update={"title": evil, "only_if": evil, "lines": (line,)})
    row = rows_of(draft.model_copy(update={"estimate": draft.estimate.model_copy(update={"jobs": (job,)})}))[
        0
    ]
    for column in ("name", "why", "arithmetic", "catalogue", "unit", "job_title", "only_if"):
        assert row[column] == f"'{evil}"


def test_a_negative_amount_stays_a_number() -> None:
    draft = uk_draft()
    line = draft.estimate.jobs[0].lines[0].model_copy(update={"amount": Decimal("-5.00")})
    job = draft.estimate.jobs[0].model_copy(update={"lines": (line,)})
    row = rows_of(draft.model_copy(update={"estimate": draft.estimate.model_copy(update={"jobs": (job,)})}))[
        0
    ]
    assert row["amount"] == "-5.00"


def test_commas_quotes_and_line_breaks_survive() -> None:
    draft = uk_draft()
    text = 'a, "b"\nc'
    line = draft.estimate.jobs[0].lines[0].model_copy(update={"why": text})
    job = draft.estimate.jobs[0].model_copy(update={"lines": (line,)})
    rows = rows_of(draft.model_copy(update={"estimate": draft.estimate.model_copy(update={"jobs": (job,)})}))
    assert [row["why"] for row in rows] == [text]
