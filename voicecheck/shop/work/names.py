"""The name of a worker on this machine: the same after a restart, another one for each that runs at once."""

from __future__ import annotations

import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import IO

from voicecheck.records import InputError, OutputError

if sys.platform != "win32":
    import fcntl

MOST = 64  # workers on one machine


@contextmanager
def worker_name(folder: Path, *, wanted: str = "") -> Iterator[str]:
    """Holds a name as long as the block lasts; the system lets go of it when the process dies in any way.

    ``wanted``, or the machine's name with the first number that is free. Raises ``InputError`` where
    ``wanted`` is held by a running worker, ``OutputError`` where the folder cannot be written.
    """
    for number in count(1):
        name = wanted or _machine() + ("" if number == 1 else f"-{number}")
        held = _hold(folder, name)
        if held is not None:
            break
        if wanted or number == MOST:
            raise InputError(
                f"A worker with the name {name} is running on this machine already.",
                hint="Choose another with --name, or leave it out.",
            )
    assert held is not None
    try:
        yield name
    finally:
        held.close()


def _machine() -> str:
    kept = "".join(letter if letter.isalnum() or letter in ".-_" else "-" for letter in socket.gethostname())
    return kept[:56] or "worker"


def _hold(folder: Path, name: str) -> IO[bytes] | None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = (folder / f"{name}.lock").open("ab")
    except OSError as error:
        raise OutputError(
            f"The folder {folder} cannot be written: {(error.strerror or 'unknown reason').lower()}.",
            hint="Give this user the right to write there, or set VOICECHECK_DATA.",
        ) from error
    if sys.platform != "win32":
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.close()
            return None
    return file
