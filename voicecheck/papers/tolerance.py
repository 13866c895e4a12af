"""How far a price may rise above what was agreed before the customer has to be asked again."""

from __future__ import annotations

from decimal import Decimal

from voicecheck.records.papers import Tolerance


def allowed_total(agreed: Decimal, *, tolerance: Tolerance) -> Decimal:
    """The highest total that needs no new consent, exact and not rounded: ``agreed`` itself for "none"."""
    share = agreed * (tolerance.percent or Decimal(0)) / 100
    amount = tolerance.amount or Decimal(0)
    if tolerance.kind == "none":
        more = Decimal(0)
    elif tolerance.kind == "percent":
        more = share
    elif tolerance.kind == "lesser":
        more = min(amount, share)
    else:
        more = max(amount, share)
    return agreed + (more if tolerance.cap is None else min(more, tolerance.cap))


def must_ask_again(agreed: Decimal, now: Decimal, *, tolerance: Tolerance) -> bool:
    """Whether ``now`` is more than ``tolerance`` allows above ``agreed``.

    This is the law's least. The shop's papers promise to ask before any rise.
    """
    return now > allowed_total(agreed, tolerance=tolerance)
