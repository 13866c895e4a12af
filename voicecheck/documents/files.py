"""Documents on disk: whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterator
from pathlib import Path

from voicecheck.records import OutputError
from voicecheck.writing import put, written_beside

PROBE_BYTES = 64 * 1024  # what a check tries to write: enough to meet a full disk, gone at once

_REASONS = {
    errno.ENOENT: "the folder does not exist",
    errno.ENOTDIR: "part of the path is a file, not a folder",
    errno.EACCES: "the folder may not be written to",
    errno.EPERM: "the folder may not be written to",
    errno.EROFS: "the disk is read-only",
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EFBIG: "the file would be larger than allowed",
    errno.EISDIR: "it is a folder",
    errno.ENAMETOOLONG: "the name is too long",
}


def check_writable(path: Path | str) -> None:
    """Tell before any long work that ``write_text`` could not write ``path``: ``OutputError``, as there.

    A small file is written beside the target and taken away again; what is there stays as it is. A disk that
    has room now and none later is not seen.
    """
    shown = Path(path)
    with in_words(shown):
        target = target_of(shown)
        _check_target(target, shown)
        written_beside(target, bytes(PROBE_BYTES)).unlink()


def write_text(path: Path | str, text: str, *, encoding: str = "utf-8") -> None:
    """Write ``text`` to ``path`` as it stands (no change of line ends), replacing a file that is there.

    The text goes to a temporary file in the same folder, is flushed to the disk and renamed, so that at any
    moment there is the old file or the new one. A link is followed. ``OutputError`` when that cannot be done;
    nothing is left behind then.
    """
    try:
        data = text.encode(encoding)
    except UnicodeEncodeError as error:
        raise OutputError(f"Cannot write {path}: a character of it is not in {encoding}.") from error
    write_bytes(path, data)


def write_bytes(path: Path | str, data: bytes) -> None:
    """Write ``data`` to ``path``, as ``write_text`` does."""
    shown = Path(path)
    with in_words(shown):
        target = target_of(shown)
        _check_target(target, shown)
        put(target, data)


def target_of(shown: Path) -> Path:
    """The file that a path names, links followed."""
    return Path(os.path.realpath(shown))


def _check_target(target: Path, shown: Path) -> None:
    if target.is_dir():
        raise OutputError(f"Cannot write {shown}: it is a folder.", hint="Name a file in that folder.")
    if target.exists() and not target.is_file():
        raise OutputError(f"Cannot write {shown}: it is not an ordinary file.")


@contextlib.contextmanager
def in_words(shown: Path) -> Iterator[None]:
    """Turns an ``OSError`` into one sentence about ``shown``."""
    try:
        yield
    except OSError as error:
        reason = _REASONS.get(error.errno or 0, (error.strerror or "unknown reason").lower())
        hint = "Make the folder first, or name another one." if error.errno == errno.ENOENT else ""
        if error.errno == errno.ENOENT and target_of(shown).parent.is_dir():  # such as /proc
            reason, hint = "no file can be made in that folder", "Name another folder."
        raise OutputError(f"Cannot write {shown}: {reason}.", hint=hint) from error
