"""The media store: the same content once, whole under its name, errors in words."""

from __future__ import annotations

import errno
import hashlib
import io
import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.records import NotThereError, StoreError
from voicecheck.store.media import MediaStore


@pytest.fixture(params=["folder", "memory"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> MediaStore:
    """In a folder, and in what fsspec treats as any remote place."""
    return MediaStore(f"file://{tmp_path}/m" if request.param == "folder" else f"memory://{tmp_path}/m")


def test_what_is_put_is_there(store: MediaStore) -> None:
    content = bytes(range(256)) * 5000
    key = store.put(content)
    assert key == hashlib.sha256(content).hexdigest()
    assert store.put(io.BytesIO(content)) == key
    assert store.exists(key)
    assert store.size(key) == len(content)
    assert store.read(key) == content
    assert store.read_range(key, 10, 20) == content[10:20]
    assert store.read_range(key, len(content) - 3, len(content) + 50) == content[-3:]
    assert store.read_range(key, 5, 5) == b""
    assert store.sound(key)
    assert list(store.keys()) == [key]
    with store.open(key) as file:
        file.seek(-4, os.SEEK_END)
        assert file.read() == content[-4:]
    with store.as_file(key, name="a take.webm") as path:
        assert path.name == "a take.webm"
        assert path.read_bytes() == content
    assert not path.exists()
    store.delete(key)
    store.delete(key)
    assert not store.exists(key)


@settings(max_examples=50, deadline=None)
@given(pieces=st.lists(st.binary(max_size=50), max_size=6))
def test_joining(pieces: list[bytes]) -> None:
    store = MediaStore("memory://joining")
    key, size = store.join([store.put(piece) for piece in pieces])
    assert store.read(key) == b"".join(pieces)
    assert size == sum(map(len, pieces))


@pytest.mark.parametrize("key", ["", "a", "../../etc/passwd", "A" * 64, "g" * 64, "a" * 63 + "/", "0" * 65])
def test_keys_that_are_none(store: MediaStore, key: str) -> None:
    with pytest.raises(NotThereError):
        store.open(key)
    with pytest.raises(NotThereError):
        store.exists(key)


def test_a_key_that_is_not_there(store: MediaStore) -> None:
    for read in (store.open, store.size, lambda key: store.read_range(key, 0, 1)):
        with pytest.raises(NotThereError, match="is not there any more"):
            read("0" * 64)
    with pytest.raises(NotThereError), store.as_file("0" * 64, name="a"):
        pass


def test_nothing_half_written_under_a_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = MediaStore(str(tmp_path / "m"))

    class Breaks(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            if self.tell() > 2_000_000:
                raise RuntimeError("the line is cut")
            return super().read(size)

    with pytest.raises(RuntimeError, match="the line is cut"):
        store.put(Breaks(bytes(5_000_000)))
    assert [path for path in (tmp_path / "m").rglob("*") if path.is_file()] == []


def test_leftovers_of_the_dead_are_tidied(tmp_path: Path) -> None:
    store = MediaStore(str(tmp_path / "m"))
    key = store.put(b"kept")
    old, new = tmp_path / "m" / "coming" / "old", tmp_path / "m" / "coming" / "new"
    for path in (old, new):
        path.write_bytes(b"half")
    os.utime(old, (1000, 1000))
    assert store.tidy(older_than_s=3600, now_s=new.stat().st_mtime + 10) == 1
    assert (old.exists(), new.exists(), store.exists(key)) == (False, True, True)


def test_damage_shows(tmp_path: Path) -> None:
    store = MediaStore(str(tmp_path / "m"))
    key = store.put(b"as it was said")
    (tmp_path / "m" / key[:2] / key[2:4] / key).write_bytes(b"as it was SAID")
    assert not store.sound(key)


def test_a_full_disk_in_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = MediaStore(str(tmp_path / "m"))

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match=r"cannot be written: no space left on device\.") as told:
        store.put(b"more than there is room for")
    assert told.value.hint.startswith("Make room on that disk")
    monkeypatch.undo()
    assert [path for path in (tmp_path / "m").rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("method", ["check", "put"])
def test_a_folder_that_cannot_be_written(method: str, tmp_path: Path) -> None:
    (tmp_path / "m").write_text("a file in its place")
    store = MediaStore(str(tmp_path / "m"))
    call: Any = getattr(store, method)
    with pytest.raises(StoreError, match=r"The place for recordings .* cannot be written: "):
        call() if method == "check" else call(b"x")


def test_a_place_of_an_unknown_kind() -> None:
    with pytest.raises(StoreError, match="cannot be used"):
        MediaStore("nosuchthing://a/b")
