"""Bytes by the sha256 of their content, in a folder or a bucket. The only module that sees fsspec.

A file is written under a temporary name, flushed to the disk and moved to ``ab/cd/SHA256``: under its name
it is always whole. The same content is kept once. Who may see what, the database says.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, BinaryIO
from uuid import uuid4

import fsspec
from fsspec.implementations.local import LocalFileSystem

from voicecheck.records import NotThereError, StoreError
from voicecheck.writing import flush_folder

BLOCK = 1024 * 1024
COMING = "coming"  # the folder of files that are being written
KEY_LONG = 64


class MediaStore:
    """Media at ``url`` (``file:///folder``, a plain folder, or what else fsspec knows).

    Keys are sha256 hex digests. Raises ``StoreError`` where the place cannot be used, ``NotThereError`` for a
    key that is not there.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        try:
            filesystem, root = fsspec.url_to_fs(url)
        except (ImportError, ValueError, OSError) as error:
            raise StoreError(
                f"The place for recordings {url} cannot be used: {error}.",
                hint="Look at VOICECHECK_MEDIA_URL.",
            ) from error
        self._files: Any = filesystem
        self._root = str(root).rstrip("/")
        self._local = isinstance(filesystem, LocalFileSystem)

    # -- writing ---------------------------------------------------------------------------------------------

    def put(self, content: bytes | BinaryIO) -> str:
        """Keeps ``content`` (bytes, or a file read to its end) for good and returns its key."""
        if isinstance(content, bytes):
            key = hashlib.sha256(content).hexdigest()
            if self._has(key, len(content)):
                return key
            blocks: Iterable[bytes] = (content,)
        else:
            blocks = iter(lambda: content.read(BLOCK), b"")
        return self._write(blocks)[0]

    def join(self, keys: Iterable[str]) -> tuple[str, int]:
        """The contents of ``keys`` one after the other as one new file: its key and size in bytes."""
        return self._write(block for key in keys for block in self._blocks(key))

    def _write(self, blocks: Iterable[bytes]) -> tuple[str, int]:
        coming = f"{self._root}/{COMING}/{uuid4().hex}"
        hasher, size = hashlib.sha256(), 0
        with self._in_words("written"):
            try:
                self._files.makedirs(f"{self._root}/{COMING}", exist_ok=True)
                with self._files.open(coming, "wb") as file:
                    for block in blocks:
                        file.write(block)
                        hasher.update(block)
                        size += len(block)
                    if self._local:
                        file.flush()
                        os.fsync(file.fileno())
                key = hasher.hexdigest()
                self._move(coming, key, size)
            except BaseException:
                with contextlib.suppress(OSError):
                    self._files.rm(coming)
                raise
        return key, size

    def _move(self, coming: str, key: str, size: int) -> None:
        if self._has(key, size):
            self._files.rm(coming)
            return
        target = self._path(key)
        folder = target.rpartition("/")[0]
        self._files.makedirs(folder, exist_ok=True)
        if not self._local:
            self._files.mv(coming, target)
            return
        Path(coming).replace(target)
        for place in (
            folder,
            folder.rpartition("/")[0],
            self._root,
        ):  # the names too have to outlive a power cut
            flush_folder(Path(place))

    def delete(self, key: str) -> None:
        """Takes the file away; nothing happens where it is not there."""
        with self._in_words("deleted"), contextlib.suppress(FileNotFoundError):
            self._files.rm_file(self._path(key))

    def tidy(self, *, older_than_s: float, now_s: float) -> int:
        """Takes away what was left half-written ``older_than_s`` seconds ago (by a process that died)."""
        gone = 0
        folder = f"{self._root}/{COMING}"
        with self._in_words("tidied"):
            for found in self._files.ls(folder, detail=True) if self._files.exists(folder) else ():
                changed = found.get("mtime")
                if isinstance(changed, int | float) and now_s - changed > older_than_s:
                    with contextlib.suppress(FileNotFoundError):
                        self._files.rm_file(found["name"])
                        gone += 1
        return gone

    # -- reading ---------------------------------------------------------------------------------------------

    def exists(self, key: str) -> bool:
        with self._in_words("read"):
            return bool(self._files.exists(self._path(key)))

    def size(self, key: str) -> int:
        """Bytes."""
        with self._in_words("read", key):
            return int(self._files.size(self._path(key)))

    def open(self, key: str) -> IO[bytes]:
        """The content as a file that can seek; the caller closes it."""
        with self._in_words("read", key):
            file: IO[bytes] = self._files.open(self._path(key), "rb")
            return file

    def read(self, key: str) -> bytes:
        """The whole content; for what is known to be small."""
        with self.open(key) as file:
            return file.read()

    def read_range(self, key: str, start: int, end: int) -> bytes:
        """Bytes ``start`` up to but not including ``end``; fewer where the file ends before."""
        with self._in_words("read", key), self._files.open(self._path(key), "rb") as file:
            file.seek(start)
            return bytes(file.read(max(0, end - start)))

    def sound(self, key: str) -> bool:
        """Whether the content still is what its name says."""
        hasher = hashlib.sha256()
        for block in self._blocks(key):
            hasher.update(block)
        return hasher.hexdigest() == key

    @contextmanager
    def as_file(self, key: str, *, name: str) -> Iterator[Path]:
        """The content as a file of that ``name`` on this machine, for programs that want a path."""
        with tempfile.TemporaryDirectory(prefix="voicecheck-") as folder:
            path = Path(folder) / name
            if not self._local or not _linked(Path(self._path(key)), path):
                with self.open(key) as source, path.open("wb") as copy:
                    shutil.copyfileobj(source, copy, BLOCK)
            elif not path.exists():
                raise _gone()
            yield path

    def keys(self) -> Iterator[str]:
        """The keys of all files, in no order."""
        with self._in_words("read"):
            for path in self._files.find(self._root) if self._files.exists(self._root) else ():
                name = str(path).rpartition("/")[2]
                if _is_key(name):
                    yield name

    def check(self) -> None:
        """Writes and deletes a small file, so that a place that cannot be used is told at the start."""
        probe = f"{self._root}/{COMING}/{uuid4().hex}"
        with self._in_words("written"):
            self._files.makedirs(f"{self._root}/{COMING}", exist_ok=True)
            with self._files.open(probe, "wb") as file:
                file.write(b"voicecheck")
            self._files.rm_file(probe)

    def _blocks(self, key: str) -> Iterator[bytes]:
        with self.open(key) as file:
            while block := file.read(BLOCK):
                yield block

    def _has(self, key: str, size: int) -> bool:
        path = self._path(key)
        return bool(self._files.exists(path)) and int(self._files.size(path)) == size

    def _path(self, key: str) -> str:
        if not _is_key(key):
            raise NotThereError("There is no such recording or photo.")
        return f"{self._root}/{key[:2]}/{key[2:4]}/{key}"

    @contextmanager
    def _in_words(self, what: str, key: str | None = None) -> Iterator[None]:
        try:
            yield
        except FileNotFoundError as error:
            if key is None:
                raise StoreError(
                    f"The place for recordings {self.shown} cannot be {what}: {error}."
                ) from error
            raise _gone() from error
        except OSError as error:
            reason = (error.strerror or str(error) or "unknown reason").lower()
            raise StoreError(
                f"The place for recordings {self.shown} cannot be {what}: {reason}.",
                hint="Make room on that disk, or give this user the right to write there.",
            ) from error

    @property
    def shown(self) -> str:
        """The place in words, without what may be secret in the address."""
        return self._root if self._local else self.url.partition("?")[0].rpartition("@")[2]


def _gone() -> NotThereError:
    return NotThereError(
        "The recording or photo is not there any more.", hint="Was it deleted by the retention rule?"
    )


def _is_key(name: str) -> bool:
    return len(name) == KEY_LONG and all(digit in "0123456789abcdef" for digit in name)


def _linked(target: Path, path: Path) -> bool:
    try:
        path.symlink_to(target)
    except OSError:  # a system or user that may not make links
        return False
    return True
