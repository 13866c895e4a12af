"""Puts a file in the place of another, the earlier one kept under a number, and back again.

At any moment, whatever happens to the machine, there is the old file or the new one under the name. Earlier
files lie in the folder ``earlier``, as ``NAME.0001.DATE.ENDING``; they are never changed or taken away.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from voicecheck.records import InputError, OutputError
from voicecheck.writing import flush_folder, put

EARLIER = "earlier"
LOCK = ".voicecheck-bring.lock"
_PART = ".voicecheck-bring-"


@dataclass(frozen=True)
class Earlier:
    """A file that was replaced, with its number and the day on which it was."""

    path: Path
    number: int
    day: str


def digest(path: Path) -> str:
    """The sha256 of a file, "" where there is none."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except FileNotFoundError:
        return ""
    except OSError as error:
        raise InputError(f"{path} cannot be read: {(error.strerror or 'unknown reason').lower()}.") from error


def replace_file(path: Path, data: bytes, *, before: str, today: datetime.date) -> Earlier | None:
    """Put ``data`` under ``path``; what was there is kept and returned (``None`` where nothing was).

    ``before`` is the ``digest`` that ``path`` had when ``data`` was made: ``InputError`` where it has another
    one by now. ``OutputError`` where something cannot be written; ``path`` is then as it was. The folder is
    made where it is missing.
    """
    try:
        path.parent.mkdir(exist_ok=True)
        with _alone(path.parent):
            if digest(path) != before:
                raise InputError(
                    f"{path} was changed by someone else meanwhile; nothing was written.",
                    hint="Run the same command again.",
                )
            _sweep(path.parent)
            kept = _keep(path, today) if path.exists() else None
            put(path, data, prefix=_PART)
            flush_folder(path.parent)
            return kept
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise OutputError(
            f"Cannot write {path}: {reason}.",
            hint="Nothing was changed; the folder has to be there and writable.",
        ) from error


def earlier_files(path: Path) -> tuple[Earlier, ...]:
    """The files that ``path`` had before, the oldest first."""
    shape = re.compile(
        rf"{re.escape(path.stem)}\.([0-9]{{4,}})\.([0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}){re.escape(path.suffix)}"
    )
    folder = path.parent / EARLIER
    names = [p for p in folder.iterdir() if p.is_file()] if folder.is_dir() else []
    found = [Earlier(p, int(m[1]), m[2]) for p in names if (m := shape.fullmatch(p.name))]
    return tuple(sorted(found, key=lambda e: e.number))


def put_back(path: Path, *, number: int | None, today: datetime.date) -> tuple[Earlier, Earlier | None]:
    """Put the earlier file ``number`` (``None``: the last one) back; what is there now is kept as well.

    Returns the file that was put back and the one that was kept. Raises ``InputError`` where there is none.
    """
    there = earlier_files(path)
    if not there:
        raise InputError(f"{path.parent} holds no earlier {path.name}.")
    wanted = there[-1] if number is None else next((e for e in there if e.number == number), None)
    if wanted is None:
        numbers = ", ".join(str(e.number) for e in there)
        raise InputError(
            f"There is no earlier {path.name} with the number {number}.", hint=f"There are: {numbers}."
        )
    return wanted, replace_file(path, wanted.path.read_bytes(), before=digest(path), today=today)


def _keep(path: Path, today: datetime.date) -> Earlier:
    there = earlier_files(path)
    number = there[-1].number + 1 if there else 1
    folder = path.parent / EARLIER
    folder.mkdir(exist_ok=True)
    target = folder / f"{path.stem}.{number:04d}.{today.isoformat()}{path.suffix}"
    put(target, path.read_bytes(), prefix=_PART)
    flush_folder(folder)
    return Earlier(target, number, today.isoformat())


def _sweep(folder: Path) -> None:
    """Take away what a killed run left half-written. Nobody else writes: the lock is held."""
    for place in (folder, folder / EARLIER):
        for part in place.glob(f"{_PART}*.part"):
            with contextlib.suppress(OSError):
                part.unlink()


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One writer at a time; a lock of the system, so that a killed run leaves none behind."""
    try:
        import fcntl
    except ImportError:  # not on Windows, where a second run would have to be started in the same second
        yield
        return
    with (folder / LOCK).open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise InputError(
                f"Another run is just writing into {folder}.", hint="Wait for it, then try again."
            ) from error
        yield
