"""A copy of everything as one zip file, and a shop made from one.

In the file: ``rows/TABLE.jsonl``, ``media/SHA256``, ``shop/…`` (the shop's own files) and, last,
``manifest.json`` with the sha256 and size of each, the head of the history and what was missing already. The
rows are of one moment. Sessions, the settings file of the machine, certificates and the work queue are left
out: they belong to a machine, or can be made again.

A copy is read wholly, and every sum compared, before a new shop is begun with it.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import IO, Any, cast

from pydantic import ValidationError
from sqlalchemy import select

from voicecheck import __version__
from voicecheck.records import (
    InputError,
    NotThereError,
    OutputError,
    Record,
    RefusedError,
    VoicecheckError,
)
from voicecheck.shop.services import Services
from voicecheck.shop.settings import FILE as SETTINGS_FILE
from voicecheck.shop.settings import Settings
from voicecheck.store import history, papers, recordings, rows
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.migrate import migrate, revisions
from voicecheck.store.tables import Issued

FORM = "voicecheck-copy/1"
MANIFEST = "manifest.json"
MADE = "copy made"  # in the history
BLOCK = 1024 * 1024
MOST_MANIFEST = 512 * 1024**2
_MEDIA = re.compile(r"media/[0-9a-f]{64}")
_ROWS = re.compile(r"rows/[a-z_]+\.jsonl")
_NO_SIGNS = '\\:*?"<>|' if os.name == "nt" else "\\"
FOREIGN = "It is no copy made by voicecheck, or it is damaged"
OTHER = "Use another copy; nothing was changed."

Adding = Generator[bytes, None, "Entry"]
Tell = Callable[[int, int], None]  # bytes done, bytes in all


class Entry(Record):
    sha256: str
    size: int


class Manifest(Record):
    """What a copy says of itself. ``missing``: media that rows name and that were not there any more."""

    form: str
    version: str
    tables: str  # shape of the tables
    made: datetime
    rows: dict[str, int]
    history_rows: int
    history_head: str
    entries: dict[str, Entry]
    missing: tuple[str, ...] = ()
    damaged: tuple[str, ...] = ()  # media whose content was not what its name says
    skipped: tuple[str, ...] = ()  # files of the shop's folder with names that no copy can hold


@dataclass(frozen=True, slots=True)
class Report:
    """What was copied, checked or made."""

    manifest: Manifest
    size: int = 0

    @property
    def rows(self) -> int:
        return sum(self.manifest.rows.values())

    @property
    def media(self) -> int:
        return sum(name.startswith("media/") for name in self.manifest.entries)


# -- making one ----------------------------------------------------------------------------------------------


class _Sink:
    """What ``zipfile`` writes to: it cannot seek, and what was written is taken out again and again."""

    def __init__(self) -> None:
        self._blocks: list[bytes] = []

    def write(self, data: bytes) -> int:
        self._blocks.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        pass

    def taken(self) -> Iterator[bytes]:
        blocks, self._blocks = self._blocks, []
        yield from blocks


@dataclass
class _Made:
    entries: dict[str, Entry] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)


def stream(services: Services, *, person: str | None = None) -> Iterator[bytes]:
    """The copy as it grows. Rows are taken down first, in one look at the database; then media are read.

    Raises ``StoreError`` where something cannot be read, ``OutputError`` where there is no room for the rows:
    what has come until then is no copy, and ``restore`` refuses it.
    """
    now = services.clock()
    with tempfile.TemporaryDirectory(prefix="voicecheck-copy-") as name:
        folder = Path(name)
        with _room(folder), services.database.reading() as session:
            counts = {t.name: _take_down(rows.lines(session, t), folder / t.name) for t in rows.tables()}
            keys = sorted(recordings.media_named(session))
            last = history.rows(session, limit=1)
        sink, made = _Sink(), _Made()
        # zipfile asks for no more than write and flush where it cannot seek
        with zipfile.ZipFile(cast(IO[bytes], sink), "w", zipfile.ZIP_DEFLATED, compresslevel=6) as out:
            for table in counts:
                yield from _add_file(out, sink, made, f"rows/{table}.jsonl", folder / table, now)
            for path in _shop_files(services.settings.shop_folder):
                inside = f"shop/{path.relative_to(services.settings.shop_folder).as_posix()}"
                if _is_ours(inside):
                    yield from _add_file(out, sink, made, inside, path, now)
                else:
                    made.skipped.append(ascii(inside))
            for key in keys:
                yield from _add_media(services, out, sink, made, key, now)
            manifest = Manifest(
                form=FORM,
                version=__version__,
                tables=revisions()[0],
                made=now,
                rows=counts,
                history_rows=last[0].number if last else 0,
                history_head=last[0].hash if last else history.START,
                entries=made.entries,
                missing=tuple(made.missing),
                damaged=tuple(made.damaged),
                skipped=tuple(made.skipped),
            )
            out.writestr(_info(MANIFEST, now), manifest.model_dump_json(indent=1))
            yield from sink.taken()
        yield from sink.taken()
    details = {
        "rows": sum(counts.values()),
        "media": len(keys) - len(made.missing),
        "head": {"number": manifest.history_rows, "hash": manifest.history_head},
    }
    with services.database.session() as session:
        history.record(session, what=MADE, now=services.clock(), person=person, details=details)


def _take_down(lines: Iterator[str], path: Path) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        for line in lines:
            file.write(line)
            count += 1
    return count


def _shop_files(folder: Path) -> list[Path]:
    """Regular files; not the locks and half-written files of a run that goes on."""
    if not folder.is_dir():
        return []
    return sorted(
        path
        for path in folder.rglob("*")
        if path.is_file()
        and not path.is_symlink()
        and not any(step.startswith(".") for step in path.relative_to(folder).parts)
    )


def _add_file(
    out: zipfile.ZipFile, sink: _Sink, made: _Made, name: str, path: Path, now: datetime
) -> Iterator[bytes]:
    with path.open("rb") as source:
        made.entries[name] = yield from _add(out, sink, source, _info(name, now))


def _add_media(
    services: Services, out: zipfile.ZipFile, sink: _Sink, made: _Made, key: str, now: datetime
) -> Iterator[bytes]:
    name = f"media/{key}"
    try:
        source = services.media.open(key)
    except NotThereError:
        made.missing.append(key)
        return
    with source:
        # Sound and pictures are packed already: a second time takes long and gains nothing.
        entry = yield from _add(out, sink, source, _info(name, now, packed=True))
    made.entries[name] = entry
    if entry.sha256 != key:
        made.damaged.append(key)


def _add(out: zipfile.ZipFile, sink: _Sink, source: IO[bytes], info: zipfile.ZipInfo) -> Adding:
    hasher, size = hashlib.sha256(), 0
    with out.open(info, "w", force_zip64=True) as target:
        while block := source.read(BLOCK):
            target.write(block)
            hasher.update(block)
            size += len(block)
            yield from sink.taken()
    yield from sink.taken()
    return Entry(sha256=hasher.hexdigest(), size=size)


def _info(name: str, now: datetime, *, packed: bool = False) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, (max(now.year, 1980), now.month, now.day, now.hour, now.minute, now.second))
    info.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
    info.external_attr = 0o600 << 16
    return info


@contextlib.contextmanager
def _room(place: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        full = error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
        reason = "the disk is full" if full else (error.strerror or str(error) or "unknown reason").lower()
        raise OutputError(
            f"{place} cannot be written: {reason}.", hint="Make room there, or choose another place."
        ) from error


def file_name(services: Services) -> str:
    return f"voicecheck-{services.clock().astimezone():%Y-%m-%d-%H%M}.zip"


def backup(services: Services, target: Path, *, person: str | None = None) -> tuple[Path, Report]:
    """Writes a copy to ``target`` (a file, or a folder that it gets a name in), and reads it once more.

    Under its name there is a whole copy or nothing. Raises ``OutputError`` where it cannot be written.
    """
    path = target / file_name(services) if target.is_dir() else target
    if path.exists():
        raise InputError(f"{path} is there already.", hint="Name another file; no copy is overwritten.")
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with _room(path):
            if not path.parent.is_dir():
                raise InputError(f"There is no folder {path.parent}.", hint="Make it, or name another.")
            handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as file:
                for block in stream(services, person=person):
                    file.write(block)
                file.flush()
                os.fsync(file.fileno())
        report = verify(part)
        with _room(path):
            part.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    return path, report


# -- reading one ---------------------------------------------------------------------------------------------


@contextlib.contextmanager
def _opened(file: Path) -> Iterator[tuple[zipfile.ZipFile, Manifest]]:
    """The file and what it says of itself, names and sizes looked at. Raises ``InputError``."""
    if not file.is_file():
        raise InputError(f"There is no file {file}.")
    with contextlib.ExitStack() as stack:
        try:
            source = stack.enter_context(zipfile.ZipFile(file))
            told = _manifest(file, source)
        except VoicecheckError:
            raise
        except OSError as error:
            raise _unreadable(file, error) from error
        except (
            Exception
        ) as error:  # zipfile, zlib, struct: each has errors of its own for what is no zip file
            raise _no_copy(file, "") from error
        yield source, told


def _unreadable(file: Path, error: OSError) -> InputError:
    return InputError(f"{file} cannot be read: {(error.strerror or 'unknown reason').lower()}.")


def _no_copy(file: Path, why: str) -> InputError:
    return InputError(f"{file} cannot be used. {FOREIGN}{': ' + why if why else ''}.", hint=OTHER)


def _manifest(file: Path, source: zipfile.ZipFile) -> Manifest:
    names = source.namelist()
    if MANIFEST not in names:
        raise _no_copy(file, "it does not say what is in it")
    if source.getinfo(MANIFEST).file_size > MOST_MANIFEST:
        raise _no_copy(file, "what it says is in it is too long")
    try:
        told = Manifest.model_validate_json(source.read(MANIFEST))
    except (ValidationError, ValueError) as error:
        raise _no_copy(file, "what it says is in it cannot be read") from error
    if told.form != FORM or told.tables not in revisions():
        raise InputError(
            f"{file} was made by a newer voicecheck ({told.version}).", hint="Install that version first."
        )
    for name in names:
        if name != MANIFEST and not _is_ours(name):
            raise _no_copy(file, f"{name[:80]!a} does not belong into one")
    if len(set(names)) != len(names) or set(names) != {*told.entries, MANIFEST}:
        raise _no_copy(file, "what is in it is not what it says")
    for name, entry in told.entries.items():
        if source.getinfo(name).file_size != entry.size:
            raise _no_copy(file, f"{name} has another size")
    if {f"rows/{t}.jsonl" for t in told.rows} != {n for n in names if n.startswith("rows/")}:
        raise _no_copy(file, "not all tables are there")
    return told


def _is_ours(name: str) -> bool:
    """Whether a name is one that we give: no way out of the folder that it is written into."""
    if _MEDIA.fullmatch(name) or _ROWS.fullmatch(name):
        return True
    if not name.startswith("shop/") or not name.isprintable() or any(sign in name for sign in _NO_SIGNS):
        return False
    return all(step and not step.startswith(".") for step in name.split("/")[1:])


def _blocks(source: zipfile.ZipFile, name: str, entry: Entry, file: Path) -> Iterator[bytes]:
    """The content of an entry; raises ``InputError`` at its end where it is not what was copied."""
    hasher = hashlib.sha256()
    with source.open(name) as member:
        while block := member.read(BLOCK):
            hasher.update(block)
            yield block
    if hasher.hexdigest() != entry.sha256:
        raise _no_copy(file, f"{name} is not what was copied")


def verify(file: Path, *, tell: Tell | None = None) -> Report:
    """Reads a whole copy and compares every sum. Raises ``InputError`` for a damaged or foreign one."""
    with _opened(file) as (source, told):
        whole, done = sum(e.size for e in told.entries.values()), 0
        try:
            for name, entry in told.entries.items():
                for block in _blocks(source, name, entry, file):
                    done += len(block)
                    if tell:
                        tell(done, whole)
        except VoicecheckError:
            raise
        except OSError as error:
            raise _unreadable(file, error) from error
        except Exception as error:  # as in _opened
            raise _no_copy(file, "") from error
    return Report(told, file.stat().st_size)


# -- a shop from one -----------------------------------------------------------------------------------------


def restore(file: Path, settings: Settings, *, tell: Tell | None = None) -> Report:
    """Makes a fresh shop from a copy, where ``settings`` say. All of it, or nothing is left behind.

    Raises ``RefusedError`` where there is something already, ``InputError`` for a damaged or foreign file,
    ``StoreError`` or ``OutputError`` where the new place cannot be written.
    """
    report = verify(file, tell=tell)
    _refuse_what_is_there(settings)
    undo: list[Callable[[], None]] = [lambda: _clear(settings.data)]
    try:
        with _room(settings.data):
            settings.data.mkdir(parents=True, exist_ok=True)
            media = MediaStore(settings.media)
            database = Database(settings.database)
            try:
                migrate(database)
                with _opened(file) as (source, told):
                    _refuse_rows(database, media, settings)
                    for name, entry in told.entries.items():
                        if name.startswith("media/"):
                            key = name.removeprefix("media/")
                            undo.append(lambda key=key: media.delete(key))  # type: ignore[misc]
                            _put_media(media, source, name, entry, file, damaged=key in told.damaged)
                        elif name.startswith("shop/"):
                            path = settings.shop_folder / name.removeprefix("shop/")
                            undo.append(lambda path=path: path.unlink(missing_ok=True))  # type: ignore[misc]
                            _put_file(path, _blocks(source, name, entry, file))
                    _put_rows(database, source, told, file)
                database.checkpoint()
            finally:
                database.close()
    except BaseException:
        for back in reversed(undo):
            with contextlib.suppress(OSError, VoicecheckError):
                back()
        raise
    return report


def _refuse_what_is_there(settings: Settings) -> None:
    for folder in (settings.data, settings.shop_folder):
        if folder.exists() and not folder.is_dir():
            raise RefusedError(f"{folder} is a file.", hint="Name a new folder.")
        there = [p for p in folder.iterdir() if p.name != SETTINGS_FILE] if folder.is_dir() else []
        if there:
            raise RefusedError(
                f"{folder} is not empty; a shop is made from a copy only where there is none.",
                hint="Name a new folder with --data.",
            )


def _refuse_rows(database: Database, media: MediaStore, settings: Settings) -> None:
    with database.reading() as session:
        if not rows.empty(session):
            raise RefusedError(
                f"The database {database.shown} has a shop in it already.",
                hint="Name an empty one with VOICECHECK_DATABASE_URL.",
            )
    if settings.media_url and next(media.keys(), None) is not None:
        raise RefusedError(
            f"The place for recordings {media.shown} is not empty.",
            hint="Name an empty one with VOICECHECK_MEDIA_URL.",
        )


class _Reader:
    """Blocks as the file that ``MediaStore.put`` reads."""

    def __init__(self, blocks: Iterator[bytes]) -> None:
        self._blocks = blocks

    def read(self, _size: int = -1) -> bytes:
        return next(self._blocks, b"")


def _put_media(
    media: MediaStore, source: zipfile.ZipFile, name: str, entry: Entry, file: Path, *, damaged: bool
) -> None:
    if damaged:  # not what its name says when the copy was made: nobody could use it
        return
    key = media.put(cast(Any, _Reader(_blocks(source, name, entry, file))))
    if key != name.removeprefix("media/"):
        raise _no_copy(file, f"{name} is not what was copied")


def _put_file(path: Path, blocks: Iterator[bytes]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as target:
        for block in blocks:
            target.write(block)


def _put_rows(database: Database, source: zipfile.ZipFile, told: Manifest, file: Path) -> None:
    """All rows in one transaction, and the chain and the fingerprints looked at before it ends."""
    with database.session() as session:
        for table in rows.tables():
            name = f"rows/{table.name}.jsonl"
            if name not in told.entries:
                continue
            with source.open(name) as member:
                count = rows.put(session, table, (line.decode("utf-8") for line in member))
            if count != told.rows[table.name]:
                raise _no_copy(file, f"{name} has another number of rows")
        session.expire_all()
        chain = history.check(session, head=(told.history_rows, told.history_head))
        if not chain.whole or chain.rows != told.history_rows:
            raise InputError(f"{file} cannot be used: its history is broken ({chain.why}).", hint=OTHER)
        for row in session.scalars(select(Issued).execution_options(yield_per=100)):
            if not papers.is_unchanged(row):
                raise InputError(
                    f"{file} cannot be used: an issued estimate in it is not as it was issued.", hint=OTHER
                )


def _clear(folder: Path) -> None:
    """Takes away what was made in a folder that was empty but for its settings."""
    for path in folder.iterdir() if folder.is_dir() else ():
        if path.name == SETTINGS_FILE:
            continue
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
    with contextlib.suppress(OSError):
        folder.rmdir()


def sums(report: Report) -> str:
    """The report as one line."""
    told = report.manifest
    more = ""
    if told.missing:
        more += f", {len(told.missing)} recordings or photos were missing already"
    if told.damaged:
        more += f", {len(told.damaged)} were damaged already"
    if told.skipped:
        more += f", {len(told.skipped)} files of the shop's folder have names that cannot be copied"
    return f"{report.rows:,} rows, {report.media:,} recordings and photos{more}"


__all__ = [
    "FORM",
    "MADE",
    "Manifest",
    "Report",
    "backup",
    "file_name",
    "restore",
    "stream",
    "sums",
    "verify",
]
