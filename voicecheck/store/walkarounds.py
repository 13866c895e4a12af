"""Walk-arounds: one vehicle looked at once, from the first word recorded until it is done with."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import and_, func, or_, select, update
from sqlalchemy.orm import Session

from voicecheck.records import InputError, RefusedError
from voicecheck.store import history
from voicecheck.store.tables import WALKAROUND_STATES, Person, VehicleRow, Walkaround
from voicecheck.store.values import text_of, there
from voicecheck.store.vehicles import tidy_mark

# state -> the states it may change to. The same state again changes nothing and is always allowed.
TRANSITIONS: Mapping[str, frozenset[str]] = {
    "recording": frozenset({"waiting", "closed", "failed"}),
    "waiting": frozenset({"working", "recording", "failed", "closed"}),
    "working": frozenset({"review", "waiting", "recording", "failed", "closed"}),
    "review": frozenset({"issued", "waiting", "recording", "closed"}),
    "issued": frozenset({"answered", "review", "waiting", "recording", "closed"}),
    "answered": frozenset({"issued", "review", "waiting", "recording", "closed"}),
    "closed": frozenset({"review", "issued", "answered"}),  # opened again, as it was
    "failed": frozenset({"waiting", "recording", "closed"}),
}


@dataclass(frozen=True)
class Listed:
    """A row of a list: the walk-around, its vehicle and who walked, where known."""

    walkaround: Walkaround
    vehicle: VehicleRow | None
    technician: Person | None


@dataclass(frozen=True)
class Page:
    """Rows, newest first. ``after`` is given to ``page`` for the next ones; ``None``: there are none."""

    rows: tuple[Listed, ...]
    after: str | None


def create(
    session: Session,
    *,
    now: datetime,
    market: str,
    technician: str | None = None,
    vehicle: str | None = None,
    title: str = "",
    particulars: Mapping[str, Any] | None = None,
    person: str | None = None,
    id: str | None = None,
) -> Walkaround:
    """A new one in state ``recording``. With an ``id`` that is there already, that one comes back unchanged
    (a phone that asks twice); it must be the same technician's, else ``RefusedError``."""
    if id is not None:
        if not (len(id) == 32 and all(digit in "0123456789abcdef" for digit in id)):
            raise InputError("The id of a walk-around is 32 hex digits.")
        known = session.get(Walkaround, id)
        if known is not None:
            if known.technician != technician:
                raise RefusedError("This walk-around belongs to somebody else.", hint="Begin a new one.")
            return known
    row = Walkaround(
        vehicle=vehicle,
        title=text_of(title, most=160, what="title"),
        technician=technician,
        state="recording",
        market=market,
        created=now,
        particulars=dict(particulars or {}),
    )
    if id is not None:
        row.id = id
    session.add(row)
    session.flush()
    history.record(session, what="walk-around begun", now=now, person=person or technician, walkaround=row.id)
    return row


def get(session: Session, *, id: str) -> Walkaround:
    """The walk-around with that id; ``NotThereError`` where there is none."""
    return there(session, Walkaround, id, what="walk-around")


def listed(session: Session, *, id: str) -> Listed:
    """The walk-around with its vehicle and technician; ``NotThereError`` where there is none."""
    row = get(session, id=id)
    return Listed(
        walkaround=row,
        vehicle=None if row.vehicle is None else session.get(VehicleRow, row.vehicle),
        technician=None if row.technician is None else session.get(Person, row.technician),
    )


def page(
    session: Session,
    *,
    states: Collection[str] = (),
    technician: str | None = None,
    vehicle: str | None = None,
    search: str = "",
    after: str | None = None,
    limit: int = 50,
) -> Page:
    """Walk-arounds, newest first; all states where none is named.

    ``search`` is part of a plate, a VIN or a title. ``after`` comes from the page before; one that is not
    understood gives the first page.
    """
    wanted = (
        select(Walkaround, VehicleRow, Person)
        .outerjoin(VehicleRow, VehicleRow.id == Walkaround.vehicle)
        .outerjoin(Person, Person.id == Walkaround.technician)
        .order_by(Walkaround.created.desc(), Walkaround.id.desc())
        .limit(limit + 1)
    )
    if states:
        wanted = wanted.where(Walkaround.state.in_(sorted(states)))
    if technician is not None:
        wanted = wanted.where(Walkaround.technician == technician)
    if vehicle is not None:
        wanted = wanted.where(Walkaround.vehicle == vehicle)
    if search.strip():
        wanted = wanted.where(_holds(search))
    place = _place(after)
    if place is not None:
        created, id = place
        wanted = wanted.where(
            or_(Walkaround.created < created, and_(Walkaround.created == created, Walkaround.id < id))
        )
    found = [Listed(*row) for row in session.execute(wanted)]
    last = found[limit - 1].walkaround if len(found) > limit else None
    return Page(
        rows=tuple(found[:limit]),
        after=None if last is None else f"{last.created.astimezone(UTC).isoformat()}_{last.id}",
    )


