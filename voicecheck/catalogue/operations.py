"""The labour catalogue: ``catalogue.csv``."""

from __future__ import annotations

from collections.abc import Callable, Container
from decimal import Decimal
from pathlib import Path
from typing import TypeVar, cast, get_args

from voicecheck.catalogue import cells
from voicecheck.catalogue.faults import Faults, nearest, one_of
from voicecheck.catalogue.files import Row, read_table
from voicecheck.lexicon.parse import SYSTEMS
from voicecheck.records import (
    PRICED_ACTIONS,
    UNPRICED_ACTIONS,
    Action,
    Catalogue,
    Operation,
    PartUse,
    Problem,
)
from voicecheck.records.shopdata import Per

REQUIRED = ("code", "name", "system", "component", "action", "per", "hours")
OPTIONAL = ("includes", "shares", "shared_hours", "parts", "sublet", "price", "also", "follow_on")
MOST_HOURS = Decimal(60)  # more than a week and a half of work in one operation is a slip of the keyboard

GENERAL_DIAGNOSIS = "diagnosis"  # stands for no component: finding out what is wrong with the row's system

_PER: tuple[str, ...] = get_args(Per)

T = TypeVar("T")


def check_catalogue(path: Path, *, component_ids: Container[str] | None = None) -> list[Problem]:
    """Every fault of a labour catalogue. Component ids are checked when ``component_ids`` is given."""
    faults = Faults(path)
    _read(path, faults, component_ids)
    return faults.in_order()


def load_catalogue(path: Path, *, component_ids: Container[str] | None = None) -> Catalogue:
    """The operations of a labour catalogue in the order of the file; its name is the file's, without ending.

    Raises ``DataError`` with all problems when there is an error; warnings alone do not stop it.
    """
    faults = Faults(path)
    operations = _read(path, faults, component_ids)
    faults.stop_on_errors()
    return Catalogue(name=path.stem, operations=tuple(operations))


def _read(path: Path, faults: Faults, component_ids: Container[str] | None) -> list[Operation]:
    rows = read_table(path, faults, required=REQUIRED, optional=OPTIONAL)
    operations = [o for row in rows if (o := _operation(row, faults, component_ids)) is not None]
    _check_codes(rows, faults)
    _check_references(rows, faults)
    _check_loops(rows, faults)
    _check_twins(rows, faults)
    _check_included_hours(rows, operations, faults)
    return operations


def _operation(row: Row, faults: Faults, component_ids: Container[str] | None) -> Operation | None:
    """The operation of one row, or ``None`` with its faults noted."""
    before = len(faults.errors)
    get = row.cells

    def read(field: str, parse: Callable[[str], T], empty: T) -> T:
        if not get[field]:
            return empty
        try:
            return parse(get[field])
        except cells.CellError as error:
            faults.error(str(error), row=row.number, field=field)
            return empty

    def closed(field: str, allowed: tuple[str, ...]) -> None:
        if get[field] and get[field] not in allowed:
            faults.error(
                f"unknown {field} “{get[field]}”{nearest(get[field], allowed)}; allowed: {one_of(allowed)}",
                row=row.number,
                field=field,
            )

    for field in REQUIRED:
        if not get[field] and field != "hours":
            faults.error("the cell is empty", row=row.number, field=field)
    closed("system", SYSTEMS)
    closed("per", _PER)
    closed("sublet", ("yes", "no"))
    if get["action"] in UNPRICED_ACTIONS:
        faults.error(
            f"“{get['action']}” is no work and has no place in a catalogue", row=row.number, field="action"
        )
    else:
        closed("action", PRICED_ACTIONS)
    component = get["component"]
    if component == GENERAL_DIAGNOSIS:
        if get["action"] != "diagnose":
            faults.error(
                f"“{GENERAL_DIAGNOSIS}” stands for a whole system and takes the action “diagnose” only",
                row=row.number,
                field="component",
            )
    elif component and component_ids is not None and component not in component_ids:
        faults.error(
            f"the lexicon has no component “{component}”{nearest(component, component_ids)}",
            row=row.number,
            field="component",
        )
    time = read("hours", lambda c: cells.hours(c, most=MOST_HOURS), None)
    shared = read("shared_hours", lambda c: cells.hours(c, most=MOST_HOURS), Decimal(0))
    no_price: tuple[Decimal | None, Decimal | None] = (None, None)
    money, money_high = read("price", cells.price, no_price)
    sublet = get["sublet"] == "yes"
    parts = _parts(row, faults)
    shares = cells.values(get["shares"])
    if not get["hours"] and not sublet and money is None:
        faults.error(
            "the cell is empty; only sublet work or work at a fixed price may go without hours",
            row=row.number,
            field="hours",
        )
    if sublet and time is not None and not get["price"]:
        faults.warn(
            "sublet work with hours and no price: write the sublet price, or “?” if it is to be found",
            row=row.number,
            field="price",
        )
    if shared and not shares:
        faults.error("shared hours without a step in “shares”", row=row.number, field="shared_hours")
    if shares and get["shared_hours"] in ("", "0", "0.0"):
        faults.warn("“shares” names a step and no shared hours", row=row.number, field="shares")
    if time is not None and shared > time:
        faults.error(
            f"{shared} shared hours are more than the operation's {time}",
            row=row.number,
            field="shared_hours",
        )
    if len(faults.errors) > before:
        return None
    return Operation(
        code=get["code"],
        name=get["name"],
        system=get["system"],
        component=component,
        action=cast(Action, get["action"]),
        per=cast(Per, get["per"]),
        hours=time,
        includes=cells.values(get["includes"]),
        shares=shares,
        shared_hours=shared,
        parts=parts,
        sublet=sublet,
        price=money,
        price_high=money_high,
        also=cells.values(get["also"]),
        follow_on=cells.values(get["follow_on"]),
    )


