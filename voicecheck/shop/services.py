"""Everything the pages need, in one value that is handed to ``create_app``: no globals.

Tests make one with a temporary database, the in-memory work and a clock of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from voicecheck.desk.estimator import Estimator
from voicecheck.desk.states import Worktop
from voicecheck.pipeline import Workshop
from voicecheck.records import Draft, Market, VoicecheckError
from voicecheck.shop.kept import Kept
from voicecheck.shop.pinned import PinnedShops
from voicecheck.shop.settings import Settings
from voicecheck.shop.work.port import Work
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore


def utc_now() -> datetime:
    return datetime.now(UTC)


class WorkshopSource(Protocol):
    """Gives the lexicon and shop data as they are now; files edited by hand are seen at the next call."""

    def __call__(self, market: str) -> Workshop: ...

    def estimator(self, market: str) -> Estimator: ...

    def troubles(self) -> Mapping[str, VoicecheckError]: ...

    def lexicon_folder(self) -> Path | None: ...

    def load(self, market: Market, *, lexicon_folder: Path | None) -> Workshop: ...


@dataclass(frozen=True, slots=True)
class Services:
    settings: Settings
    database: Database
    media: MediaStore
    work: Work
    workshop: WorkshopSource
    clock: Callable[[], datetime] = field(default=utc_now)
    pinned: PinnedShops = field(default_factory=PinnedShops)
    worktops: Kept[tuple[Workshop, Worktop]] = field(default_factory=lambda: Kept(500))
    drafts: Kept[Draft] = field(default_factory=lambda: Kept(500))
    files: Kept[object] = field(default_factory=lambda: Kept(32))
