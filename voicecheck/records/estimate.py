"""Jobs, lines and money."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from pydantic import Field

from voicecheck.records.asks import Ask
from voicecheck.records.base import Record
from voicecheck.records.finding import Ref
from voicecheck.records.shopdata import Discount, MarkupBand, RateType, TaxRule
from voicecheck.records.vocabulary import Action, LineKind, Position, Unit, Urgency

AskedBy = Literal["technician", "policy", "catalogue", "advisor"]
PartCondition = Literal["new", "used", "rebuilt", "reconditioned", ""]
Verdict = Literal["beyond", "near", "within", "open"]


class Candidate(Record):
    """A catalogue entry that could have been meant; ``score`` in 0–100."""

    code: str
    name: str
    score: float


class Less(Record):
    """Hours that a line does not charge, because the line ``by`` (an id) does; ``reason`` in words."""

    hours: Decimal
    by: str
    reason: str


class Basis(Record):
    """The numbers that a line's price is made of, so that it can be computed again.

    Labour: ``units`` × ``hours_each``, less ``less``, are the line's hours; a fixed price is for one of
    ``units``. Parts, fluids and sublet work: ``cost`` × ``factor`` is the unit price; where it is a range,
    ``cost_high`` × ``factor_high`` is its other end (the lower of the two is ``unit_price``). A part's
    ``quantity`` already holds ``units``.
    """

    units: Decimal = Decimal(1)
    hours_each: Decimal | None = None
    less: tuple[Less, ...] = ()
    cost: Decimal | None = None
    cost_high: Decimal | None = None
    factor: Decimal | None = None
    factor_high: Decimal | None = None


class Line(Record):
    """One line of the draft.

    ``id`` is unique in the estimate and made from what the line is (finding, operation, kind), so that it is
    the same whatever the order of the findings. ``quantity`` counts parts (axle sets for pads and shoes). On
    labour lines ``hours`` is the whole line's time, ``unit_price`` the rate per hour of ``rate_type``. An
    unknown price or time is ``None``, carries an ask, and is counted open. Where the price is a range,
    ``unit_price`` and ``amount`` are its lower end. ``arithmetic`` says in words how the amount came about;
    ``why`` the reason where nobody said it, ``asked_by`` who wants the line; ``changed`` what an advisor
    changed, by whom and why.
    """

    id: str = ""
    kind: LineKind
    name: str
    operation: Action
    component: Ref | None
    positions: tuple[Position, ...] = ()
    place: tuple[str, ...] = ()
    quantity: Decimal
    unit: str = ""  # "L", "qt", "each", "axle set", "h"
    hours: Decimal | None = None
    rate_type: RateType | Literal[""] = ""
    unit_price: Decimal | None = None
    unit_price_high: Decimal | None = None
    amount: Decimal | None = None
    amount_high: Decimal | None = None
    part_condition: PartCondition = ""
    findings: tuple[str, ...] = Field(default=(), alias="from")
    catalogue: str | None = None
    candidates: tuple[Candidate, ...] = ()
    basis: Basis = Basis()
    arithmetic: str = ""
    asked_by: AskedBy = "technician"
    why: str = ""
    changed: str = ""
    asks: tuple[Ask, ...] = ()


class Job(Record):
    """Lines that are done together and can be agreed to or put off by themselves.

    ``id`` is that of its first line. A job that is ``put_off`` is in no total; its own hours are then those
    of doing it alone.
    """

    id: str = ""
    title: str
    urgency: Urgency
    lines: tuple[Line, ...]
    subtotal: Decimal  # of the lines that have a price
    subtotal_high: Decimal | None = None  # where a price is a range
    only_if: str = ""
    put_off: bool = False


class TaxLine(Record):
    """One tax: ``percent`` of ``base``, rounded once."""

    name: str
    percent: Decimal
    base: Decimal
    amount: Decimal
    arithmetic: str = ""


class DiscountLine(Record):
    """One discount as it was taken: ``amount`` is what is subtracted, never more than ``base``."""

    reason: str
    on: Literal["labour", "parts", "total"]
    base: Decimal
    amount: Decimal
    arithmetic: str = ""


class Totals(Record):
    """Sums over the jobs that are not put off; ``open_lines`` are those without a price, in no sum.

    ``parts`` holds fluids. ``total`` = labour + parts + sublet + fees + supplies − discount + tax; where
    prices are ranges these are the lower ends, and ``total_high`` is the same sum of the upper ends.
    ``arithmetic`` says for each of these how it came about.
    """

    labour: Decimal
    parts: Decimal
    sublet: Decimal
    fees: Decimal = Decimal(0)
    supplies: Decimal
    discount: Decimal = Decimal(0)
    discount_lines: tuple[DiscountLine, ...] = ()
    tax: Decimal
    tax_lines: tuple[TaxLine, ...] = ()
    total: Decimal
    total_high: Decimal | None = None
    open_lines: int
    arithmetic: dict[str, str] = Field(default_factory=dict)


class Terms(Record):
    """What the totals are computed with, besides the lines: enough to do it again from the JSON alone.

    In this order: supplies are ``supplies_percent`` of labour up to ``supplies_cap``; each discount is taken
    from what the ones before left, one on the total from every kind in proportion; each tax is its percent
    of what is left of the kinds in its ``on``. Everything is rounded half up to ``smallest`` when it becomes
    an amount: once per line, per discount, for supplies, per tax's base and per tax.
    """

    smallest: Decimal
    rounding: str = "half up, once per line"
    rates: dict[str, Decimal] = Field(default_factory=dict)
    markup: tuple[MarkupBand, ...] = ()
    sublet_markup_percent: Decimal = Decimal(0)
    supplies_percent: Decimal = Decimal(0)
    supplies_cap: Decimal | None = None
    discounts: tuple[Discount, ...] = ()
    jurisdiction: str = ""
    taxes: tuple[TaxRule, ...] = ()


class LimitCheck(Record):
    """A reading beside a limit, in the unit that was spoken.

    ``origin`` says whose limit it is. ``left`` is what still wears away before the limit (negative beyond
    it), ``None`` where the reading is only bounded. ``agrees`` is ``False`` where the advice says otherwise
    than the number, ``None`` where it cannot be told. ``unit_limit`` is the limit's own unit.
    """

    finding: str
    component: Ref
    what: str
    position: Position | None = None
    place: str = ""
    value: Decimal
    high: Decimal | None = None
    unit: Unit
    limit: Decimal
    unit_limit: Unit
    bound: Literal["min", "max"]
    origin: Literal["spoken", "shop", "published"]
    source: str
    verdict: Verdict
    left: Decimal | None = None
    agrees: bool | None = None
    message: str


class LineChange(Record):
    """What an advisor changes on one line; fields that stay ``None`` stay as they were."""

    line: str  # Line.id
    hours: Decimal | None = None
    unit_price: Decimal | None = None
    quantity: Decimal | None = None
    name: str | None = None
    part_condition: PartCondition | None = None
    left_off: bool = False
    reason: str = ""
    by: str = ""


class AddedLine(Record):
    """A line that an advisor adds: to the job ``job`` (its id), or to a new one that then has this id."""

    id: str
    job: str | None = None
    kind: LineKind
    name: str
    operation: Action
    component: Ref | None = None
    positions: tuple[Position, ...] = ()
    quantity: Decimal = Decimal(1)
    unit: str = "each"
    hours: Decimal | None = None
    unit_price: Decimal | None = None
    reason: str = ""
    by: str = ""


class Estimate(Record):
    """The draft estimate. All amounts are in ``currency`` (ISO 4217), rounded once per line, half up.

    ``left_off`` are lines that an advisor took out; ``checks`` the readings beside their limits.
    """

    currency: str
    jobs: tuple[Job, ...]
    totals: Totals
    terms: Terms | None = None
    left_off: tuple[Line, ...] = ()
    checks: tuple[LimitCheck, ...] = ()
