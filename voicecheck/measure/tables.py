"""Scores for people (rich), for programs (JSON) and for documents (Markdown), all from the same rows."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, NamedTuple

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from voicecheck.measure.counts import FIELDS, UNTAGGED, Counts, FolderScore, Miss, NarrationScore
from voicecheck.measure.run import FolderReport, Speed, failures

_NOTHING = "–"


class Row(NamedTuple):
    """A figure: what it is, its value in print, and the counts behind it."""

    label: str
    value: str
    of: str


def score_rows(counts: Counts) -> list[Row]:
    """Every figure of a score, the ones that matter most first."""
    c = counts
    rows = [
        Row("silent errors", str(c.silent), f"of {c.wrong_lines} wrong lines, {c.draft_lines} in all"),
        Row("wrong lines asked about something else", str(c.beside), f"of {c.wrong_lines - c.silent} asked"),
        Row("fine, unchecked or withdrawn, priced", str(c.fine_priced), f"of {c.wrong_lines} wrong lines"),
        Row("missed without a trace", str(c.lost), f"of {c.gold_findings - c.matched} missed findings"),
        Row("line F1", _share(c.line_f1), _three(c.right_lines, c.draft_lines, c.gold_lines)),
        Row("line precision", _share(c.line_precision), f"{c.right_lines} of {c.draft_lines}"),
        Row("line recall", _share(c.line_recall), f"{c.right_lines} of {c.gold_lines}"),
        Row("strict finding F1", _share(c.strict_f1), _three(c.strict, c.draft_findings, c.gold_findings)),
        Row("strict finding precision", _share(c.strict_precision), f"{c.strict} of {c.draft_findings}"),
        Row("strict finding recall", _share(c.strict_recall), f"{c.strict} of {c.gold_findings}"),
        Row("components found", _share(c.component_recall), f"{c.matched} of {c.gold_findings}"),
        Row("components not in the label", str(c.draft_findings - c.matched), f"of {c.draft_findings}"),
        *(
            Row(f"  {name} right", _share(tally.rate), f"{tally.right} of {tally.total}")
            for name, tally in ((name, c.field(name)) for name in FIELDS)
        ),
        Row("wrong side or axle", str(c.wrong_side), f"of {c.matched} matched findings"),
        Row("good taken for bad, or bad for good", str(c.flips), f"of {c.matched} matched findings"),
        Row("asks per right line", _number(c.asks_per_right_line), f"{c.asks} asks"),
        Row("unplaced stretches", str(c.unplaced), ""),
    ]  # fmt: skip
    if c.hearing is not None:
        h = c.hearing
        read = f"{h.errors} of {h.words}"
        plain = f"{h.plain_errors} of {h.plain_words}"
        rows += [
            Row("word error rate, numbers in one form", _share(h.word_error_rate), read),
            Row("  before repair", _share(h.heard_word_error_rate), f"{h.heard_errors} of {h.words}"),
            Row("word error rate, as written", _share(h.plain_word_error_rate), plain),
            Row("trade-term error rate", _share(h.term_error_rate), f"{h.terms_missed} of {h.terms}"),
            Row("  before repair", _share(h.heard_term_error_rate), f"{h.heard_missed} of {h.terms}"),
        ]  # fmt: skip
    return rows


class PhenomenonRow(NamedTuple):
    """A tag of the labels: the findings with it, those found strictly, and their share."""

    tag: str
    findings: int
    found: int
    recall: float | None


def phenomenon_rows(counts: Counts) -> list[PhenomenonRow]:
    """Recall by phenomenon, the commonest first; none where no finding of the labels has a tag."""
    if not set(counts.phenomena) - {UNTAGGED}:
        return []
    rows = [PhenomenonRow(tag, t.total, t.right, t.rate) for tag, t in counts.phenomena.items()]
    return sorted(rows, key=lambda row: (row.tag == UNTAGGED, -row.findings, row.tag))


def _phenomenon_cells(counts: Counts) -> list[tuple[str, str, str, str]]:
    return [(r.tag, str(r.findings), str(r.found), _share(r.recall)) for r in phenomenon_rows(counts)]


def speed_rows(speed: Speed) -> list[Row]:
    """Speed and memory; recordings only where some were heard."""
    wps = speed.words_per_second
    rows = [
        Row("extraction, words per second", _NOTHING if wps is None else f"{wps:,.0f}",
            f"{speed.words} words in {speed.extraction_s:.3f} s"),
        Row("text to draft", f"{speed.drafting_s:.2f} s", f"{speed.words} words"),
    ]  # fmt: skip
    if speed.sound_s:
        rows.append(
            Row(
                "work per second of recording",
                _number(speed.real_time_factor),
                f"{speed.listening_s:.0f} s for {speed.sound_s:.0f} s, model loaded",
            )
        )
    if speed.peak_mb is not None:
        rows.append(Row("peak memory", f"{speed.peak_mb:,.0f} MB", "of this process"))
    return rows


def _scores(report: FolderReport) -> list[tuple[str, FolderScore]]:
    found = [("text", report.text)]
    if report.sound is not None:
        found.append(("recordings", report.sound))
    return found


# -- for people


def report_tables(report: FolderReport, *, detail: bool = False) -> list[RenderableType]:
    """What to print, in order; with ``detail`` every difference of every draft, the label's and the draft's
    words.
    """
    parts: list[RenderableType] = []
    for source, score in _scores(report):
        parts.append(
            _figures(f"{report.folder}, from {source} ({len(score.narrations)})", score_rows(score.counts))
        )
        parts += [Text(f"No draft of {name}: {why}") for name, why in failures(score)]
        if cells := _phenomenon_cells(score.counts):
            parts.append(_by_phenomenon(f"{report.folder}, from {source}, by phenomenon", cells))
        if len(score.narrations) > 1:
            parts.append(_by_name(f"{report.folder}, from {source}, each", score.narrations))
    if len(report.voices) > 1:
        parts.append(_by_voice(report))
    parts.append(_figures(f"{report.folder}, speed", speed_rows(report.speed)))
    if detail:
        for _, score in _scores(report):
            for narration in score.narrations:
                parts += _differences(narration)
    return parts


def _figures(title: str, rows: Sequence[Row]) -> Table:
    table = Table(title=title, title_justify="left", show_header=False)
    table.add_column("figure")
    table.add_column("value", justify="right")
    table.add_column("of", style="dim")
    for row in rows:
        table.add_row(*row)
    return table


_BRIEF = ("findings F1", "lines F1", "silent", "wrong lines", "wrong side", "flips", "asks")


def _brief(counts: Counts) -> tuple[str, ...]:
    return (
        _share(counts.strict_f1), _share(counts.line_f1), str(counts.silent), str(counts.wrong_lines),
        str(counts.wrong_side), str(counts.flips), str(counts.asks),
    )  # fmt: skip


def _brief_heard(counts: Counts) -> tuple[str, ...]:
    hearing = counts.hearing
    return () if hearing is None else (_share(hearing.word_error_rate), _share(hearing.term_error_rate))


def _grid(title: str, first: str, rows: Sequence[tuple[str, Counts]]) -> Table:
    table = Table(title=title, title_justify="left")
    table.add_column(first)
    heard = any(counts.hearing is not None for _, counts in rows)
    for column in (*_BRIEF, *(("words wrong", "terms missed") if heard else ())):
        table.add_column(column, justify="right")
    for name, counts in rows:
        table.add_row(name, *_brief(counts), *_brief_heard(counts))
    return table


def _label(score: NarrationScore) -> str:
    return f"{score.name}.{score.voice}" if score.voice else score.name


def _by_name(title: str, scores: Sequence[NarrationScore]) -> Table:
    return _grid(title, "narration", [(_label(s), s.counts) for s in scores])


_PHENOMENON = ("phenomenon", "findings", "found strictly", "recall")


def _by_phenomenon(title: str, cells: Sequence[tuple[str, ...]]) -> Table:
    table = Table(title=title, title_justify="left")
    table.add_column(_PHENOMENON[0])
    for column in _PHENOMENON[1:]:
        table.add_column(column, justify="right")
    for tag, *figures in cells:
        table.add_row(Text(tag), *figures)  # a tag is any text: no styling in it
    return table


def _by_voice(report: FolderReport) -> Table:
    rows = [(voice, score.counts) for voice, score in report.voices.items()]
    return _grid(f"{report.folder}, by voice", "voice", rows)


def _differences(score: NarrationScore) -> list[RenderableType]:
    if not score.misses:
        return [Text(f"{_label(score)}: no difference")]
    table = Table(
        title=f"{_label(score)}: {len(score.misses)} differences", title_justify="left", show_lines=True
    )
    table.add_column("what", no_wrap=True)
    table.add_column("label says", ratio=1)
    table.add_column("draft says", ratio=1)
    for miss in score.misses:
        # Text, not str: square brackets around positions would be read as markup.
        table.add_row(Text(miss_title(miss)), Text(miss.gold), Text(miss.got))
    return [table]


def miss_title(miss: Miss) -> str:
    """ "line wrong, not asked: positions, quantity", with a line break before the fields."""
    asked = {None: "", True: ", asked", False: ", NOT ASKED"}[miss.asked]
    fields = f"\n{', '.join(miss.fields)}" if miss.fields else ""
    return f"{miss.of} {miss.kind}{asked}{fields}"


# -- for programs

_RATES = (
    "strict_f1", "strict_precision", "strict_recall", "component_precision", "component_recall", "line_f1",
    "line_precision", "line_recall", "wrong_lines", "asks_per_right_line",
)  # fmt: skip
_HEARING_RATES = (
    "word_error_rate", "heard_word_error_rate", "plain_word_error_rate", "term_error_rate",
    "heard_term_error_rate",
)  # fmt: skip


def report_json(report: FolderReport) -> dict[str, Any]:
    """The report as plain values: all counts, the rates made of them (``null`` of nothing), all
    differences.
    """
    return {
        "folder": report.folder,
        "text": _score_json(report.text),
        "sound": None if report.sound is None else _score_json(report.sound),
        "voices": {voice: _counts_json(score.counts) for voice, score in report.voices.items()},
        "speed": {
            **report.speed.model_dump(mode="json"),
            "words_per_second": report.speed.words_per_second,
            "real_time_factor": report.speed.real_time_factor,
        },
    }


def _score_json(score: FolderScore) -> dict[str, Any]:
    return {
        "pooled": _counts_json(score.counts),
        "by_phenomenon": [row._asdict() for row in phenomenon_rows(score.counts)],
        "narrations": [
            {
                "name": s.name,
                "voice": s.voice,
                "failure": s.failure,
                "counts": _counts_json(s.counts),
                "misses": [m.model_dump(mode="json") for m in s.misses],
            }
            for s in score.narrations
        ],
    }


def _counts_json(counts: Counts) -> dict[str, Any]:
    found = counts.model_dump(mode="json")
    found.update({name: getattr(counts, name) for name in _RATES})
    for name in FIELDS:
        found[name]["rate"] = counts.field(name).rate
    if counts.hearing is not None:
        found["hearing"].update({name: getattr(counts.hearing, name) for name in _HEARING_RATES})
    return found


# -- for documents

_FIGURES = ("figure", "value", "of")


def report_markdown(report: FolderReport) -> str:
    """The tables of ``report_tables`` without the differences, in Markdown."""
    parts = []
    for source, score in _scores(report):
        parts.append(f"### {report.folder}, from {source} ({len(score.narrations)})\n")
        parts.append(markdown_table(_FIGURES, score_rows(score.counts), right=(1,)))
        parts += [f"\nNo draft of {name}: {why}" for name, why in failures(score)]
        parts.append("")
        if cells := _phenomenon_cells(score.counts):
            parts.append(f"#### {report.folder}, from {source}, by phenomenon\n")
            parts.append(markdown_table(_PHENOMENON, cells, right=range(1, len(_PHENOMENON))))
            parts.append("")
        parts.append(_markdown_grid("narration", [(_label(s), s.counts) for s in score.narrations]))
        parts.append("")
    if len(report.voices) > 1:
        parts.append(f"### {report.folder}, by voice\n")
        parts.append(_markdown_grid("voice", [(v, s.counts) for v, s in report.voices.items()]))
        parts.append("")
    parts.append(f"### {report.folder}, speed\n")
    parts.append(markdown_table(_FIGURES, speed_rows(report.speed), right=(1,)))
    return "\n".join(parts) + "\n"


def _markdown_grid(first: str, rows: Sequence[tuple[str, Counts]]) -> str:
    heard = any(counts.hearing is not None for _, counts in rows)
    head = (first, *_BRIEF, *(("words wrong", "terms missed") if heard else ()))
    cells = [(name, *_brief(c), *_brief_heard(c)) for name, c in rows]
    return markdown_table(head, cells, right=range(1, len(head)))


def markdown_table(head: Sequence[str], rows: Sequence[Sequence[str]], *, right: Collection[int] = ()) -> str:
    """A Markdown table; the columns ``right`` (from 0) are set to the right."""
    lines = [
        "| " + " | ".join(head) + " |",
        "|" + "|".join("---:" if at in right else "---" for at in range(len(head))) + "|",
    ]
    lines += ["| " + " | ".join(cell.strip().replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines)


def _three(right: int, drafted: int, expected: int) -> str:
    return f"{right} right, {drafted} drafted, {expected} expected"


def _share(value: float | None) -> str:
    return _NOTHING if value is None else f"{100 * value:.1f} %"


def _number(value: float | None) -> str:
    return _NOTHING if value is None else f"{value:.2f}"
