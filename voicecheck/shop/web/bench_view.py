"""What the advisor's page shows, put in order from a bench. No request, no database."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import partial
from typing import Any

from voicecheck.desk.states import AskState, LineState, UnplacedState, Worktop
from voicecheck.documents import plain
from voicecheck.documents.arranged import SECTIONS, Row, arrange, pieces
from voicecheck.records import ACTIONS, POSITIONS, Draft, Finding, Span, Unheard, Word
from voicecheck.shop.bench import Bench

SECTION_TITLES = {
    "unlisted": "Found, and no work on the draft for it",
    "suspected": "Only suspected",
    "watch": "Keep an eye on",
    "not_checked": "Not checked",
    "fine": "Said to be fine",
}
_CONTEXT = 8  # words shown on each side of unplaced ones


@dataclass(frozen=True, slots=True)
class ShownAsk:
    key: str
    ask: Any
    about: str
    choices: tuple[str, ...]
    spans: tuple[Span, ...]
    todo: str
    answer: str
    seq: int | None


@dataclass(frozen=True, slots=True)
class ShownLine:
    """The standing of a line as the page words it."""

    content: str
    confirmed: int | None
    confirmed_by: str
    lapsed: str
    why: str


@dataclass(frozen=True, slots=True)
class Stretch:
    first: int
    last: int
    start: float | None
    end: float | None
    text: str
    before: str
    after: str
    why: str


@dataclass(frozen=True, slots=True)
class WordsRow:
    """A row of the transcript; ``words`` is ``None`` for speech that could not be made out."""

    first: int
    last: int
    start: float | None
    end: float | None
    kind: str
    words: str | None
    findings: tuple[Any, ...] = ()


def view(bench: Bench) -> dict[str, Any]:
    """The context of ``desk/_bench.html.j2``. Only for a bench with a draft."""
    top = bench.top
    assert top is not None
    arranged = arrange(top.draft)
    by = {n.seq: n.by for n in bench.decided}
    live = [n for n in bench.decided if n.seq not in top.undone]
    return {
        "p": plain,
        "ACTIONS": ACTIONS,
        "POSITIONS": POSITIONS,
        "row": bench.row,
        "top_seq": bench.row.seq,
        "draft": top.draft,
        "currency": top.draft.estimate.currency,
        "totals": top.draft.estimate.totals,
        "parts": arranged.parts,
        "sections": {name: arranged.sections[name] for name in SECTIONS},
        "section_titles": SECTION_TITLES,
        "line_states": {state.id: _line(state, by) for state in top.lines},
        "open_asks": [_ask(a, top) for a in top.asks if a.state == "open"],
        "answered": [_ask(a, top) for a in top.asks if a.state == "answered"],
        "open_unplaced": [_stretch(u, top.draft) for u in top.unplaced if u.state == "open"],
        "aside": [{"target": a.target, "title": a.name, "reason": a.reason, "seq": a.seq} for a in top.aside],
        "mergeable": {f.id: _mergeable(f, top.draft.findings) for f in top.draft.findings},
        "rows_of_words": [_words_row(r, top.draft.transcript.words) for r in arranged.rows],
        "photos": bench.photos,
        "still": partial(still, bench),
        "back": bench.back,
        "wear": bench.wear,
        "unconfirmed": top.summary.unconfirmed,
        "hindrances": [h.text for h in top.hindrances],
        "last_seq": live[-1].seq if live else 0,
        "last_words": KIND_WORDS.get(live[-1].decision.kind, "the last decision") if live else "",
    }


def still(bench: Bench, span: Span) -> str:
    """The address of the picture at the beginning of words, where their take is a video; else ""."""
    if span.start is None:
        return ""
    at = span.start
    take = next((t for t in bench.takes if t.start <= at < t.start + t.seconds), None)
    if take is None or take.gone or not take.video:
        return ""
    return f"/media/take/{take.id}/still.jpg?at={at - take.start:.1f}"


KIND_WORDS = {
    "confirm": "a line confirmed",
    "unconfirm": "a confirmation taken away",
    "change_finding": "a finding changed",
    "change_line": "a line changed",
    "add_line": "a line added",
    "put_aside": "something put aside",
    "bring_back": "something brought back",
    "split": "a finding split",
    "merge": "findings made one",
    "say": "words typed",
    "answer": "an answer",
    "settle_unplaced": "words settled",
    "place_words": "words placed",
    "put_off": "a job put off",
    "undo": "a decision taken back",
}


def takes_json(bench: Bench) -> str:
    """The takes as the page's script wants them."""
    return json.dumps(
        [{"id": t.id, "start": t.start, "seconds": t.seconds, "gone": t.gone} for t in bench.takes]
    )


def _line(state: LineState, by: dict[int, str]) -> ShownLine:
    return ShownLine(
        content=state.content,
        confirmed=state.confirmed,
        confirmed_by=by.get(state.confirmed or 0, ""),
        lapsed=state.lapsed,
        why=state.why,
    )


def _ask(state: AskState, top: Worktop) -> ShownAsk:
    spans: tuple[Span, ...] = ()
    if (finding := top.finding(state.about)) is not None:
        spans = finding.finding.heard
    elif (line := top.line(state.about)) is not None:
        known = {f.id: f for f in top.draft.findings}
        spans = tuple(dict.fromkeys(s for f in line.line.findings if f in known for s in known[f].heard))
    return ShownAsk(
        key=state.key,
        ask=state.ask,
        about="" if state.about == "recording" else state.name,
        choices=state.choices,
        spans=spans,
        todo=state.todo,
        answer=state.answer or ("settled by a change" if state.how == "change" else ""),
        seq=state.seq if state.how == "answer" else None,
    )


def _stretch(state: UnplacedState, draft: Draft) -> Stretch:
    words = draft.transcript.words
    before = words[max(0, state.first - _CONTEXT) : state.first]
    after = words[state.last : state.last + _CONTEXT]
    return Stretch(
        state.first,
        state.last,
        state.start,
        state.end,
        state.text,
        plain.visible(" ".join(w.read for w in before if w.read)),
        plain.visible(" ".join(w.read for w in after if w.read)),
        state.why,
    )


def _words_row(row: Row | Unheard, words: tuple[Word, ...]) -> WordsRow:
    if isinstance(row, Unheard):
        return WordsRow(0, 0, row.start, row.end, "unheard", None)
    shown = [
        f"[{piece.heard or 'nothing'} → {piece.read or 'nothing'}]" if piece.repaired else piece.read
        for piece in pieces(words, row.first, row.last)
    ]
    text = plain.visible(" ".join(s for s in shown if s))
    return WordsRow(row.first, row.last, row.start, row.end, row.kind, text, row.findings)


def _mergeable(finding: Finding, findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Findings about the same part and work, which may be the same one said twice."""
    return tuple(
        f
        for f in findings
        if f.id != finding.id
        and f.component.id == finding.component.id
        and f.action == finding.action
        and f.state == finding.state
    )
