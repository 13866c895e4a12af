"""The advisor's draft as PDF: the same arrangement as the page, with every word of the recording."""

from __future__ import annotations

from decimal import Decimal

from voicecheck.documents import plain
from voicecheck.documents.arranged import (
    Arranged,
    Question,
    Section,
    ShownFinding,
    ShownJob,
    ShownLine,
    arrange,
    pieces,
)
from voicecheck.documents.arranged import Row as SpokenRow
from voicecheck.documents.blocks import Block, Bullets, Facts, Para, Row, Run, Table, Text
from voicecheck.documents.letterhead import Fact
from voicecheck.documents.page import Paper, paper_of
from voicecheck.documents.pdf import render
from voicecheck.records import Draft, Line, Span, Unplaced

_SECTIONS: tuple[tuple[Section, str], ...] = (
    ("unlisted", "Found, with no line in the draft"),
    ("suspected", "Only suspected"),
    ("watch", "To be watched"),
    ("not_checked", "Not checked"),
    ("fine", "Said to be fine"),
)


def draft_to_pdf(draft: Draft, *, paper: Paper | None = None) -> bytes:
    """The advisor's draft as PDF; ``paper`` as in ``to_html``. The same draft gives the same bytes."""
    language = plain.language_of(draft.market)
    name = plain.visible(draft.recording.name)
    return render(
        _Layout(draft).blocks(),
        title=f"Draft estimate – {name}",
        author="",
        language=language,
        foot=(f"Draft estimate for the advisor · {name}", f"recording sha256 {draft.recording.sha256}"),
        paper=paper or paper_of(language),
    )


