"""Several files written piece by piece, that all appear at the end or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from types import TracebackType
from typing import TextIO

from voicecheck.documents.files import check_writable, in_words, target_of
from voicecheck.writing import open_beside


class Streams:
    """Temporary files beside their targets. ``keep`` flushes all to the disk and then renames each.

    Without ``keep``, leaving the block takes them away. ``OutputError`` where one cannot be written.
    """

    def __init__(self) -> None:
        self._open: list[tuple[Path, Path, Path, TextIO]] = []  # as named, target, temporary, stream

    def __enter__(self) -> Streams:
        return self

    def open(self, path: Path, *, encoding: str) -> TextIO:
        """A stream to write text to; line ends stay as they are written."""
        check_writable(path)
        with in_words(path):
            target = target_of(path)
            part, handle = open_beside(target)
            stream = os.fdopen(handle, "w", encoding=encoding, newline="")
        self._open.append((path, target, part, stream))
        return stream

    def keep(self) -> None:
        """Everything is written: put the files in their places."""
        for path, _, _, stream in self._open:
            with in_words(path):
                stream.flush()
                os.fsync(stream.fileno())
                stream.close()
        for path, target, part, _ in self._open:
            with in_words(path):
                part.replace(target)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for _, _, part, stream in self._open:
            with contextlib.suppress(OSError):
                stream.close()
            with contextlib.suppress(OSError):
                part.unlink()
        if isinstance(error, OSError) and self._open:  # a disk that filled up while writing
            with in_words(self._open[0][0]):
                raise error
