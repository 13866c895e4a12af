"""Money: exact, rounded once per line to the currency's smallest unit, half up.

Amounts are ``Decimal``. A float is refused with ``TypeError``, because it has already lost what was written.
babel is imported when first needed, so that importing the records stays light.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from functools import cache


def exact(value: object, *, what: str = "an amount of money") -> Decimal:
    """``value`` itself if it is a finite ``Decimal``.

    Raises ``TypeError`` for any other type, int and float too, ``ValueError`` for NaN and infinity.
    """
    if not isinstance(value, Decimal):
        raise TypeError(f"{what} must be a Decimal and is {type(value).__name__} {value!r}")
    if not value.is_finite():
        raise ValueError(f"{what} must be a finite number and is {value}")
    return value


@cache
def _smallest(currency: str) -> Decimal:
    from babel.numbers import get_currency_precision, is_currency

    if not is_currency(currency):
        raise ValueError(f"“{currency}” is not a currency code of ISO 4217, such as USD or GBP")
    return Decimal(1).scaleb(-int(get_currency_precision(currency)))


def round_money(amount: Decimal, currency: str) -> Decimal:
    """``amount`` to the smallest unit of ``currency`` (ISO 4217), halves away from zero.

    Raises ``TypeError`` unless the amount is a Decimal, ``ValueError`` for an unknown currency.
    """
    return exact(amount).quantize(_smallest(currency), rounding=ROUND_HALF_UP)


def smallest_units(amount: Decimal, currency: str) -> int:
    """``amount`` counted in the currency's smallest unit (cents, pence), rounded half up."""
    return int(round_money(amount, currency) / _smallest(currency))


def of_units(units: int, currency: str) -> Decimal:
    """The amount that ``units`` of the currency's smallest unit make."""
    return units * _smallest(currency)


def sum_money(amounts: Iterable[Decimal], currency: str) -> Decimal:
    """The exact sum of amounts, rounded once at the end; of nothing, zero with the currency's digits."""
    return round_money(sum((exact(a) for a in amounts), Decimal(0)), currency)


def percent_of(amount: Decimal, percent: Decimal, currency: str) -> Decimal:
    """``percent`` (8.25 means 8.25 %) of ``amount``, rounded once."""
    return round_money(exact(amount) * exact(percent, what="a percentage") / 100, currency)


def format_money(amount: Decimal, currency: str, locale: str) -> str:
    """``amount`` as written in ``locale`` ("en_US", "en_GB"), rounded half up first: "$1,234.50"."""
    from babel.numbers import format_currency

    return str(format_currency(round_money(amount, currency), currency, locale=locale))
