"""Conversion between the units of ``records.UNITS``: Decimal in, Decimal out.

pint (with ``non_int_type=Decimal``) does the arithmetic and is imported when two different units first meet,
so that importing the records stays light. Results carry 28 significant digits; whatever is exact in them, is
exact ("2/32 in" is 1.5875 mm). Temperatures are points on the scale, never differences.
"""

from __future__ import annotations

from decimal import Decimal, localcontext
from functools import cache
from typing import Any

from voicecheck.records.money import exact
from voicecheck.records.vocabulary import UNITS, Unit

DIGITS = 28
_WORKING_DIGITS = 60  # spare digits, so that 1/3-like steps inside leave no trace in the result

# pint's name, and how many of pint's unit one of ours is
_PINT: dict[Unit, tuple[str, Decimal]] = {
    "mm": ("millimeter", Decimal(1)),
    "cm": ("centimeter", Decimal(1)),
    "in": ("inch", Decimal(1)),
    "1/32 in": ("inch", Decimal("0.03125")),
    "0.001 in": ("inch", Decimal("0.001")),
    "V": ("volt", Decimal(1)),
    "A": ("ampere", Decimal(1)),
    "ohm": ("ohm", Decimal(1)),
    "psi": ("pound_force_per_square_inch", Decimal(1)),
    "bar": ("bar", Decimal(1)),
    "kPa": ("kilopascal", Decimal(1)),
    "mi": ("mile", Decimal(1)),
    "km": ("kilometer", Decimal(1)),
    "°C": ("degree_Celsius", Decimal(1)),
    "°F": ("degree_Fahrenheit", Decimal(1)),
    "N·m": ("newton * meter", Decimal(1)),
    "ft·lb": ("foot * force_pound", Decimal(1)),
    "min": ("minute", Decimal(1)),
    "s": ("second", Decimal(1)),
    "h": ("hour", Decimal(1)),
    "L": ("liter", Decimal(1)),
    "qt": ("quart", Decimal(1)),  # the US liquid quart
}
# Compared with nothing but themselves: "%" of what, "count" of what and "code" have no common scale.
_ALONE: frozenset[Unit] = frozenset({"%", "count", "code"})
# A month has no fixed number of days, so months and years convert only into each other.
_CALENDAR: dict[Unit, Decimal] = {"month": Decimal(1), "year": Decimal(12)}


def comparable(unit_a: Unit, unit_b: Unit) -> bool:
    """Whether a value in one unit can be said in the other. A unit is always comparable with itself.

    Raises ``ValueError`` for a word that is not one of ``UNITS``.
    """
    _known(unit_a)
    _known(unit_b)
    if unit_a == unit_b:
        return True
    if unit_a in _CALENDAR or unit_b in _CALENDAR:
        return unit_a in _CALENDAR and unit_b in _CALENDAR
    if unit_a in _ALONE or unit_b in _ALONE:
        return False
    return bool(_dimension(unit_a) == _dimension(unit_b))


def convert(value: Decimal, unit: Unit, to: Unit) -> Decimal:
    """``value`` of ``unit`` said in ``to``.

    Raises ``TypeError`` unless the value is a Decimal, ``ValueError`` when the units are not comparable.
    """
    exact(value, what="a measured value")
    if not comparable(unit, to):
        raise ValueError(f"a value in {unit} cannot be said in {to}")
    if unit == to:
        return value
    if unit in _CALENDAR:
        return _shorten(value * _CALENDAR[unit] / _CALENDAR[to])
    name, factor = _PINT[unit]
    to_name, to_factor = _PINT[to]
    with localcontext() as context:
        context.prec = _WORKING_DIGITS
        quantity = _registry().Quantity(value * factor, name).to(to_name)
        found = Decimal(quantity.magnitude) / to_factor
    return _shorten(found)


def _known(unit: Unit) -> None:
    if unit not in UNITS:
        raise ValueError(f"“{unit}” is not one of the units {', '.join(UNITS)}")


def _shorten(value: Decimal) -> Decimal:
    """``value`` with ``DIGITS`` digits and without trailing zeros or an exponent."""
    with localcontext() as context:
        context.prec = DIGITS
        short = (+value).normalize()
        return short.quantize(Decimal(1)) if short == short.to_integral_value() else short


@cache
def _registry() -> Any:
    import pint

    with localcontext() as context:
        context.prec = _WORKING_DIGITS
        return pint.UnitRegistry(non_int_type=Decimal)


@cache
def _dimension(unit: Unit) -> Any:
    """pint's dimension, compared by value: its text lists the same factors in varying order."""
    with localcontext() as context:
        context.prec = _WORKING_DIGITS
        return _registry().get_dimensionality(_PINT[unit][0])