def _holds(search: str) -> Any:
    words = search.strip()
    ways = [
        Walkaround.title.icontains(words, autoescape=True),
        VehicleRow.title.icontains(words, autoescape=True),
    ]
    mark = tidy_mark(words)
    if mark:
        ways += [VehicleRow.plate.contains(mark), VehicleRow.vin.contains(mark)]
    return or_(*ways)


def _place(after: str | None) -> tuple[datetime, str] | None:
    moment, _, id = (after or "").partition("_")
    try:
        created = datetime.fromisoformat(moment)
    except ValueError:
        return None
    return (created, id) if created.tzinfo is not None else None


def counts(session: Session, *, technician: str | None = None) -> dict[str, int]:
    """How many there are in each state; every state is there, with 0 where none."""
    wanted = select(Walkaround.state, func.count()).group_by(Walkaround.state)
    if technician is not None:
        wanted = wanted.where(Walkaround.technician == technician)
    found = {state: number for state, number in session.execute(wanted)}  # noqa: C416 - rows are no pairs
    return {state: found.get(state, 0) for state in WALKAROUND_STATES}


def set_state(
    session: Session,
    *,
    id: str,
    to: str,
    now: datetime,
    person: str | None = None,
    trouble: str = "",
) -> Walkaround:
    """Changes the state, as far as ``TRANSITIONS`` allows; ``RefusedError`` else.

    ``trouble`` is the sentence that goes with ``failed``. ``waiting`` begins a new run of the drafting.
    """
    row = get(session, id=id)
    if to not in WALKAROUND_STATES:
        raise ValueError(f"no such state: {to}")
    if row.state == to:
        return row
    if to not in TRANSITIONS[row.state]:
        raise RefusedError(
            f"This walk-around is “{row.state}” and cannot become “{to}” from there.",
            hint="Load the page again to see where it stands.",
        )
    details: dict[str, Any] = {"from": row.state, "to": to}
    row.state = to
    row.trouble = text_of(trouble[:2000], most=2000, what="reason") if to == "failed" else ""
    if to == "waiting":
        row.run += 1
        row.received = now
        details["run"] = row.run
    if to in ("waiting", "recording", "review", "failed"):
        row.stage, row.share = "", 0.0
    if to == "review" and details["from"] == "working":
        row.drafted = now
    if row.trouble:
        details["trouble"] = row.trouble
    session.flush()
    history.record(session, what="state", now=now, person=person, walkaround=id, details=details)
    return row


def set_progress(session: Session, *, id: str, stage: str, share: float) -> None:
    """What a worker is doing and how far it is (0-1). Only where it is ``working``; writes no history."""
    session.execute(
        update(Walkaround)
        .where(Walkaround.id == id, Walkaround.state == "working")
        .values(stage=stage[:24], share=min(1.0, max(0.0, share)))
    )


def set_open_asks(session: Session, *, id: str, number: int) -> None:
    """How many asks are open, for the list; the worktop is the truth."""
    session.execute(update(Walkaround).where(Walkaround.id == id).values(open_asks=number))


def describe(
    session: Session,
    *,
    id: str,
    now: datetime,
    person: str | None = None,
    title: str | None = None,
    vehicle: str | None = None,
    technician: str | None = None,
    particulars: Mapping[str, Any] | None = None,
) -> Walkaround:
    """New values for what is given (``None``: as it was); ``particulars`` are laid over those there."""
    row = get(session, id=id)
    new: dict[str, Any] = {}
    if title is not None:
        new["title"] = text_of(title, most=160, what="title")
    if vehicle is not None:
        new["vehicle"] = there(session, VehicleRow, vehicle, what="vehicle").id
    if technician is not None:
        new["technician"] = there(session, Person, technician, what="person").id
    if particulars is not None:
        new["particulars"] = {**row.particulars, **particulars}
    changed = sorted(field for field, value in new.items() if getattr(row, field) != value)
    for field in changed:
        setattr(row, field, new[field])
    if changed:
        session.flush()
        history.record(
            session, what="described", now=now, person=person, walkaround=id, details={"fields": changed}
        )
    return row


def waiting_or_working(session: Session, *, limit: int = 1000) -> list[Walkaround]:
    """Those that a worker should have or get, the oldest first."""
    wanted = select(Walkaround).where(Walkaround.state.in_(("waiting", "working")))
    return list(session.scalars(wanted.order_by(Walkaround.created).limit(limit)))
