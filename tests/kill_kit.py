"""Workers that are killed while they work, and what must be true afterwards."""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from media_kit import write_media
from sqlalchemy import select
from store_kit import hand_in_sound

from voicecheck.store import desk, history, recordings, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.tables import Walkaround

ENTRY = Path(__file__).resolve().parent / "work" / "worker_entry.py"
WORDS_OF_A_TAKE = 21


class Nursery:
    """A process that has everything loaded and forks workers from it; see ``work/worker_entry.py``."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(ENTRY)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self.ask("") == "ready"

    def ask(self, line: str) -> str:
        """Sends a line, where there is one, and reads one."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        if line:
            self._process.stdin.write(line + "\n")
            self._process.stdin.flush()
        return self._process.stdout.readline().strip()

    def close(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(10)
        self._process.stdout.close()


class House:
    """The workers of one database."""

    def __init__(
        self, nursery: Nursery, database: Database, media: MediaStore, data: Path, **options: float
    ) -> None:
        self.heard = data / "heard"
        self.alive: dict[str, int] = {}
        self._nursery = nursery
        self._order = {
            "database": database.url.render_as_string(hide_password=False),
            "media": media.url,
            "data": str(data),
            **options,
        }

    def start(self, name: str) -> int:
        """The process id of a new worker."""
        self.alive[name] = int(self._nursery.ask(json.dumps({"name": name, **self._order})))
        return self.alive[name]

    def kill(self, name: str, number: signal.Signals = signal.SIGKILL, *, within_s: float = 20.0) -> None:
        """Sends the signal and waits until the process is gone."""
        pid = self.alive.pop(name)
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, number)
        end = time.monotonic() + within_s
        while is_there(pid):
            assert time.monotonic() < end, f"worker {name} does not end"
            time.sleep(0.005)

    def hearings(self) -> int:
        """How often a take was heard to its end."""
        return len(self.heard.read_text().splitlines()) if self.heard.exists() else 0

    def close(self) -> None:
        for name in list(self.alive):
            self.kill(name)


def is_there(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


_nurseries: list[Nursery] = []


def close_nursery() -> None:
    while _nurseries:
        _nurseries.pop().close()


@contextmanager
def nursery(database: Database, media: MediaStore, data: Path, **options: float) -> Iterator[House]:
    """A house for workers, which are killed at the end. What was loaded stays for the next."""
    if not _nurseries:
        _nurseries.append(Nursery())
    made = House(_nurseries[0], database, media, data, **options)
    try:
        yield made
    finally:
        made.close()


def sounds(folder: Path, number: int) -> list[bytes]:
    """Short recordings, each different from the others."""
    made = []
    for at in range(number):
        pitch = 200.0 + 10 * at
        path = write_media(
            folder / f"sound-{at}.wav",
            seconds=1.0,
            samples=lambda seconds, rate, pitch=pitch: (  # type: ignore[misc]
                0.3 * np.sin(2 * np.pi * pitch * np.arange(round(seconds * rate)) / rate)
            ),
        )
        made.append(path.read_bytes())
    return made


def states(database: Database, ids: list[str]) -> Counter[str]:
    with database.reading() as session:
        found = session.scalars(select(Walkaround.state).where(Walkaround.id.in_(ids)))
        return Counter(found.all())


def wait_until_done(database: Database, ids: list[str], *, within_s: float = 40.0) -> None:
    end = time.monotonic() + within_s
    while (now := states(database, ids))["review"] < len(ids):
        assert now["failed"] == 0, now
        assert time.monotonic() < end, now
        time.sleep(0.05)


def check_all_drafted(database: Database, media: MediaStore, ids: list[str]) -> None:
    """Every walk-around has exactly one draft with every word of every take, and all media are whole."""
    kept: set[str] = set()
    with database.reading() as session:
        for id in ids:
            assert walkarounds.get(session, id=id).state == "review"
            [draft] = desk.drafts(session, walkaround=id)
            takes = recordings.takes(session, walkaround=id)
            assert all(take.transcript is not None and take.media is not None for take in takes)
            assert len(draft.document["transcript"]["words"]) == WORDS_OF_A_TAKE * len(takes)
            assert draft.document["recording"]["seconds"] == float(len(takes))
            said = [row.what for row in history.rows(session, walkaround=id)]
            assert said.count("drafted") == 1
            for take in takes:
                kept |= {str(take.media)} | {part.media for part in recordings.parts(session, take=take.id)}
                assert media.sound(str(take.media))
        assert history.check(session).whole
    assert kept <= set(media.keys())


@dataclass
class Killed:
    """What happened in a run of kills."""

    kills: int = 0
    at: Counter[str] = field(default_factory=Counter)  # stage of what was worked on, at the kill
    restarts_under_other_names: int = 0
    walkarounds: int = 0
    takes: int = 0
    hearings: int = 0
    seconds: float = 0.0


def kill_at_random(
    database: Database,
    media: MediaStore,
    folder: Path,
    *,
    kills: int,
    workers: int = 2,
    seed: int = 1,
    listen_s: float = 0.15,
    longest_life_s: float = 1.5,
    tell: Callable[[str], Any] = lambda _: None,
) -> Killed:
    """Kills workers ``kills`` times at random moments with work always there, then lets them finish."""
    chance = random.Random(seed)
    told = Killed()
    some = sounds(folder, 6)
    ids: list[str] = []
    began = time.monotonic()
    with nursery(database, media, folder, listen=listen_s, silent=1.5) as house:

        def hand_in() -> None:
            takes = [chance.choice(some) for _ in range(chance.choice((1, 1, 2)))]
            ids.append(hand_in_sound(database, media, takes))
            told.takes += len(takes)

        for number in range(workers):
            house.start(f"w{number}")
        while told.kills < kills:
            now = states(database, ids)
            for _ in range(workers + 2 - now["waiting"] - now["working"]):
                hand_in()
            time.sleep(chance.uniform(0.0, longest_life_s))
            name = chance.choice(sorted(house.alive))
            told.at[_stage(database, ids)] += 1
            house.kill(name)
            told.kills += 1
            if chance.random() < 0.3:  # … and nobody of that name comes back
                name = f"w{workers + told.kills}"
                told.restarts_under_other_names += 1
            house.start(name)
            if told.kills % 20 == 0:
                tell(f"{told.kills} kills, {len(ids)} walk-arounds: {dict(states(database, ids))}")
        wait_until_done(database, ids, within_s=90.0)
        told.hearings = house.hearings()
        told.walkarounds = len(ids)
        told.seconds = time.monotonic() - began
    check_all_drafted(database, media, ids)
    return told


def _stage(database: Database, ids: list[str]) -> str:
    """What is being done somewhere right now."""
    with database.reading() as session:
        for row in walkarounds.waiting_or_working(session):
            if row.id in ids and row.state == "working":
                return row.stage or "begun"
    return "between two"
