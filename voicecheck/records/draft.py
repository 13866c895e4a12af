"""The one document that ``voicecheck draft`` prints (design section 3)."""

from __future__ import annotations

from typing import Literal

from voicecheck.records.asks import Ask
from voicecheck.records.base import Record
from voicecheck.records.estimate import Estimate
from voicecheck.records.finding import Finding, Ledger, Vehicle
from voicecheck.records.transcript import Transcript
from voicecheck.records.vocabulary import Market

FORMAT = "voicecheck-draft/1"


class RecordingInfo(Record):
    """The file that was listened to; ``seconds`` is ``None`` for typed notes."""

    name: str
    seconds: float | None
    sha256: str


class Unplaced(Record):
    """Words that name a component, a condition or advice and found no place."""

    first: int
    last: int
    start: float | None
    end: float | None
    text: str
    why: str


class Draft(Record):
    """Everything about one walk-around: what was heard, found, and what it would cost."""

    format: Literal["voicecheck-draft/1"] = "voicecheck-draft/1"
    market: Market
    recording: RecordingInfo
    vehicle: Vehicle
    transcript: Transcript
    findings: tuple[Finding, ...]
    ledger: Ledger
    estimate: Estimate
    unplaced: tuple[Unplaced, ...]
    asks: tuple[Ask, ...]  # about the whole recording; those of findings and lines are on them
    cautions: tuple[str, ...] = ()
    timings: dict[str, float]
