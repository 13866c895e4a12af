"""A draft put in the order in which people read it. Page, terminal and sheet all start from here.

Nothing is left out: every finding has exactly one home (under the first line it led to, or in one of the
sections), every ask becomes a numbered question, every word of the transcript stands in exactly one row.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import groupby, pairwise
from typing import Literal, TypeVar

from voicecheck.documents.plain import finding_title, line_title
from voicecheck.records import (
    URGENCIES,
    Ask,
    Draft,
    Finding,
    Job,
    Line,
    Span,
    Transcript,
    Unheard,
    Urgency,
    Word,
)

T = TypeVar("T")

UNSURE_WORD = 0.6  # words below are underlined
UNSURE_FIELD = 0.75  # fields of a finding below are named
WHOLE_RECORDING = "The whole recording"
_PAUSE = 0.7  # seconds of silence that start a new row where there is no ledger
_ROW_WORDS = 24

Section = Literal["unlisted", "suspected", "watch", "not_checked", "fine"]
SECTIONS: tuple[Section, ...] = ("unlisted", "suspected", "watch", "not_checked", "fine")
RowKind = Literal["evidence", "talk", "unplaced", "words"]


@dataclass(frozen=True)
class Question:
    """An ask with its number, what it is about, and the words behind it."""

    number: int
    ask: Ask
    about: tuple[str, ...]
    spans: tuple[Span, ...]
    findings: frozenset[str]


@dataclass(frozen=True)
class ShownFinding:
    """A finding where it is shown; ``home`` is true in one place only, which carries its anchor.

    ``again``: the same job has shown it before. ``quoted``: spans that the job has quoted before.
    """

    finding: Finding
    anchor: str
    home: bool
    questions: tuple[int, ...]
    unsure: tuple[tuple[str, float], ...]
    again: bool = False
    quoted: frozenset[Span] = frozenset()


@dataclass(frozen=True)
class ShownLine:
    """A line with its anchor and the numbers of its questions."""

    line: Line
    anchor: str
    questions: tuple[int, ...]


@dataclass(frozen=True)
class Group:
    """Neighbouring lines of one job that come from the same findings; ``unknown`` are ids no finding has."""

    findings: tuple[ShownFinding, ...]
    unknown: tuple[str, ...]
    lines: tuple[ShownLine, ...]


@dataclass(frozen=True)
class ShownJob:
    number: int
    job: Job
    groups: tuple[Group, ...]
    open_lines: int

    @property
    def unknown(self) -> bool:
        """Whether none of its lines is priced."""
        return 0 < self.open_lines == len(self.job.lines)


@dataclass(frozen=True)
class UrgencyPart:
    """All jobs of one urgency; ``subtotal`` is of the lines that have a price, before supplies and tax.

    Jobs that are put off are among the ``jobs`` and in neither sum.
    """

    urgency: Urgency
    jobs: tuple[ShownJob, ...]
    subtotal: Decimal
    open_lines: int
    subtotal_high: Decimal | None = None  # where a price is a range

    @property
    def unknown(self) -> bool:
        """Whether none of its lines is priced."""
        return all(shown.unknown for shown in self.jobs if not shown.job.put_off)


@dataclass(frozen=True)
class Row:
    """Words ``first:last`` of the transcript, their seconds, and the findings they are evidence of."""

    number: int
    first: int
    last: int
    start: float | None
    end: float | None
    kind: RowKind
    findings: tuple[ShownFinding, ...] = ()
    why: str = ""


@dataclass(frozen=True)
class Piece:
    """Words that are shown together: one word, or a stretch that was heard one way and read another."""

    repaired: bool
    words: tuple[tuple[int, Word], ...]

    @property
    def heard(self) -> str:
        return " ".join(w.heard for _, w in self.words if w.heard)

    @property
    def read(self) -> str:
        return " ".join(w.read for _, w in self.words if w.read)


@dataclass(frozen=True)
class Sum:
    """One row of the totals: the sum of the priced lines of a kind, and how many have no price yet.

    A discount is negative. Fees and discounts have a row where there are any.
    """

    name: Literal["labour", "parts", "sublet", "fees", "supplies", "discount", "tax"]
    amount: Decimal
    open_lines: int

    @property
    def unknown(self) -> bool:
        """Whether nothing of it is priced: the sum says nothing then and must not be shown as a zero."""
        return self.open_lines > 0 and self.amount == 0


@dataclass(frozen=True)
class Arranged:
    draft: Draft
    questions: tuple[Question, ...]
    parts: tuple[UrgencyPart, ...]
    sections: dict[Section, tuple[ShownFinding, ...]]
    rows: tuple[Row | Unheard, ...]
    sums: tuple[Sum, ...]


@dataclass
class _Questions:
    """Collects asks in reading order. One ask on a finding and on a line of it is one question."""

    found: list[Question] = field(default_factory=list)

    def add(self, ask: Ask, *, about: str, findings: frozenset[str], spans: Sequence[Span]) -> int:
        for at, known in enumerate(self.found):
            if known.ask == ask and findings & known.findings:
                self.found[at] = Question(
                    known.number,
                    ask,
                    _unique([*known.about, about]),
                    _unique([*known.spans, *spans]),
                    known.findings | findings,
                )
                return known.number
        self.found.append(Question(len(self.found) + 1, ask, (about,), _unique(spans), findings))
        return len(self.found)


def _unique(items: Iterable[T]) -> tuple[T, ...]:
    return tuple(dict.fromkeys(items))


def _section_of(finding: Finding, *, lined: bool) -> Section | None:
    """Where a finding is listed by itself; ``None`` where the line it led to says it all."""
    if finding.state == "not_checked":
        return "not_checked"
    if finding.state == "suspect":
        return "suspected"
    if finding.action == "monitor":
        return "watch"
    if finding.state == "ok":
        return "fine"
    return None if lined else "unlisted"


def arrange(draft: Draft) -> Arranged:
    """Put a draft in reading order: questions, jobs by urgency, findings by section, transcript."""
    by_id = {finding.id: finding for finding in draft.findings}
    anchors = {finding.id: f"finding-{at}" for at, finding in enumerate(draft.findings, start=1)}
    jobs = sorted(draft.estimate.jobs, key=lambda job: URGENCIES.index(job.urgency))
    lined = {fid for job in jobs for line in job.lines for fid in line.findings if fid in by_id}

    asked = _Questions()
    of_finding: dict[str, tuple[int, ...]] = {}
    of_line: dict[tuple[int, int], tuple[int, ...]] = {}
    for ask in draft.asks:
        asked.add(ask, about=WHOLE_RECORDING, findings=frozenset(), spans=())

    def ask_finding(finding: Finding) -> None:
        if finding.id not in of_finding:
            of_finding[finding.id] = tuple(
                asked.add(
                    ask, about=finding_title(finding), findings=frozenset({finding.id}), spans=finding.heard
                )
                for ask in finding.asks
            )

    for j, job in enumerate(jobs):
        for k, line in enumerate(job.lines):
            behind = [by_id[fid] for fid in line.findings if fid in by_id]
            for finding in behind:
                ask_finding(finding)
            spans = [span for finding in behind for span in finding.heard]
            of_line[j, k] = tuple(
                asked.add(ask, about=line_title(line), findings=frozenset(line.findings), spans=spans)
                for ask in line.asks
            )
    for finding in draft.findings:
        ask_finding(finding)

    homes: set[str] = set()

    def show(finding: Finding, *, again: bool = False, quoted: frozenset[Span] = frozenset()) -> ShownFinding:
        home = finding.id not in homes
        homes.add(finding.id)
        return ShownFinding(
            finding=finding,
            anchor=anchors[finding.id],
            home=home,
            questions=of_finding[finding.id],
            unsure=tuple((n, c) for n, c in sorted(finding.certainty.items()) if c < UNSURE_FIELD),
            again=again,
            quoted=quoted,
        )

    shown_jobs: list[ShownJob] = []
    for j, job in enumerate(jobs):
        groups: list[Group] = []
        before: set[str] = set()
        quoted: set[Span] = set()
        for findings, members in groupby(enumerate(job.lines), key=lambda pair: pair[1].findings):
            shown_behind: list[ShownFinding] = []
            for fid in findings:
                if fid in by_id:
                    shown_behind.append(show(by_id[fid], again=fid in before, quoted=frozenset(quoted)))
                    before.add(fid)
                    quoted.update(by_id[fid].heard)
            groups.append(
                Group(
                    findings=tuple(shown_behind),
                    unknown=tuple(fid for fid in findings if fid not in by_id),
                    lines=tuple(
                        ShownLine(line, f"line-{j + 1}-{k + 1}", of_line[j, k]) for k, line in members
                    ),
                )
            )
        open_lines = sum(line.amount is None for line in job.lines)
        shown_jobs.append(ShownJob(j + 1, job, tuple(groups), open_lines))

    parts = tuple(
        UrgencyPart(
            urgency,
            of_urgency,
            sum((shown.job.subtotal for shown in of_urgency if not shown.job.put_off), Decimal("0")),
            sum(shown.open_lines for shown in of_urgency if not shown.job.put_off),
            high_of([shown.job for shown in of_urgency if not shown.job.put_off]),
        )
        for urgency in URGENCIES
        if (of_urgency := tuple(shown for shown in shown_jobs if shown.job.urgency == urgency))
    )
    sections: dict[Section, list[Finding]] = {section: [] for section in SECTIONS}
    for finding in draft.findings:
        section = _section_of(finding, lined=finding.id in lined)
        if section is not None:
            sections[section].append(finding)
    shown_sections = {section: tuple(show(f) for f in sections[section]) for section in SECTIONS}
    named = {fid: show(finding) for fid, finding in by_id.items()}
    return Arranged(
        draft=draft,
        questions=tuple(asked.found),
        parts=parts,
        sections=shown_sections,
        rows=_rows_of_draft(draft, named),
        sums=_sums(draft),
    )


def high_of(jobs: Sequence[Job]) -> Decimal | None:
    """The upper end of the jobs' subtotals, where any of them is a range."""
    if all(job.subtotal_high is None for job in jobs):
        return None
    return sum((job.subtotal if job.subtotal_high is None else job.subtotal_high for job in jobs), Decimal(0))


