"""Work that outlives its process, with real processes that are really killed."""

from __future__ import annotations

import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from kill_kit import (
    House,
    check_all_drafted,
    kill_at_random,
    nursery,
    sounds,
    states,
    wait_until_done,
)
from sqlalchemy import text
from store_kit import hand_in_sound

from voicecheck.pipeline import Workshop
from voicecheck.records import StoreError
from voicecheck.shop.work.durable import DurableWork, workflow_id
from voicecheck.shop.work.steps import Drafting
from voicecheck.speech.double import ScriptedRecogniser
from voicecheck.store import desk, history, recordings, walkarounds, workers
from voicecheck.store.database import Database, address_beside
from voicecheck.store.media import MediaStore
from voicecheck.store.tables import Worker


def drafting_with(
    database: Database, media: MediaStore, workshop: Callable[[str], Workshop], *, hears: str = ""
) -> Drafting:
    return Drafting(
        database=database,
        media=media,
        workshop=workshop,
        recogniser=lambda: ScriptedRecogniser(hears),
        clock=lambda: datetime.now(UTC),
        max_seconds=60.0,
    )


def a_client(database: Database, media: MediaStore, workshop: Workshop | None = None) -> DurableWork:
    """What a web server has: it submits and asks, and runs no worker."""

    def none(_: str) -> Workshop:
        assert workshop is not None
        return workshop

    drafting = drafting_with(database, media, none)
    url = address_beside(database.url.render_as_string(hide_password=False), "work.db")
    return DurableWork(drafting, url=url)


def wait_for(what: str, condition: object, *, within_s: float = 20.0) -> None:
    assert callable(condition)
    end = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < end, f"waited in vain: {what}"
        time.sleep(0.02)


def takes_heard(database: Database, id: str) -> int:
    with database.reading() as session:
        return sum(take.transcript is not None for take in recordings.takes(session, walkaround=id))


def executors(house: House, database: Database) -> list[str]:
    with database.reading() as session:
        return [row.executor for row in workers.all_of_them(session)]


def test_submitting_twice_is_one_run(database: Database, media: MediaStore, tmp_path: Path) -> None:
    client = a_client(database, media)
    id = hand_in_sound(database, media, sounds(tmp_path, 1))
    assert client.state(id) == "none"
    client.submit(id)
    client.submit(id)
    assert client.state(id) == "queued"
    with nursery(database, media, tmp_path, listen=0.05) as house:
        house.start("w")
        wait_until_done(database, [id])
        wait_for("the queue to note it", lambda: client.state(id) == "done")
        client.submit(id)  # done with: nothing happens
        assert client.state(id) == "done"
        assert house.hearings() == 1
    check_all_drafted(database, media, [id])
    client.close()


def test_a_call_that_was_lost_is_made_up_for(database: Database, media: MediaStore, tmp_path: Path) -> None:
    """The web server died between its commit and ``submit``: the worker finds the walk-around by itself."""
    id = hand_in_sound(database, media, sounds(tmp_path, 1))
    with nursery(database, media, tmp_path, listen=0.05) as house:
        house.start("w")
        wait_until_done(database, [id])
    check_all_drafted(database, media, [id])


def test_two_workers_share_the_load(database: Database, media: MediaStore, tmp_path: Path) -> None:
    some = sounds(tmp_path, 6)
    with nursery(database, media, tmp_path, listen=0.4) as house:
        pids = {house.start("a"), house.start("b")}
        wait_for("both workers", lambda: {"a", "b"} <= set(executors(house, database)))
        ids = [hand_in_sound(database, media, [sound]) for sound in some]
        wait_until_done(database, ids)
        heard_by = [int(line.split()[0]) for line in house.heard.read_text().splitlines()]
    assert len(heard_by) == len(ids)  # nothing heard twice
    assert set(heard_by) == pids
    check_all_drafted(database, media, ids)


