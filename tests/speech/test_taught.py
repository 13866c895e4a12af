"""Changes laid over a model file: what is added, what stays, and what is refused."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.records import MissingModelError
from voicecheck.speech import taught
from voicecheck.speech.taught import BINARY_VERSION, CHANGES, TAUGHT, changed, is_taught, taught_files
from voicecheck.speech.weights import known_weights

Arrays = Mapping[str, np.ndarray[Any, Any]]


def model_file(variables: Arrays, *, version: int = BINARY_VERSION) -> bytes:
    """A model file as CTranslate2's converter writes it."""

    def text(value: str) -> bytes:
        data = value.encode() + b"\0"
        return struct.pack("<H", len(data)) + data

    kinds = {"float32": 0, "int8": 1, "float16": 4}
    parts = [struct.pack("<I", version), text("WhisperSpec"), struct.pack("<II", 3, len(variables))]
    for name, array in variables.items():
        parts += [text(name), struct.pack("<B", array.ndim), struct.pack(f"<{array.ndim}I", *array.shape)]
        parts += [struct.pack("<BI", kinds[str(array.dtype)], array.nbytes), array.tobytes()]
    return b"".join([*parts, struct.pack("<I", 1), text("alias"), text(next(iter(variables)))])


def pairs_file(path: Path, pairs: Mapping[str, tuple[Any, Any]]) -> Path:
    arrays = {f"{side}/{name}": pair[at] for name, pair in pairs.items() for at, side in enumerate("ab")}
    np.savez(path, of=np.array("0" * 64), **arrays)
    return path


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 6), st.integers(1, 6), st.integers(1, 3), st.integers(0, 2**32 - 1), st.booleans())
def test_the_product_is_added_and_nothing_else_changes(
    tmp_path_factory: pytest.TempPathFactory, rows: int, columns: int, rank: int, seed: int, last: bool
) -> None:
    rng = np.random.default_rng(seed)
    given_matrix = rng.standard_normal((rows, columns)).astype(np.float16)
    other = rng.standard_normal((3, 2)).astype(np.float16)
    variables: dict[str, Any] = {"a/other": other, "x/weight": given_matrix, "heads": np.array(8, np.int8)}
    if not last:
        variables = dict(reversed(variables.items()))
    first = rng.standard_normal((rank, columns)).astype(np.float16)
    second = rng.standard_normal((rows, rank)).astype(np.float16)
    path = pairs_file(tmp_path_factory.mktemp("t") / "c.npz", {"x/weight": (first, second)})
    wanted = (given_matrix.astype(np.float32) + second.astype(np.float32) @ first.astype(np.float32)).astype(
        np.float16
    )
    assert changed(model_file(variables), path) == model_file({**variables, "x/weight": wanted})


@pytest.mark.parametrize(
    ("variables", "words"),
    [
        ({"y/weight": np.zeros((2, 3), np.float16)}, "no x/weight"),
        ({"x/weight": np.zeros((3, 2), np.float16)}, "x/weight is not a 16-bit matrix"),
        ({"x/weight": np.zeros((2, 3), np.float32)}, "x/weight is not a 16-bit matrix"),
    ],
)
def test_changes_that_do_not_fit_are_refused(tmp_path: Path, variables: Arrays, words: str) -> None:
    pair = (np.ones((1, 3), np.float16), np.ones((2, 1), np.float16))
    path = pairs_file(tmp_path / "c.npz", {"x/weight": pair})
    with pytest.raises(ValueError, match=words):
        changed(model_file(variables), path)


@pytest.mark.parametrize("damage", ["empty", "cut", "version", "none"])
def test_a_damaged_model_file_is_told_in_a_sentence(tmp_path: Path, damage: str) -> None:
    whole = model_file({"x/weight": np.zeros((2, 3), np.float16)})
    data = {"empty": b"", "cut": whole[:40], "version": b"\x07" + whole[1:], "none": None}[damage]
    if data is not None:
        (tmp_path / "model.bin").write_bytes(data)
    with pytest.raises(MissingModelError, match="cannot be added") as caught:
        taught_files(tmp_path)
    assert "voicecheck weights base" in caught.value.hint


def test_damaged_changes_are_told_in_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "model.bin").write_bytes(model_file({"x/weight": np.zeros((2, 3), np.float16)}))
    (tmp_path / "changes.npz").write_bytes(b"PK\x03\x04 and no more")
    monkeypatch.setattr("voicecheck.speech.taught.resources.files", lambda _: tmp_path)
    monkeypatch.setattr(taught, "CHANGES", "changes.npz")
    with pytest.raises(MissingModelError, match="cannot be added"):
        taught_files(tmp_path)


def test_only_the_weights_they_were_taught_on_are_changed(tmp_path: Path) -> None:
    assert is_taught("base")
    assert not is_taught("tiny.en")
    assert not is_taught(str(tmp_path))
    with np.load(Path(taught.__file__).with_name(CHANGES)) as pairs:
        assert str(pairs["of"]) == known_weights()[TAUGHT].model_sha256


def test_a_folder_beside_the_model_does_no_harm(
    tmp_path: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path_factory.mktemp("package")
    path = pairs_file(package / CHANGES, {"x/weight": (np.ones((1, 3)), np.ones((2, 1)))})
    monkeypatch.setattr("voicecheck.speech.taught.resources.files", lambda _: package)
    model = model_file({"x/weight": np.zeros((2, 3), np.float16)})
    (tmp_path / "model.bin").write_bytes(model)
    (tmp_path / "config.json").write_bytes(b"{}")
    (tmp_path / "notes").mkdir()
    assert taught_files(tmp_path) == {"model.bin": changed(model, path), "config.json": b"{}"}
