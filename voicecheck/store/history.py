"""Who did what and when: a chain in which a changed, missing or moved row shows.

Each row holds the sha256 of itself together with that of the row before. Triggers refuse changes; the chain
shows those that were made past the database. Rows cut off at the end show only against a head kept elsewhere
(``Chain.head``, which every backup notes).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from voicecheck.records.canonical import fingerprint
from voicecheck.store.tables import History

START = "0" * 64


@dataclass(frozen=True)
class Chain:
    """The state of the chain: ``broken_at`` is the first number that does not fit, ``why`` in words."""

    rows: int
    head: str
    broken_at: int | None = None
    why: str = ""

    @property
    def whole(self) -> bool:
        return self.broken_at is None


def record(
    session: Session,
    *,
    what: str,
    now: datetime,
    person: str | None = None,
    walkaround: str | None = None,
    details: Mapping[str, Any] | None = None,
) -> History:
    """Adds a row. ``details`` is plain JSON without secrets. Only in a writing session of ``Database``."""
    last = session.execute(
        select(History.number, History.hash).order_by(History.number.desc()).limit(1)
    ).one_or_none()
    number, before = (1, START) if last is None else (last.number + 1, last.hash)
    row = History(
        number=number,
        at=now.astimezone(UTC),
        person=person,
        walkaround=walkaround,
        what=what,
        details=dict(details or {}),
        before=before,
        hash="",
    )
    row.hash = _hash(row)
    session.add(row)
    session.flush()  # the next record of this session builds on it
    return row


def _hash(row: History) -> str:
    return fingerprint(
        {
            "number": row.number,
            "at": row.at.astimezone(UTC).isoformat(timespec="microseconds"),
            "person": row.person,
            "walkaround": row.walkaround,
            "what": row.what,
            "details": row.details,
            "before": row.before,
        }
    )


def rows(
    session: Session,
    *,
    walkaround: str | None = None,
    person: str | None = None,
    before: int | None = None,
    limit: int = 100,
) -> list[History]:
    """The newest first, of one walk-around or person where given; ``before`` a number for the next page."""
    wanted = select(History).order_by(History.number.desc()).limit(limit)
    if walkaround is not None:
        wanted = wanted.where(History.walkaround == walkaround)
    if person is not None:
        wanted = wanted.where(History.person == person)
    if before is not None:
        wanted = wanted.where(History.number < before)
    return list(session.scalars(wanted))


def check(session: Session, *, head: tuple[int, str] | None = None) -> Chain:
    """Reads the whole chain. ``head`` (number, hash) kept elsewhere must still be in it."""
    before, count = START, 0
    found: str | None = None
    for row in session.scalars(
        select(History).order_by(History.number).execution_options(yield_per=1000, populate_existing=True)
    ):
        count += 1
        why = ""
        if row.number != count:
            why = f"row {count} is missing"
        elif row.before != before:
            why = f"row {row.number} does not follow from the one before"
        elif row.hash != _hash(row):
            why = f"row {row.number} was changed"
        if why:
            return Chain(rows=count, head=before, broken_at=count, why=why)
        before = row.hash
        if head is not None and row.number == head[0]:
            found = row.hash
    if head is not None and head[0] > 0 and found != head[1]:
        why = f"row {head[0]} is missing or not the one that was noted"
        return Chain(rows=count, head=before, broken_at=head[0], why=why)
    return Chain(rows=count, head=before)