class _Layout:
    """Makes blocks of one draft."""

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.arranged: Arranged = arrange(draft)

    def money(self, line: Line) -> tuple[str, str]:
        """Unit price and amount as printed, ranges with both ends."""
        unit = "not known" if line.unit_price is None else self._range(line.unit_price, line.unit_price_high)
        amount = plain.TO_BE_PRICED if line.amount is None else self._range(line.amount, line.amount_high)
        return unit, amount

    def _range(self, low: Decimal, high: Decimal | None) -> str:
        return plain.money_range(low, high, self.draft.estimate.currency, self.draft.market)

    def blocks(self) -> list[Block]:
        blocks: list[Block] = [
            Para("Draft estimate for the advisor", "small"),
            Para(plain.visible(self.draft.recording.name), "title"),
            Facts(self._facts()),
        ]
        blocks += self._totals()
        blocks += self._cautions()
        blocks += self._questions()
        if self.draft.estimate.checks:
            blocks.append(Para("Readings beside their limits", "h2"))
            checks = tuple(f"{c.message} Source: {c.source}" for c in self.draft.estimate.checks)
            blocks.append(Bullets(checks))
        if self.draft.unplaced:
            blocks.append(Para("Words without a place", "h2"))
            blocks.append(Para("The estimate cannot be issued while one of these is open.", "note"))
            blocks.append(Bullets(tuple(self._lost(item) for item in self.draft.unplaced)))
        for part in self.arranged.parts:
            blocks.append(Para(plain.capital(plain.URGENCY_WORDS[part.urgency]), "h2"))
            for shown in part.jobs:
                blocks += self._job(shown)
        if self.draft.estimate.left_off:
            blocks.append(Para("Taken out by the advisor", "h2"))
            blocks.append(Bullets(tuple(self._left_off(line) for line in self.draft.estimate.left_off)))
        blocks += self._sections()
        return [*blocks, *self._transcript()]

    def _facts(self) -> tuple[Fact, ...]:
        vehicle, recording = self.draft.vehicle, self.draft.recording
        source = "typed notes" if self.draft.transcript.source == "typed" else "recording"
        if recording.seconds is not None:
            source += f" of {plain.clock(recording.seconds)}"
        found = [
            ("Source", f"{source}, {plain.counted(len(self.draft.transcript.words), 'word')}"),
            ("Year", str(vehicle.year) if vehicle.year is not None else "not said"),
            ("Odometer", plain.amount_of(vehicle.odometer) if vehicle.odometer else "not said"),
            ("VIN", plain.visible(vehicle.vin or "not said")),
            ("Plate", plain.visible(vehicle.plate or "not said")),
        ]
        return tuple(Fact(label=label, value=value) for label, value in found)

    def _totals(self) -> list[Block]:
        if not self.arranged.parts:
            return [Para("There is no line in this draft, and so no total.", "body")]
        totals, market = self.draft.estimate.totals, self.draft.market
        rows = []
        for item in self.arranged.sums:
            name = plain.capital(plain.labour_word(market) if item.name == "labour" else item.name)
            left = plain.counted(item.open_lines, "line")
            text = f"{left} to be priced"
            if not item.unknown:
                text = self._range(item.amount, None) + (f" plus {left}" if item.open_lines else "")
            rows.append(Row((name, text)))
        lines = [line for part in self.arranged.parts for shown in part.jobs for line in shown.job.lines]
        known = any(line.amount is not None for line in lines)
        total = self._range(totals.total, totals.total_high) if known else plain.TO_BE_PRICED
        rows.append(Row(((Run("Total so far", bold=True),), (Run(total, bold=True),)), "total"))
        if totals.open_lines:
            rows.append(Row(("Not in the total", f"{plain.counted(totals.open_lines, 'line')} to be priced")))
        open_questions = plain.counted(len(self.arranged.questions), "question")
        lost = plain.counted(len(self.draft.unplaced), "stretch", "stretches")
        return [
            Para("At a glance", "h2"),
            Table(header=(), rows=tuple(rows), widths=(5, 4), align="lr"),
            self._by_urgency(),
            Para(
                f"{open_questions} open, {lost} of words without a place. "
                "Nobody has confirmed anything here yet.",
                "body",
            ),
        ]

    def _by_urgency(self) -> Table:
        rows = tuple(
            Row(
                (
                    plain.capital(plain.URGENCY_WORDS[part.urgency]),
                    str(len(part.jobs)),
                    plain.counted(part.open_lines, "line") if part.open_lines else "none",
                    "none yet" if part.unknown else self._range(part.subtotal, part.subtotal_high),
                )
            )
            for part in self.arranged.parts
        )
        return Table(
            header=("When, before supplies and tax", "Jobs", "To be priced", "Priced lines"),
            rows=rows,
            widths=(4, 1, 2, 2),
            align="lrrr",
        )

    def _cautions(self) -> list[Block]:
        items = [self.draft.transcript.note] if self.draft.transcript.note else []
        items += self.draft.cautions
        items += [
            f"Speech without words from {plain.clock(gap.start)} to {plain.clock(gap.end)}: {gap.why}"
            for gap in self.draft.transcript.unheard
        ]
        return [Para("Mind this first", "h2"), Bullets(tuple(items))] if items else []

    def _said(self, span: Span) -> Para:
        at = plain.clock(span.start) or f"word {span.first}"
        return Para((Run(f"{at} ", quiet=True), Run(f"“{plain.said(span)}”", italic=True)), "quote")

    def _questions(self) -> list[Block]:
        blocks: list[Block] = [Para("Questions first", "h2")]
        if not self.arranged.questions:
            return [*blocks, Para("No open questions.", "body")]
        for question in self.arranged.questions:
            blocks += self._question(question)
        return blocks

    def _question(self, question: Question) -> list[Block]:
        blocks: list[Block] = [
            Para(
                (
                    Run(f"{question.number}. ", bold=True),
                    Run(" · ".join(question.about), quiet=True),
                    Run("\n"),
                    Run(question.ask.message, bold=True),
                ),
                "body",
            )
        ]
        if question.ask.choices:
            blocks.append(Para(f"Answers: {' / '.join(question.ask.choices)}", "quote"))
        return [*blocks, *(self._said(span) for span in question.spans)]

    def _lost(self, item: Unplaced) -> Text:
        at = plain.clock(item.start) or f"word {item.first}"
        return (Run(f"{at} ", quiet=True), Run(f"“{item.text}”", bold=True), Run(f" – {item.why}"))

    def _found(self, shown: ShownFinding) -> list[Block]:
        finding = shown.finding
        if shown.again:
            return [Para((Run(plain.finding_title(finding), bold=True), Run(", as above")), "body")]
        blocks: list[Block] = [self._said(span) for span in finding.heard if span not in shown.quoted]
        facts = [c.name for c in finding.conditions]
        facts += [plain.measure_text(m) for m in finding.measures]
        facts += [f"limit said: {plain.measure_text(m)}" for m in finding.limits_said]
        advice = plain.advice_text(finding)
        facts += [f"advice: {advice}"] if advice else []
        facts += [f"only if {finding.only_if}"] if finding.only_if else []
        facts += ["to be sent out"] if finding.sublet else []
        text = [
            Run(plain.finding_title(finding), bold=True),
            Run(f" {plain.STATE_WORDS[finding.state]}", italic=True),
        ]
        text += [Run(f"; {'; '.join(facts)}")] if facts else []
        text += [Run(f" – {_asked(shown.questions)}")] if shown.questions else []
        blocks.append(Para(tuple(text), "body"))
        for label, words in (("Why: ", finding.because), ("If it is left: ", finding.otherwise)):
            if words:
                blocks.append(Para((Run(label, quiet=True), Run(f"“{words}”", italic=True)), "quote"))
        if shown.unsure:
            doubts = ", ".join(f"{name.replace('_', ' ')} ({c:.2f})" for name, c in shown.unsure)
            blocks.append(Para(f"Less certain: {doubts}", "quote"))
        return blocks

    def _job(self, shown: ShownJob) -> list[Block]:
        title = f"{shown.number}. {shown.job.title}"
        if shown.job.only_if:
            title += f" – only if {shown.job.only_if}"
        if shown.job.put_off:
            title += " – put off, in no total"
        blocks: list[Block] = [Para(title, "h3")]
        rows: list[Row] = []
        for group in shown.groups:
            for found in group.findings:
                blocks += self._found(found)
            rows += [self._line(placed) for placed in group.lines]
        left = f"{plain.counted(shown.open_lines, 'line')} to be priced" if shown.open_lines else ""
        price = "" if shown.unknown else self._range(shown.job.subtotal, shown.job.subtotal_high)
        text = " plus ".join(part for part in (price, left) if part)
        rows.append(Row(((Run("Priced lines", bold=True),), (Run(text, bold=True),)), "total", spans=(3, 3)))
        blocks.append(
            Table(
                header=("", "Line", "Quantity", "Hours", "Unit price", "Amount"),
                rows=tuple(rows),
                widths=(1.4, 5.6, 1.5, 1.1, 2.1, 2.2),
                align="llrrrr",
            )
        )
        return blocks

    def _line(self, placed: ShownLine) -> Row:
        line = placed.line
        text = [Run(plain.line_title(line))]
        condition = line.part_condition
        more = [line.arithmetic, line.why, line.changed]
        more.append(f"{plain.capital(condition)} part" if condition not in ("", "new") else "")
        catalogue = "Catalogue" if self.draft.market == "UK" else "Catalog"
        more.append(f"{catalogue} {line.catalogue}" if line.catalogue else "")
        if line.candidates:
            more.append("Nearest: " + ", ".join(f"{c.code} {c.name}" for c in line.candidates))
        more.append(_asked(placed.questions))
        text += [Run(f"\n{part}", quiet=True) for part in more if part]
        unit, amount = self.money(line)
        hours = "not known" if line.kind == "labour" else ""
        return Row(
            (
                plain.capital(plain.kind_word(line.kind, self.draft.market)),
                tuple(text),
                plain.quantity_text(line),
                hours if line.hours is None else plain.hours_text(line.hours),
                unit,
                amount,
            )
        )

    def _left_off(self, line: Line) -> Text:
        return (Run(plain.line_title(line), bold=True), Run(f" – {line.changed}" if line.changed else ""))

    def _sections(self) -> list[Block]:
        blocks: list[Block] = [Para("Everything else that was said about the vehicle", "h2")]
        for key, title in _SECTIONS:
            if self.arranged.sections[key]:
                blocks.append(Para(title, "h3"))
                for shown in self.arranged.sections[key]:
                    blocks += self._found(shown)
        if len(blocks) == 1:
            blocks.append(Para("Nothing.", "body"))
        return blocks

    def _transcript(self) -> list[Block]:
        rows = []
        for row in self.arranged.rows:
            if not isinstance(row, SpokenRow):
                gap = f"[speech until {plain.clock(row.end)} that no word covers: {row.why}]"
                rows.append(Row((plain.clock(row.start), (Run(gap, italic=True),), "")))
                continue
            led = "; ".join(plain.finding_title(shown.finding) for shown in row.findings)
            at = plain.clock(row.start) or f"word {row.first}"
            rows.append(Row((at, self._words(row), led or row.why or row.kind)))
        if not rows:
            return [Para("Transcript", "h2"), Para("There are no words in this recording.", "body")]
        return [
            Para("Transcript", "h2"),
            Table(header=("Time", "Words", "Led to"), rows=tuple(rows), widths=(1, 7, 3), align="lll"),
        ]

    def _words(self, row: SpokenRow) -> Text:
        runs: list[Run] = []
        for piece in pieces(self.draft.transcript.words, row.first, row.last):
            runs += [Run(" ")] if runs else []
            if piece.repaired:
                runs.append(Run(f"[heard: {piece.heard or 'nothing'}] ", quiet=True))
                runs.append(Run(piece.read or "nothing", bold=True))
            else:
                runs.append(Run(piece.read))
        return tuple(runs)


def _asked(numbers: tuple[int, ...]) -> str:
    return f"question {plain.joined(str(n) for n in numbers)}" if numbers else ""
