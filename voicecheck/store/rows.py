"""Every row of every table as JSON Lines and back, for copies that outlive a database."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Table, func, insert, select
from sqlalchemy.orm import Session

from voicecheck.records import InputError
from voicecheck.store.tables import Base, SignedIn, UtcTime

BATCH = 500
# Sessions are no part of a copy: who was signed in then signs in again.
LEFT_OUT = frozenset({SignedIn.__tablename__})


def tables() -> list[Table]:
    """The tables of a copy, each after those that it refers to."""
    return [table for table in Base.metadata.sorted_tables if table.name not in LEFT_OUT]


def lines(session: Session, table: Table) -> Iterator[str]:
    """The rows of a table in the order of their keys, each as one line of JSON."""
    wanted = select(table).order_by(*table.primary_key.columns)
    for row in session.execute(wanted.execution_options(yield_per=BATCH)).mappings():
        values = {column.name: _out(row[column.name]) for column in table.columns}
        yield json.dumps(values, ensure_ascii=False, separators=(",", ":"), allow_nan=False) + "\n"


def _out(value: Any) -> Any:
    return value.isoformat() if isinstance(value, datetime) else value


def put(session: Session, table: Table, found: Iterable[str]) -> int:
    """Adds rows from ``lines``; how many. Raises ``InputError`` for what is no row of this table."""
    batch: list[dict[str, Any]] = []
    count = 0
    for line in found:
        batch.append(_row(table, line))
        count += 1
        if len(batch) >= BATCH:
            session.execute(insert(table), batch)
            batch = []
    if batch:
        session.execute(insert(table), batch)
    return count


def _row(table: Table, line: str) -> dict[str, Any]:
    fault = InputError(f"The copy holds a row that does not belong into the table {table.name}.")
    try:
        values = json.loads(line)
    except ValueError as error:
        raise fault from error
    if not isinstance(values, Mapping) or not set(values) <= {c.name for c in table.columns}:
        raise fault
    row = {}
    for column in table.columns:
        value = values.get(column.name)
        if value is not None and isinstance(column.type, UtcTime):
            try:
                value = datetime.fromisoformat(value)
            except (TypeError, ValueError) as error:
                raise fault from error
        row[column.name] = value
    return row


def empty(session: Session) -> bool:
    """Whether no table has a row."""
    return all(session.scalar(select(func.count()).select_from(table)) == 0 for table in tables())
