"""What the stage gives back."""

from __future__ import annotations

from voicecheck.records.asks import Ask
from voicecheck.records.base import Record
from voicecheck.records.estimate import Estimate, LineChange
from voicecheck.records.finding import Finding


class EstimateResult(Record):
    """The estimate, the findings given (same order, same content, asks added), and asks about the whole.

    ``unmatched`` are the changes whose line is not there, ``unknown_jobs`` the ids that were to be put off or
    added to and are no job's.
    """

    estimate: Estimate
    findings: tuple[Finding, ...]
    asks: tuple[Ask, ...] = ()
    unmatched: tuple[LineChange, ...] = ()
    unknown_jobs: tuple[str, ...] = ()
