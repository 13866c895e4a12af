"""``voicecheck serve``: the web server, and beside it one worker that is started again when it dies."""

from __future__ import annotations

import logging
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import uvicorn

from voicecheck.records.errors import InputError
from voicecheck.shop.retention import Daily
from voicecheck.shop.services import Services
from voicecheck.shop.web.app import create_app

log = logging.getLogger("voicecheck.shop")

WAIT_FIRST = 1.0  # seconds before a worker that died is started again; doubled each time up to the longest
WAIT_LONGEST = 60.0
STEADY = 60.0  # seconds of life after which a death counts as the first again
STOPS_WITHIN = 20.0  # seconds that a worker has to put its step down


class Keeper(threading.Thread):
    """Keeps one child process running until told to stop."""

    def __init__(self, command: Sequence[str]) -> None:
        super().__init__(name="worker-keeper", daemon=True)
        self._command = list(command)
        self._ending = threading.Event()
        self._child: subprocess.Popen[bytes] | None = None
        self.restarts = 0

    @property
    def pid(self) -> int | None:
        """The running child's process id."""
        child = self._child
        return child.pid if child is not None and child.poll() is None else None

    def run(self) -> None:
        wait = WAIT_FIRST
        while not self._ending.is_set():
            began = time.monotonic()
            self._child = subprocess.Popen(self._command)
            status = self._child.wait()
            if self._ending.is_set():
                return
            lived = time.monotonic() - began
            wait = WAIT_FIRST if lived > STEADY else wait
            log.warning(
                "the worker ended with %s after %.0f s; starting it again in %.0f s", status, lived, wait
            )
            self.restarts += 1
            self._ending.wait(wait)
            wait = min(wait * 2, WAIT_LONGEST)

    def stop(self) -> None:
        """Asks the child to end and waits; what it leaves undone is taken over at the next start."""
        self._ending.set()
        child = self._child
        if child is None or child.poll() is not None:
            return
        child.terminate()
        try:
            child.wait(STOPS_WITHIN)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()


def serve(
    services: Services,
    *,
    host: str,
    port: int,
    worker: Sequence[str] | None,
    certificate: tuple[Path, Path] | None = None,
    started: Callable[[str], None] | None = None,
) -> None:
    """Answers until SIGINT or SIGTERM. ``worker`` is the command of the worker beside it, ``None`` for none.

    ``started`` is told the address once the port is open. Raises ``InputError`` when the port is taken.
    """
    config = uvicorn.Config(
        create_app(services),
        host=host,
        port=port,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=5,
        ssl_certfile=str(certificate[0]) if certificate else None,
        ssl_keyfile=str(certificate[1]) if certificate else None,
    )
    try:
        socket = config.bind_socket()
    except SystemExit as error:  # uvicorn ends the process where the port is taken
        raise InputError(
            f"Port {port} on {host} cannot be used: something else answers there, or it is not allowed.",
            hint="Choose another with --port.",
        ) from error
    socket.listen(config.backlog)  # whoever comes before the first page is ready waits, and is not refused
    server = uvicorn.Server(config)
    keeper = Keeper(worker) if worker else None
    if keeper:
        keeper.start()
    daily = Daily(services)
    daily.start()
    if started:
        scheme = "https" if certificate else "http"
        started(f"{scheme}://{host}:{socket.getsockname()[1]}")
    try:
        server.run(sockets=[socket])
    finally:
        daily.stop()
        if keeper:
            keeper.stop()


def worker_command(*arguments: str) -> list[str]:
    """The command that runs a worker with this same Python."""
    return [sys.executable, "-m", "voicecheck.cli", "work", *arguments]
