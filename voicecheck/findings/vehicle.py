"""Facts about the vehicle itself, as far as they were said."""

from __future__ import annotations

from voicecheck.lexicon.model import Lexicon
from voicecheck.records.finding import Measure, Vehicle
from voicecheck.records.reading import Mark, Reading

_LEAST_ODOMETER = 1000  # below it a bare number is no mileage


def about_vehicle(reading: Reading, lexicon: Lexicon) -> Vehicle:
    """The odometer reading; the last one said stands."""
    odometer: Measure | None = None
    for clause in reading.clauses:
        cued = any(m.kind == "cue" and m.detail == "vehicle" and m.id == "odometer" for m in clause.marks)
        if not cued and any(mark.kind == "component" for mark in clause.marks):
            continue
        cued = cued or any(_is_mileage(m, cued=False) for m in clause.marks)
        for mark in clause.marks:
            if _is_mileage(mark, cued=cued) and mark.value is not None:
                unit = mark.unit or "mi"
                odometer = Measure(what="odometer", value=mark.value, unit=unit, bound=mark.bound)
    return Vehicle(odometer=odometer)


def _is_mileage(mark: Mark, *, cued: bool) -> bool:
    if mark.kind != "quantity" or mark.value is None or mark.value < _LEAST_ODOMETER:
        return False
    return mark.unit in ("mi", "km") or (cued and mark.unit is None)
