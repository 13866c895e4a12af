"""Work that outlives its process: the adapter to DBOS. No other module knows it.

Which walk-arounds want a draft is in the shop's rows; the queue in DBOS's own tables only gets it done, step
by step, and can be thrown away: ``recover`` fills it again. A workflow's id is the walk-around, its run and
the shape of the workflow, so that asking twice is asking once, and after a change of the shape the run
begins anew (its finished steps left results under keys).
"""

from __future__ import annotations

import contextlib
import logging
import socket
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime

from dbos import DBOS, DBOSClient, DBOSConfig
from dbos import error as dbos_error
from sqlalchemy.exc import SQLAlchemyError

from voicecheck.records import StoreError
from voicecheck.shop.work.port import WorkState
from voicecheck.shop.work.steps import ATTEMPTS, KEPT, Drafting, GivenUp, Outcome, run_steps
from voicecheck.store import walkarounds, workers

log = logging.getLogger("voicecheck.work")

SHAPE = "1"  # of the workflow: another when steps are added, left out or reordered
NAME = "voicecheck"
WORKFLOW = "draft-a-walk-around"
QUEUE = "drafts"
SCHEMA = "voicecheck_work"  # of DBOS's tables in Postgres
MOST_DEATHS = 50  # of workers in one run, before it is the recording that is to blame
BEAT_S = 5.0
POLL_S = 0.5
RETRY_S = 2.0  # before the second attempt of a step, four times that before the third
LEFTOVERS_S = 86_400.0  # half-written media of the dead that are older go
GRACE_S = 10.0  # for a step that is going on when the worker is told to stop

_STATES: dict[str, WorkState] = {
    "ENQUEUED": "queued",
    "DELAYED": "queued",
    "PENDING": "running",
    "SUCCESS": "done",
    "ERROR": "failed",
    "CANCELLED": "failed",
    "MAX_RECOVERY_ATTEMPTS_EXCEEDED": "failed",
}


