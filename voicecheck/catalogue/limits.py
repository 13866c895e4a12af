"""Inspection limits: ``limits.csv``."""

from __future__ import annotations

from collections.abc import Container
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

from voicecheck.catalogue import cells
from voicecheck.catalogue.faults import Faults, nearest, one_of
from voicecheck.catalogue.files import Row, read_table
from voicecheck.records import UNITS, Limit, Market, Problem

REQUIRED = ("id", "component", "measure", "bound", "value", "unit", "source", "status")
OPTIONAL = ("market", "scope")

_MARKETS: tuple[str, ...] = get_args(Market)
_BELOW_ZERO = ("°C", "°F")


def _allowed(field: str) -> tuple[str, ...]:
    """The closed set of a field of ``Limit``, read from the model so that it is written down once."""
    return get_args(Limit.model_fields[field].annotation)


def check_limits(
    path: Path,
    *,
    component_ids: Container[str] | None = None,
    measure_ids: Container[str] | None = None,
) -> list[Problem]:
    """Every fault of a file of limits. Ids are checked against the lexicon's where those are given."""
    faults = Faults(path)
    _read(path, faults, component_ids, measure_ids)
    return faults.in_order()


def load_limits(
    path: Path,
    *,
    component_ids: Container[str] | None = None,
    measure_ids: Container[str] | None = None,
) -> tuple[Limit, ...]:
    """The limits in the order of the file. Raises ``DataError`` with all problems when there is an error."""
    faults = Faults(path)
    limits = _read(path, faults, component_ids, measure_ids)
    faults.stop_on_errors()
    return tuple(limits)


def _read(
    path: Path, faults: Faults, component_ids: Container[str] | None, measure_ids: Container[str] | None
) -> list[Limit]:
    limits: list[Limit] = []
    ids: dict[str, int] = {}
    said: dict[tuple[str, ...], int] = {}
    for row in read_table(path, faults, required=REQUIRED, optional=OPTIONAL):
        limit = _limit(row, faults, component_ids, measure_ids)
        if (name := row.cells["id"]) and (seen := ids.setdefault(name, row.number)) != row.number:
            faults.error(f"the id “{name}” is already used in row {seen}", row=row.number, field="id")
        if limit is None:
            continue
        limits.append(limit)
        key = (limit.component, limit.measure, limit.bound, limit.unit, limit.market or "", limit.scope)
        if (seen := said.setdefault(key, row.number)) != row.number:
            faults.warn(
                f"row {seen} already sets this limit for the same market and scope",
                row=row.number,
                field="value",
            )
    return limits


def _limit(
    row: Row, faults: Faults, component_ids: Container[str] | None, measure_ids: Container[str] | None
) -> Limit | None:
    before = len(faults.errors)
    get = row.cells
    for field in REQUIRED:
        if not get[field]:
            faults.error("the cell is empty", row=row.number, field=field)
    closed: dict[str, tuple[str, ...]] = {
        "bound": _allowed("bound"),
        "status": _allowed("status"),
        "unit": UNITS,
        "market": _MARKETS,
    }
    for field, allowed in closed.items():
        if get[field] and get[field] not in allowed:
            faults.error(
                f"unknown {field} “{get[field]}”; allowed: {one_of(allowed)}", row=row.number, field=field
            )
    component, measure = get["component"], get["measure"]
    if component and component_ids is not None and component not in component_ids:
        faults.error(
            f"the lexicon has no component “{component}”{nearest(component, component_ids)}",
            row=row.number,
            field="component",
        )
    if measure and measure_ids is not None and measure not in measure_ids:
        # no error: the limit stands, only nothing that is said can be held against it yet
        faults.warn(
            f"the lexicon has no measure “{measure}”{nearest(measure, measure_ids)}; the limit is never used",
            row=row.number,
            field="measure",
        )
    value = Decimal(0)
    if get["value"]:
        try:
            value = cells.number(get["value"])
        except cells.CellError as error:
            faults.error(str(error), row=row.number, field="value")
        if value < 0 and get["unit"] not in _BELOW_ZERO:
            faults.error(f"“{get['value']}” is negative", row=row.number, field="value")
    if len(faults.errors) > before:
        return None
    fields: dict[str, Any] = {**get, "value": value, "market": get["market"] or None}
    return Limit.model_validate(fields)
