"""Lines and totals for a billing system: the sums come out again, what is open stays open."""

from __future__ import annotations

import csv
import json
import tracemalloc
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from cli_kit import run
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sample_draft import empty_draft, sample_draft, uk_draft

from voicecheck.documents import to_json
from voicecheck.documents.export import (
    EXPORT_COLUMNS,
    LINE_SCHEMA_FILE,
    TOTAL_COLUMNS,
    ExportLine,
    ExportTotal,
    export_drafts,
    line_schema,
    line_schema_text,
)
from voicecheck.records import (
    Ask,
    DiscountLine,
    Draft,
    Estimate,
    InputError,
    Job,
    Line,
    OutputError,
    TaxLine,
    Totals,
)

D = Decimal
ZERO = D("0.00")
DRAFTS = (sample_draft(), uk_draft(), empty_draft())
PARTS_OF = {"labour": "labour", "part": "parts", "fluid": "parts", "sublet": "sublet", "fee": "fees"}


# -- drafts --------------------------------------------------------------------------------------------------

MONEY = st.decimals(min_value=0, max_value=D("99999.99"), places=2)
TEXTS = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12) | st.sampled_from(
    ["=1+1", "+44", "-5", "@x", "\tx", " =x", '"quoted"', "a,b", "two\nlines", "naïve “£”"]
)


@st.composite
def lines(draw: st.DrawFn, number: int) -> Line:
    amount = draw(MONEY | st.none())
    high = None if amount is None else draw(st.none() | MONEY.map(lambda more: amount + more))
    return Line(
        id=f"l{number}",
        kind=draw(st.sampled_from(sorted(PARTS_OF))),
        name=draw(TEXTS),
        operation="replace",
        component=None,
        positions=draw(st.sampled_from([(), ("front left", "rear right")])),
        quantity=draw(st.decimals(min_value=D("0.01"), max_value=99, places=2)),
        hours=draw(st.none() | st.decimals(min_value=0, max_value=20, places=1)),
        unit_price=amount,
        amount=amount,
        amount_high=high,
        asks=() if amount is not None else (Ask(code="price", message=draw(TEXTS)),),
    )


@st.composite
def drafts(draw: st.DrawFn) -> Draft:
    """A draft with any lines, and totals that are those of its lines."""
    jobs, number = [], 0
    for _ in range(draw(st.integers(0, 4))):
        made = []
        for _ in range(draw(st.integers(1, 4))):
            number += 1
            made.append(draw(lines(number)))
        job = Job(
            id=f"j{number}",
            title=draw(TEXTS),
            urgency="now",
            lines=tuple(made),
            subtotal=sum((line.amount or ZERO for line in made), ZERO),
            put_off=draw(st.booleans()),
        )
        jobs.append(job)
    counted = [line for job in jobs if not job.put_off for line in job.lines]
    sums = dict.fromkeys(("labour", "parts", "sublet", "fees"), ZERO)
    for line in counted:
        sums[PARTS_OF[line.kind]] += line.amount or ZERO
    supplies = draw(MONEY)
    discounts = tuple(
        DiscountLine(reason=draw(TEXTS), on="total", base=ZERO, amount=draw(MONEY))
        for _ in range(draw(st.integers(0, 2)))
    )
    taxes = tuple(
        TaxLine(name=draw(TEXTS), percent=D("8.25"), base=ZERO, amount=draw(MONEY))
        for _ in range(draw(st.integers(0, 2)))
    )
    discount, tax = sum((d.amount for d in discounts), ZERO), sum((t.amount for t in taxes), ZERO)
    totals = Totals(
        **sums,
        supplies=supplies,
        discount=discount,
        discount_lines=discounts,
        tax=tax,
        tax_lines=taxes,
        total=sum(sums.values(), ZERO) + supplies - discount + tax,
        open_lines=sum(line.amount is None for line in counted),
    )
    return sample_draft().model_copy(
        update={"estimate": Estimate(currency="USD", jobs=tuple(jobs), totals=totals)}
    )


def exported(folder: Path, *made: Draft, plain: bool = False) -> tuple[list[Any], list[Any], list[Any]]:
    """The rows of the JSON Lines, of the CSV and of the totals."""
    export_drafts(
        ((f"d{n}", draft) for n, draft in enumerate(made)),
        csv_out=folder / "lines.csv",
        jsonl_out=folder / "lines.jsonl",
        totals_out=folder / "totals.csv",
        plain=plain,
    )
    encoding = "utf-8" if plain else "utf-8-sig"
    tables = []
    for name in ("lines.csv", "totals.csv"):
        with (folder / name).open(encoding=encoding, newline="") as file:
            tables.append(list(csv.DictReader(file)))
    rows = (folder / "lines.jsonl").read_text(encoding="utf-8").split("\n")
    return [json.loads(row) for row in rows if row], tables[0], tables[1]


def sums_of(rows: list[Any], *, put_off: object) -> dict[str, Decimal]:
    """What the lines add up to, from nothing but the rows themselves."""
    sums = dict.fromkeys(("labour", "parts", "sublet", "fees"), ZERO)
    for row in rows:
        if row["put_off"] == put_off and row["amount"]:
            sums[PARTS_OF[row["kind"]]] += D(row["amount"])
    return sums


