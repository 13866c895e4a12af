"""Jobs, lines and money."""

from __future__ import annotations

from decimal import Decimal

from pydantic import Field

from voicecheck.records.asks import Ask
from voicecheck.records.base import Record
from voicecheck.records.finding import Ref
from voicecheck.records.vocabulary import Action, LineKind, Position, Urgency


class Candidate(Record):
    """A catalogue entry that could have been meant; ``score`` in 0–100."""

    code: str
    name: str
    score: float


class Line(Record):
    """One line of the draft.

    ``quantity`` counts parts (axle sets for pads and shoes). On labour lines ``hours`` is the whole line's
    time, ``unit_price`` the rate per hour. An unknown price or time is ``None``, carries an ask, and is
    counted open. ``arithmetic`` says in words how the amount came about; ``why`` who asked for the line when
    no one said it.
    """

    kind: LineKind
    name: str
    operation: Action
    component: Ref | None
    positions: tuple[Position, ...] = ()
    place: tuple[str, ...] = ()
    quantity: Decimal
    unit: str = ""  # "L", "qt", "each", "axle set", "h"
    hours: Decimal | None = None
    unit_price: Decimal | None = None
    amount: Decimal | None = None
    findings: tuple[str, ...] = Field(default=(), alias="from")
    catalogue: str | None = None
    candidates: tuple[Candidate, ...] = ()
    arithmetic: str = ""
    why: str = ""
    asks: tuple[Ask, ...] = ()


class Job(Record):
    """Lines that are done together and can be agreed to or put off by themselves."""

    title: str
    urgency: Urgency
    lines: tuple[Line, ...]
    subtotal: Decimal  # of the lines that have a price
    only_if: str = ""


class Totals(Record):
    """Sums over all jobs; ``open_lines`` are those without a price, which no sum contains."""

    labour: Decimal
    parts: Decimal
    sublet: Decimal
    supplies: Decimal
    tax: Decimal
    total: Decimal
    open_lines: int


class Estimate(Record):
    """The draft estimate. All amounts are in ``currency`` (ISO 4217), rounded once per line, half up."""

    currency: str
    jobs: tuple[Job, ...]
    totals: Totals
