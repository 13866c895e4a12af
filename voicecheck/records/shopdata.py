"""What a shop brings.

Labour catalogue, price profile, policies, inspection limits. Read by ``voicecheck.catalogue``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from functools import cached_property
from typing import Literal

from voicecheck.records.base import Record
from voicecheck.records.vocabulary import Action, Market, Unit

Per = Literal["each", "axle", "side", "vehicle"]
RateType = Literal["mechanical", "electrical", "diagnostic"]
TaxClass = Literal["labour", "part", "fluid", "sublet", "fee", "supplies"]
Mode = Literal["add", "ask", "off"]

BEYOND_LIMIT = "beyond_limit"  # as a condition: one of the readings is beyond its limit


class PartUse(Record):
    """A part or fluid that one unit of an operation uses. ``price`` of ``None`` is "to be found".

    ``price_high`` is the upper end where the price is a range. A ``fixed`` price is what the customer pays,
    any other is cost before markup.
    """

    name: str
    kind: Literal["part", "fluid", "fee"]
    quantity: Decimal
    unit: str
    price: Decimal | None
    price_high: Decimal | None = None
    fixed: bool = False
    condition: Literal["new", "used", "rebuilt", "reconditioned"] = "new"


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
    price_high: Decimal | None = None  # its upper end where it is a range
    also: tuple[str, ...] = ()
    follow_on: tuple[str, ...] = ()  # codes commonly needed afterwards: asked, never added in silence


class Catalogue(Record):
    """The operations of one shop, with indexes that are made once when first asked for."""

    name: str
    operations: tuple[Operation, ...]

    @cached_property
    def by_code(self) -> Mapping[str, Operation]:
        return {o.code: o for o in self.operations}

    @cached_property
    def by_work(self) -> Mapping[tuple[str, Action], tuple[Operation, ...]]:
        """Operations by component and action, in the order of their codes."""
        return _grouped(self.operations, lambda o: (o.component, o.action))

    @cached_property
    def by_system(self) -> Mapping[tuple[str, Action], tuple[Operation, ...]]:
        """Operations by system and action, in the order of their codes."""
        return _grouped(self.operations, lambda o: (o.system, o.action))


def _grouped(
    operations: Iterable[Operation], key: Callable[[Operation], tuple[str, Action]]
) -> dict[tuple[str, Action], tuple[Operation, ...]]:
    found: dict[tuple[str, Action], list[Operation]] = {}
    for operation in sorted(operations, key=lambda o: o.code):
        found.setdefault(key(operation), []).append(operation)
    return {k: tuple(v) for k, v in found.items()}


class MarkupBand(Record):
    """Cost up to and including ``up_to`` (``None``: any) is multiplied by ``factor``."""

    up_to: Decimal | None
    factor: Decimal


class Scope(Record):
    """Which work a rule is about: any of ``components`` (their kinds too) or ``systems``, and ``actions``.

    An empty list of components and systems means every component, an empty list of actions every action.
    """

    components: tuple[str, ...] = ()
    systems: tuple[str, ...] = ()
    actions: tuple[Action, ...] = ()


class RateRule(Record):
    """Work of ``systems`` and ``actions`` (either empty: any) is charged at the rate of ``type``."""

    type: RateType
    systems: tuple[str, ...] = ()
    actions: tuple[Action, ...] = ()


class FeeRule(Record):
    """An amount that comes with some work: per part ("each"), or once per line of work ("line")."""

    name: str
    amount: Decimal
    per: Literal["each", "line"] = "each"
    work: Scope


class Discount(Record):
    """What is taken off: ``percent`` or ``amount``, of labour, parts (with fluids) or the total."""

    reason: str
    on: Literal["labour", "parts", "total"]
    percent: Decimal | None = None
    amount: Decimal | None = None


class TaxRule(Record):
    """``percent`` of the kinds in ``on``; with a ``jurisdiction``, only where the profile names that."""

    name: str
    percent: Decimal
    on: tuple[TaxClass, ...]
    jurisdiction: str = ""


class PriceProfile(Record):
    """Rates, markup, fees, supplies, discounts and taxes of one shop.

    Percentages are as written: 8.25 means 8.25 %. ``labour_rate`` is the mechanical one; a missing other rate
    is the same. ``tax_percent`` on ``taxed`` is short for one tax rule called "Tax".
    """

    name: str
    market: Market
    currency: str
    labour_rate: Decimal
    electrical_rate: Decimal | None = None
    diagnostic_rate: Decimal | None = None
    rate_for: tuple[RateRule, ...] = ()
    markup: tuple[MarkupBand, ...] = ()
    sublet_markup_percent: Decimal = Decimal("0")
    fees: tuple[FeeRule, ...] = ()
    supplies_percent: Decimal = Decimal("0")
    supplies_cap: Decimal | None = None
    discounts: tuple[Discount, ...] = ()
    tax_percent: Decimal = Decimal("0")
    taxed: tuple[TaxClass, ...] = ()
    jurisdiction: str = ""
    taxes: tuple[TaxRule, ...] = ()


class SetPolicy(Record):
    """How some components are replaced when one side was named.

    ``by`` "axle" adds the other side, "side" leaves it at one, "ask" asks. ``says`` is the reason in a
    sentence.
    """

    id: str
    work: Scope
    by: Literal["axle", "side", "ask"]
    says: str


class FollowOn(Record):
    """What comes with some work: other work (``component`` and ``action``) or a ``part`` with its price.

    ``add`` puts it on the draft as the policy's, ``ask`` asks, ``off`` does neither, also where the catalogue
    names it.
    """

    id: str
    after: Scope
    component: str = ""
    action: Action | None = None
    part: PartUse | None = None
    mode: Mode
    says: str


class Conclusion(Record):
    """What a condition of a component means for the advice, such as "below its minimum is not machined".

    Where one of ``conditions`` was said of it (or holds, for ``BEYOND_LIMIT``) and the advice is one of
    ``not_enough``, the question is whether ``instead`` is meant, of the component ``target`` (empty: the
    same).
    """

    id: str
    components: tuple[str, ...]
    conditions: tuple[str, ...]
    not_enough: tuple[Action, ...]
    instead: Action
    target: str = ""
    says: str


class Policies(Record):
    """What a shop has decided once for all estimates.

    ``near_limit_percent``: a reading within so much of its limit is reported as near it.
    """

    sets: tuple[SetPolicy, ...] = ()
    follow_ons: tuple[FollowOn, ...] = ()
    catalogue_follow_ons: Mode = "ask"
    conclusions: tuple[Conclusion, ...] = ()
    near_limit_percent: Decimal = Decimal("0")


class Limit(Record):
    """An inspection limit with where it was published.

    ``status`` is "verified" (read in a stored copy of the source), "secondary", "memory", "common
    practice", or "shop" for the shop's own.
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
    status: Literal["verified", "secondary", "memory", "common practice", "shop"]


class ShopData(Record):
    catalogue: Catalogue
    prices: PriceProfile
    limits: tuple[Limit, ...]
    policies: Policies = Policies()
