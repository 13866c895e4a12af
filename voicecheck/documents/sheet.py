"""A draft as CSV for a spreadsheet: one row per line.

| column | meaning |
|---|---|
| `job` | number of the job, in order of urgency, as on the page |
| `job_title`, `urgency`, `only_if` | of the job; urgency as on the page ("do now", "plan soon", …) |
| `line` | number of the line in its job |
| `kind` | labour, part, fluid, sublet, fee |
| `operation`, `component_id`, `component`, `name` | what is done to what; `name` is the line's own name |
| `positions`, `place` | several values joined by `|` |
| `quantity`, `unit`, `hours`, `unit_price`, `amount` | plain numbers with a point; empty where not known |
| `currency` | ISO 4217 |
| `open` | "to be priced" where there is no amount, otherwise empty |
| `findings`, `catalogue`, `candidates` | ids and codes, joined by `|`; candidates as "code name (score)" |
| `heard_at_s`, `words` | second of the first word behind the line; the words, stretches joined by ` / ` |
| `arithmetic`, `why`, `questions` | as on the page; questions of the line and its findings, joined by ` / ` |

A text cell that a spreadsheet could take for a formula (it begins with = + - @, a tab or a line break, also
after spaces) gets a ' in front. Numbers are numbers and get none.
"""

from __future__ import annotations

import csv
import io
from decimal import Decimal

from voicecheck.documents.arranged import Question, ShownFinding, ShownJob, ShownLine, arrange
from voicecheck.documents.plain import TO_BE_PRICED, URGENCY_WORDS, said
from voicecheck.records import Draft

COLUMNS: tuple[str, ...] = (
    "job", "job_title", "urgency", "only_if", "line", "kind", "operation", "component_id", "component",
    "name", "positions", "place", "quantity", "unit", "hours", "unit_price", "amount", "currency",
    "open", "findings", "catalogue", "candidates", "heard_at_s", "words", "arithmetic", "why", "questions",
)  # fmt: skip
CSV_ENCODING = "utf-8-sig"  # spreadsheets read UTF-8 reliably only with its mark in front
_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")


def guarded(text: str) -> str:
    """``text`` as a cell, with a ' in front where a spreadsheet could take it for a formula."""
    if text.lstrip().startswith(_FORMULA) or text.startswith(("\t", "\r", "\n")):
        return f"'{text}"
    return text


def _figure(value: Decimal | None) -> str:
    return "" if value is None else format(value, "f")


def _row(
    shown: ShownJob,
    line: ShownLine,
    findings: tuple[ShownFinding, ...],
    *,
    currency: str,
    questions: tuple[Question, ...],
) -> list[str]:
    job, item = shown.job, line.line
    asked = sorted({*line.questions, *(number for behind in findings for number in behind.questions)})
    spans = [span for behind in findings for span in behind.finding.heard]
    starts = [span.start for span in spans if span.start is not None]
    number = line.anchor.rsplit("-", 1)[1]
    texts = {
        "job_title": job.title,
        "urgency": URGENCY_WORDS[job.urgency],
        "only_if": job.only_if,
        "kind": item.kind,
        "operation": item.operation,
        "component_id": item.component.id if item.component else "",
        "component": item.component.name if item.component else "",
        "name": item.name,
        "positions": "|".join(item.positions),
        "place": "|".join(item.place),
        "unit": item.unit,
        "currency": currency,
        "open": TO_BE_PRICED if item.amount is None else "",
        "findings": "|".join(item.findings),
        "catalogue": item.catalogue or "",
        "candidates": "|".join(f"{c.code} {c.name} ({c.score:.0f})" for c in item.candidates),
        "words": " / ".join(said(span) for span in spans),
        "arithmetic": item.arithmetic,
        "why": item.why,
        "questions": " / ".join(questions[at - 1].ask.message for at in asked),
    }
    figures = {
        "job": str(shown.number),
        "line": number,
        "quantity": _figure(item.quantity),
        "hours": _figure(item.hours),
        "unit_price": _figure(item.unit_price),
        "amount": _figure(item.amount),
        "heard_at_s": f"{min(starts):.2f}" if starts else "",
    }
    return [figures[name] if name in figures else guarded(texts[name]) for name in COLUMNS]


def to_csv(draft: Draft) -> str:
    """A draft as CSV (RFC 4180, CR LF, header first), one row per line; columns as described above."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    arranged = arrange(draft)
    currency, questions = draft.estimate.currency, arranged.questions
    for part in arranged.parts:
        for shown in part.jobs:
            for group in shown.groups:
                for line in group.lines:
                    row = _row(shown, line, group.findings, currency=currency, questions=questions)
                    writer.writerow(row)
    return out.getvalue()
