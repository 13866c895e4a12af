"""What was found on the vehicle, and where every word went."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from pydantic import Field

from voicecheck.records.asks import Ask
from voicecheck.records.base import Record
from voicecheck.records.transcript import Span
from voicecheck.records.vocabulary import Action, Bound, Position, State, Unit, Urgency


class Ref(Record):
    """A lexicon entry: its id and the shop's name for it."""

    id: str
    name: str


class Measure(Record):
    """A reading: what was measured, value and unit as said, where, and whether it is exact.

    ``place`` tells inner from outer pad and the like; ``high`` is set for a range ("two to three mil").
    """

    what: str
    value: Decimal
    unit: Unit
    position: Position | None = None
    bound: Bound = "="
    high: Decimal | None = None
    place: str = ""


class Finding(Record):
    """One component whose state was stated, good or bad (design section 2)."""

    id: str
    component: Ref
    positions: tuple[Position, ...] = ()
    place: tuple[str, ...] = ()
    state: State
    conditions: tuple[Ref, ...] = ()
    measures: tuple[Measure, ...] = ()
    limits_said: tuple[Measure, ...] = ()  # "minimum is 26": spoken limits, not readings
    action: Action = "none"
    action_positions: tuple[Position, ...] = ()
    urgency: Urgency = "unstated"
    only_if: str = ""
    because: str = ""
    otherwise: str = ""
    done_with: str | None = Field(default=None, alias="with")
    sublet: bool = False
    heard: tuple[Span, ...]
    certainty: dict[str, float] = Field(default_factory=dict)
    asks: tuple[Ask, ...] = ()


class LedgerEntry(Record):
    """Where words ``first:last`` went: evidence of findings, talk, or unplaced (``why`` says the reason)."""

    first: int
    last: int
    kind: Literal["evidence", "talk", "unplaced"]
    findings: tuple[str, ...] = ()
    why: str = ""


class Ledger(Record):
    """Every word of the transcript, once, in order."""

    entries: tuple[LedgerEntry, ...]


class Vehicle(Record):
    """The vehicle as far as it was said."""

    year: int | None = None
    odometer: Measure | None = None
    vin: str | None = None
    plate: str | None = None


class FindingsResult(Record):
    """The output of the findings stage."""

    findings: tuple[Finding, ...]
    ledger: Ledger
    vehicle: Vehicle = Vehicle()
