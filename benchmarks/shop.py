"""How fast the shop's pages answer: 10,000 walk-arounds stored, 20 people at once, a worker that transcribes.

    python benchmarks/shop.py [--walkarounds 10000] [--people 20] [--seconds 30] [--idle-worker]

Seeds a shop in a temporary folder, starts ``voicecheck serve`` as it is shipped (with its worker), hands
recordings in so that the worker always has one to listen to, and lets people load pages as they would: half a
second to two seconds between clicks. Prints the 50th, 95th and 99th percentile of each page in milliseconds.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import secrets
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx

from voicecheck.pipeline import draft_from_transcript, text_recording, transcript_from_text
from voicecheck.records import Draft
from voicecheck.shop.settings import Settings
from voicecheck.shop.web.auth import COOKIE
from voicecheck.shop.workshops import Workshops
from voicecheck.store import people, recordings, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.migrate import migrate
from voicecheck.store.tables import DraftRow, VehicleRow, Walkaround

ROOT = Path(__file__).resolve().parent.parent
TUNE = ROOT / "samples_synthetic" / "tune"
TARGET_MS = 100.0


def drafts() -> list[Draft]:
    """Drafts of the tune narrations, from their texts."""
    workshop = Workshops(Path("/nonexistent"))("US")
    found = []
    for file in sorted(TUNE.glob("*.txt"))[:12]:
        text = file.read_text(encoding="utf-8")
        found.append(
            draft_from_transcript(
                workshop, transcript_from_text(text), recording=text_recording(file.name, text)
            )
        )
    return found


def seed(settings: Settings, *, count: int) -> tuple[str, str, list[str]]:
    """A full shop: an advisor's session token, a technician's id, and some ids of walk-arounds in review."""
    database = Database(settings.database)
    migrate(database)
    token, now = secrets.token_urlsafe(32), datetime.now(UTC)
    documents = [d.model_dump(mode="json", by_alias=True) for d in drafts()]
    states = ["review"] * 2 + ["issued", "answered", "closed", "closed", "closed"]
    rng = random.Random(1)
    with database.session() as session:
        ada = people.add_person(
            session, name="Ada", login="ada", role="owner", password_hash="unused", now=now
        )
        tess = people.add_person(
            session, name="Tess", login="tess", role="technician", password_hash="unused", now=now
        )
        people.begin_session(
            session, token=token, person=ada.id, csrf="token", now=now, expires=now + timedelta(days=1)
        )
        ids = (ada.id, tess.id)
    chosen: list[str] = []
    for start in range(0, count, 1000):
        with database.session() as session:
            for n in range(start, min(count, start + 1000)):
                made = now - timedelta(minutes=10 * n)
                vehicle = VehicleRow(plate=f"P{n:06d}", title=f"sample vehicle {n}", created=made)
                session.add(vehicle)
                session.flush()
                row = Walkaround(
                    vehicle=vehicle.id,
                    title=f"sample vehicle {n}",
                    technician=ids[1],
                    state=rng.choice(states),
                    market="US",
                    created=made,
                    drafted=made,
                    open_asks=rng.randrange(6),
                )
                session.add(row)
                session.flush()
                session.add(
                    DraftRow(
                        walkaround=row.id,
                        number=1,
                        key=f"bench-{n}",
                        made=made,
                        document=documents[n % len(documents)],
                    )
                )
                if row.state == "review" and len(chosen) < 200:
                    chosen.append(row.id)
    database.close()
    return token, ids[1], chosen


def keep_busy(settings: Settings, technician: str, stop: threading.Event) -> None:
    """Hands in one recording after the other, so that the worker always has one."""
    database, media = Database(settings.database), MediaStore(settings.media)
    recording = next(f for f in sorted(TUNE.glob("*.opus")) if "noise" not in f.name).read_bytes()
    while not stop.is_set():
        now = datetime.now(UTC)
        with database.reading() as session:
            open_ones = walkarounds.counts(session)
        if open_ones["waiting"] < 2:
            with database.session() as session:
                row = walkarounds.create(session, now=now, market="US", technician=technician)
                take = recordings.begin_take(
                    session, walkaround=row.id, client_key=secrets.token_hex(8), now=now
                )
            recordings.receive_part(database, media, take=take.id, number=0, data=recording, now=now)
            with database.session() as session:
                recordings.finish_take(session, take=take.id, parts=1, now=now)
                recordings.hand_in(session, walkaround=row.id, now=now)
        stop.wait(1.0)
    database.close()


def person(
    address: str,
    token: str,
    walks: list[str],
    stop: threading.Event,
    note: Callable[[str, float, int], None],
    seed_of: int,
) -> None:
    rng = random.Random(seed_of)
    with httpx.Client(base_url=address, cookies={COOKIE: token}, timeout=30.0) as client:
        while not stop.is_set():
            name, path = rng.choice(
                [
                    ("list", "/desk"),
                    ("list by state", "/desk?state=review"),
                    ("search", f"/desk?q=P{rng.randrange(10_000):06d}"),
                    ("one draft", f"/desk/{rng.choice(walks)}"),
                    ("one draft", f"/desk/{rng.choice(walks)}"),
                    ("history", f"/desk/{rng.choice(walks)}/history"),
                    ("papers", f"/desk/{rng.choice(walks)}/issue"),
                    ("technician", "/t"),
                ]
            )
            began = time.perf_counter()
            answer = client.get(path)
            note(name, 1000 * (time.perf_counter() - began), answer.status_code)
            stop.wait(rng.uniform(0.5, 2.0))


def at(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    asked.add_argument("--walkarounds", type=int, default=10_000)
    asked.add_argument("--people", type=int, default=20)
    asked.add_argument("--seconds", type=float, default=30.0)
    asked.add_argument("--idle-worker", action="store_true", help="nothing is transcribed meanwhile")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="voicecheck-bench-") as folder:
        settings = Settings(data=Path(folder))
        began = time.perf_counter()
        token, technician, walks = seed(settings, count=given.walkarounds)
        print(f"seeded {given.walkarounds:,} walk-arounds in {time.perf_counter() - began:.0f} s", flush=True)
        command = [sys.executable, "-m", "voicecheck.cli", "serve", "--data", folder, "--port", "0"]
        server = subprocess.Popen(
            command, stdout=subprocess.PIPE, text=True, start_new_session=True, env=os.environ
        )
        assert server.stdout is not None
        address = server.stdout.readline().split()[3]
        stop = threading.Event()
        lock, times, codes = threading.Lock(), dict[str, list[float]](), dict[int, int]()

        def note(name: str, ms: float, code: int) -> None:
            with lock:
                times.setdefault(name, []).append(ms)
                codes[code] = codes.get(code, 0) + 1

        threads = [
            threading.Thread(target=person, args=(address, token, walks, stop, note, n))
            for n in range(given.people)
        ]
        if not given.idle_worker:
            threads.append(threading.Thread(target=keep_busy, args=(settings, technician, stop)))
        try:
            with httpx.Client(base_url=address, cookies={COOKIE: token}, timeout=60.0) as warm:
                warm.get(f"/desk/{walks[0]}")  # loads the vocabulary once
            for thread in threads:
                thread.start()
            time.sleep(given.seconds)
        finally:
            stop.set()
            for thread in threads:
                if thread.is_alive():
                    thread.join(30)
            os.killpg(server.pid, signal.SIGTERM)
            server.wait(30)
    everything = [ms for values in times.values() for ms in values]
    for name, values in sorted(times.items()):
        print(
            f"{name:15} {len(values):5} times  p50 {at(values, 0.5):6.0f}  "
            f"p95 {at(values, 0.95):6.0f}  p99 {at(values, 0.99):6.0f} ms"
        )
    p95 = at(everything, 0.95)
    print(f"all pages: p95 {p95:.0f} ms (target {TARGET_MS:.0f}); answers by status {json.dumps(codes)}")
    return 0 if p95 <= TARGET_MS and set(codes) == {200} else 1


if __name__ == "__main__":
    sys.exit(main())