class DurableWork:
    """The queue at ``url`` (SQLite or Postgres). Any process may submit; ``run_forever`` makes a worker.

    One process has one worker at most. ``executor`` is its name, unique among all that run at the same time.
    """

    def __init__(
        self,
        drafting: Drafting,
        *,
        url: str,
        executor: str = "",
        beat_s: float = BEAT_S,
        silent_s: float = workers.SILENT_S,
        poll_s: float = POLL_S,
        retry_s: float = RETRY_S,
        grace_s: float = GRACE_S,
    ) -> None:
        self._drafting = drafting
        self._url = url
        self._executor = executor
        self._beat_s, self._silent_s, self._poll_s = beat_s, silent_s, poll_s
        self._retry_s, self._grace_s = retry_s, grace_s
        self._client: DBOSClient | None = None
        self._lock = threading.Lock()
        self._going = 0
        self._launched = False
        self._warming: threading.Thread | None = None

    # -- for every process -----------------------------------------------------------------------------------

    def submit(self, walkaround_id: str) -> None:
        with self._drafting.database.reading() as session:
            row = walkarounds.get(session, id=walkaround_id)
        if row.state in ("waiting", "working"):
            try:
                self._enqueue(row.id, row.run)
            except StoreError as error:
                log.warning("%s a worker will find walk-around %s", error.message, row.id)

    def state(self, walkaround_id: str) -> WorkState:
        with self._drafting.database.reading() as session:
            run = walkarounds.get(session, id=walkaround_id).run
        found = self._statuses([workflow_id(walkaround_id, run)])
        return _STATES.get(next(iter(found.values()), ""), "none")

    def recover(self) -> int:
        """In a worker also takes over from the dead; elsewhere only submits what was lost on the way."""
        return (self._take_over() if self._launched else 0) + self._sweep()

    def close(self) -> None:
        """Lets go of the connections of ``submit`` and ``state``."""
        with self._lock:
            if self._client is not None:
                self._client.destroy()
                self._client = None

    # -- the worker ------------------------------------------------------------------------------------------

    def warm_up(self, market: str) -> None:
        """Loads what the first recording needs, beside whatever else goes on."""
        self._warming = threading.Thread(target=self._drafting.warm_up, args=(market,), daemon=True)
        self._warming.start()

    def run_forever(self, stop: threading.Event) -> bool:
        database = self._drafting.database
        with self._queue():  # makes its tables
            pass
        with contextlib.suppress(StoreError):
            self._drafting.media.tidy(older_than_s=LEFTOVERS_S, now_s=self._now().timestamp())
        with database.session() as session:
            workers.begin(session, executor=self._executor, host=socket.gethostname(), now=self._now())
            claimed = workers.claimed_by(session, by=self._executor)
        self._launch()
        try:
            DBOS._recover_pending_workflows(claimed)  # in its last life it may have died between the two
            log.info("worker %s is at work", self._executor)
            while True:
                self._beat()
                if stop.wait(self._beat_s):
                    break
        finally:
            DBOS.destroy(destroy_registry=True, workflow_completion_timeout_sec=round(self._grace_s))
            self._launched = False
            clean = self._going == 0
            with contextlib.suppress(StoreError), database.session() as session:
                workers.stop(session, executor=self._executor, now=self._now())
            self.close()
        log.info("worker %s has stopped%s", self._executor, "" if clean else ", a step is left to another")
        # An engine that is being loaded ends the process badly if that goes its usual way out.
        return clean and not (self._warming is not None and self._warming.is_alive())

    def _beat(self) -> None:
        """One sign of life, and a look around. What cannot be reached now is tried again at the next."""
        try:
            with self._drafting.database.session() as session:
                mine = workers.beat(session, executor=self._executor, now=self._now())
                if not mine:  # the machine slept, and another took over; from now on both count again
                    host = socket.gethostname()
                    workers.begin(session, executor=self._executor, host=host, now=self._now())
            self.recover()
        except StoreError as error:
            log.warning("%s", error.message)

    def _launch(self) -> None:
        config: DBOSConfig = {
            "name": NAME,
            "system_database_url": self._url,
            "dbos_system_schema": SCHEMA,
            "executor_id": self._executor,
            "application_version": SHAPE,
            "run_migrations": False,
            "use_listen_notify": False,
            "log_level": "ERROR",
        }
        DBOS(config=config)

        @DBOS.workflow(name=WORKFLOW, max_recovery_attempts=MOST_DEATHS)
        def draft_a_walkaround(walkaround: str, run: int) -> str:
            with self._counted():
                return run_steps(self._drafting, walkaround, run, step=self._step)

        DBOS.launch()
        self._launched = True
        # One at a time: listening uses every core.
        DBOS.register_queue(
            QUEUE, worker_concurrency=1, polling_interval_sec=self._poll_s, on_conflict="always_update"
        )

    def _step(self, name: str, step: Callable[..., Outcome], *arguments: str | int) -> Outcome:
        try:
            outcome: Outcome = DBOS.run_step(
                {
                    "name": name,
                    "retries_allowed": True,
                    "max_attempts": ATTEMPTS,
                    "interval_seconds": self._retry_s,
                    "backoff_rate": 4.0,
                },
                step,
                *arguments,
            )
        except dbos_error.DBOSMaxStepRetriesExceeded as error:
            raise GivenUp(str(error.errors[-1]) if error.errors else KEPT) from error
        return outcome

    @contextmanager
    def _counted(self) -> Iterator[None]:
        with self._lock:
            self._going += 1
        try:
            yield
        finally:
            with self._lock:
                self._going -= 1

    def _take_over(self) -> int:
        """Puts the work of silent workers back into the queue; each is claimed by one who sees it."""
        with self._drafting.database.session() as session:
            silent = workers.claim_silent(
                session, by=self._executor, now=self._now(), silent_s=self._silent_s
            )
        if not silent:
            return 0
        # Not public in DBOS 3.4, where the call that it offers is an add-on's. It is idempotent: it moves
        # what is pending under these names, once.
        handles = DBOS._recover_pending_workflows(silent)
        log.info("took over %d from %s", len(handles), ", ".join(silent))
        return len(handles)

    # -- the queue -------------------------------------------------------------------------------------------

    def _sweep(self) -> int:
        """Submits what waits and is not in the queue; ends what the queue has given up."""
        with self._drafting.database.reading() as session:
            rows = walkarounds.waiting_or_working(session)
        if not rows:
            return 0
        statuses = self._statuses([workflow_id(row.id, row.run) for row in rows])
        moved = 0
        for row in rows:
            status = statuses.get(workflow_id(row.id, row.run))
            if status in ("ENQUEUED", "DELAYED", "PENDING"):
                continue
            moved += 1
            if status is None:
                self._enqueue(row.id, row.run)
            elif status == "SUCCESS":  # the rows are older than the queue: they came from a backup
                self._again(row.id, row.run)
            else:
                self._drafting.fail(row.id, row.run, _given_up(status))
        return moved

    def _again(self, walkaround: str, run: int) -> None:
        # Looked at once more: it may have ended between the look at the rows and that at the queue.
        with self._drafting.database.reading() as session:
            row = walkarounds.get(session, id=walkaround)
            if row.state not in ("waiting", "working") or row.run != run:
                return
        with self._queue() as client:
            client.delete_workflows([workflow_id(walkaround, run)])
        self._enqueue(walkaround, run)

    def _enqueue(self, walkaround: str, run: int) -> None:
        with self._queue() as client:
            client.enqueue(
                {
                    "workflow_name": WORKFLOW,
                    "queue_name": QUEUE,
                    "workflow_id": workflow_id(walkaround, run),
                    "app_version": SHAPE,
                },
                walkaround,
                run,
            )

    def _statuses(self, ids: list[str]) -> dict[str, str]:
        with self._queue() as client:
            found = client.list_workflows(workflow_ids=ids, load_input=False, load_output=False)
        return {status.workflow_id: status.status for status in found}

    @contextmanager
    def _queue(self) -> Iterator[DBOSClient]:
        try:
            with self._lock:
                if self._client is None:
                    self._client = self._connected()
                client = self._client
            yield client
        except (SQLAlchemyError, dbos_error.DBOSException, sqlite3.Error, OSError) as error:
            raise StoreError(
                f"The work queue cannot be used: {_first_line(error)}.",
                hint="What was handed in is kept, and is drafted as soon as the queue is there again.",
            ) from error

    def _connected(self) -> DBOSClient:
        if self._url.startswith("sqlite"):
            _prepare_file(self._url)
        DBOS.migrate(self._url, schema=SCHEMA)  # where needed; it has a lock of its own for two at once
        return DBOSClient(
            system_database_url=self._url,
            dbos_system_schema=SCHEMA,
            application_name=NAME,
            retry_connection_errors=False,
        )

    def _now(self) -> datetime:
        return self._drafting.clock()


def workflow_id(walkaround: str, run: int) -> str:
    return f"{walkaround}-{run}-{SHAPE}"


def _given_up(status: str) -> str:
    if status == "MAX_RECOVERY_ATTEMPTS_EXCEEDED":
        return (
            f"The program ended {MOST_DEATHS} times while it worked on this recording. "
            "The recording is kept; show this to whoever looks after this machine."
        )
    return f"The work on this recording was broken off. {KEPT}"


def _prepare_file(url: str) -> None:
    """A write-ahead log lets the processes read while one writes; the mode stays in the file."""
    connection = sqlite3.connect(url.removeprefix("sqlite:///"), timeout=30.0)
    with contextlib.closing(connection):
        connection.execute("PRAGMA journal_mode=WAL")


def _first_line(error: Exception) -> str:
    told = str(getattr(error, "orig", None) or error).strip()
    return told.splitlines()[0] if told else type(error).__name__