def _sums(draft: Draft) -> tuple[Sum, ...]:
    totals = draft.estimate.totals
    lines = [line for job in draft.estimate.jobs if not job.put_off for line in job.lines]
    unpriced = [line.kind for line in lines if line.amount is None]
    fees = Sum("fees", totals.fees, unpriced.count("fee"))
    discount = Sum("discount", -totals.discount, 0)
    return (
        Sum("labour", totals.labour, unpriced.count("labour")),
        Sum("parts", totals.parts, unpriced.count("part") + unpriced.count("fluid")),
        Sum("sublet", totals.sublet, unpriced.count("sublet")),
        *([fees] if totals.fees or fees.open_lines else []),
        Sum("supplies", totals.supplies, 0),
        *([discount] if totals.discount else []),
        Sum("tax", totals.tax, 0),
    )


def _seconds_of(words: Sequence[Word], first: int, last: int) -> tuple[float | None, float | None]:
    part = words[first:last]
    return (part[0].start, part[-1].end) if part else (None, None)


def _rows_of_draft(draft: Draft, named: dict[str, ShownFinding]) -> tuple[Row | Unheard, ...]:
    """One row per ledger entry; words that no entry covers are cut into rows of their own."""
    words = draft.transcript.words
    rows: list[Row] = []

    def add(first: int, last: int, kind: RowKind, findings: tuple[ShownFinding, ...], why: str) -> None:
        if first < last:
            start, end = _seconds_of(words, first, last)
            rows.append(Row(len(rows) + 1, first, last, start, end, kind, findings, why))

    at = 0
    for entry in sorted(draft.ledger.entries, key=lambda e: e.first):
        first, last = min(max(entry.first, at), len(words)), min(entry.last, len(words))
        for a, b in _cut(words, at, first):
            add(a, b, "words", (), "")
        add(first, last, entry.kind, tuple(named[f] for f in entry.findings if f in named), entry.why)
        at = max(at, last)
    for a, b in _cut(words, at, len(words)):
        add(a, b, "words", (), "")
    return _with_unheard(rows, draft.transcript.unheard)


