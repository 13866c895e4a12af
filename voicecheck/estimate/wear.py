"""What still wears away before a limit, and when it will be reached.

From two readings with their mileages, as an interval: a reading is only as exact as it was said, and wear is
assumed to go on as it did between them. No forecast says that a part is safe until then.
"""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_UP, Decimal
from typing import Literal

from voicecheck.records.base import Record
from voicecheck.records.units import comparable, convert
from voicecheck.records.vocabulary import Unit
from voicecheck.records.wording import number

ASSUMPTION = (
    "Assumes that it wears on as evenly as between the two readings; driving, load and parts change that."
)
_WHOLE = Decimal(1)


class Worn(Record):
    """One reading and the odometer at it; ``within``: how far it may be off (else half its last digit)."""

    value: Decimal
    unit: Unit
    odometer: Decimal
    odometer_unit: Literal["mi", "km"]
    within: Decimal | None = None


class Bound(Record):
    """The limit that a reading wears towards."""

    value: Decimal
    unit: Unit
    bound: Literal["min", "max"] = "min"


class Forecast(Record):
    """When a limit will be reached, by the odometer in ``unit``.

    ``left`` is what still wears away, in the later reading's unit, negative beyond the limit. ``earliest``
    and ``latest`` are odometer readings, whole numbers; ``latest`` of ``None`` says that the two readings may
    be the same within their exactness, so that no end can be named. ``message`` says it in a sentence, with
    the assumption.
    """

    left: Decimal
    left_unit: Unit
    earliest: Decimal
    latest: Decimal | None
    unit: Literal["mi", "km"]
    reached: bool
    assumption: str = ASSUMPTION
    message: str


def wear_left(value: Decimal, unit: Unit, bound: Bound) -> Decimal:
    """What still wears away before the limit, in ``unit``; negative beyond it.

    Raises ``ValueError`` when the units are not comparable.
    """
    limit = convert(bound.value, bound.unit, unit)
    return value - limit if bound.bound == "min" else limit - value


def forecast(earlier: Worn, later: Worn, bound: Bound) -> Forecast | str:
    """When the limit will be reached, or the reason why two readings do not tell.

    The units are the later reading's. Raises ``ValueError`` when units are not comparable.
    """
    for unit in (earlier.unit, bound.unit):
        if not comparable(unit, later.unit):
            raise ValueError(f"a value in {unit} cannot be said in {later.unit}")
    start = convert(earlier.odometer, earlier.odometer_unit, later.odometer_unit)
    driven = later.odometer - start
    if driven <= 0:
        return "The later reading was not taken at a higher mileage than the earlier one."
    left = wear_left(later.value, later.unit, bound)
    before = wear_left(convert(earlier.value, earlier.unit, later.unit), later.unit, bound)
    worn = before - left
    doubt_then = convert_within(earlier, later.unit)
    doubt_now = convert_within(later, later.unit)
    if left <= 0:
        return _told(left, later, later.odometer, later.odometer, reached=True)
    if worn + doubt_then + doubt_now <= 0:
        return "The later reading is not lower than the earlier one: was the part renewed in between?"
    # The exactness of the later reading moves both what is left and what has worn, in opposite senses.
    fast = (left - doubt_now) / (worn + doubt_then + doubt_now)
    slow = None
    if worn - doubt_then - doubt_now > 0:
        slow = (left + doubt_now) / (worn - doubt_then - doubt_now)
    earliest = later.odometer + max(Decimal(0), fast) * driven
    latest = None if slow is None else later.odometer + slow * driven
    return _told(left, later, earliest, latest, reached=False)


def convert_within(reading: Worn, unit: Unit) -> Decimal:
    """How far a reading may be off, in ``unit``: as given, or half a step of its last digit."""
    within = reading.within
    if within is None:
        exponent = reading.value.as_tuple().exponent
        within = Decimal(5).scaleb(min(0, exponent if isinstance(exponent, int) else 0) - 1)
    zero = convert(Decimal(0), reading.unit, unit)
    return convert(within, reading.unit, unit) - zero


def _told(
    left: Decimal, later: Worn, earliest: Decimal, latest: Decimal | None, *, reached: bool
) -> Forecast:
    first = earliest.quantize(_WHOLE, rounding=ROUND_DOWN)
    last = None if latest is None else latest.quantize(_WHOLE, rounding=ROUND_UP)
    unit = later.odometer_unit
    if reached:
        message = f"At or beyond its limit at {number(first)} {unit} already."
    elif last is None:
        message = (
            f"{number(left)} {later.unit} left. The limit will be reached at {number(first)} {unit} at the "
            f"earliest; the two readings are too close to name a latest. {ASSUMPTION}"
        )
    else:
        message = (
            f"{number(left)} {later.unit} left. The limit will be reached between {number(first)} and "
            f"{number(last)} {unit}. {ASSUMPTION}"
        )
    return Forecast(
        left=left,
        left_unit=later.unit,
        earliest=first,
        latest=last,
        unit=unit,
        reached=reached,
        message=message,
    )
