"""What the stage gives back."""

from __future__ import annotations

from voicecheck.records.asks import Ask
from voicecheck.records.base import Record
from voicecheck.records.estimate import Estimate
from voicecheck.records.finding import Finding


class EstimateResult(Record):
    """The estimate, the findings given (same order, same content, asks added), and asks about the whole."""

    estimate: Estimate
    findings: tuple[Finding, ...]
    asks: tuple[Ask, ...] = ()