def rows_of(transcript: Transcript) -> tuple[Row | Unheard, ...]:
    """A transcript without ledger in rows: cut at pauses and ends of sentences, at most 24 words long."""
    words = transcript.words
    rows = [
        Row(number, first, last, *_seconds_of(words, first, last), "words")
        for number, (first, last) in enumerate(_cut(words, 0, len(words)), start=1)
    ]
    return _with_unheard(rows, transcript.unheard)


def _with_unheard(rows: list[Row], unheard: tuple[Unheard, ...]) -> tuple[Row | Unheard, ...]:
    """Stretches of speech without words, set in where they belong in time."""
    result: list[Row | Unheard] = []
    waiting = sorted(unheard, key=lambda u: u.start)
    for row in rows:
        while waiting and row.start is not None and waiting[0].start <= row.start:
            result.append(waiting.pop(0))
        result.append(row)
    return (*result, *waiting)


def _cut(words: Sequence[Word], first: int, last: int) -> list[tuple[int, int]]:
    cuts: list[tuple[int, int]] = []
    start = first
    for at in range(first, last):
        word = words[at]
        after = words[at + 1] if at + 1 < last else None
        silent = (
            after is not None
            and after.start is not None
            and word.end is not None
            and after.start - word.end >= _PAUSE
        )
        if after is None or silent or word.read.endswith((".", "?", "!")):
            rows = math.ceil(
                (at + 1 - start) / _ROW_WORDS
            )  # of like length, so that none is left with a word
            edges = [start + (at + 1 - start) * row // rows for row in range(rows + 1)]
            cuts += pairwise(edges)
            start = at + 1
    return cuts


def is_repaired(word: Word) -> bool:
    """Whether a word is read otherwise than it was heard; capitals and punctuation do not count."""
    return _bare(word.heard) != _bare(word.read)


def _bare(text: str) -> str:
    return re.sub(r"^\W+|\W+$", "", text).casefold()


def pieces(words: Sequence[Word], first: int, last: int) -> tuple[Piece, ...]:
    """Words ``first:last``, one by one where heard and read agree, run together where they do not."""
    result: list[Piece] = []
    run: list[tuple[int, Word]] = []
    for at in range(max(0, first), min(last, len(words))):
        word = words[at]
        if is_repaired(word):
            run.append((at, word))
            continue
        if run:
            result.append(Piece(repaired=True, words=tuple(run)))
            run = []
        result.append(Piece(repaired=False, words=((at, word),)))
    if run:
        result.append(Piece(repaired=True, words=tuple(run)))
    return tuple(result)
