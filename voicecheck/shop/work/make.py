"""Puts the work together from the settings."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime

from voicecheck.pipeline import Workshop
from voicecheck.shop.settings import Settings
from voicecheck.shop.work.durable import DurableWork
from voicecheck.shop.work.steps import Drafting
from voicecheck.shop.workshops import Workshops
from voicecheck.speech import Recogniser
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.migrate import migrate


def durable_work(
    settings: Settings,
    *,
    executor: str = "",
    recogniser: Callable[[], Recogniser] | None = None,
    workshop: Callable[[str], Workshop] | None = None,
    database: Database | None = None,
    media: MediaStore | None = None,
    **timing: float,
) -> DurableWork:
    """Work over the database, media and queue of ``settings``; tables are made where they are missing.

    ``timing`` are the seconds of ``DurableWork``. ``database`` and ``media`` where the process has them
    already. Raises ``StoreError`` with one sentence where a place cannot be used.
    """
    if database is None:
        database = Database(settings.database)
    migrate(database)
    if media is None:
        media = MediaStore(settings.media)
    return DurableWork(
        Drafting(
            database=database,
            media=media,
            workshop=workshop or Workshops(settings.shop_folder),
            recogniser=once(recogniser or (lambda: _whisper(settings))),
            clock=lambda: datetime.now(UTC),
            max_seconds=settings.take_seconds,
        ),
        url=settings.work,
        executor=executor,
        **timing,
    )


def _whisper(settings: Settings) -> Recogniser:
    from voicecheck.speech import SpeechSettings
    from voicecheck.speech.whisper import WhisperRecogniser

    return WhisperRecogniser(SpeechSettings(model=settings.model))


def once(make: Callable[[], Recogniser]) -> Callable[[], Recogniser]:
    """Makes it when first asked, keeps it then; a failure is not kept."""
    lock = threading.Lock()
    made: list[Recogniser] = []

    def get() -> Recogniser:
        with lock:
            if not made:
                made.append(make())
            return made[0]

    return get
