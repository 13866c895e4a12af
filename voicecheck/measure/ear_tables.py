"""The ear's figures for people (rich), for programs (JSON) and for documents (Markdown), of the same rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from voicecheck.measure.ear import EarCell, EarReport, at_most, term_ratio
from voicecheck.measure.ear_words import BINS, ClassCount, Reliability
from voicecheck.measure.tables import markdown_table

_NOTHING = "–"
_FIGURES = (
    "words %", "terms %", "sides", "numbers", "turned", "not", "repairs", "false", "per 1,000", "changed",
    "× real", "× CPU", "MB",
)  # fmt: skip
EXPLAINED = (
    "words: word error rate, numbers in one form. terms: share of the components, places and conditions "
    "of the text that are not in the words as read. sides, numbers, not (negations): errors, of so many; "
    "turned: sides, numbers turned into others. repairs: stretches read otherwise than heard; false: those "
    "that made more word errors than they mended, also per 1,000 words; changed: repairs that took away or "
    "turned a side or number that was heard, or brought in a wrong one, of all after which sides or numbers "
    "are others. × real: seconds on the clock for a second of recording; × CPU: seconds of all cores' work. "
    "MB: peak memory of its process. certainty: words with that certainty stated, its mean, and the share "
    "that was right."
)
MOST_FALSE_PER_1000 = 1.0
MOST_TIMES_PLAIN = 1.6
TERM_TARGETS = (("clean", 1 / 3, "a third"), ("noise10", 1 / 2, "half"))


class Grid(NamedTuple):
    """A table: a title, the heads of its columns, its rows, and how many columns are names."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    names: int = 1


class EarTarget(NamedTuple):
    """A target, what was measured, and whether that meets it; ``None`` where it was not measured."""

    what: str
    wanted: str
    measured: str
    met: bool | None


def ear_grids(report: EarReport) -> list[Grid]:
    """Every table of a run, the pooled ones first."""
    grids = []
    for folder in report.folders:
        grids.append(_by_condition(f"{folder}, by condition", report, folder))
        grids.append(_by_voice(f"{folder}, by voice", report, folder))
    if len(report.folders) > 1:
        grids.append(_by_condition("all folders, by condition", report, None))
    if len(report.voices) > 1 and len(report.conditions) > 1:
        grids.append(_by_both(report))
    grids += [_reliability(report, ear) for ear in report.ears]
    return grids


def ear_targets(report: EarReport, *, folder: str | None = None) -> list[EarTarget]:
    """The targets of the ear, over ``folder`` (``None``: all); empty without plain and full side by side."""
    if not {"plain", "full"} <= set(report.ears):
        return []
    part = report.model_copy(update={"cells": tuple(c for c in report.cells if folder in (None, c.folder))})
    full = part.pool("full").counts
    found = []
    for name, most, said in TERM_TARGETS:
        share = term_ratio(part, condition=name)
        wanted = f"at most {said} of plain recognition's"
        found.append(EarTarget(f"trade-term error rate, {name}", wanted, _number(share), _met(share, most)))
    false = full.false_repairs_per_1000
    changed = full.repairs.silent if full.recordings else None
    clock, work = part.ratio("full")
    return [
        *found,
        EarTarget("false repairs per 1,000 words", "fewer than 1", _number(false),
                  None if false is None else false < MOST_FALSE_PER_1000),
        EarTarget("sides and numbers silently changed by a repair", "none", str(changed),
                  None if changed is None else changed == 0),
        EarTarget("time of the full ear, times plain, on the clock", f"at most {MOST_TIMES_PLAIN}",
                  _number(clock), _met(clock, MOST_TIMES_PLAIN)),
        EarTarget("time of the full ear, times plain, CPU", f"at most {MOST_TIMES_PLAIN}",
                  _number(work), _met(work, MOST_TIMES_PLAIN)),
    ]  # fmt: skip


def _met(value: float | None, most: float) -> bool | None:
    return None if value is None else at_most(value, most)


