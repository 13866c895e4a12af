"""Files that are there whole or not at all: written beside their target, flushed, then renamed.

At any moment, whatever happens to the machine, there is the old file or the new one under the name.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path

PREFIX = ".voicecheck-"  # of the names of files that are being written


def put(target: Path, data: bytes, *, prefix: str = PREFIX) -> None:
    """Write ``data`` under the name ``target``. Raises ``OSError``; the old file is there then."""
    part = written_beside(target, data, prefix=prefix)
    try:
        part.replace(target)
    except BaseException:
        _take_away(part)
        raise


def written_beside(target: Path, data: bytes, *, prefix: str = PREFIX) -> Path:
    """A new file beside ``target`` with ``data``, on the disk. Raises ``OSError``; nothing is left then."""
    part, handle = open_beside(target, prefix=prefix)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:  # also a Ctrl-C must leave nothing half-written
        _take_away(part)
        raise
    return part


def open_beside(target: Path, *, prefix: str = PREFIX) -> tuple[Path, int]:
    """A new file beside ``target``, and its open handle. Raises ``OSError``."""
    # Not tempfile: its files are for their owner only, and the finished file should follow the umask.
    part = target.parent / f"{prefix}{secrets.token_hex(8)}.part"
    return part, os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)


def flush_folder(folder: Path) -> None:
    """Get the names in a folder onto the disk, where the system can do that."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _take_away(part: Path) -> None:
    with contextlib.suppress(OSError):
        part.unlink()
