"""Every question that a page asks goes through an index: it stays fast with ten thousand walk-arounds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session
from store_kit import NOW
from test_round_trip import fill

from voicecheck.store import (
    desk,
    history,
    owner,
    papers,
    people,
    recordings,
    vehicles,
    walkarounds,
    workers,
)
from voicecheck.store.database import Database
from voicecheck.store.tables import SignedIn

Question = Callable[[Session, dict[str, str]], Any]

QUESTIONS: dict[str, Question] = {
    "page": lambda s, _: walkarounds.page(s),
    "page after": lambda s, _: walkarounds.page(s, after=f"{NOW.isoformat()}_a"),
    "page of states": lambda s, _: walkarounds.page(s, states=("review", "issued")),
    "page of a technician": lambda s, ids: walkarounds.page(s, technician=ids["person"]),
    "page of a vehicle": lambda s, ids: walkarounds.page(s, vehicle=ids["vehicle"]),
    "counts": lambda s, _: walkarounds.counts(s),
    "one": lambda s, ids: walkarounds.listed(s, id=ids["walkaround"]),
    "for the worker": lambda s, _: walkarounds.waiting_or_working(s),
    "a vehicle by its marks": lambda s, _: vehicles.find_vehicle(s, plate="AB12CDE", vin="x"),
    "takes": lambda s, ids: recordings.takes(s, walkaround=ids["walkaround"]),
    "a take by its key": lambda s, _: recordings.take_by_key(s, client_key="phone-1"),
    "missing parts": lambda s, ids: recordings.missing(s, take=ids["take"]),
    "photos": lambda s, ids: recordings.photos(s, walkaround=ids["walkaround"]),
    "whose media": lambda s, _: recordings.walkarounds_of_media(s, key="a" * 64),
    "unused media": lambda s, _: recordings.unused(s, keys=("a" * 64, "c" * 64)),
    "newest draft": lambda s, ids: desk.latest_draft(s, walkaround=ids["walkaround"]),
    "a draft by its key": lambda s, _: desk.draft_by_key(s, key="k1"),
    "decisions": lambda s, ids: desk.decisions(s, walkaround=ids["walkaround"]),
    "versions": lambda s, ids: papers.versions(s, walkaround=ids["walkaround"]),
    "newest version": lambda s, ids: papers.latest_issued(s, walkaround=ids["walkaround"]),
    "a customer's link": lambda s, _: papers.look_up(s, token="customer", now=NOW),
    "links": lambda s, ids: papers.links(s, issued=ids["issued"]),
    "consents": lambda s, ids: papers.consents(s, walkaround=ids["walkaround"]),
    "put off": lambda s, ids: papers.put_off_of(s, vehicle=ids["vehicle"]),
    "who is there": lambda s, _: people.visit(s, token="cookie", now=NOW),
    "who signs in": lambda s, _: people.person_by_login(s, login="ines"),
    "history": lambda s, _: history.rows(s),
    "history of one": lambda s, ids: history.rows(s, walkaround=ids["walkaround"]),
    "history of a person": lambda s, ids: history.rows(s, person=ids["person"]),
    "a setting": lambda s, _: owner.get_setting(s, key="retention"),
    "the lexicon in force": lambda s, _: owner.latest_lexicon_number(s),
    "a worker": lambda s, _: workers.claimed_by(s, by="x"),
}
KNOWN = {"unused media": ["SCAN issued"]}  # no page asks it: it is asked when a file is to be deleted
SMALL = {"workers", "people", "settings", "CONSTANT"}  # tables that never grow, and a row of no table


@contextmanager
def plans(database: Database) -> Iterator[list[str]]:
    """The lines of SQLite's plans for all that is asked inside."""
    lines: list[str] = []
    asked: list[tuple[str, Any]] = []

    def note(_conn: Any, _cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        if statement.startswith("SELECT"):
            asked.append((statement, parameters))

    event.listen(database.engine, "before_cursor_execute", note)
    try:
        yield lines
    finally:
        event.remove(database.engine, "before_cursor_execute", note)
    with database.connection() as connection:
        for statement, parameters in asked:
            plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters)
            lines += [row[3] for row in plan]


def slow(lines: list[str]) -> list[str]:
    """Lines that go through a whole table that grows."""
    return [
        line
        for line in lines
        if line.startswith("SCAN") and "INDEX" not in line and line.split()[1] not in SMALL
    ]


@pytest.mark.parametrize("name", sorted(QUESTIONS))
def test_through_an_index(sqlite: Database, name: str) -> None:
    with sqlite.session() as session:
        ids = fill(session)
    with plans(sqlite) as lines, sqlite.session() as session:
        QUESTIONS[name](session, ids)
    assert lines
    if name != "history":  # by its number: the table is in that order
        assert slow(lines) == KNOWN.get(name, [])


def test_a_scan_would_be_seen(sqlite: Database) -> None:
    with plans(sqlite) as lines, sqlite.session() as session:
        walkarounds.page(session, search="a")  # part of a title: every row is looked at, newest first
        session.query(SignedIn).filter_by(csrf="x").all()
    assert slow(lines) == ["SCAN sessions"]
