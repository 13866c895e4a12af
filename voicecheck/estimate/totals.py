"""Sums, supplies, discounts and taxes. An open line is counted, never added."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal

from voicecheck.estimate.pricing import rates, taxes_of
from voicecheck.estimate.texts import coin
from voicecheck.records.estimate import DiscountLine, Line, TaxLine, Terms, Totals
from voicecheck.records.money import of_units, percent_of, round_money, sum_money
from voicecheck.records.shopdata import Discount, PriceProfile, TaxClass, TaxRule
from voicecheck.records.wording import joined, number

_KINDS: tuple[TaxClass, ...] = ("labour", "part", "fluid", "sublet", "fee", "supplies")
_CALLED: dict[TaxClass, str] = {"part": "parts", "fluid": "fluids", "fee": "fees"}
_ON: dict[str, tuple[TaxClass, ...]] = {"labour": ("labour",), "parts": ("part", "fluid"), "total": _KINDS}
_NONE = Decimal(0)


def terms_of(prices: PriceProfile, discounts: Sequence[Discount] = ()) -> Terms:
    """What the totals are computed with; ``discounts`` are this estimate's own, after the profile's."""
    return Terms(
        smallest=of_units(1, prices.currency),
        rates={str(kind): rate for kind, rate in rates(prices).items()},
        markup=prices.markup,
        sublet_markup_percent=prices.sublet_markup_percent,
        supplies_percent=prices.supplies_percent,
        supplies_cap=prices.supplies_cap,
        discounts=(*prices.discounts, *discounts),
        jurisdiction=prices.jurisdiction,
        taxes=taxes_of(prices),
    )


def total(lines: Sequence[Line], terms: Terms, currency: str) -> Totals:
    """Totals over ``lines`` (of the jobs that are not put off), in the order that ``Terms`` states."""
    low = _sum_up(lines, terms, currency, lambda x: x.amount)
    if all(x.amount_high is None for x in lines):
        return low
    high = _sum_up(lines, terms, currency, lambda x: x.amount if x.amount_high is None else x.amount_high)
    said = {**low.arithmetic, "total_high": f"With the upper end of every range: {high.arithmetic['total']}"}
    return low.model_copy(update={"total_high": high.total, "arithmetic": said})


def _sum_up(
    lines: Sequence[Line], terms: Terms, currency: str, amount_of: Callable[[Line], Decimal | None]
) -> Totals:
    net: dict[TaxClass, Decimal] = {
        kind: sum_money((a for x in lines if x.kind == kind and (a := amount_of(x)) is not None), currency)
        for kind in _KINDS
    }
    said: dict[str, str] = {}
    net["supplies"] = percent_of(net["labour"], terms.supplies_percent, currency)
    said["supplies"] = (
        f"{number(terms.supplies_percent)} % of labour {coin(net['labour'])} = {coin(net['supplies'])}"
    )
    if terms.supplies_cap is not None and net["supplies"] > terms.supplies_cap:
        net["supplies"] = round_money(terms.supplies_cap, currency)
        said["supplies"] += f", at most {coin(net['supplies'])}"
    gross = dict(net)
    taken = [_discount(d, net, currency) for d in terms.discounts]
    discount = sum_money((d.amount for d in taken), currency)
    taxes = tuple(_tax(rule, net, currency, discounted=bool(discount)) for rule in terms.taxes)
    tax = sum_money((t.amount for t in taxes), currency)
    parts = gross["part"] + gross["fluid"]
    sums = {"labour": gross["labour"], "parts": parts, "sublet": gross["sublet"], "fees": gross["fee"],
            "supplies": gross["supplies"]}  # fmt: skip
    whole = sum_money([*sums.values(), -discount, tax], currency)
    said["parts"] = f"parts {coin(gross['part'])} + fluids {coin(gross['fluid'])} = {coin(parts)}"
    shown = [f"{name} {coin(amount)}" for name, amount in sums.items() if amount]
    steps = " + ".join(shown) or coin(_NONE)
    said["discount"] = _listed([d.arithmetic for d in taken], "No discount.")
    said["tax"] = _listed([t.arithmetic for t in taxes], "No tax.")
    said["total"] = (
        f"{steps}{f' − discount {coin(discount)}' if discount else ''}"
        f"{f' + tax {coin(tax)}' if tax else ''} = {coin(whole)}"
    )
    return Totals(
        **sums,
        discount=discount,
        discount_lines=tuple(taken),
        tax=tax,
        tax_lines=taxes,
        total=whole,
        open_lines=sum(1 for x in lines if x.amount is None),
        arithmetic=said,
    )


def _listed(steps: Sequence[str], none: str) -> str:
    return "; ".join(steps) or none


def _discount(rule: Discount, net: dict[TaxClass, Decimal], currency: str) -> DiscountLine:
    """Take a discount off ``net``, from each kind in proportion, and never more than is there."""
    kinds = _ON[rule.on]
    base = sum((net[k] for k in kinds), _NONE)
    whole = round_money(base, currency)
    if rule.percent is not None:
        amount = percent_of(base, rule.percent, currency)
        steps = f"{number(rule.percent)} % of {rule.on} {coin(whole)} = {coin(amount)}"
    else:
        amount = round_money(rule.amount or _NONE, currency)
        steps = f"{coin(amount)} off {rule.on} {coin(whole)}"
    if amount > whole:
        amount = whole
        steps += f", no more than there is: {coin(amount)}"
    if base:
        for kind in kinds:
            net[kind] -= amount * net[kind] / base
    return DiscountLine(
        reason=rule.reason, on=rule.on, base=whole, amount=amount, arithmetic=f"{rule.reason}: {steps}"
    )


def _tax(rule: TaxRule, net: dict[TaxClass, Decimal], currency: str, *, discounted: bool) -> TaxLine:
    base = sum_money((net[k] for k in rule.on), currency)
    amount = percent_of(base, rule.percent, currency)
    what = joined([f"{_CALLED.get(k, k)} {coin(round_money(net[k], currency))}" for k in rule.on if net[k]])
    what = what or "nothing that it applies to"
    after = " after discount" if discounted else ""
    sums = f" = {number(rule.percent)} % of {coin(base)}" if sum(1 for k in rule.on if net[k]) > 1 else ""
    return TaxLine(
        name=rule.name,
        percent=rule.percent,
        base=base,
        amount=amount,
        arithmetic=f"{rule.name}: {number(rule.percent)} % of {what}{after}{sums} = {coin(amount)}",
    )
