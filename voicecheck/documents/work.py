"""The technician's work list: what was agreed, where, how long, and what was said. No prices.

``view`` makes one frozen value; ``to_html`` and ``to_pdf`` show it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Literal

from voicecheck.documents import plain
from voicecheck.documents.arranged import arrange
from voicecheck.documents.blocks import BLANK, BOX, Block, Para, Row, Run, Table, Together
from voicecheck.documents.letterhead import Head, cautions_for, head
from voicecheck.documents.page import Paper
from voicecheck.documents.page_and_pdf import page_of, pdf_of
from voicecheck.documents.paper_blocks import caution_blocks, head_blocks
from voicecheck.documents.spoken import tidied
from voicecheck.records import Draft, Finding, Job, Line, Record, Span
from voicecheck.records.papers import Caution, Particulars, PlainWords, ShopIdentity

Standing = Literal["to do", "not agreed", "put off"]
STANDING: dict[Standing, str] = {
    "to do": "",
    "not agreed": "Not agreed: do not do this.",
    "put off": "Put off: do not do this.",
}


class Heard(Record):
    """Words as they were said, with the time in the recording ("" for typed notes)."""

    at: str
    words: str


class WorkFinding(Record):
    title: str
    facts: str
    heard: tuple[Heard, ...]


class WorkLine(Record):
    """An operation, or a part or fluid that it uses; ``kind`` is the word for the latter, else ""."""

    id: str
    kind: str
    what: str
    where: str
    quantity: str
    hours: str
    notes: tuple[str, ...] = ()


class WorkJob(Record):
    id: str
    number: int
    title: str
    when: str
    only_if: str
    standing: Standing
    findings: tuple[WorkFinding, ...]
    operations: tuple[WorkLine, ...]
    parts: tuple[WorkLine, ...]
    hours: str  # of the operations whose time is known, with what is not said beside it


class WorkView(Record):
    form: str = "voicecheck-work/1"
    head: Head
    agreed_known: bool  # whether the list says what the customer agreed to
    complaint: str
    jobs: tuple[WorkJob, ...]
    left: tuple[WorkJob, ...]  # not to be done
    cautions: tuple[str, ...]


def view(
    draft: Draft,
    *,
    shop: ShopIdentity,
    particulars: Particulars,
    words: PlainWords,
    cautions: Sequence[Caution] = (),
    agreed: Collection[str] | None = None,
) -> WorkView:
    """The work list. ``agreed`` are the ids of the jobs that the customer agreed to.

    Without ``agreed`` every job that is not put off is listed, and the paper says that consent is not on it.
    """
    by_id = {finding.id: finding for finding in draft.findings}
    jobs = [
        _job(shown.job, shown.number, by_id=by_id, words=words, standing=_standing(shown.job, agreed))
        for part in arrange(draft).parts
        for shown in part.jobs
    ]
    return WorkView(
        head=head("Work list", draft=draft, shop=shop, particulars=particulars, customer=False),
        agreed_known=agreed is not None,
        complaint=plain.visible(particulars.document.complaint).strip(),
        jobs=tuple(job for job in jobs if job.standing == "to do"),
        left=tuple(job for job in jobs if job.standing != "to do"),
        cautions=cautions_for("work", cautions, draft.market),
    )


def _standing(job: Job, agreed: Collection[str] | None) -> Standing:
    if job.put_off:
        return "put off"
    return "to do" if agreed is None or job.id in agreed else "not agreed"


def _job(
    job: Job, number: int, *, by_id: dict[str, Finding], words: PlainWords, standing: Standing
) -> WorkJob:
    ids = dict.fromkeys(fid for line in job.lines for fid in line.findings)
    quoted: set[Span] = set()
    work = [line for line in job.lines if line.kind in ("labour", "sublet")]
    return WorkJob(
        id=job.id,
        number=number,
        title=plain.visible(job.title),
        when=plain.capital(plain.URGENCY_WORDS[job.urgency]) if job.urgency != "unstated" else "",
        only_if=plain.visible(tidied(job.only_if, words)) if job.only_if else "",
        standing=standing,
        findings=tuple(_finding(by_id[fid], words, quoted) for fid in ids if fid in by_id),
        operations=tuple(_line(line) for line in work),
        parts=tuple(_line(line) for line in job.lines if line.kind in ("part", "fluid")),
        hours=_hours(work),
    )


def _hours(lines: Sequence[Line]) -> str:
    known = [line.hours for line in lines if line.hours is not None]
    unknown = sum(line.kind == "labour" and line.hours is None for line in lines)
    text = f"{plain.hours_text(sum(known[1:], known[0]))} h" if known else ""
    if unknown:
        text = (
            f"{text} plus {plain.counted(unknown, 'operation')} of unknown time" if text else "time not known"
        )
    return text


def _finding(finding: Finding, words: PlainWords, quoted: set[Span]) -> WorkFinding:
    facts = [c.name for c in finding.conditions]
    facts += ["missing"] if finding.state == "missing" and not facts else []
    facts += ["only suspected"] if finding.state == "suspect" else []
    facts += [plain.measure_text(m) for m in finding.measures]
    facts += [f"limit said: {plain.measure_text(m)}" for m in finding.limits_said]
    new = [span for span in finding.heard if span not in quoted]
    quoted.update(new)
    return WorkFinding(
        title=plain.visible(plain.finding_title(finding)),
        facts=plain.visible("; ".join(facts)),
        heard=tuple(
            Heard(at=plain.clock(span.start), words=plain.visible(tidied(plain.said(span), words)))
            for span in new
        ),
    )


def _line(line: Line) -> WorkLine:
    notes = []
    if line.kind == "sublet":
        notes.append("sent out")
    if line.kind == "part" and line.part_condition not in ("", "new"):
        notes.append(f"{line.part_condition} part")
    if line.catalogue and line.kind != "part":
        notes.append(line.catalogue)
    name = plain.capital(line.name)
    return WorkLine(
        id=line.id,
        kind=plain.capital(line.kind) if line.kind in ("part", "fluid") else "",
        what=plain.visible(name),
        where=plain.visible(plain.joined([*line.positions]) or ", ".join(line.place)),
        quantity=plain.visible(plain.quantity_text(line)),
        hours=plain.hours_text(line.hours)
        if line.hours is not None
        else ("not known" if line.kind == "labour" else ""),
        notes=tuple(plain.visible(note) for note in notes),
    )


def to_html(shown: WorkView, *, paper: Paper | None = None) -> str:
    """The work list as one self-contained page without script."""
    return page_of(
        "work.html.j2",
        shown,
        shown.head,
        paper=paper,
        standing=STANDING,
        consent_unknown=CONSENT_UNKNOWN,
    )


def to_pdf(shown: WorkView, *, paper: Paper | None = None) -> bytes:
    """The work list as PDF."""
    return pdf_of(_blocks(shown), shown, shown.head, paper=paper)


CONSENT_UNKNOWN = "What the customer agreed to is not on this list. Ask the advisor before you start."


def _blocks(shown: WorkView) -> list[Block]:
    blocks = head_blocks(shown.head)
    if not shown.agreed_known:
        blocks.append(Para(CONSENT_UNKNOWN, "boxed"))
    if shown.complaint:
        blocks.append(
            Para((Run("The customer told: ", bold=True), Run(f"“{shown.complaint}”", italic=True)), "body")
        )
    if not shown.jobs:
        blocks.append(Para("There is nothing to do on this list.", "body"))
    for job in shown.jobs:
        blocks += _job_blocks(job)
    if shown.left:
        blocks.append(Para("Not to be done", "h2"))
        rows = tuple(Row((f"{job.number}. {job.title}", STANDING[job.standing])) for job in shown.left)
        blocks.append(Table(header=("Job", "Why"), rows=rows, widths=(3, 2), align="ll"))
    blocks.append(Para("Found while working", "h2"))
    blocks.append(Together((_empty_rows(),)))
    return [*blocks, *caution_blocks(shown.cautions)]


def _empty_rows() -> Table:
    return Table(
        header=("What", "Where", "Told the advisor at"),
        rows=tuple(Row((BLANK, BLANK, BLANK), "write") for _ in range(3)),
        widths=(5, 2, 2),
        align="lll",
    )


def _job_blocks(job: WorkJob) -> list[Block]:
    title = [Run(f"{job.number}. {job.title}", bold=True)]
    if job.when:
        title.append(Run(f" – {job.when.lower()}"))
    if job.only_if:
        title.append(Run(f" – only if “{job.only_if}”"))
    blocks: list[Block] = [Para(tuple(title), "h3")]
    for finding in job.findings:
        text = [Run(finding.title, bold=True)]
        if finding.facts:
            text.append(Run(f": {finding.facts}"))
        blocks.append(Para(tuple(text), "body"))
        blocks += [
            Para((Run(f"{heard.at} ", quiet=True), Run(f"“{heard.words}”", italic=True)), "quote")
            for heard in finding.heard
        ]
    rows = [Row((BOX, _what(line), line.where, line.quantity, line.hours, BLANK)) for line in job.operations]
    rows += [
        Row((BOX, (Run(f"{line.kind}: ", quiet=True), *_what(line)), line.where, line.quantity, "", BLANK))
        for line in job.parts
    ]
    if job.hours:
        rows.append(Row((((Run(f"Time of this job: {job.hours}", bold=True)),), ""), "total", spans=(5, 1)))
    blocks.append(
        Table(
            header=("Done", "Operation or part", "Where", "Quantity", "Hours", "Initials"),
            rows=tuple(rows),
            widths=(0.9, 5.5, 2.6, 1.6, 1.2, 1.4),
            align="cllrrl",
        )
    )
    return blocks


def _what(line: WorkLine) -> tuple[Run, ...]:
    notes = f" – {'; '.join(line.notes)}" if line.notes else ""
    return (Run(line.what), Run(notes, quiet=True)) if notes else (Run(line.what),)
