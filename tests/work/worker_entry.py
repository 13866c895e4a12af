"""Workers whose recogniser hears a fixed text: what tests and benchmarks kill.

    python worker_entry.py      then lines on stdin, each the JSON of an ``Order``

Loads everything once and forks a worker for each line, so that a worker is at work at once and is killed in
its steps rather than in its imports. Answers each line with the process id. The product knows nothing of it:
the recogniser goes in by the argument of ``durable_work`` that exists for it. What was heard goes to
DATA/heard.
"""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import (
    Workshop,
    draft_from_transcript,
    load_workshop,
    text_recording,
    transcript_from_text,
)
from voicecheck.recording import Sound
from voicecheck.records import Record, Transcript
from voicecheck.shop.settings import Settings
from voicecheck.shop.work.make import durable_work
from voicecheck.speech.double import ScriptedRecogniser
from voicecheck.speech.recogniser import Progress

TEXT = (
    "left front brake pads are at three millimeters replace the front pads. "
    "the right rear shock is leaking, recommend replacing it."
)


class Order(Record):
    """What a worker is to be: its name, its places, and its times in seconds."""

    name: str
    database: str
    media: str
    data: Path
    listen: float = 0.2  # that hearing a take lasts
    silent: float = 2.0  # until a worker counts as dead
    grace: float = 5.0  # for a step that goes on when it is told to stop


class Slow(ScriptedRecogniser):
    """Takes its time, and notes each hearing."""

    def __init__(self, seconds: float, log: Path) -> None:
        super().__init__(TEXT)
        self._seconds = seconds
        self._log = log

    def hear(
        self,
        sound: Sound,
        *,
        hot_words: Sequence[str] = (),
        lexicon: Lexicon | None = None,
        progress: Progress | None = None,
    ) -> Transcript:
        began = time.monotonic()
        while (spent := time.monotonic() - began) < self._seconds:
            if progress is not None:
                progress(spent / self._seconds)
            time.sleep(0.02)
        with self._log.open("a") as log:
            log.write(f"{os.getpid()} {sound.name}\n")
        return super().hear(sound, hot_words=hot_words, lexicon=lexicon, progress=progress)


def main() -> None:
    workshop = load_workshop(market="US")
    # Once before the forks: what is made at the first draft would be made again in each worker.
    draft_from_transcript(
        workshop, transcript_from_text(TEXT), recording=text_recording("warm", TEXT)
    ).model_dump_json()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for the dead: they are gone at once
    print("ready", flush=True)
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            _work(Order.model_validate_json(line), workshop)
        print(child, flush=True)


def _work(order: Order, workshop: Workshop) -> None:
    logging.basicConfig(
        filename=order.data / f"{order.name}.log",
        level=logging.WARNING,
        format="%(asctime)s %(process)d %(name)s %(message)s",
    )
    logging.getLogger("voicecheck").setLevel(logging.INFO)
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: stop.set())
    threading.Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()
    status = 1
    try:
        work = durable_work(
            Settings(data=order.data, database_url=order.database, media_url=order.media),
            executor=order.name,
            recogniser=lambda: Slow(order.listen, order.data / "heard"),
            workshop=lambda _: workshop,
            beat_s=0.3,
            silent_s=order.silent,
            poll_s=0.1,
            retry_s=0.1,
            grace_s=order.grace,
        )
        status = 0 if work.run_forever(stop) else 3
    except BaseException:
        logging.exception("worker %s", order.name)
        raise
    finally:
        logging.shutdown()
        os._exit(status)


def _end_with(parent: int) -> None:
    """A test that was broken off leaves nobody behind."""
    while os.getppid() == parent:
        time.sleep(0.5)
    os._exit(4)


if __name__ == "__main__":
    main()
