"""Databases for tests: SQLite always, Postgres where VOICECHECK_TEST_POSTGRES names a server."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, make_url
from sqlalchemy.orm import Session

from voicecheck.store import desk, people, recordings, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.migrate import migrate
from voicecheck.store.tables import DraftRow, Person, Take, Walkaround

NOW = datetime(2031, 5, 6, 7, 8, 9, 123456, tzinfo=UTC)
POSTGRES = "VOICECHECK_TEST_POSTGRES"
KINDS = ("sqlite", "postgres")

_templates: dict[str, Any] = {}


def later(**span: float) -> datetime:
    return NOW + timedelta(**span)


@contextmanager
def fresh_url(kind: str, folder: Path) -> Iterator[str]:
    """The address of an empty database of that kind, gone afterwards."""
    if kind == "sqlite":
        yield f"sqlite:///{folder / 'voicecheck.db'}"
        return
    server = postgres_server()
    name = f"voicecheck_{uuid4().hex}"
    _on_server(server, f'CREATE DATABASE "{name}"')
    try:
        yield make_url(server).set(database=name).render_as_string(hide_password=False)
    finally:
        _on_server(server, f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


@contextmanager
def ready_database(kind: str, folder: Path) -> Iterator[Database]:
    """A database with all tables, copied from one that was made once."""
    if kind == "sqlite":
        file = folder / "voicecheck.db"
        if "sqlite" not in _templates:
            made = Database(f"sqlite:///{folder / 'template.db'}")
            migrate(made)
            made.checkpoint()
            made.close()
            _templates["sqlite"] = (folder / "template.db").read_bytes()
        file.write_bytes(_templates["sqlite"])
        database = Database(f"sqlite:///{file}")
        try:
            yield database
        finally:
            database.close()
        return
    server = postgres_server()
    if "postgres" not in _templates:
        template = f"voicecheck_template_{uuid4().hex}"
        _on_server(server, f'CREATE DATABASE "{template}"')
        made = Database(make_url(server).set(database=template).render_as_string(hide_password=False))
        migrate(made)
        made.close()
        _templates["postgres"] = template
    name = f"voicecheck_{uuid4().hex}"
    _on_server(server, f'CREATE DATABASE "{name}" TEMPLATE "{_templates["postgres"]}"')
    database = Database(make_url(server).set(database=name).render_as_string(hide_password=False))
    try:
        yield database
    finally:
        database.close()
        _on_server(server, f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


def postgres_server() -> str:
    server = os.environ.get(POSTGRES)
    if not server:
        pytest.skip(f"no Postgres: {POSTGRES} is not set (.ci/run sets it)")
    return server


def _on_server(server: str, statement: str) -> None:
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql(statement)
    finally:
        engine.dispose()


def drop_templates() -> None:
    template = _templates.pop("postgres", None)
    if template:
        _on_server(postgres_server(), f'DROP DATABASE IF EXISTS "{template}" WITH (FORCE)')


# -- rows ----------------------------------------------------------------------------------------------------


def a_person(session: Session, *, login: str = "", role: str = "advisor") -> Person:
    return people.add_person(
        session, name="Ines Ruud", login=login or uuid4().hex, role=role, password_hash="$argon2id$x", now=NOW
    )


def a_walkaround(session: Session, **given: Any) -> Walkaround:
    return walkarounds.create(session, **{"now": NOW, "market": "US", **given})


def a_take(session: Session, *, walkaround: str, key: str = "") -> Take:
    return recordings.begin_take(session, walkaround=walkaround, client_key=key or uuid4().hex, now=NOW)


def a_draft(session: Session, *, walkaround: str, key: str = "", **document: Any) -> DraftRow:
    return desk.publish_draft(
        session,
        walkaround=walkaround,
        key=key or uuid4().hex,
        document={"format": "voicecheck-draft/1", **document},
        now=NOW,
    )


def hand_in_sound(
    database: Database,
    media: MediaStore,
    sounds: list[bytes],
    *,
    parts: int = 3,
    seconds: float | None = None,
) -> str:
    """A walk-around whose takes have the contents ``sounds``, in ``parts`` parts each; waits for drafting."""
    with database.session() as session:
        about = a_walkaround(session)
    for sound in sounds:
        with database.session() as session:
            take = a_take(session, walkaround=about.id)
        step = -(-len(sound) // parts)
        pieces = [sound[at : at + step] for at in range(0, len(sound), step)]
        for number, piece in enumerate(pieces):
            recordings.receive_part(database, media, take=take.id, number=number, data=piece, now=NOW)
        with database.session() as session:
            recordings.finish_take(session, take=take.id, parts=len(pieces), seconds=seconds, now=NOW)
    with database.session() as session:
        assert recordings.hand_in(session, walkaround=about.id, now=NOW)
    return about.id
