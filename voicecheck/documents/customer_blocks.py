"""The customer's estimate as blocks for the PDF."""

from __future__ import annotations

from voicecheck.documents import plain
from voicecheck.documents.blocks import (
    BLANK,
    BOX,
    Block,
    Bullets,
    Para,
    Row,
    Run,
    Table,
    Text,
    Together,
)
from voicecheck.documents.customer_view import (
    CONSENT,
    OTHERS,
    CustomerJob,
    CustomerLine,
    CustomerView,
    InGeneral,
    Listed,
    Told,
)
from voicecheck.documents.paper_blocks import caution_blocks, head_blocks

_LINE = "_" * 42
_ON_ONE_SHEET = 14  # signatures
_SHORT = 5  # lines of a table that is not torn apart over two sheets


def customer_blocks(shown: CustomerView) -> list[Block]:
    blocks = head_blocks(shown.head)
    if shown.unfinished:
        blocks.append(
            Para(
                (Run("Still a draft. ", bold=True), Run(f"Open: {plain.joined(shown.unfinished)}.")), "boxed"
            )
        )
    if shown.complaint:
        blocks.append(
            Para((Run("What you told us: ", bold=True), Run(f"“{shown.complaint}”", italic=True)), "body")
        )
    blocks += _summary(shown)
    for group in shown.groups:
        blocks += _jobs((Para(group.title, "h2"), Para(group.gloss, "note")), group.jobs)
    if shown.put_off:
        title = (Para("Put off for now", "h2"), Para("Not to be done and in no total.", "note"))
        blocks += _jobs(title, shown.put_off)
    if shown.listed:
        blocks.append(Para("Also said about the vehicle, without a price", "h2"))
        for listed in shown.listed:
            blocks += _listed(listed)
    if shown.statements:
        blocks.append(Para("Good to know", "h2"))
        blocks.append(Bullets(tuple(statement.text for statement in shown.statements)))
    blocks += caution_blocks(shown.cautions)
    if shown.jobs:
        blocks += _consent(shown)
    return blocks


def _jobs(title: tuple[Block, ...], jobs: tuple[CustomerJob, ...]) -> list[Block]:
    """Jobs under a title."""
    return [*title, *(block for job in jobs for block in _job(job))]


def _summary(shown: CustomerView) -> list[Block]:
    if not shown.jobs:
        return [
            Para("At a glance", "h2"),
            Para("There is no work in this estimate, and so no price.", "body"),
        ]
    by_time = Table(
        header=("When", "Jobs", "Price before supplies and tax"),
        rows=tuple(Row((group.title, str(len(group.jobs)), group.price)) for group in shown.groups),
        widths=(3, 1, 5),
        align="lrr",
    )
    rows = [Row((row.label, row.text)) for row in shown.totals]
    rows.append(Row(((Run(shown.total_label, bold=True),), (Run(shown.total, bold=True),)), "total"))
    if shown.total_note:
        rows.append(Row(("", shown.total_note)))
    return [
        Para("At a glance", "h2"),
        Together((by_time,)),
        Together((Table(header=(), rows=tuple(rows), widths=(5, 4), align="lr"),)),
    ]


def _told(told: Told) -> list[Block]:
    title = [Run(told.title, bold=True)]
    if told.facts:
        title.append(Run(f": {told.facts}"))
    blocks: list[Block] = [Para(tuple(title), "body")]
    blocks += [
        Para((Run("The technician said: ", quiet=True), Run(f"“{quote}”", italic=True)), "quote")
        for quote in told.quotes
    ]
    for label, text in (("Why: ", told.because), ("If it is left: ", told.otherwise)):
        if text:
            blocks.append(
                Para(
                    (
                        Run(label, quiet=True),
                        Run(f"“{text}”", italic=True),
                        Run(" (technician)", quiet=True),
                    ),
                    "quote",
                )
            )
    return blocks


def _general(general: InGeneral) -> Para:
    return Para(
        (
            Run(f"In general, {general.about[:1].lower()}{general.about[1:]}: ", quiet=True),
            Run(f"{general.does} {general.matters}"),
        ),
        "small",
    )


def _job(job: CustomerJob) -> list[Block]:
    title: list[Run] = [Run(f"{job.number}. {job.title}", bold=True)]
    if job.only_if:
        title.append(Run(f" – only if “{job.only_if}”"))
    blocks: list[Block] = [Para(tuple(title), "h3")]
    for told in job.told:
        blocks += _told(told)
    rows = [
        Row(
            (
                line.kind_word,
                _line_text(line),
                line.quantity,
                line.hours,
                line.unit_price,
                line.amount,
            )
        )
        for line in job.lines
    ]
    rows.append(
        Row(
            (
                (Run("Price of this job, before supplies and tax", bold=True),),
                (Run(job.price, bold=True),),
            ),
            "total",
            spans=(3, 3),
        )
    )
    table = Table(
        header=("", "Line", "Quantity", "Hours", "Unit price", "Amount"),
        rows=tuple(rows),
        widths=(1.4, 5.2, 1.6, 1.1, 2.5, 2.2),
        align="llrrrr",
    )
    end: list[Block] = [*(_general(general) for general in job.general), table]
    return [*blocks, Together(tuple(end))] if len(job.lines) <= _SHORT else [*blocks, *end]


def _line_text(line: CustomerLine) -> Text:
    text = [Run(line.text)]
    if line.notes:
        text.append(Run(f" – {'; '.join(line.notes)}", quiet=True))
    return tuple(text)


def _listed(listed: Listed) -> list[Block]:
    blocks: list[Block] = [Para(listed.title, "h3"), Para(listed.gloss, "note")]
    items: list[Text] = []
    for told in listed.items:
        text = [Run(told.title, bold=True)]
        if told.facts:
            text.append(Run(f": {told.facts}"))
        for quote in told.quotes:
            text.append(Run(f" – “{quote}”", italic=True))
        items.append(tuple(text))
    blocks.append(Bullets(tuple(items)))
    return blocks


def _consent(shown: CustomerView) -> list[Block]:
    rows = tuple(
        Row((f"{job.number}. {job.title}", job.price, BOX, BOX, BLANK, BLANK, BLANK), "write")
        for job in shown.jobs
    )
    table = Table(
        header=("Job", "Price", "Yes", "Not now", "Name", "Date", "Signature"),
        rows=rows,
        widths=(4.2, 2.4, 0.9, 1.1, 2.6, 1.7, 2.8),
        align="lrcclll",
    )
    blocks: tuple[Block, ...] = (
        Para("Your decision", "h2"),
        Para(CONSENT, "body"),
        Para((Run(f"{OTHERS} "), Run(shown.other_person or _LINE, bold=True)), "body"),
        table,
    )
    return [Together(blocks)] if len(rows) <= _ON_ONE_SHEET else list(blocks)