def _by_condition(title: str, report: EarReport, folder: str | None) -> Grid:
    rows = []
    groups = [(c.name, [c.name]) for c in report.conditions]
    if len(groups) > 1:
        groups.append(("all", [c.name for c in report.conditions]))
    for name, conditions in groups:
        for ear in report.ears:
            cell = report.pool(ear, folder=folder, conditions=conditions)
            if cell.counts.recordings:
                rows.append((name, ear, *_figures(cell)))
    return Grid(title, ("condition", "ear", *_FIGURES), tuple(rows), names=2)


def _by_voice(title: str, report: EarReport, folder: str | None) -> Grid:
    rows = []
    for voice in report.voices:
        for ear in report.ears:
            cell = report.pool(ear, folder=folder, voice=voice)
            if cell.counts.recordings:
                rows.append((voice, ear, *_figures(cell)))
    return Grid(title, ("voice", "ear", *_FIGURES), tuple(rows), names=2)


def _by_both(report: EarReport) -> Grid:
    """Words wrong and terms missed for each voice in each condition, ears side by side."""
    rows = []
    for condition in report.conditions:
        for voice in report.voices:
            cells = [report.pool(ear, conditions=[condition.name], voice=voice) for ear in report.ears]
            if cells[0].counts.recordings:
                hearings = [cell.counts.hearing for cell in cells]
                words = [_percent(h.word_error_rate) for h in hearings]
                terms = [_percent(h.term_error_rate) for h in hearings]
                rows.append((condition.name, voice, *words, *terms))
    words_head = tuple(f"words %, {ear}" for ear in report.ears)
    terms_head = tuple(f"terms %, {ear}" for ear in report.ears)
    head = ("condition", "voice", *words_head, *terms_head)
    return Grid("every voice in every condition", head, tuple(rows), names=2)


def _reliability(report: EarReport, ear: str) -> Grid:
    counts = report.pool(ear).counts
    kinds = (counts.words_certain, counts.sides_certain, counts.numbers_certain)
    rows = []
    for at, low in enumerate(BINS):
        high = BINS[at + 1] if at + 1 < len(BINS) else 1.0
        cells: list[str] = []
        for kind in kinds:
            found = kind.bins[at]
            cells += (
                [str(found.words), _percent(found.stated / found.words), _percent(found.right / found.words)]
                if found.words
                else ["0", _NOTHING, _NOTHING]
            )
        rows.append((f"{low:.2f} to {high:.2f}", *cells))
    ends: list[str] = []
    for kind in kinds:
        ends += [str(kind.words), "off by", _percent(kind.expected_error)]
    rows.append(("all", *ends))
    head = ["certainty"]
    for name in ("words", "sides", "numbers"):
        head += [name, "stated %", "right %"]
    return Grid(f"certainty stated against observed, {ear}", tuple(head), tuple(rows))


def _figures(cell: EarCell) -> tuple[str, ...]:
    c = cell.counts
    return (
        _percent(c.hearing.word_error_rate),
        _percent(c.hearing.term_error_rate),
        _errors(c.sides),
        _errors(c.numbers),
        f"{c.sides.turned}, {c.numbers.turned}",
        _errors(c.negations),
        str(c.repairs.made),
        str(c.repairs.false),
        _number(c.false_repairs_per_1000),
        f"{c.repairs.silent}/{c.repairs.sides_numbers}",
        _number(cell.real_time_factor, digits=3),
        _number(cell.cpu_factor, digits=3),
        _NOTHING if cell.peak_mb is None else f"{cell.peak_mb:.0f}",
    )


def _errors(count: ClassCount) -> str:
    return f"{count.errors}/{count.total}"


def _percent(value: float | None) -> str:
    return _NOTHING if value is None else f"{100 * value:.1f}"


def _number(value: float | None, *, digits: int = 2) -> str:
    return _NOTHING if value is None else f"{value:.{digits}f}"


# -- for people, programs and documents


