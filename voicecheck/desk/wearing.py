"""Readings of this visit beside those of earlier ones: what has worn, and when a limit will be reached."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

from voicecheck.estimate.wear import Bound, Forecast, Worn, forecast
from voicecheck.records import Draft, Measure, Record
from voicecheck.records.estimate import LimitCheck
from voicecheck.records.units import comparable
from voicecheck.records.wording import capital

_FIRST = ("spoken", "shop", "published")  # whose limit is used where there are several


class Wear(Record):
    """One reading that was taken before as well.

    ``what`` names it ("front brake pads, pad thickness"), ``then`` and ``now`` are the values with the unit
    of ``now``'s, ``text`` is the forecast or the reason why there is none.
    """

    finding: str
    what: str
    then: Decimal
    then_unit: str
    then_odometer: Decimal
    now: Decimal
    unit: str
    odometer: Decimal
    odometer_unit: Literal["mi", "km"]
    limit: LimitCheck
    forecast: Forecast | None = None
    text: str


def wear_since(now: Draft, earlier: Sequence[Draft]) -> tuple[Wear, ...]:
    """A ``Wear`` for each exact reading with a limit that an earlier draft, at a lower mileage, has too.

    ``earlier`` are drafts of the same vehicle, the newest first; the newest that has the reading counts.
    Drafts without a spoken odometer tell nothing and are passed over.
    """
    odometer = _odometer(now)
    if odometer is None:
        return ()
    found: dict[tuple[str, str, str, str], Wear] = {}
    for check in sorted(now.estimate.checks, key=lambda c: _FIRST.index(c.origin)):
        key = (check.component.id, check.what, check.position or "", check.place)
        if key in found or check.left is None or check.high is not None:
            continue
        made = _wear(check, odometer, earlier)
        if made is not None:
            found[key] = made
    return tuple(found.values())


def _wear(
    check: LimitCheck, odometer: tuple[Decimal, Literal["mi", "km"]], earlier: Sequence[Draft]
) -> Wear | None:
    for draft in earlier:
        before = _odometer(draft)
        reading = _reading(draft, check)
        if before is None or reading is None or not comparable(reading.unit, check.unit):
            continue
        told = forecast(
            Worn(value=reading.value, unit=reading.unit, odometer=before[0], odometer_unit=before[1]),
            Worn(value=check.value, unit=check.unit, odometer=odometer[0], odometer_unit=odometer[1]),
            Bound(value=check.limit, unit=check.unit_limit, bound=check.bound),
        )
        where = " ".join(part for part in (check.position or "", check.place) if part)
        name = f"{where} {check.component.name}".strip()
        return Wear(
            finding=check.finding,
            what=f"{capital(name)}, {check.what}",
            then=reading.value,
            then_unit=reading.unit,
            then_odometer=before[0],
            now=check.value,
            unit=check.unit,
            odometer=odometer[0],
            odometer_unit=odometer[1],
            limit=check,
            forecast=None if isinstance(told, str) else told,
            text=told if isinstance(told, str) else told.message,
        )
    return None


def _odometer(draft: Draft) -> tuple[Decimal, Literal["mi", "km"]] | None:
    said = draft.vehicle.odometer
    if said is None or said.unit not in ("mi", "km"):
        return None
    return said.value, "mi" if said.unit == "mi" else "km"


def _reading(draft: Draft, check: LimitCheck) -> Measure | None:
    """The same reading in another draft; of several, the one nearest to the limit."""
    fitting = [
        measure
        for finding in draft.findings
        if finding.component.id == check.component.id
        for measure in finding.measures
        if measure.what == check.what
        and measure.bound == "="
        and measure.high is None
        and measure.place == check.place
        and (measure.position or "") == (check.position or "")
    ]
    if not fitting:
        return None
    nearest = min if check.bound == "min" else max
    return nearest(fitting, key=lambda m: m.value)