# -- round trip ----------------------------------------------------------------------------------------------


def check_round_trip(folder: Path, draft: Draft) -> None:
    objects, table, totals = exported(folder, draft)
    wanted = draft.estimate.totals
    all_lines = [(job, line) for job in draft.estimate.jobs for line in job.lines]
    assert len(objects) == len(table) == len(all_lines)
    named = {row["item"]: row for row in totals}
    for rows, off in ((objects, False), (table, "no")):
        for item, value in sums_of(rows, put_off=off).items():
            assert value == getattr(wanted, item) == D(named[item]["amount"])
    added = [D(row["amount"]) for row in totals if row["item"] not in ("total", "open_lines")]
    assert sum(added, ZERO) == wanted.total == D(named["total"]["amount"])
    assert int(named["open_lines"]["lines"]) == wanted.open_lines
    assert sum(row["open"] and not row["put_off"] for row in objects) == wanted.open_lines
    for row, cells, (job, line) in zip(objects, table, all_lines, strict=True):
        assert row["open"] is (line.amount is None)
        for name in ("amount", "amount_high", "unit_price", "hours", "quantity"):
            value = getattr(line, name)
            assert row[name] == (None if value is None else format(value, "f"))
            assert cells[name] == ("" if value is None else format(value, "f"))
        assert row["name"] == line.name
        assert row["job_title"] == job.title


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drafts())
def test_sums_come_out_of_any_draft(tmp_path: Path, draft: Draft) -> None:
    check_round_trip(tmp_path, draft)


@pytest.mark.parametrize("draft", DRAFTS, ids=lambda d: d.recording.name)
def test_sums_come_out_of_the_samples(tmp_path: Path, draft: Draft) -> None:
    objects, table, totals = exported(tmp_path, draft)
    wanted = draft.estimate.totals
    assert D({r["item"]: r for r in totals}["total"]["amount"]) == wanted.total
    assert sum(row["amount"] is None for row in objects) == wanted.open_lines
    assert sum(row["amount"] == "" for row in table) == wanted.open_lines
    for rows in (objects, table):
        sums = sums_of(rows, put_off=False if rows is objects else "no")
        assert (sums["labour"], sums["parts"], sums["sublet"]) == (wanted.labour, wanted.parts, wanted.sublet)


def test_what_is_open_is_never_nought(tmp_path: Path) -> None:
    objects, table, _ = exported(tmp_path, sample_draft())
    opened = [(o, c) for o, c in zip(objects, table, strict=True) if o["open"]]
    assert len(opened) == 4
    for row, cells in opened:
        assert row["amount"] is None
        assert (cells["amount"], cells["open"]) == ("", "yes")
        assert row["questions"]


# -- form ----------------------------------------------------------------------------------------------------


def test_the_shipped_schema_is_that_of_the_record() -> None:
    assert LINE_SCHEMA_FILE.read_text(encoding="utf-8") == line_schema_text(), (
        "the record has changed: python -m voicecheck.documents.make_schema"
    )
    jsonschema.Draft202012Validator.check_schema(line_schema())


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drafts())
def test_rows_fit_the_schema(tmp_path: Path, draft: Draft) -> None:
    validator = jsonschema.Draft202012Validator(json.loads(LINE_SCHEMA_FILE.read_text(encoding="utf-8")))
    objects, _, _ = exported(tmp_path, draft)
    for row in objects:
        validator.validate(row)
        assert ExportLine.model_validate_json(json.dumps(row)) is not None


@pytest.mark.parametrize(
    "change", [{"amount": 12.5}, {"extra": 1}, {"kind": "gift"}, {"format": "x"}, {"open": None}]
)
def test_the_schema_refuses_what_is_no_row(tmp_path: Path, change: dict[str, Any]) -> None:
    objects, _, _ = exported(tmp_path, sample_draft())
    validator = jsonschema.Draft202012Validator(line_schema())
    assert validator.is_valid(objects[0])
    assert not validator.is_valid({**objects[0], **change})


def test_columns_are_those_that_were_promised() -> None:
    """Whoever reads the rows relies on them: new columns come at the end, none goes, none moves."""
    assert EXPORT_COLUMNS[:39] == (
        "format", "draft", "recording", "sha256", "market", "currency", "vin", "plate", "job", "job_id",
        "job_title", "urgency", "only_if", "put_off", "line", "line_id", "kind", "operation", "name",
        "component_id", "component", "positions", "place", "quantity", "unit", "hours", "rate_type",
        "unit_price", "unit_price_high", "amount", "amount_high", "open", "part_condition", "catalogue",
        "findings", "asked_by", "why", "changed", "questions",
    )  # fmt: skip
    assert tuple(ExportTotal.model_fields) == TOTAL_COLUMNS


