"""Sums. An open line is counted, never added."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from voicecheck.records.estimate import Line, Totals
from voicecheck.records.money import percent_of, sum_money
from voicecheck.records.shopdata import PriceProfile
from voicecheck.records.vocabulary import LineKind


def total(lines: Sequence[Line], prices: PriceProfile) -> Totals:
    """Totals over all lines.

    Supplies are a percentage of labour up to a cap; tax is taken once, on the sum of what the profile taxes.
    """

    def of(*kinds: LineKind) -> Decimal:
        return sum_money(
            (x.amount for x in lines if x.kind in kinds and x.amount is not None), prices.currency
        )

    labour, sublet, fees = of("labour"), of("sublet"), of("fee")
    supplies = percent_of(labour, prices.supplies_percent, prices.currency)
    if prices.supplies_cap is not None:
        supplies = min(supplies, sum_money([prices.supplies_cap], prices.currency))
    parts = of("part", "fluid")
    kinds = {"labour": labour, "part": of("part"), "fluid": of("fluid"), "sublet": sublet, "fee": fees}
    taxed = sum(
        (amount for kind, amount in {**kinds, "supplies": supplies}.items() if kind in prices.taxed),
        Decimal(0),
    )
    tax = percent_of(taxed, prices.tax_percent, prices.currency)
    return Totals(
        labour=labour,
        parts=parts,
        sublet=sublet,
        supplies=supplies,
        tax=tax,
        total=sum_money([labour, parts, sublet, fees, supplies, tax], prices.currency),
        open_lines=sum(1 for x in lines if x.amount is None),
    )