def test_the_work_of_a_dead_worker_is_taken_over_by_another(
    database: Database, media: MediaStore, tmp_path: Path
) -> None:
    [sound] = sounds(tmp_path, 1)
    with nursery(database, media, tmp_path, listen=1.0, silent=1.0) as house:
        house.start("a")
        id = hand_in_sound(database, media, [sound])
        wait_for("the first to begin", lambda: states(database, [id])["working"] == 1)
        house.kill("a")
        house.start("b")
        wait_until_done(database, [id])
    check_all_drafted(database, media, [id])
    with database.reading() as session:
        [taken] = [row for row in history.rows(session) if row.what == "worker taken over"]
        assert taken.details == {"executor": "a", "by": "b"}


def test_a_worker_killed_and_started_again_goes_on(
    database: Database, media: MediaStore, tmp_path: Path
) -> None:
    """The step that was done is not done again: the first take is heard once."""
    with nursery(database, media, tmp_path, listen=0.6) as house:
        house.start("a")
        id = hand_in_sound(database, media, sounds(tmp_path, 2))
        wait_for("the first take", lambda: takes_heard(database, id) == 1)
        house.kill("a")
        house.start("a")
        wait_until_done(database, [id])
        assert house.hearings() == 2
    check_all_drafted(database, media, [id])


@pytest.mark.parametrize("grace", [5.0, 0.0])
def test_a_worker_that_is_asked_to_stop(
    sqlite: Database, media: MediaStore, tmp_path: Path, grace: float
) -> None:
    """With time it finishes what it has begun; without, the next worker does."""
    with nursery(sqlite, media, tmp_path, listen=1.0, grace=grace, silent=60.0) as house:
        house.start("a")
        id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
        wait_for("it to begin", lambda: states(sqlite, [id])["working"] == 1)
        house.kill("a", signal.SIGTERM)
        with sqlite.reading() as session:
            assert session.get_one(Worker, "a").stopped is not None
        finished = states(sqlite, [id])["review"] == 1
        assert finished == (grace > 0)
        if not finished:
            house.start("b")  # it need not wait for silence: the other said that it stops
            wait_until_done(sqlite, [id])
    check_all_drafted(sqlite, media, [id])


