"""How long from the last part of a recording to a draft that can be reviewed, in the shop as it is shipped.

    python benchmarks/handed_in.py [RECORDING ...]     (three tune recordings unless named)

Starts ``voicecheck serve`` in a temporary folder, puts recordings in, hands each in through the page and
waits until it is to review. The first finds the worker without its speech model loaded.
"""

from __future__ import annotations

import os
import secrets
import signal
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx

from voicecheck.recording import read_sound
from voicecheck.shop.settings import Settings
from voicecheck.shop.web.auth import COOKIE
from voicecheck.store import people, recordings, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.migrate import migrate

TUNE = Path(__file__).resolve().parent.parent / "samples_synthetic" / "tune"
TARGET_S = 30.0  # for a recording of two minutes on two cores
LONGEST_WAIT_S = 600.0


def main() -> int:
    named = [Path(name) for name in sys.argv[1:]]
    files = named or [f for f in sorted(TUNE.glob("*.opus")) if "noise" not in f.name][:3]
    slow = 0
    with tempfile.TemporaryDirectory(prefix="voicecheck-bench-") as folder:
        settings = Settings(data=Path(folder))
        database, media = Database(settings.database), MediaStore(settings.media)
        migrate(database)
        token, csrf, now = secrets.token_urlsafe(32), secrets.token_urlsafe(16), datetime.now(UTC)
        with database.session() as session:
            tess = people.add_person(
                session, name="Tess", login="tess", role="owner", password_hash="unused", now=now
            )
            end = now + timedelta(days=1)
            people.begin_session(session, token=token, person=tess.id, csrf=csrf, now=now, expires=end)
        command = [sys.executable, "-m", "voicecheck.cli", "serve", "--data", folder, "--port", "0"]
        server = subprocess.Popen(
            command, stdout=subprocess.PIPE, text=True, start_new_session=True, env=os.environ
        )
        assert server.stdout is not None
        address = server.stdout.readline().split()[3]
        try:
            with httpx.Client(base_url=address, cookies={COOKIE: token}, headers={"X-CSRF": csrf}) as client:
                for file in files:
                    seconds = read_sound(file).seconds
                    now = datetime.now(UTC)
                    with database.session() as session:
                        row = walkarounds.create(session, now=now, market="US", technician=tess.id)
                        take = recordings.begin_take(
                            session, walkaround=row.id, client_key=secrets.token_hex(8), now=now
                        )
                    recordings.receive_part(
                        database, media, take=take.id, number=0, data=file.read_bytes(), now=now
                    )
                    with database.session() as session:
                        recordings.finish_take(session, take=take.id, parts=1, now=now)
                    began = time.perf_counter()
                    client.post(f"/t/walkarounds/{row.id}/finish").raise_for_status()
                    state = ""
                    while state not in ("review", "failed"):
                        assert time.perf_counter() - began < LONGEST_WAIT_S, f"{file.name} was never drafted"
                        time.sleep(0.1)
                        state = client.get(f"/t/walkarounds/{row.id}/state").json()["state"]
                    took = time.perf_counter() - began
                    slow += took > TARGET_S * max(1.0, seconds / 120) or state == "failed"
                    print(f"{file.name:40} {seconds:5.0f} s of talk  {took:5.1f} s to {state}", flush=True)
        finally:
            os.killpg(server.pid, signal.SIGTERM)
            server.wait(30)
            database.close()
    print(f"target {TARGET_S:.0f} s for two minutes: {'kept' if not slow else f'missed {slow} times'}")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
