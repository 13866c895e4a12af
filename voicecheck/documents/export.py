"""Drafts as plain rows for the system that a shop bills with: CSV or JSON Lines, and the totals apart.

One row for each line of the estimate. The columns of the CSV are the fields of ``ExportLine`` in their order;
new ones come only at the end. What is not known is empty in CSV and ``null`` in JSON, never 0.

| column | meaning |
|---|---|
| `format` | `voicecheck-line/1` |
| `draft` | the id that the caller gives the draft (the command: the file's name without ending) |
| `recording`, `sha256` | name and checksum of what was listened to |
| `market`, `currency` | US or UK; ISO 4217 |
| `vin`, `plate` | as far as they were said |
| `job`, `job_id`, `job_title` | number of the job in the draft (from 1), its lasting id, its title |
| `urgency`, `only_if` | now, soon, later, unstated; the condition in the speaker's words |
| `put_off` | the job is put off: its lines are in no total |
| `line`, `line_id` | number of the line in its job (from 1), its lasting id |
| `kind`, `operation`, `name` | labour, part, fluid, sublet, fee; the action; the line's own name |
| `component_id`, `component` | lexicon id and its name |
| `positions`, `place` | several values (CSV: joined by `|`) |
| `quantity`, `unit`, `hours` | `hours` is the whole line's time |
| `rate_type`, `unit_price` | which rate; for labour the rate per hour, else the price of one unit |
| `amount` | of the line, without tax |
| `unit_price_high`, `amount_high` | the upper ends, where the price is a range |
| `open` | there is no amount yet |
| `part_condition` | new, used, rebuilt, reconditioned |
| `catalogue`, `findings` | code of the shop's catalogue; ids of the findings behind it |
| `asked_by`, `why`, `changed` | who wants the line, and why; what an advisor changed |
| `questions` | open questions of the line |

The totals have one row for each sum, with the columns of ``TOTAL_COLUMNS``. All rows of a draft but `total`
and `open_lines` add up to its `total`: a discount is negative. Jobs that are put off are in none of them.

A text cell that a spreadsheet could take for a formula gets a ' in front, and the CSV begins with a
byte-order mark, unless it is asked for ``plain``, for programs. Numbers are numbers and get no '.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

from voicecheck.documents.sheet import CSV_ENCODING, guarded
from voicecheck.documents.streamed import Streams
from voicecheck.records import (
    Action,
    Draft,
    InputError,
    LineKind,
    Market,
    Position,
    Record,
    Urgency,
)

LINE_FORMAT = "voicecheck-line/1"
LINE_SCHEMA_FILE = Path(__file__).parent / "schema" / "voicecheck-line-1.schema.json"
LINE_SCHEMA_ID = "urn:voicecheck:schema:line:1"
JOINED = " / "  # between questions in CSV
TOTAL_COLUMNS = (
    "draft", "sha256", "currency", "item", "name", "percent", "base", "amount", "amount_high", "lines",
)  # fmt: skip


class ExportLine(Record):
    """One line of one draft, flat. The columns are described above."""

    format: Literal["voicecheck-line/1"] = "voicecheck-line/1"
    draft: str
    recording: str
    sha256: str
    market: Market
    currency: str
    vin: str | None
    plate: str | None
    job: int
    job_id: str
    job_title: str
    urgency: Urgency
    only_if: str
    put_off: bool
    line: int
    line_id: str
    kind: LineKind
    operation: Action
    name: str
    component_id: str | None
    component: str | None
    positions: tuple[Position, ...]
    place: tuple[str, ...]
    quantity: Decimal
    unit: str
    hours: Decimal | None
    rate_type: str
    unit_price: Decimal | None
    unit_price_high: Decimal | None
    amount: Decimal | None
    amount_high: Decimal | None
    open: bool
    part_condition: str
    catalogue: str | None
    findings: tuple[str, ...]
    asked_by: str
    why: str
    changed: str
    questions: tuple[str, ...]


EXPORT_COLUMNS: tuple[str, ...] = tuple(ExportLine.model_fields)


class ExportTotal(Record):
    """One sum of a draft: ``item`` says which, ``name`` the tax's or discount's own name.

    ``item``: labour, parts, sublet, fees, supplies, discount (negative), tax, total, open_lines. The last has
    ``lines``, the number of lines without a price, and no amount.
    """

    draft: str
    sha256: str
    currency: str
    item: str
    name: str = ""
    percent: Decimal | None = None
    base: Decimal | None = None
    amount: Decimal | None = None
    amount_high: Decimal | None = None
    lines: int | None = None


class Exported(Record):
    """How much was written."""

    drafts: int = 0
    lines: int = 0
    open_lines: int = 0


def export_lines(draft: Draft, *, draft_id: str) -> Iterator[ExportLine]:
    """The lines of a draft in the order of its jobs, those that are put off too."""
    for job_number, job in enumerate(draft.estimate.jobs, start=1):
        for number, line in enumerate(job.lines, start=1):
            yield ExportLine(
                draft=draft_id,
                recording=draft.recording.name,
                sha256=draft.recording.sha256,
                market=draft.market,
                currency=draft.estimate.currency,
                vin=draft.vehicle.vin,
                plate=draft.vehicle.plate,
                job=job_number,
                job_id=job.id,
                job_title=job.title,
                urgency=job.urgency,
                only_if=job.only_if,
                put_off=job.put_off,
                line=number,
                line_id=line.id,
                kind=line.kind,
                operation=line.operation,
                name=line.name,
                component_id=line.component.id if line.component is not None else None,
                component=line.component.name if line.component is not None else None,
                positions=line.positions,
                place=line.place,
                quantity=line.quantity,
                unit=line.unit,
                hours=line.hours,
                rate_type=line.rate_type,
                unit_price=line.unit_price,
                unit_price_high=line.unit_price_high,
                amount=line.amount,
                amount_high=line.amount_high,
                open=line.amount is None,
                part_condition=line.part_condition,
                catalogue=line.catalogue,
                findings=line.findings,
                asked_by=line.asked_by,
                why=line.why,
                changed=line.changed,
                questions=tuple(ask.message for ask in line.asks),
            )


def export_totals(draft: Draft, *, draft_id: str) -> Iterator[ExportTotal]:
    """The sums of a draft, one after the other, ``total`` and ``open_lines`` last."""
    totals = draft.estimate.totals

    def row(item: str, amount: Decimal | None, **more: Any) -> ExportTotal:
        return ExportTotal(
            draft=draft_id,
            sha256=draft.recording.sha256,
            currency=draft.estimate.currency,
            item=item,
            amount=amount,
            **more,
        )

    for item in ("labour", "parts", "sublet", "fees", "supplies"):
        yield row(item, getattr(totals, item))
    if totals.discount_lines:
        for less in totals.discount_lines:
            yield row("discount", -less.amount, name=less.reason, base=less.base)
    elif totals.discount:
        yield row("discount", -totals.discount)
    if totals.tax_lines:
        for tax in totals.tax_lines:
            yield row("tax", tax.amount, name=tax.name, percent=tax.percent, base=tax.base)
    else:
        yield row("tax", totals.tax)
    yield row("total", totals.total, amount_high=totals.total_high)
    yield row("open_lines", None, lines=totals.open_lines)


def jsonl_row(line: ExportLine) -> str:
    """A line as one row of JSON Lines, without line end: amounts are decimal strings, unknown is ``null``."""
    value = line.model_dump(mode="python")
    return json.dumps(value, default=_plain_number, ensure_ascii=False, allow_nan=False)


def csv_row(record: ExportLine | ExportTotal, *, plain: bool = False) -> list[str]:
    """A line or a sum as the cells of one CSV row; ``plain`` leaves out what is there for spreadsheets."""
    cells = []
    for name in type(record).model_fields:
        value = getattr(record, name)
        text = _cell(value, name)
        is_text = isinstance(value, str | tuple)
        cells.append(text if plain or not is_text else guarded(text))
    return cells


def _cell(value: object, name: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, tuple):
        return (JOINED if name == "questions" else "|").join(str(v) for v in value)
    return str(value)


def _plain_number(value: object) -> str:
    if isinstance(value, Decimal):
        return format(value, "f")
    raise TypeError(f"{type(value).__name__} has no place in an export")


def export_drafts(
    drafts: Iterable[tuple[str, Draft]],
    *,
    csv_out: Path | None = None,
    jsonl_out: Path | None = None,
    totals_out: Path | None = None,
    plain: bool = False,
) -> Exported:
    """Write the drafts, each with its id, to the files given; only one draft is held at a time.

    No file is there, or replaced, before all drafts were written. ``InputError`` where two drafts have the
    same id, since their lines could no longer be told apart; ``OutputError`` where a file cannot be written.
    """
    count = Exported()
    seen: set[str] = set()
    encoding = "utf-8" if plain else CSV_ENCODING
    with Streams() as streams:
        table = streams.open(csv_out, encoding=encoding) if csv_out is not None else None
        rows = streams.open(jsonl_out, encoding="utf-8") if jsonl_out is not None else None
        sums = streams.open(totals_out, encoding=encoding) if totals_out is not None else None
        lines_csv = csv.writer(table, lineterminator="\r\n") if table is not None else None
        sums_csv = csv.writer(sums, lineterminator="\r\n") if sums is not None else None
        if lines_csv is not None:
            lines_csv.writerow(EXPORT_COLUMNS)
        if sums_csv is not None:
            sums_csv.writerow(TOTAL_COLUMNS)
        for draft_id, draft in drafts:
            if draft_id in seen:
                raise InputError(
                    f"Two drafts have the id “{draft_id}”; their lines could not be told apart.",
                    hint="Give the files different names.",
                )
            seen.add(draft_id)
            lines = opened = 0
            for line in export_lines(draft, draft_id=draft_id):
                lines, opened = lines + 1, opened + line.open
                if lines_csv is not None:
                    lines_csv.writerow(csv_row(line, plain=plain))
                if rows is not None:
                    rows.write(jsonl_row(line) + "\n")
            if sums_csv is not None:
                sums_csv.writerows(
                    csv_row(total, plain=plain) for total in export_totals(draft, draft_id=draft_id)
                )
            count = Exported(
                drafts=count.drafts + 1, lines=count.lines + lines, open_lines=count.open_lines + opened
            )
        streams.keep()
    return count


def line_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of one row of the JSON Lines, made from ``ExportLine``."""
    schema = ExportLine.model_json_schema(mode="serialization")
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": LINE_SCHEMA_ID,
        "title": LINE_FORMAT,
    }
    return {**head, **{key: value for key, value in schema.items() if key not in head}}


def line_schema_text() -> str:
    """The schema as it is shipped in ``LINE_SCHEMA_FILE``."""
    return json.dumps(line_schema(), ensure_ascii=False, indent=2) + "\n"