def test_killed_at_random_moments_nothing_is_lost(
    sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    told = kill_at_random(sqlite, media, tmp_path, kills=6, longest_life_s=1.0)
    assert told.kills == 6
    assert told.walkarounds >= 3


def test_killed_at_random_moments_on_postgres(media: MediaStore, tmp_path: Path) -> None:
    from store_kit import ready_database

    with ready_database("postgres", tmp_path) as database:
        kill_at_random(database, media, tmp_path, kills=6, longest_life_s=1.0, seed=2)


def test_a_queue_that_was_thrown_away_is_filled_again(
    sqlite: Database, media: MediaStore, tmp_path: Path
) -> None:
    """A backup holds no queue."""
    client = a_client(sqlite, media)
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    client.submit(id)
    client.close()
    for file in tmp_path.glob("work.db*"):
        file.unlink()
    again = a_client(sqlite, media)
    assert again.state(id) == "none"
    assert again.recover() == 1
    assert again.state(id) == "queued"
    assert again.recover() == 0
    again.close()


def test_rows_from_a_backup_beside_a_newer_queue(sqlite: Database, media: MediaStore, tmp_path: Path) -> None:
    """The queue says done, the rows say waiting: it is drafted (again)."""
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    kept = tmp_path / "kept.db"
    sqlite.checkpoint()
    kept.write_bytes((tmp_path / "voicecheck.db").read_bytes())
    with nursery(sqlite, media, tmp_path, listen=0.05) as house:
        house.start("w")
        wait_until_done(sqlite, [id])
        house.kill("w", signal.SIGTERM)
    sqlite.close()
    for file in tmp_path.glob("voicecheck.db*"):
        file.unlink()
    kept.rename(tmp_path / "voicecheck.db")
    assert states(sqlite, [id])["waiting"] == 1
    with nursery(sqlite, media, tmp_path, listen=0.05) as house:
        house.start("w")
        wait_until_done(sqlite, [id])
    check_all_drafted(sqlite, media, [id])


@pytest.mark.parametrize(
    ("status", "sentence"),
    [
        ("MAX_RECOVERY_ATTEMPTS_EXCEEDED", "The program ended 50 times while it worked on this recording."),
        ("ERROR", "The work on this recording was broken off."),
    ],
)
def test_what_the_queue_has_given_up_ends_with_a_sentence(
    sqlite: Database, media: MediaStore, tmp_path: Path, status: str, sentence: str
) -> None:
    client = a_client(sqlite, media)
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    client.submit(id)
    queue = Database(f"sqlite:///{tmp_path / 'work.db'}")
    with queue.session() as session:
        changed = session.execute(
            text("UPDATE workflow_status SET status = :status WHERE workflow_uuid = :id"),
            {"status": status, "id": workflow_id(id, 1)},
        )
        assert getattr(changed, "rowcount", 0) == 1
    queue.close()
    assert client.recover() == 1
    with sqlite.reading() as session:
        row = walkarounds.get(session, id=id)
        assert (row.state, row.trouble.startswith(sentence)) == ("failed", True)
        assert desk.drafts(session, walkaround=id) == []
    client.close()


def test_a_queue_out_of_reach_in_one_sentence(sqlite: Database, media: MediaStore, tmp_path: Path) -> None:
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    (tmp_path / "work.db").write_bytes(b"no database" * 1000)
    client = a_client(sqlite, media)
    client.submit(id)  # a worker finds it when the queue is there again: nobody's business now
    with pytest.raises(StoreError, match=r"The work queue cannot be used: file is not a database\.") as told:
        client.state(id)
    assert told.value.hint.startswith("What was handed in is kept")


def test_a_worker_in_this_process_runs_and_stops(
    sqlite: Database, media: MediaStore, workshop: Workshop, tmp_path: Path
) -> None:
    id = hand_in_sound(sqlite, media, sounds(tmp_path, 1))
    drafting = drafting_with(
        sqlite, media, lambda _: workshop, hears="the left front tire is worn out, replace it."
    )
    work = DurableWork(
        drafting,
        url=f"sqlite:///{tmp_path / 'work.db'}",
        executor="here",
        beat_s=0.1,
        poll_s=0.1,
        grace_s=1.0,
    )
    stop, ended = threading.Event(), []
    thread = threading.Thread(target=lambda: ended.append(work.run_forever(stop)))
    thread.start()
    wait_for("the draft", lambda: states(sqlite, [id])["review"] == 1)
    stop.set()
    thread.join(20)
    assert ended == [True]


def test_who_is_told_to_stop_while_it_still_loads_should_end_at_once(
    sqlite: Database, media: MediaStore, tmp_path: Path, workshop: Workshop
) -> None:
    loaded = threading.Event()

    def slowly(_: str) -> Workshop:
        loaded.wait(20)
        return workshop

    drafting = drafting_with(sqlite, media, slowly)
    work = DurableWork(
        drafting, url=f"sqlite:///{tmp_path / 'work.db'}", executor="here", beat_s=0.1, grace_s=0.0
    )
    stop = threading.Event()
    stop.set()
    work.warm_up("US")
    assert not work.run_forever(stop)
    loaded.set()
    wait_for("the vocabulary", lambda: not (work._warming and work._warming.is_alive()))
    assert work.run_forever(stop)


def test_work_knows_no_network_but_its_database() -> None:
    """Nothing of the queue's maker is asked or told: no keys, no service of theirs is configured."""
    code = (
        "import socket, sys, tempfile, threading\n"
        "real = socket.socket.connect\n"
        "def refuse(self, address): raise SystemExit(f'network: {address}')\n"
        "socket.socket.connect = refuse\n"
        "from voicecheck.shop.settings import Settings\n"
        "from voicecheck.shop.work.make import durable_work\n"
        "from pathlib import Path\n"
        "with tempfile.TemporaryDirectory() as folder:\n"
        "    stop = threading.Event()\n"
        "    threading.Timer(1.5, stop.set).start()\n"
        "    work = durable_work(Settings(data=Path(folder)), executor='x', grace_s=0.0)\n"
        "    assert work.run_forever(stop)\n"
        "print('quiet')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "quiet", done.stdout + done.stderr
