"""A draft and a transcript as tables for a terminal of 80 columns or more. rich is used only here and in
``explained_terminal``.

All text of a recording goes in as ``Text``, so that square brackets in it are not taken for styling.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from rich.box import SIMPLE_HEAD
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from voicecheck.documents import plain
from voicecheck.documents.arranged import (
    SECTIONS,
    UNSURE_WORD,
    Arranged,
    Piece,
    Question,
    Row,
    Section,
    ShownFinding,
    ShownJob,
    arrange,
    pieces,
    rows_of,
)
from voicecheck.records import Draft, Line, Span, Transcript, Unplaced, Word

_SECTION_TITLES: dict[Section, str] = {
    "unlisted": "Found, with no line in the draft",
    "suspected": "Only suspected",
    "watch": "To be watched",
    "not_checked": "Not checked",
    "fine": "Said to be fine",
}


def _text(text: str, style: str = "") -> Text:
    return Text(plain.visible(text), style=style)


def _stamp(first: int, start: float | None) -> str:
    return plain.clock(start) or f"word {first}"


def _said(span: Span) -> Text:
    return _text(f"{_stamp(span.first, span.start)} “{plain.said(span)}”", "dim")


def _heading(text: str) -> Text:
    return Text.assemble("\n", (text, "bold underline"))


def _line_cell(line: Line, draft: Draft, numbers: tuple[int, ...]) -> Text:
    cell = _text(f"{plain.capital(plain.kind_word(line.kind, draft.market))}: {plain.line_title(line)}")
    for more in (line.arithmetic, line.why, line.changed):
        if more:
            cell.append("\n" + plain.visible(more), style="dim")
    if line.catalogue is None and line.candidates:
        nearest = ", ".join(f"{c.code} {c.name}" for c in line.candidates)
        cell.append("\n" + plain.visible(f"not in the catalogue; nearest: {nearest}"), style="dim")
    if numbers:
        cell.append(f"\nsee question {plain.joined(str(n) for n in numbers)}", style="italic")
    return cell


def _columns(*, header: bool) -> Table:
    """The columns of all jobs, of the same widths everywhere so that the amounts stand under each other."""
    table = Table(box=None, expand=True, pad_edge=False, show_header=header, header_style="dim")
    table.add_column("Line", ratio=1, overflow="fold")
    for name, width in (("Quantity", 10), ("Hours", 9), ("Unit price", 11), ("Amount", 12)):
        table.add_column(name, justify="right", width=width, overflow="fold")
    return table


def _job(shown: ShownJob, draft: Draft) -> RenderableType:
    title = _text(shown.job.title, "bold")
    if shown.job.only_if:
        title.append(plain.visible(f" (only if {shown.job.only_if})"), style="italic")
    if shown.job.put_off:
        title.append(" (put off, in no total)", style="italic")
    blocks: list[RenderableType] = [title]
    currency, market = draft.estimate.currency, draft.market

    def money(low: Decimal, high: Decimal | None) -> str:
        return plain.money_range(low, high, currency, market)

    for at, group in enumerate(shown.groups):
        said = [s for found in group.findings for s in found.finding.heard if s not in found.quoted]
        blocks += [_said(span) for span in dict.fromkeys(said)]
        table = _columns(header=at == 0)
        for placed in group.lines:
            line = placed.line
            hours = "" if line.hours is None else plain.hours_text(line.hours)
            unknown = "not known" if line.kind == "labour" else ""
            table.add_row(
                _line_cell(line, draft, placed.questions),
                _text(plain.quantity_text(line)),
                hours or unknown,
                "not known" if line.unit_price is None else money(line.unit_price, line.unit_price_high),
                plain.TO_BE_PRICED if line.amount is None else money(line.amount, line.amount_high),
            )
        blocks.append(table)
    left = f"{plain.counted(shown.open_lines, 'line')} to be priced" if shown.open_lines else ""
    total = Table(box=None, expand=True, pad_edge=False, show_header=False)
    total.add_column(ratio=1)
    total.add_column(justify="right", no_wrap=True)
    if shown.unknown:
        total.add_row(left, "", style="bold")
    else:
        name = f"Priced lines, plus {left}" if left else "Priced lines"
        total.add_row(
            name,
            money(shown.job.subtotal, shown.job.subtotal_high),
            style="bold",
        )
    return Group(*blocks, total)


def _totals(arranged: Arranged) -> Table:
    draft = arranged.draft
    totals, currency, market = draft.estimate.totals, draft.estimate.currency, draft.market
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column()
    table.add_column(justify="right", no_wrap=True)
    for part in arranged.sums:
        name = plain.labour_word(market) if part.name == "labour" else part.name
        amount = plain.TO_BE_PRICED if part.unknown else plain.money(part.amount, currency, market)
        table.add_row(plain.capital(name), amount)
    table.add_row(
        "Total so far", plain.money_range(totals.total, totals.total_high, currency, market), style="bold"
    )
    if totals.open_lines:
        table.add_row("", f"plus {plain.counted(totals.open_lines, 'line')} to be priced", style="bold")
    return table


def _listed(rows: list[tuple[str, Text]]) -> Table:
    """Short marks on the left, text on the right."""
    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 1, 0, 0))
    table.add_column(justify="right", no_wrap=True)
    table.add_column(ratio=1, overflow="fold")
    for mark, text in rows:
        table.add_row(mark, text)
    return table


def _question(question: Question) -> Text:
    text = _text(question.ask.message, "bold")
    text.append("\n" + plain.visible(" · ".join(question.about)))
    if question.ask.choices:
        text.append("\n" + plain.visible(" / ".join(question.ask.choices)))
    for span in question.spans:
        text.append("\n")
        text.append_text(_said(span))
    return text


def _found(shown: ShownFinding) -> Text:
    finding = shown.finding
    facts = [c.name for c in finding.conditions]
    facts += [plain.measure_text(m) for m in finding.measures]
    if advice := plain.advice_text(finding):
        facts.append(f"advice: {advice}")
    text = _text(plain.finding_title(finding) + (f": {'; '.join(facts)}" if facts else ""))
    for span in finding.heard:
        text.append("\n")
        text.append_text(_said(span))
    return text


def _lost(item: Unplaced) -> Text:
    text = _text(f"“{item.text}”", "bold")
    text.append("\n" + plain.visible(item.why), style="dim")
    return text


def _heading_of(draft: Draft) -> Text:
    head = _text(draft.recording.name, "bold")
    if draft.recording.seconds is not None:
        head.append(f"  {plain.clock(draft.recording.seconds)}")
    elif draft.transcript.source == "typed":
        head.append("  typed notes")
    vehicle = draft.vehicle
    said = [
        str(vehicle.year) if vehicle.year is not None else "",
        plain.amount_of(vehicle.odometer) if vehicle.odometer else "",
        f"VIN {vehicle.vin}" if vehicle.vin else "",
        f"plate {vehicle.plate}" if vehicle.plate else "",
    ]
    if any(said):
        head.append("\n" + plain.visible(", ".join(s for s in said if s)))
    return head


def draft_table(draft: Draft) -> RenderableType:
    """A draft for ``rich.console.Console.print``: jobs, questions, unplaced words, findings, totals.

    The totals come last, because that is what stays on the screen. Urgency and open prices are said in words.
    """
    arranged: Arranged = arrange(draft)
    blocks: list[RenderableType] = [_heading_of(draft)]
    cautions = [c for c in (draft.transcript.note, *draft.cautions) if c]
    cautions += [
        f"Speech without words from {plain.clock(gap.start)} to {plain.clock(gap.end)}: {gap.why}"
        for gap in draft.transcript.unheard
    ]
    if cautions:
        blocks += [_heading("Mind this first"), _listed([("-", _text(c)) for c in cautions])]
    for part in arranged.parts:
        blocks.append(_heading(plain.capital(plain.URGENCY_WORDS[part.urgency])))
        blocks += [Padding(_job(shown, draft), (1, 0, 0, 0)) for shown in part.jobs]
    if not arranged.parts:
        blocks.append(Text("\nNothing here led to a job."))
    if arranged.questions:
        blocks.append(_heading("Questions"))
        blocks.append(_listed([(f"{q.number}.", _question(q)) for q in arranged.questions]))
    if draft.unplaced:
        blocks.append(_heading("Words without a place"))
        blocks.append(_listed([(_stamp(u.first, u.start), _lost(u)) for u in draft.unplaced]))
    for section in SECTIONS:
        if arranged.sections[section]:
            blocks.append(_heading(_SECTION_TITLES[section]))
            blocks.append(_listed([("-", _found(shown)) for shown in arranged.sections[section]]))
    if arranged.parts:
        blocks += [_heading("Totals"), _totals(arranged)]
    else:
        blocks.append(Text("There is no line in this draft, and so no total."))
    return Group(*blocks)


def _row_text(words: tuple[Word, ...], row: Row) -> Text:
    text = Text()
    for piece in pieces(words, row.first, row.last):
        if text:
            text.append(" ")
        if piece.repaired:
            text.append(plain.visible(piece.heard) or "nothing", style="strike")
            text.append(" → ")
            text.append(plain.visible(piece.read) or "nothing", style="bold")
            continue
        for _, word in piece.words:
            unsure = word.certainty < UNSURE_WORD
            text.append(plain.visible(word.read), style="underline" if unsure else "")
            if unsure:  # said in figures too: a pipe has no underline
                text.append(f" ({word.certainty:.2f})")
    return text


def transcript_table(transcript: Transcript) -> RenderableType:
    """A transcript for the terminal: time, words, and the lowest and the median certainty of each row.

    Repaired words stand as "heard → read", and are listed below with their reasons; words below 0.6 are
    underlined and carry their certainty.
    """
    blocks: list[RenderableType] = []
    if transcript.note:
        blocks.append(_text(transcript.note, "bold"))
    if not transcript.words:
        blocks.append(Text("There are no words."))
    table = Table(box=SIMPLE_HEAD, expand=True, pad_edge=False)
    table.add_column("Time", justify="right", no_wrap=True)
    table.add_column("Words", ratio=1, overflow="fold")
    table.add_column("Lowest", justify="right", no_wrap=True)
    table.add_column("Median", justify="right", no_wrap=True)
    rows = rows_of(transcript)
    for row in rows:
        if not isinstance(row, Row):
            gap = f"[speech until {plain.clock(row.end)} that no word covers: {row.why}]"
            table.add_row(plain.clock(row.start), _text(gap, "italic"), "", "")
            continue
        certainties = sorted(w.certainty for w in transcript.words[row.first : row.last])
        table.add_row(
            _stamp(row.first, row.start),
            _row_text(transcript.words, row),
            f"{certainties[0]:.2f}",
            f"{certainties[len(certainties) // 2]:.2f}",
        )
    if rows:
        blocks.append(table)
    if repairs := _repairs(transcript):
        blocks.append(_heading("Read otherwise than heard"))
        blocks.append(_listed(repairs))
    return Group(*blocks)


def _repairs(transcript: Transcript) -> list[tuple[str, Text]]:
    """Each repair with its time, what was heard, what is read and why."""
    found = []
    for piece in _repaired(transcript.words):
        at, first = piece.words[0]
        text = _text(f"“{piece.heard or 'nothing'}” → “{piece.read or 'nothing'}”", "bold")
        for why in dict.fromkeys(word.why for _, word in piece.words if word.why):
            text.append("\n" + plain.visible(plain.capital(why)), style="dim")
        found.append((_stamp(at, first.start), text))
    return found


def _repaired(words: tuple[Word, ...]) -> list[Piece]:
    """Runs of repaired words; two repairs that touch are two runs."""
    runs: list[Piece] = []
    for piece in pieces(words, 0, len(words)):
        if not piece.repaired:
            continue
        run = [piece.words[0]]
        for before, word in pairwise(piece.words):
            if before[1].why != word[1].why:
                runs.append(Piece(repaired=True, words=tuple(run)))
                run = []
            run.append(word)
        runs.append(Piece(repaired=True, words=tuple(run)))
    return runs