def _parts(row: Row, faults: Faults) -> tuple[PartUse, ...]:
    found = []
    for entry in cells.values(row.cells["parts"]):
        try:
            found.append(cells.part(entry))
        except cells.CellError as error:
            faults.error(str(error), row=row.number, field="parts")
    return tuple(found)


def _check_codes(rows: list[Row], faults: Faults) -> None:
    first: dict[str, int] = {}
    for row in rows:
        code = row.cells["code"]
        if not code:
            continue
        if "|" in code:
            faults.error("a code cannot contain “|”", row=row.number, field="code")
        # codes that differ in capitals only are one code to anyone who reads them out
        if (seen := first.setdefault(code.casefold(), row.number)) != row.number:
            faults.error(f"the code “{code}” is already used in row {seen}", row=row.number, field="code")


def _check_references(rows: list[Row], faults: Faults) -> None:
    codes = {row.cells["code"] for row in rows}
    for row in rows:
        for field in ("includes", "follow_on"):
            for code in cells.values(row.cells[field]):
                if code == row.cells["code"]:
                    faults.error("the operation names itself", row=row.number, field=field)
                elif code not in codes:
                    faults.error(
                        f"there is no operation with the code “{code}”{nearest(code, codes)}",
                        row=row.number,
                        field=field,
                    )


def _check_loops(rows: list[Row], faults: Faults) -> None:
    """Note each ring of ``includes`` once, at the row where it is first entered."""
    includes = {row.cells["code"]: cells.values(row.cells["includes"]) for row in rows}
    line = {row.cells["code"]: row.number for row in rows}
    done: set[str] = set()
    for root in includes:
        path: list[str] = []
        todo: list[tuple[str, bool]] = [(root, False)]
        while todo:  # depth first without recursion: a chain may be as long as the file
            code, leaving = todo.pop()
            if leaving:
                path.pop()
                done.add(code)
            elif code in path:
                ring = [*path[path.index(code) :], code]
                if len(ring) > 2:  # naming oneself is noted already
                    faults.error(
                        f"the operations include each other: {' → '.join(ring)}",
                        row=line[code],
                        field="includes",
                    )
            elif code in includes and code not in done:
                path.append(code)
                todo.append((code, True))
                todo.extend((c, False) for c in reversed(includes[code]))


def _check_twins(rows: list[Row], faults: Faults) -> None:
    first: dict[tuple[str, str, str, str], Row] = {}
    for row in rows:
        component, action, per = row.cells["component"], row.cells["action"], row.cells["per"]
        if not (component and action and per):
            continue
        system = row.cells["system"] if component == GENERAL_DIAGNOSIS else ""
        twin = first.setdefault((component, action, per, system), row)
        if twin is not row:
            faults.warn(
                f"{action} {component} per {per} is already in row {twin.number} ({twin.cells['code']})",
                row=row.number,
                field="component",
            )


def _check_included_hours(rows: list[Row], operations: list[Operation], faults: Faults) -> None:
    """Warn where an operation takes less time than one that it is said to contain, counted the same way."""
    by_code = {o.code: o for o in operations}
    line = {row.cells["code"]: row.number for row in rows}
    for whole in operations:
        for code in whole.includes:
            inner = by_code.get(code)
            if inner is None or inner.per != whole.per or inner.hours is None or whole.hours is None:
                continue
            if inner.hours > whole.hours:
                faults.warn(
                    f"it includes {code}, which takes {inner.hours} h, and takes only {whole.hours} h itself",
                    row=line[whole.code],
                    field="includes",
                )
