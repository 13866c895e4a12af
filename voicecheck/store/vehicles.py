"""Vehicles that have been here, and whose they are."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from voicecheck.records import InputError
from voicecheck.store import history
from voicecheck.store.tables import VehicleRow
from voicecheck.store.values import text_of, there

PLATE_MOST = 16
VIN_LONG = 17


def tidy_mark(value: str) -> str:
    """A plate or VIN as it is kept: upper case, letters and digits only."""
    return "".join(letter for letter in value.upper() if letter.isalnum())


def find_vehicle(session: Session, *, plate: str = "", vin: str = "") -> VehicleRow | None:
    """The vehicle with that VIN, else the latest with that plate (plates change hands); ``None`` if none."""
    for column, value in ((VehicleRow.vin, tidy_mark(vin)), (VehicleRow.plate, tidy_mark(plate))):
        if value:
            wanted = select(VehicleRow).where(column == value).order_by(VehicleRow.created.desc()).limit(1)
            found = session.scalar(wanted)
            if found is not None and _agrees(found, vin=tidy_mark(vin)):
                return found
    return None


def _agrees(row: VehicleRow, *, vin: str) -> bool:
    """Two different VINs are two vehicles, whatever the plate says."""
    return not (vin and row.vin and vin != row.vin)


def note_vehicle(
    session: Session,
    *,
    now: datetime,
    plate: str = "",
    vin: str = "",
    title: str = "",
    customer: Mapping[str, Any] | None = None,
    person: str | None = None,
) -> VehicleRow:
    """The vehicle with that VIN or plate, made where there is none; fields given are filled in or renewed."""
    row = find_vehicle(session, plate=plate, vin=vin)
    if row is None:
        row = VehicleRow(plate="", vin="", title="", customer={}, created=now)
        session.add(row)
        session.flush()
        history.record(session, what="vehicle added", now=now, person=person, details={"vehicle": row.id})
    return change_vehicle(
        session, id=row.id, now=now, plate=plate or None, vin=vin or None, title=title or None,
        customer=customer, person=person,
    )  # fmt: skip


def change_vehicle(
    session: Session,
    *,
    id: str,
    now: datetime,
    plate: str | None = None,
    vin: str | None = None,
    title: str | None = None,
    customer: Mapping[str, Any] | None = None,
    person: str | None = None,
) -> VehicleRow:
    """New values for what is given (``None``: as it was). History names the fields, not their content."""
    row = vehicle(session, id=id)
    new: dict[str, Any] = {}
    if plate is not None:
        new["plate"] = text_of(tidy_mark(plate), most=PLATE_MOST, what="plate")
    if vin is not None:
        new["vin"] = tidy_mark(vin)
        if len(new["vin"]) > VIN_LONG:
            raise InputError(
                f"A VIN has {VIN_LONG} characters, this one {len(new['vin'])}.", hint="Check it."
            )
    if title is not None:
        new["title"] = text_of(title, most=120, what="name of the vehicle")
    if customer is not None:
        new["customer"] = dict(customer)
    changed = sorted(field for field, value in new.items() if getattr(row, field) != value)
    for field in changed:
        setattr(row, field, new[field])
    if changed:
        session.flush()
        history.record(
            session,
            what="vehicle changed",
            now=now,
            person=person,
            details={"vehicle": id, "fields": changed},
        )
    return row


def vehicle(session: Session, *, id: str) -> VehicleRow:
    """The vehicle with that id; ``NotThereError`` where there is none."""
    return there(session, VehicleRow, id, what="vehicle")


def search_vehicles(session: Session, *, words: str, limit: int = 20) -> list[VehicleRow]:
    """Vehicles whose plate or VIN begins with ``words`` or whose title holds them, the newest first."""
    mark = tidy_mark(words)
    ways = [VehicleRow.title.icontains(words.strip(), autoescape=True)]
    if mark:
        ways += [VehicleRow.plate.startswith(mark), VehicleRow.vin.startswith(mark)]
    wanted = select(VehicleRow).where(or_(*ways)).order_by(VehicleRow.created.desc()).limit(limit)
    return list(session.scalars(wanted)) if words.strip() else []
