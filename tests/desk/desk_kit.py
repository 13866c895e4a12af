"""Drafts of real narrations and random decisions over them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from hypothesis import strategies as st

from voicecheck.desk.decisions import (
    AddLine,
    Answer,
    BringBack,
    ChangeFinding,
    ChangeLine,
    Confirm,
    Decision,
    Merge,
    Numbered,
    PlaceWords,
    PutAside,
    PutOff,
    Say,
    SettleUnplaced,
    Split,
    Unconfirm,
    Undo,
)
from voicecheck.desk.worktop import Estimator, Worktop, worktop
from voicecheck.pipeline import (
    Workshop,
    draft_from_transcript,
    text_recording,
    transcript_from_text,
    understand,
)
from voicecheck.records import (
    ACTIONS,
    POSITIONS,
    STATES,
    URGENCIES,
    AddedLine,
    Draft,
    Finding,
    LineChange,
    Transcript,
    Word,
)

TUNE = Path(__file__).resolve().parent.parent.parent / "samples_synthetic" / "tune"


@dataclass
class Desk:
    """A draft on a desk with its shop."""

    workshop: Workshop
    base: Draft
    estimator: Estimator

    def top(self, *decisions: Decision, estimator: Estimator | None = None) -> Worktop:
        """The worktop after decisions, numbered from 1."""
        return self.numbered([Numbered(seq=n, decision=d, by="Ann") for n, d in enumerate(decisions, 1)],
                             estimator=estimator)  # fmt: skip

    def numbered(self, decisions: Sequence[Numbered], *, estimator: Estimator | None = None) -> Worktop:
        return worktop(
            self.base,
            decisions,
            lexicon=self.workshop.lexicon,
            shop=self.workshop.shop,
            market=self.workshop.market,
            estimator=estimator or self.estimator,
        )

    def say(self, text: str) -> Say:
        return Say(text=text, findings=understand(self.workshop, transcript_from_text(text)).findings)


def desk_of(workshop: Workshop, text: str, *, spoken: bool = False, name: str = "typed") -> Desk:
    """A desk with the draft of ``text``; ``spoken`` gives every word half a second."""
    transcript = transcript_from_text(text)
    if spoken:
        words = tuple(
            Word(heard=w.heard, read=w.read, start=i / 2, end=i / 2 + 0.4)
            for i, w in enumerate(transcript.words)
        )
        transcript = Transcript(text=transcript.text, words=words, source="speech", seconds=len(words) / 2)
    base = draft_from_transcript(workshop, transcript, recording=text_recording(name, text))
    estimator = Estimator(lexicon=workshop.lexicon, shop=workshop.shop, market=workshop.market)
    return Desk(workshop, base, estimator)


def tune_desk(workshop: Workshop, name: str) -> Desk:
    return desk_of(workshop, (TUNE / f"{name}.txt").read_text(encoding="utf-8"), name=name)


def priced(top: Worktop) -> Decimal:
    """The amounts of the lines that are to be done, added up here once more."""
    done = [x.line for x in top.lines if not x.put_off]
    return sum((x.amount for x in done if x.amount is not None), Decimal(0))


def stated(top: Worktop) -> dict[str, object]:
    """Everything of a worktop but the record of what came to nothing."""
    return top.model_dump(exclude={"idle", "undone", "seq"})


# --- random decisions, made for what is on the desk at that moment

Pick = Callable[[Sequence[str]], str]


@st.composite
def a_decision(draw: st.DrawFn, top: Worktop, seq: int, said: Sequence[Finding]) -> Decision:
    """Something a person could do now, or could have done a moment ago (unknown ids now and then)."""

    def of(ids: Sequence[str]) -> str:
        return draw(st.sampled_from([*ids, "f99"]))

    findings = [f.id for f in top.findings]
    lines = [x.id for x in top.lines]
    gone = [a.target for a in top.aside]
    money = st.decimals(min_value=0, max_value=900, places=2)
    positions = st.lists(st.sampled_from(POSITIONS), min_size=1, max_size=2, unique=True).map(tuple)
    kind = draw(
        st.sampled_from(
            ["confirm", "confirm", "answer", "answer", "answer", "unconfirm", "finding", "finding", "line",
             "add", "aside", "aside", "back", "split", "merge", "say", "settle", "place", "off", "undo"]
        )
    )  # fmt: skip
    if kind == "confirm":
        line = of(lines)
        state = top.line(line)
        return Confirm(line=line, content=state.content if state and draw(st.booleans()) else "")
    if kind == "unconfirm":
        return Unconfirm(line=of(lines))
    if kind == "answer":
        if not top.asks:
            return Answer(key="gone", choice="yes")
        ask = draw(st.sampled_from(top.asks))
        text = draw(st.sampled_from(["", "84.50", "front left", "1.5 h", "no idea", "ball joint"]))
        choice = draw(st.sampled_from(["", *ask.choices]))
        return Answer(key=ask.key, choice=choice, text=text or ("" if choice else "looked at it"))
    if kind == "finding":
        return ChangeFinding(
            finding=of(findings),
            component=draw(st.sampled_from([None, None, "brake_rotor", "no_such_part", "shock"])),
            positions=draw(st.none() | positions),
            state=draw(st.none() | st.sampled_from(STATES)),
            action=draw(st.none() | st.sampled_from(ACTIONS)),
            urgency=draw(st.none() | st.sampled_from(URGENCIES)),
            reason="looked again",
        )
    if kind == "line":
        change = LineChange(
            line=of(lines),
            hours=draw(st.none() | st.decimals(min_value=0, max_value=9, places=1)),
            unit_price=draw(st.none() | money),
            quantity=draw(st.none() | st.decimals(min_value=1, max_value=4, places=0)),
            left_off=draw(st.integers(0, 5)) == 0,
            reason="agreed on the phone",
        )
        return ChangeLine(change=change, to_be_priced=draw(st.booleans()))
    if kind == "add":
        jobs = sorted({x.job for x in top.lines})
        return AddLine(
            line=AddedLine(
                id="",
                job=draw(st.sampled_from([None, *jobs])),
                kind=draw(st.sampled_from(["labour", "part", "fee", "sublet"])),
                name="extra",
                operation="replace",
                unit_price=draw(st.none() | money),
                reason="asked for",
            )
        )
    if kind == "aside":
        return PutAside(target=of([*findings, *lines]), reason="not now")
    if kind == "back":
        return BringBack(target=of(gone))
    if kind == "split":
        return Split(
            finding=of(findings),
            into=draw(
                st.sampled_from(
                    [(("left",), ("right",)), (("front",), ("rear",)),
                     (("front left",), ("front right",)), (("rear left",), ("rear right",))]
                )
            ),
        )  # fmt: skip
    if kind == "merge" and len(findings) > 1:
        chosen = draw(st.lists(st.sampled_from(findings), min_size=2, max_size=3, unique=True))
        return Merge(findings=tuple(chosen))
    if kind == "say":
        return Say(
            text="left front tire is bald replace it", findings=tuple(said) if draw(st.booleans()) else ()
        )
    if kind == "settle" and top.unplaced:
        words = draw(st.sampled_from(top.unplaced))
        how = draw(st.sampled_from(["not about the vehicle", "already covered", "added"]))
        return SettleUnplaced(first=words.first, last=words.last, how=how)
    if kind == "place":
        first = draw(st.integers(0, len(top.draft.transcript.words) + 3))
        return PlaceWords(first=first, last=first + draw(st.integers(0, 4)), finding=of(findings))
    if kind == "off":
        return PutOff(job=of(sorted({x.job for x in top.lines})), by="customer")
    return Undo(seq=draw(st.integers(1, max(1, seq))))


@st.composite
def decisions_over(draw: st.DrawFn, desk: Desk, *, most: int = 10) -> list[Numbered]:
    """A sequence of decisions, each made over what the ones before left."""
    said = desk.say("left front tire is bald replace it").findings
    made: list[Numbered] = []
    for seq in range(1, draw(st.integers(most // 2, most)) + 1):
        top = desk.numbered(made)
        made.append(Numbered(seq=seq, decision=draw(a_decision(top, seq, said)), by="Ann"))
    return made
