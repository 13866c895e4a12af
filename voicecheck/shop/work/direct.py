"""Work that is done at once in the caller's thread: the double for tests, and for trying pages."""

from __future__ import annotations

import threading
from collections.abc import Callable

from voicecheck.shop.work.port import WorkState
from voicecheck.shop.work.steps import (
    ATTEMPTS,
    Drafting,
    Ended,
    GivenUp,
    Outcome,
    StepFailed,
    run_steps,
)
from voicecheck.store import walkarounds

_STATES: dict[Ended, WorkState] = {"done": "done", "failed": "failed", "not wanted": "none"}


class DirectWork:
    """``submit`` returns when the draft is there. Nothing survives the process but what the steps kept."""

    def __init__(self, drafting: Drafting) -> None:
        self._drafting = drafting
        self._ended: dict[tuple[str, int], Ended] = {}
        self._lock = threading.RLock()

    def submit(self, walkaround_id: str) -> None:
        with self._lock:
            run = self._run_of(walkaround_id)
            if run > 0 and (walkaround_id, run) not in self._ended:
                self._ended[walkaround_id, run] = run_steps(self._drafting, walkaround_id, run, step=_at_once)

    def state(self, walkaround_id: str) -> WorkState:
        ended = self._ended.get((walkaround_id, self._run_of(walkaround_id)))
        return "none" if ended is None else _STATES[ended]

    def run_forever(self, stop: threading.Event) -> bool:
        while not stop.wait(0.1):
            self.recover()
        return True

    def recover(self) -> int:
        with self._drafting.database.reading() as session:
            waiting = [row.id for row in walkarounds.waiting_or_working(session)]
        for walkaround in waiting:
            self.submit(walkaround)
        return len(waiting)

    def _run_of(self, walkaround: str) -> int:
        with self._drafting.database.reading() as session:
            return walkarounds.get(session, id=walkaround).run


def _at_once(name: str, step: Callable[..., Outcome], *arguments: str | int) -> Outcome:
    del name
    for attempt in range(1, ATTEMPTS + 1):
        try:
            return step(*arguments)
        except StepFailed as error:
            if attempt == ATTEMPTS:
                raise GivenUp(str(error)) from error
    raise AssertionError("unreachable")
