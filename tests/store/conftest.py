"""Databases and media for the tests of the store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from store_kit import KINDS, drop_templates, ready_database

from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore


@pytest.fixture(scope="session", autouse=True)
def _no_templates_left() -> Iterator[None]:
    yield
    drop_templates()


@pytest.fixture(params=KINDS)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A database with all tables: each test runs on SQLite and on Postgres."""
    with ready_database(request.param, tmp_path) as made:
        yield made


@pytest.fixture
def sqlite(tmp_path: Path) -> Iterator[Database]:
    with ready_database("sqlite", tmp_path) as made:
        yield made


@pytest.fixture
def media(tmp_path: Path) -> MediaStore:
    return MediaStore(f"file://{tmp_path / 'media'}")
