"""What the technician sees of a draft: the questions that only they can answer, and what was understood.

Values in, values out: no request, no database.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from voicecheck.desk.asks import outcome_of, places_in
from voicecheck.desk.decisions import Answer, Say
from voicecheck.desk.states import AskState, Worktop
from voicecheck.documents import plain
from voicecheck.estimate.scope import possible_spots
from voicecheck.lexicon import Lexicon
from voicecheck.records import Draft, Finding, Span, Word
from voicecheck.shop.bench import Bench, TakeSeen

# Questions about what was seen and said. What is left (prices, catalogue, policy, limits) is the desk's.
TECHNICIANS_CODES = frozenset(
    {
        "place_does_not_fit",
        "place_carried",
        "place_unusual",
        "side_not_said",
        "axle_not_said",
        "heard_unclearly",
        "condition_does_not_fit",
        "fine_or_fault",
        "unsure",
        "advice_said_later",
        "work_not_named",
        "no_advice",
        "two_actions",
        "unheard",
    }
)
TYPE_WHAT_WAS_SAID = "unheard"  # its answer is a sentence about the vehicle, read like a spoken one
_MOST_QUOTES = 3
_EPSILON = 0.005  # seconds: times of words are rounded to milliseconds
GroupTitle = Literal["To be done, or wrong", "Not sure, or not checked", "Said to be fine"]


@dataclass(frozen=True, slots=True)
class Said:
    """Words with their seconds in the take ``take`` ("" where there is no sound to play)."""

    text: str
    start: float
    end: float
    clock: str
    take: str


@dataclass(frozen=True, slots=True)
class Question:
    """An open question. ``buttons`` are answers by one tap; ``typing_label`` is what a text box is for."""

    key: str
    message: str
    heard: tuple[Said, ...]
    buttons: tuple[str, ...]
    typing_label: str
    typing_first: bool
    answer: str = ""
    todo: str = ""


@dataclass(frozen=True, slots=True)
class Answered:
    """A question that is settled. ``mine``: by an answer of who looks, who may take it back."""

    asked: str
    answer: str
    seq: int
    mine: bool


@dataclass(frozen=True, slots=True)
class Understood:
    title: str
    facts: str
    work: str
    heard: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class Group:
    title: GroupTitle
    findings: tuple[Understood, ...]


@dataclass(frozen=True, slots=True)
class Picture:
    id: str
    clock: str


@dataclass(frozen=True, slots=True)
class View:
    """The context of ``technician/_understood.html.j2``."""

    questions: tuple[Question, ...]
    answered: tuple[Answered, ...]
    groups: tuple[Group, ...]
    unplaced: tuple[Said, ...]
    photos: tuple[Picture, ...]


def view(bench: Bench, lexicon: Lexicon, *, name: str, answering: bool = True) -> View:
    """What ``name`` sees. ``answering`` is false where nothing can be answered any more."""
    top = bench.top
    assert top is not None
    return View(
        questions=tuple(
            _question(ask, top, bench.takes, lexicon)
            for ask in top.asks
            if answering and ask.state == "open" and ask.ask.code in TECHNICIANS_CODES
        ),
        answered=_answered(bench, top, name) if answering else (),
        groups=_groups(top.draft, bench.takes),
        unplaced=tuple(
            _at(bench.takes, text=stretch.text, start=stretch.start, end=stretch.end)
            for stretch in top.unplaced
            if stretch.state == "open"
        ),
        photos=tuple(
            Picture(photo.id, _photo_clock(photo.at, photo.take, bench.takes)) for photo in bench.photos
        ),
    )


def is_technicians(ask: AskState) -> bool:
    return ask.state == "open" and ask.ask.code in TECHNICIANS_CODES


# -- questions -----------------------------------------------------------------------------------------------


def _question(state: AskState, top: Worktop, takes: Sequence[TakeSeen], lexicon: Lexicon) -> Question:
    buttons: list[str] = []
    open_ends: list[str] = []
    for choice in state.choices:
        (open_ends if _is_open_end(state, choice, lexicon) else buttons).append(choice)
    if state.ask.field == "positions":
        buttons += [p for p in _possible(state, top, lexicon) if p not in buttons]
    unheard = state.ask.code == TYPE_WHAT_WAS_SAID
    return Question(
        key=state.key,
        message=plain.visible(state.ask.message),
        heard=_evidence(state, top, takes),
        buttons=tuple(buttons),
        typing_label=_typing_label(open_ends, unheard=unheard),
        typing_first=unheard or not buttons,
        answer=state.answer,
        todo=state.todo,
    )


def _typing_label(open_ends: Sequence[str], *, unheard: bool) -> str:
    if unheard:
        return "What was said there? Name the part and what is wrong"
    if open_ends:
        return f"{plain.capital(' / '.join(open_ends))}: which?"
    return "Something else"


def _is_open_end(state: AskState, choice: str, lexicon: Lexicon) -> bool:
    """Whether a ready answer says nothing without further words ("another side")."""
    outcome = outcome_of(state.ask, choice=choice, text="")
    if outcome.effect == "places":
        return not places_in(choice, lexicon)
    return outcome.effect in ("other_part", "other_part_or_place", "hold")


def _possible(state: AskState, top: Worktop, lexicon: Lexicon) -> Iterable[str]:
    """The places that the part in question can have, so that "another side" is one tap too."""
    finding = top.finding(state.about)
    if finding is None:
        line = top.line(state.about)
        name = line.line.component.id if line is not None and line.line.component is not None else ""
        taken: tuple[str, ...] = line.line.positions if line is not None else ()
    else:
        name, taken = finding.finding.component.id, finding.finding.positions
    component = lexicon.components.get(name)
    if component is None:
        return ()
    now = set(taken) if len(taken) == 1 else set()  # "yes" is the button for the place that stands
    return (p for p in possible_spots(component) if p not in now)


def _evidence(state: AskState, top: Worktop, takes: Sequence[TakeSeen]) -> tuple[Said, ...]:
    if (finding := top.finding(state.about)) is not None:
        return _quotes(finding.finding.heard, takes, top.draft.transcript.words)
    if (line := top.line(state.about)) is not None:
        known = {f.id: f for f in top.draft.findings}
        spans = tuple(dict.fromkeys(s for f in line.line.findings if f in known for s in known[f].heard))
        return _quotes(spans, takes, top.draft.transcript.words)
    if state.ask.code == TYPE_WHAT_WAS_SAID:
        for stretch in top.draft.transcript.unheard:
            clock = plain.clock(stretch.start)
            if f"Between {clock} and" in state.ask.message:
                return (_at(takes, text="not made out", start=stretch.start, end=stretch.end),)
    return ()


def _answered(bench: Bench, top: Worktop, name: str) -> tuple[Answered, ...]:
    by = {n.seq: n for n in bench.decided if n.seq not in top.undone}
    found = []
    for ask in top.asks:
        made = by.get(ask.seq or 0)
        if ask.ask.code in TECHNICIANS_CODES and ask.state == "answered" and made is not None:
            own = made.by == name and isinstance(made.decision, (Answer, Say))
            answer = made.decision.text if isinstance(made.decision, Say) else ask.answer
            asked = plain.visible(ask.ask.message)
            found.append(Answered(asked, plain.visible(answer or "settled at the desk"), made.seq, own))
    return tuple(found)


# -- what was understood -------------------------------------------------------------------------------------


def _groups(draft: Draft, takes: Sequence[TakeSeen]) -> tuple[Group, ...]:
    titles: dict[GroupTitle, list[Understood]] = {
        "To be done, or wrong": [],
        "Not sure, or not checked": [],
        "Said to be fine": [],
    }
    for finding in sorted(draft.findings, key=lambda f: f.heard[0].first if f.heard else 0):
        titles[_title_of(finding)].append(_understood(finding, takes, draft.transcript.words))
    return tuple(Group(title, tuple(rows)) for title, rows in titles.items() if rows)


def _title_of(finding: Finding) -> GroupTitle:
    if finding.state in ("defect", "missing") or finding.action not in ("none", "monitor"):
        return "To be done, or wrong"
    return "Said to be fine" if finding.state == "ok" else "Not sure, or not checked"


def _understood(finding: Finding, takes: Sequence[TakeSeen], words: Sequence[Word]) -> Understood:
    facts = [plain.visible(ref.name) for ref in finding.conditions]
    facts += [plain.measure_text(measure) for measure in finding.measures]
    if finding.state != "defect":
        facts.insert(0, plain.STATE_WORDS[finding.state])
    elif not facts:
        facts.append("not in order")
    work = plain.advice_text(finding)
    if work and finding.urgency != "unstated":
        work += f", {plain.URGENCY_WORDS[finding.urgency]}"
    if work and finding.only_if:
        work += f" ({plain.visible(finding.only_if)})"
    return Understood(
        title=plain.finding_title(finding),
        facts=plain.capital(", ".join(facts)),
        work=plain.capital(work),
        heard=_quotes(finding.heard, takes, words),
    )


def _quotes(spans: Sequence[Span], takes: Sequence[TakeSeen], words: Sequence[Word]) -> tuple[Said, ...]:
    said: list[Said] = []
    for span in spans:
        if _in_one_take(takes, span.start, span.end):
            said.append(_at(takes, text=plain.said(span), start=span.start, end=span.end))
            continue
        # Words of two recordings that belong together: each with the sound of its own.
        for _, group in groupby(words[span.first : span.last], key=lambda word: _take_at(takes, word.start)):
            part = list(group)
            text = " ".join(word.read for word in part if word.read)
            said.append(_at(takes, text=text, start=part[0].start, end=part[-1].end))
    return tuple(said[:_MOST_QUOTES])


def _at(takes: Sequence[TakeSeen], *, text: str, start: float | None, end: float | None) -> Said:
    """Words on the draft's clock as seconds of the take that they are in."""
    text = plain.visible(" ".join(text.split()))
    if start is None or end is None:
        return Said(text, 0.0, 0.0, "", "")
    take = _take_at(takes, start)
    if take is None or take.gone:
        return Said(text, start, end, plain.clock(start), "")
    return Said(text, round(start - take.start, 2), round(end - take.start, 2), plain.clock(start), take.id)


def _take_at(takes: Sequence[TakeSeen], at: float | None) -> TakeSeen | None:
    """The take that is heard ``at`` seconds into the draft."""
    if at is None:
        return None
    return next((take for take in reversed(takes) if take.start <= at + _EPSILON), None)


def _in_one_take(takes: Sequence[TakeSeen], start: float | None, end: float | None) -> bool:
    if start is None or end is None:
        return True
    return _take_at(takes, start) is _take_at(takes, max(start, end - 2 * _EPSILON))


def _photo_clock(at: float | None, take: str | None, takes: Sequence[TakeSeen]) -> str:
    start = next((seen.start for seen in takes if seen.id == take), None)
    return "" if at is None or start is None else plain.clock(start + at)
