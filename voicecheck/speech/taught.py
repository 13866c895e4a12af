"""What the speech weights were taught about shop talk: changes of low rank, laid over weights as published.

The changes ship with the package (``taught.npz``: for each matrix ``NAME`` of the model the pair ``a/NAME``,
shape (rank, columns), and ``b/NAME``, (rows, rank), whose product ``b @ a`` is added to it; ``of`` is the
sha256 of the ``model.bin`` that they were taught on). They are added when a model is loaded, in memory: what
was fetched stays as it was published and pinned. How they were taught: ``benchmarks/speech/teach_ear.py``.
"""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from voicecheck.records import MissingModelError
from voicecheck.speech.weights import MODEL

TAUGHT = "base"  # the known weights that the changes belong to
CHANGES = "taught.npz"
SIXTEEN_BITS = 4  # the number of that type in CTranslate2's files
BINARY_VERSION = 6  # of CTranslate2's files

Matrix = NDArray[np.float32]


class Variable(NamedTuple):
    """One variable of a model file: its type's number, its shape, and where its bytes lie."""

    name: str
    type: int
    shape: tuple[int, ...]
    start: int
    size: int


def is_taught(model: str) -> bool:
    """Whether the changes belong to the weights that ``model`` names."""
    return model == TAUGHT


def taught_files(folder: Path) -> dict[str, bytes]:
    """The files of the model in ``folder``, by name, its ``model.bin`` with what was taught added.

    Raises ``MissingModelError`` if one of them, or the changes, cannot be read or do not fit each other.
    """
    try:
        files = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
        with resources.as_file(resources.files("voicecheck.speech").joinpath(CHANGES)) as path:
            files[MODEL] = changed(files[MODEL], path)
    except (OSError, ValueError, KeyError, zipfile.BadZipFile, struct.error) as error:
        raise MissingModelError(
            f"What the speech weights in {folder} were taught cannot be added to them: {error}.",
            hint=f"Fetch the weights again (voicecheck weights {TAUGHT}), or install voicecheck again.",
        ) from error
    return files


def changed(model: bytes, changes: Path) -> bytes:
    """The bytes of a model file with the changes in the file ``changes`` added to its matrices.

    Every pair must find its matrix, of 16 bits and of the right shape; else ``ValueError``.
    """
    parts: list[bytes | memoryview] = []
    copied = 0
    with np.load(changes, allow_pickle=False) as pairs:
        wanted = {name.removeprefix("a/") for name in pairs.files if name.startswith("a/")}
        for variable in variables(model):
            if variable.name not in wanted:
                continue
            wanted.discard(variable.name)
            first: Matrix = pairs[f"a/{variable.name}"].astype(np.float32)
            second: Matrix = pairs[f"b/{variable.name}"].astype(np.float32)
            added = second @ first
            if variable.type != SIXTEEN_BITS or variable.shape != added.shape:
                raise ValueError(f"{variable.name} is not a 16-bit matrix of shape {added.shape}")
            given = np.frombuffer(model, np.float16, added.size, variable.start).reshape(added.shape)
            new = (given.astype(np.float32) + added).astype(np.float16)
            parts += [memoryview(model)[copied : variable.start], new.tobytes()]
            copied = variable.start + variable.size
    if wanted:
        raise ValueError(f"the model has no {sorted(wanted)[0]}")
    return b"".join([*parts, memoryview(model)[copied:]])


def variables(model: bytes) -> Iterator[Variable]:
    """The variables of a CTranslate2 model file, as its converter writes them
    (``ctranslate2.specs.model_spec.ModelSpec._serialize``, version 4.8.5). Raises ``struct.error`` or
    ``ValueError`` for bytes that are no such file."""
    reader = _Reader(model)
    version = reader.number("I")
    if version != BINARY_VERSION:
        raise ValueError(f"its model file is of version {version}, not {BINARY_VERSION}")
    reader.text()
    reader.number("I")
    for _ in range(reader.number("I")):
        name = reader.text()
        shape = tuple(reader.number("I") for _ in range(reader.number("B")))
        kind, size = reader.number("B"), reader.number("I")
        yield Variable(name, kind, shape, reader.at, size)
        reader.skip(size)


class _Reader:
    """Reads little-endian numbers and texts one after another."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self.at = 0

    def number(self, form: str) -> int:
        value: int = struct.unpack_from(f"<{form}", self._data, self.at)[0]
        self.at += struct.calcsize(f"<{form}")
        return value

    def text(self) -> str:
        size = self.number("H")
        end = self.at + size
        self.skip(size)
        return self._data[end - size : end].rstrip(b"\0").decode("utf-8")

    def skip(self, size: int) -> None:
        self.at += size
        if self.at > len(self._data):
            raise ValueError("its model file ends too early")
