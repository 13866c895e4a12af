"""What the rest of the shop knows of the work: four calls, no engine."""

from __future__ import annotations

import threading
from typing import Literal, Protocol

WorkState = Literal["none", "queued", "running", "done", "failed"]


class Work(Protocol):
    """Drafts walk-arounds that are ``waiting``. Which ones, the database says; this only gets it done."""

    def submit(self, walkaround_id: str) -> None:
        """Have it drafted. Twice for the same run is once. Call it after the commit that made it ``waiting``.

        Where the call is lost (the process dies between, the queue is out of reach), a worker finds the
        walk-around by itself.
        """
        ...

    def state(self, walkaround_id: str) -> WorkState:
        """What the queue knows of its present run."""
        ...

    def run_forever(self, stop: threading.Event) -> bool:
        """Be a worker until ``stop`` is set. ``False`` where a step was still going when the time was up, or
        what the first recording needs still being loaded: the process should end at once; a step is taken
        over.
        """
        ...

    def recover(self) -> int:
        """Take over from workers that give no sign, and submit what was lost on the way; how many went on."""
        ...