def ear_tables(report: EarReport) -> list[RenderableType]:
    """What to print, in order."""
    parts: list[RenderableType] = [Text(_summary(report))]
    for grid in ear_grids(report):
        table = Table(title=grid.title, title_justify="left", padding=(0, 1, 0, 0), box=None, pad_edge=False)
        for at, column in enumerate(grid.head):
            table.add_column(column, justify="left" if at < grid.names else "right")
        for row in grid.rows:
            table.add_row(*row)
        parts += [table, Text("")]
    for target in ear_targets(report):
        parts.append(Text(f"{target.what}: {target.measured} ({target.wanted}; {_verdict(target)})"))
    return [*parts, Text(""), Text(EXPLAINED)]


def _summary(report: EarReport) -> str:
    cell = report.pool(report.ears[0], conditions=[report.conditions[0].name])
    failed = sum(report.pool(ear).counts.failures for ear in report.ears)
    failures = f"; {failed} could not be heard at all" if failed else ""
    return (
        f"{cell.counts.recordings} recordings, {cell.sound_s / 60:.0f} minutes, {cell.counts.hearing.words} "
        f"words, {len(report.voices)} voices, {len(report.conditions)} conditions{failures}"
    )


def _verdict(target: EarTarget) -> str:
    return {True: "met", False: "NOT MET", None: "not measured"}[target.met]


def ear_markdown(report: EarReport) -> str:
    """The tables in Markdown, with what the conditions are."""
    parts = [_summary(report) + ".", "", EXPLAINED, ""]
    rows = [(c.name, c.what) for c in report.conditions]
    parts += [markdown_table(("condition", "what"), rows), ""]
    for grid in ear_grids(report):
        right = range(grid.names, len(grid.head))
        parts += [f"### {grid.title}", "", markdown_table(grid.head, grid.rows, right=right), ""]
    return "\n".join(parts)


def ear_targets_markdown(targets: Sequence[EarTarget]) -> str:
    """The targets in Markdown."""
    rows = [(t.what, t.wanted, t.measured, _verdict(t)) for t in targets]
    return markdown_table(("what", "target", "measured", "verdict"), rows, right=(2,))


def ear_json(report: EarReport) -> dict[str, Any]:
    """The report as plain values: counts of every cell, pooled rates, reliability, targets."""
    pooled = [
        {**_cell_json(report.pool(ear, folder=folder, conditions=[c.name])), "condition": c.name}
        for folder in report.folders
        for c in report.conditions
        for ear in report.ears
    ]
    return {
        "folders": list(report.folders),
        "model": report.model,
        "ears": list(report.ears),
        "conditions": [c.model_dump(mode="json") for c in report.conditions],
        "pooled": pooled,
        "cells": [_cell_json(cell) for cell in report.cells],
        "targets": [target._asdict() for target in ear_targets(report)],
    }


def _cell_json(cell: EarCell) -> dict[str, Any]:
    found = cell.model_dump(mode="json")
    counts, c = found["counts"], cell.counts
    counts["hearing"]["word_error_rate"] = c.hearing.word_error_rate
    counts["hearing"]["term_error_rate"] = c.hearing.term_error_rate
    for name in ("sides", "numbers", "negations"):
        counts[name]["errors"], counts[name]["rate"] = getattr(c, name).errors, getattr(c, name).rate
    counts["false_repairs_per_1000"] = c.false_repairs_per_1000
    for name in ("words_certain", "sides_certain", "numbers_certain"):
        counts[name] = _reliability_json(getattr(c, name))
    found["real_time_factor"], found["cpu_factor"] = cell.real_time_factor, cell.cpu_factor
    return found


def _reliability_json(kind: Reliability) -> dict[str, Any]:
    return {
        "off_by": kind.expected_error,
        "bins": [
            {
                "from": low,
                "words": found.words,
                "stated": found.stated / found.words if found.words else None,
                "right": found.right / found.words if found.words else None,
            }
            for low, found in zip(BINS, kind.bins, strict=True)
        ],
    }
