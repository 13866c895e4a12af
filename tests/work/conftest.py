"""Databases, media and steps for the tests of the work."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from kill_kit import close_nursery
from store_kit import KINDS, NOW, drop_templates, ready_database

from voicecheck.pipeline import Workshop
from voicecheck.shop.work.steps import Drafting
from voicecheck.speech import Recogniser
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore


@pytest.fixture(scope="session", autouse=True)
def _nothing_left() -> Iterator[None]:
    yield
    close_nursery()
    drop_templates()


@pytest.fixture(params=KINDS)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    with ready_database(request.param, tmp_path) as made:
        yield made


@pytest.fixture
def sqlite(tmp_path: Path) -> Iterator[Database]:
    with ready_database("sqlite", tmp_path) as made:
        yield made


@pytest.fixture
def media(tmp_path: Path) -> MediaStore:
    return MediaStore(f"file://{tmp_path / 'media'}")


@pytest.fixture
def drafting_with(
    sqlite: Database, media: MediaStore, workshop: Workshop
) -> Callable[[Callable[[], Recogniser]], Drafting]:
    """The steps over SQLite with a recogniser."""

    def make(recogniser: Callable[[], Recogniser]) -> Drafting:
        return Drafting(
            database=sqlite,
            media=media,
            workshop=lambda _: workshop,
            recogniser=recogniser,
            clock=lambda: NOW,
            max_seconds=60.0,
        )

    return make
