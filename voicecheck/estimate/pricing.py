"""Rates, markup and fees of a price profile, and how a price is written down."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from voicecheck.estimate.texts import coin
from voicecheck.records.estimate import Basis
from voicecheck.records.money import round_money
from voicecheck.records.shopdata import PartUse, PriceProfile, RateType, TaxRule
from voicecheck.records.vocabulary import Action
from voicecheck.records.wording import number


@dataclass(frozen=True, slots=True)
class Price:
    """What the customer pays for one unit, up to ``high`` where it is a range, and how it came about."""

    low: Decimal
    high: Decimal | None
    steps: str
    basis: Basis


def rate_of(system: str, action: Action, prices: PriceProfile) -> tuple[RateType, Decimal]:
    """The kind of labour that work is, and its rate per hour.

    By the first rule that is about it; without one a diagnosis is diagnostic, all else mechanical. A kind of
    labour without a rate of its own is charged at the mechanical one.
    """
    kind: RateType = next(
        (
            rule.type
            for rule in prices.rate_for
            if (not rule.systems or system in rule.systems) and (not rule.actions or action in rule.actions)
        ),
        "diagnostic" if action == "diagnose" else "mechanical",
    )
    return kind, rates(prices)[kind]


def rates(prices: PriceProfile) -> dict[RateType, Decimal]:
    """The rate per hour of every kind of labour."""
    basic = prices.labour_rate
    return {
        "mechanical": basic,
        "electrical": basic if prices.electrical_rate is None else prices.electrical_rate,
        "diagnostic": basic if prices.diagnostic_rate is None else prices.diagnostic_rate,
    }


def taxes_of(prices: PriceProfile) -> tuple[TaxRule, ...]:
    """The taxes that hold where the shop is."""
    short = TaxRule(name="Tax", percent=prices.tax_percent, on=prices.taxed)
    named = tuple(t for t in prices.taxes if t.jurisdiction in ("", prices.jurisdiction))
    return (*((short,) if prices.tax_percent and prices.taxed else ()), *named)


def selling_price(use: PartUse, prices: PriceProfile) -> Price | str:
    """The price of one unit of a part or fluid; without one, why not (or "")."""
    if use.price is None:
        return ""
    if use.fixed or use.kind == "fee" or not prices.markup:
        steps = f"price {_span(use.price, use.price_high)}"
        basis = Basis(cost=use.price, cost_high=use.price_high, factor=Decimal(1), factor_high=_one(use))
        return Price(use.price, use.price_high, steps, basis)
    factor = _factor(use.price, prices)
    factor_high = None if use.price_high is None else _factor(use.price_high, prices)
    if factor is None or (use.price_high is not None and factor_high is None):
        cost = use.price_high if factor is not None and use.price_high is not None else use.price
        return f": it costs {coin(cost)}, and no markup band of the price profile reaches that far"
    price = use.price * factor
    steps = f"cost {coin(use.price)} × {number(factor)} = {coin(price)}"
    basis = Basis(cost=use.price, cost_high=use.price_high, factor=factor, factor_high=factor_high)
    if use.price_high is None or factor_high is None:
        return Price(price, None, steps, basis)
    other = use.price_high * factor_high
    steps += f" to cost {coin(use.price_high)} × {number(factor_high)} = {coin(other)}"
    # a dearer part may fall into a band with a smaller factor
    return Price(min(price, other), max(price, other), steps, basis)


def sublet_price(cost: Decimal, high: Decimal | None, prices: PriceProfile) -> Price:
    """The price of one unit of work that is sent out."""
    percent = prices.sublet_markup_percent
    factor = 1 + percent / 100
    basis = Basis(cost=cost, cost_high=high, factor=factor, factor_high=None if high is None else factor)
    price, top = cost * factor, None if high is None else high * factor
    steps = f"cost {_span(cost, high)}"
    if percent:
        steps += f" + {number(percent)} % = {_span(price, top)}"
    return Price(price, top, steps, basis)


def times(price: Price, quantity: Decimal, currency: str) -> tuple[Decimal, Decimal | None, str]:
    """The amount for a quantity, its upper end, and the arithmetic with its rounding."""
    amount = round_money(price.low * quantity, currency)
    high = None if price.high is None else round_money(price.high * quantity, currency)
    exact = _span(price.low * quantity, None if price.high is None else price.high * quantity)
    steps = price.steps
    if quantity != 1:
        steps += f"; {number(quantity)} × {_span(price.low, price.high)} = {exact}"
    if amount != price.low * quantity or (high is not None and price.high != high / quantity):
        steps += f", rounded to {_span(amount, high)}"
    return amount, high, steps


def rounded(exact: Decimal, currency: str) -> str:
    """An exact product, and what it is rounded to where that differs."""
    amount = round_money(exact, currency)
    return coin(exact) if exact == amount else f"{coin(exact)}, rounded to {coin(amount)}"


def _span(low: Decimal, high: Decimal | None) -> str:
    return coin(low) if high is None or high == low else f"{coin(low)} to {coin(high)}"


def _one(use: PartUse) -> Decimal | None:
    return None if use.price_high is None else Decimal(1)


def _factor(cost: Decimal, prices: PriceProfile) -> Decimal | None:
    bands = sorted(prices.markup, key=lambda b: (b.up_to is None, b.up_to or Decimal(0)))
    band = next((b for b in bands if b.up_to is None or cost <= b.up_to), None)
    return None if band is None else band.factor