def test_every_column_is_described() -> None:
    import voicecheck.documents.export as module

    assert module.__doc__ is not None
    missing = [name for name in EXPORT_COLUMNS if f"`{name}`" not in module.__doc__]
    assert not missing


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drafts())
def test_nothing_that_a_spreadsheet_would_run(tmp_path: Path, draft: Draft) -> None:
    numbers = {"quantity", "hours", "unit_price", "amount", "amount_high", "percent", "base"}
    _, table, totals = exported(tmp_path, draft)
    for row in (*table, *totals):
        for name, cell in row.items():
            if name not in numbers:
                assert not cell.lstrip(" ").startswith(("=", "+", "-", "@")), (name, cell)
                assert not cell.startswith(("\t", "\n"))
    _, table, _ = exported(tmp_path, draft, plain=True)
    found = [row["name"] for row in table]
    assert found == [line.name for job in draft.estimate.jobs for line in job.lines]


def test_plain_is_without_a_byte_order_mark(tmp_path: Path) -> None:
    exported(tmp_path, sample_draft(), plain=True)
    assert (tmp_path / "lines.csv").read_bytes().startswith(b"format,draft,")
    exported(tmp_path, sample_draft())
    assert (tmp_path / "lines.csv").read_bytes().startswith(b"\xef\xbb\xbfformat,draft,")


# -- many, and all or nothing --------------------------------------------------------------------------------


def test_batches_take_no_more_memory_than_one(tmp_path: Path) -> None:
    text = to_json(sample_draft())

    def peak(many: int) -> int:
        def each() -> Iterator[tuple[str, Draft]]:
            for n in range(many):
                yield f"d{n}", Draft.model_validate_json(text)

        tracemalloc.start()
        export_drafts(
            each(), csv_out=tmp_path / "l.csv", jsonl_out=tmp_path / "l.jsonl", totals_out=tmp_path / "t.csv"
        )
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    few, many = peak(10), peak(100)
    assert many < few * 1.2 + 100_000
    lines_of_one = sum(len(job.lines) for job in sample_draft().estimate.jobs)
    rows = (tmp_path / "l.jsonl").read_text(encoding="utf-8").count("\n")
    assert rows == 100 * lines_of_one


def test_a_draft_that_cannot_be_read_leaves_what_was_there(tmp_path: Path) -> None:
    out = tmp_path / "lines.csv"
    out.write_text("before")

    def each() -> Iterator[tuple[str, Draft]]:
        yield "a", sample_draft()
        raise InputError("This is not a draft.")

    with pytest.raises(InputError, match="not a draft"):
        export_drafts(each(), csv_out=out, jsonl_out=tmp_path / "l.jsonl")
    assert out.read_text() == "before"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["lines.csv"]


def test_the_same_id_twice_is_refused(tmp_path: Path) -> None:
    pairs = [("a", sample_draft()), ("a", uk_draft())]
    with pytest.raises(InputError, match="Two drafts have the id “a”"):
        export_drafts(pairs, csv_out=tmp_path / "lines.csv")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="the folder does not exist"):
        export_drafts([("a", sample_draft())], csv_out=tmp_path / "no/lines.csv")


def test_a_full_disk_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: object) -> None:
        raise OSError(28, "No space left on device")

    out = tmp_path / "lines.csv"
    with monkeypatch.context() as patch:
        patch.setattr("voicecheck.documents.streamed.os.fsync", fail)
        with pytest.raises(OutputError, match="the disk is full"):
            export_drafts([("a", sample_draft())], csv_out=out)
    assert list(tmp_path.iterdir()) == []


# -- the command ---------------------------------------------------------------------------------------------


def test_the_command(tmp_path: Path) -> None:
    for name, draft in (("one", sample_draft()), ("two", uk_draft())):
        (tmp_path / f"{name}.json").write_text(to_json(draft), encoding="utf-8")
    done = run(
        "export", tmp_path / "one.json", tmp_path / "two.json", "--jsonl", tmp_path / "l.jsonl",
        "--totals", tmp_path / "t.csv", "--csv", tmp_path / "l.csv",
    )  # fmt: skip
    assert (done.status, done.out) == (0, "")
    assert done.err.startswith("2 drafts, ")
    rows = [json.loads(row) for row in (tmp_path / "l.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [row["draft"] for row in rows].count("two") == 1


def test_refusals_of_the_command(tmp_path: Path) -> None:
    (tmp_path / "one.json").write_text(to_json(uk_draft()), encoding="utf-8")
    (tmp_path / "bad.json").write_text("{}", encoding="utf-8")
    one, out = tmp_path / "one.json", tmp_path / "l.csv"
    assert "Nothing to write" in run("export", one).complaint
    assert "There is no file" in run("export", tmp_path / "no.json", "--csv", out).complaint
    bad = run("export", one, tmp_path / "bad.json", "--csv", out).complaint
    assert "bad.json does not say that it is a draft" in bad
    (tmp_path / "bad.json").write_text('{"format": "voicecheck-draft/1"}', encoding="utf-8")
    bad = run("export", one, tmp_path / "bad.json", "--csv", out).complaint
    assert "bad.json: This is not a draft" in bad
    assert "would be overwritten" in run("export", one, "--csv", one).complaint
    assert "named twice" in run("export", one, "--csv", out, "--jsonl", out).complaint
    assert not out.exists()
