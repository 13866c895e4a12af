"""What the customer's estimate shows: one frozen value, made from the draft. No layout here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from voicecheck.documents import plain
from voicecheck.documents.arranged import Arranged, Section, arrange, high_of
from voicecheck.documents.letterhead import Head, cautions_for, head
from voicecheck.documents.spoken import tidied
from voicecheck.records import (
    Draft,
    Finding,
    Job,
    Line,
    LineKind,
    Market,
    Record,
    Totals,
    Urgency,
)
from voicecheck.records.estimate import PartCondition
from voicecheck.records.papers import Caution, Particulars, PlainWords, ShopIdentity, Statement

CONSENT = (
    "Say yes or not now for each job. By signing you agree to that job at its price, with the "
    "supplies and tax that go with it, and to nothing else. A job without a signature is not done."
)
OTHERS = "Someone else who may agree to added work for you:"
URGENCY_TITLES: dict[Urgency, tuple[str, str]] = {
    "now": ("Do now", "The technician advised to do this now."),
    "soon": ("Plan soon", "The technician advised to plan this soon."),
    "later": ("Can wait", "The technician said that this can wait."),
    "unstated": ("How soon was not said", "Ask us when these should be done."),
}
_SECTIONS: tuple[tuple[Section, str, str], ...] = (
    ("unlisted", "Found, with no work advised", "Seen and named; no work on it is in this estimate."),
    ("suspected", "Only suspected", "Not established. It would have to be checked first."),
    ("watch", "Keep an eye on", "No work was advised for now."),
    ("not_checked", "Not checked", "The technician did not look at these."),
    ("fine", "Said to be fine", "Only what was said is listed. That is no promise about the rest."),
)
_CONDITIONS: dict[PartCondition, str] = {
    "new": "",  # what is expected, and what the papers of some places say once for all lines
    "used": "used part",
    "rebuilt": "rebuilt part",
    "reconditioned": "reconditioned part",
    "": "new or used was not said",
}
INCLUDED = "included"


class Told(Record):
    """One thing found, as the technician put it. Quotes are the spoken words, tidied of hesitations."""

    title: str
    facts: str = ""
    quotes: tuple[str, ...] = ()
    because: str = ""
    otherwise: str = ""


class InGeneral(Record):
    """What such a part does and why it matters, on any vehicle."""

    about: str
    does: str
    matters: str


class CustomerLine(Record):
    """One line with its figures as they are printed; an unknown one is "" or "to be priced"."""

    id: str
    kind: LineKind
    kind_word: str
    text: str
    notes: tuple[str, ...] = ()
    quantity: str = ""
    hours: str = ""
    unit_price: str = ""
    amount: str
    is_open: bool


class CustomerJob(Record):
    """A job that the customer can agree to or put off by itself. ``price`` is before supplies and tax.

    ``id`` is that of the estimate's job, ``anchor`` an HTML id.
    """

    id: str
    anchor: str
    number: int
    title: str
    urgency: Urgency
    when: str
    only_if: str = ""
    told: tuple[Told, ...]
    general: tuple[InGeneral, ...]
    lines: tuple[CustomerLine, ...]
    price: str
    open_lines: int


class JobGroup(Record):
    """All jobs of one urgency."""

    urgency: Urgency
    title: str
    gloss: str
    jobs: tuple[CustomerJob, ...]
    price: str


class Listed(Record):
    """Things that were said and lead to no price here."""

    title: str
    gloss: str
    items: tuple[Told, ...]


class Amount(Record):
    """One row of the totals."""

    label: str
    text: str
    strong: bool = False


class PrintedStatement(Record):
    text: str
    citation: str


class CustomerView(Record):
    """The whole estimate as the customer sees it."""

    form: str = "voicecheck-estimate/1"
    head: Head
    complaint: str
    unfinished: tuple[str, ...]  # why this is still a draft; empty when it is not
    groups: tuple[JobGroup, ...]
    put_off: tuple[CustomerJob, ...]
    totals: tuple[Amount, ...]
    total_label: str
    total: str
    total_note: str
    listed: tuple[Listed, ...]
    statements: tuple[PrintedStatement, ...]
    cautions: tuple[str, ...]
    other_person: str  # who else may agree, "" where nobody was named
    labour_word: str

    @property
    def jobs(self) -> tuple[CustomerJob, ...]:
        """Every job that can be agreed to, in the order of their numbers."""
        return tuple(job for group in self.groups for job in group.jobs)


def customer_view(
    draft: Draft,
    *,
    shop: ShopIdentity,
    particulars: Particulars,
    words: PlainWords,
    statements: Sequence[Statement] = (),
    cautions: Sequence[Caution] = (),
    lacking: int = 0,
) -> CustomerView:
    """The customer's estimate. ``statements`` are ``papers.statements_to_print``, ``words`` the plain words.

    ``lacking`` is how many things ``papers.missing`` names: with any, the paper calls itself a draft.

    Pure: the same input gives the same view, and with it the same fingerprint.
    """
    arranged = arrange(draft)
    make = _Maker(draft, words)
    to_do = [(p.urgency, [shown for shown in p.jobs if not shown.job.put_off]) for p in arranged.parts]
    return CustomerView(
        head=head("Estimate", draft=draft, shop=shop, particulars=particulars),
        complaint=plain.visible(particulars.document.complaint).strip(),
        unfinished=_unfinished(draft, arranged, lacking),
        groups=tuple(
            JobGroup(
                urgency=urgency,
                title=URGENCY_TITLES[urgency][0],
                gloss=URGENCY_TITLES[urgency][1],
                jobs=tuple(make.job(shown.job, shown.number) for shown in jobs),
                price=make.price_of([shown.job for shown in jobs]),
            )
            for urgency, jobs in to_do
            if jobs
        ),
        put_off=tuple(
            make.job(shown.job, shown.number)
            for part in arranged.parts
            for shown in part.jobs
            if shown.job.put_off
        ),
        totals=make.totals(),
        total_label="Total of what is priced" if draft.estimate.totals.open_lines else "Total",
        total=make.total(),
        total_note=make.total_note(),
        listed=tuple(
            Listed(
                title=title,
                gloss=gloss,
                items=tuple(make.told(found.finding, quoted=set()) for found in arranged.sections[key]),
            )
            for key, title, gloss in _SECTIONS
            if arranged.sections[key]
        ),
        statements=tuple(
            PrintedStatement(text=plain.visible(s.text), citation=plain.visible(s.citation))
            for s in statements
        ),
        cautions=cautions_for("estimate", cautions, draft.market),
        other_person=_other_person(particulars),
        labour_word=plain.labour_word(draft.market),
    )


def _other_person(particulars: Particulars) -> str:
    person = particulars.authorised_other
    if person is None or not person.name.strip():
        return ""
    contact = ", ".join(text for text in (person.phone, person.email) if text.strip())
    return plain.visible(f"{person.name} ({contact})" if contact else person.name)


def _unfinished(draft: Draft, arranged: Arranged, lacking: int) -> tuple[str, ...]:
    reasons = []
    if arranged.questions:
        reasons.append(
            f"{plain.counted(len(arranged.questions), 'question')} to the technician or the advisor"
        )
    if draft.unplaced:
        reasons.append(f"{plain.counted(len(draft.unplaced), 'remark')} of the technician not yet sorted in")
    if lacking:
        reasons.append(f"{plain.counted(lacking, 'thing')} that a written estimate has to have")
    return tuple(reasons)


class _Maker:
    """Makes the parts of the view of one draft."""

    def __init__(self, draft: Draft, words: PlainWords) -> None:
        self.draft = draft
        self.words = words
        self.market: Market = draft.market
        self.findings = {finding.id: finding for finding in draft.findings}

    def money(self, amount: Decimal, high: Decimal | None = None) -> str:
        """An amount, or a range."""
        return plain.money_range(amount, high, self.draft.estimate.currency, self.market)

    def said(self, text: str) -> str:
        return plain.visible(tidied(text, self.words))

    def told(self, finding: Finding, *, quoted: set[str]) -> Told:
        """One finding; quotes in ``quoted`` are not repeated, and new ones are added to it."""
        facts = [c.name for c in finding.conditions]
        if finding.state == "missing" and not facts:
            facts.append("missing")
        facts += [plain.measure_text(m) for m in finding.measures]
        facts += [f"limit named: {plain.measure_text(m)}" for m in finding.limits_said]
        quotes = [self.said(plain.said(span)) for span in finding.heard]
        new = tuple(dict.fromkeys(q for q in quotes if q and q not in quoted))
        quoted.update(new)
        return Told(
            title=plain.visible(plain.finding_title(finding)),
            facts=plain.visible("; ".join(facts)),
            quotes=new,
            because=self.said(finding.because) if finding.because else "",
            otherwise=self.said(finding.otherwise) if finding.otherwise else "",
        )

    def general(self, job: Job) -> tuple[InGeneral, ...]:
        """Plain words on the components of a job, each sentence once."""
        found: dict[tuple[str, str], str] = {}
        for line in job.lines:
            word = self.words.components.get(line.component.id) if line.component else None
            if line.component is not None and word is not None and line.kind in ("labour", "sublet", "part"):
                found.setdefault((word.does, word.matters), line.component.name)
        return tuple(
            InGeneral(about=plain.visible(plain.capital(name)), does=does, matters=matters)
            for (does, matters), name in found.items()
        )

    def line(self, line: Line) -> CustomerLine:
        notes = [_CONDITIONS[line.part_condition]] if line.kind == "part" else []
        if line.kind == "sublet":
            notes.append("done by another business")
        if line.asked_by in ("policy", "advisor"):
            notes.append(line.why)
        kind = "sent out" if line.kind == "sublet" else plain.kind_word(line.kind, self.market)
        return CustomerLine(
            id=line.id,
            kind=line.kind,
            kind_word=plain.capital(kind),
            text=plain.visible(plain.line_title(line)),
            notes=tuple(plain.visible(note) for note in notes if note),
            quantity=plain.visible(plain.quantity_text(line)),
            hours="" if line.hours is None else plain.hours_text(line.hours),
            unit_price=self.unit_price(line),
            amount=self.amount(line),
            is_open=line.amount is None,
        )

    def amount(self, line: Line) -> str:
        """What the line costs; labour that another line already pays for is "included"."""
        if line.amount is None:
            return plain.TO_BE_PRICED
        if line.kind == "labour" and line.amount == 0 and line.hours == 0:
            return INCLUDED
        return self.money(line.amount, line.amount_high)

    def unit_price(self, line: Line) -> str:
        """The price of one, or the rate "per h" of a line that is charged by its hours."""
        if line.unit_price is None:
            return ""
        text = self.money(line.unit_price, line.unit_price_high)
        return f"{text} per h" if line.kind == "labour" and line.hours is not None else text

    def job(self, job: Job, number: int) -> CustomerJob:
        ids = dict.fromkeys(fid for line in job.lines for fid in line.findings)
        quoted: set[str] = set()
        return CustomerJob(
            id=job.id,
            anchor=f"job-{number}",
            number=number,
            title=plain.visible(job.title),
            urgency=job.urgency,
            when=URGENCY_TITLES[job.urgency][0],
            only_if=self.said(job.only_if) if job.only_if else "",
            told=tuple(self.told(self.findings[fid], quoted=quoted) for fid in ids if fid in self.findings),
            general=self.general(job),
            lines=tuple(self.line(line) for line in job.lines),
            price=self.price_of([job]),
            open_lines=sum(line.amount is None for line in job.lines),
        )

    def price_of(self, jobs: Sequence[Job]) -> str:
        """The priced lines of some jobs in one figure, with what is open said beside it."""
        lines = [line for job in jobs for line in job.lines]
        open_lines = sum(line.amount is None for line in lines)
        if open_lines == len(lines):
            return plain.TO_BE_PRICED
        low = sum((job.subtotal for job in jobs), Decimal(0))
        text = self.money(low, high_of(jobs))
        return f"{text} plus {plain.counted(open_lines, 'line')} to be priced" if open_lines else text

    def _priced(self) -> bool:
        return any(
            line.amount is not None
            for job in self.draft.estimate.jobs
            if not job.put_off
            for line in job.lines
        )

    def totals(self) -> tuple[Amount, ...]:
        """The rows that lead to the total. A row of which nothing is priced says so; no zero is printed."""
        totals = self.draft.estimate.totals
        lines = [line for job in self.draft.estimate.jobs if not job.put_off for line in job.lines]
        rows = []
        for label, amount, kinds in (
            (plain.capital(plain.labour_word(self.market)), totals.labour, ("labour",)),
            ("Parts and fluids", totals.parts, ("part", "fluid")),
            ("Work sent out", totals.sublet, ("sublet",)),
            ("Fees", totals.fees, ("fee",)),
        ):
            of = [line for line in lines if line.kind in kinds]
            left = sum(line.amount is None for line in of)
            if of and left == len(of):
                rows.append(Amount(label=label, text=f"{plain.counted(left, 'line')} to be priced"))
            elif of:
                more = f" plus {plain.counted(left, 'line')} to be priced" if left else ""
                rows.append(Amount(label=label, text=self.money(amount) + more))
        if totals.supplies:
            rows.append(Amount(label="Supplies", text=self.money(totals.supplies)))
        rows += self._discounts(totals)
        rows += self._taxes(totals)
        return tuple(rows)

    def _discounts(self, totals: Totals) -> Iterable[Amount]:
        if totals.discount_lines:
            for taken in totals.discount_lines:
                if taken.amount:
                    label = plain.visible(f"Discount: {taken.reason}")
                    yield Amount(label=label, text=f"less {self.money(taken.amount)}")
        elif totals.discount:
            yield Amount(label="Discount", text=f"less {self.money(totals.discount)}")

    def _taxes(self, totals: Totals) -> Iterable[Amount]:
        if totals.tax_lines:
            for tax in totals.tax_lines:
                if tax.amount:
                    label = f"{tax.name}, {plain.number(tax.percent)} % of {self.money(tax.base)}"
                    yield Amount(label=plain.visible(label), text=self.money(tax.amount))
        elif totals.tax:
            yield Amount(label="Tax", text=self.money(totals.tax))

    def total(self) -> str:
        """The total of what is priced, "to be priced" where nothing is, "" where there is no work."""
        totals = self.draft.estimate.totals
        if not any(not job.put_off for job in self.draft.estimate.jobs):
            return ""
        return self.money(totals.total, totals.total_high) if self._priced() else plain.TO_BE_PRICED

    def total_note(self) -> str:
        left = self.draft.estimate.totals.open_lines
        if not left:
            return ""
        if not self._priced():
            return f"{plain.counted(left, 'line')} to be priced, and no total yet"
        return (
            f"plus {plain.counted(left, 'line')} to be priced, and the tax on {'it' if left == 1 else 'them'}"
        )
