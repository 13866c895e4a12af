"""What a shop brings.

Labour catalogue, price profile, inspection limits. Read by ``voicecheck.catalogue``.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from voicecheck.records.base import Record
from voicecheck.records.vocabulary import Action, Market, Unit

Per = Literal["each", "axle", "side", "vehicle"]


class PartUse(Record):
    """A part or fluid that one unit of an operation uses. ``price`` of ``None`` is "to be found"."""

    name: str
    kind: Literal["part", "fluid"]
    quantity: Decimal
    unit: str
    price: Decimal | None


class Operation(Record):
    """One operation of the labour catalogue. ``hours`` in tenths; ``None`` for sublet without own time."""

    code: str
    name: str
    system: str
    component: str  # lexicon id
    action: Action
    per: Per
    hours: Decimal | None
    includes: tuple[str, ...] = ()  # codes whose labour this one contains
    shares: tuple[str, ...] = ()  # opening steps in common with others, e.g. "wheel off"
    shared_hours: Decimal = Decimal("0")
    parts: tuple[PartUse, ...] = ()
    sublet: bool = False
    price: Decimal | None = None  # fixed or sublet price of one unit
    also: tuple[str, ...] = ()
    follow_on: tuple[str, ...] = ()  # codes commonly needed afterwards: asked, never added in silence


class Catalogue(Record):
    name: str
    operations: tuple[Operation, ...]


class MarkupBand(Record):
    """Cost up to and including ``up_to`` (``None``: any) is multiplied by ``factor``."""

    up_to: Decimal | None
    factor: Decimal


class PriceProfile(Record):
    """Rates, markup, supplies and tax of one shop. Percentages are as written: 8.25 means 8.25 %."""

    name: str
    market: Market
    currency: str
    labour_rate: Decimal
    diagnostic_rate: Decimal | None = None
    markup: tuple[MarkupBand, ...] = ()
    sublet_markup_percent: Decimal = Decimal("0")
    supplies_percent: Decimal = Decimal("0")
    supplies_cap: Decimal | None = None
    tax_percent: Decimal = Decimal("0")
    taxed: tuple[Literal["labour", "part", "fluid", "sublet", "fee", "supplies"], ...] = ()


class Limit(Record):
    """An inspection limit with where it was published.

    ``status`` is "verified" (read in a stored copy of the source), "secondary", "memory" or "common
    practice".
    """

    id: str
    component: str  # lexicon id
    measure: str
    bound: Literal["min", "max"]
    value: Decimal
    unit: Unit
    market: Market | None = None
    scope: str = ""
    source: str
    status: Literal["verified", "secondary", "memory", "common practice"]


class ShopData(Record):
    catalogue: Catalogue
    prices: PriceProfile
    limits: tuple[Limit, ...]
