"""Files are written whole or not at all, and every failure is one sentence, told before long work too."""

from __future__ import annotations

import os
import resource
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from voicecheck.documents import write_text
from voicecheck.documents.files import check_writable
from voicecheck.records import OutputError


def failure(path: Path, text: str = "new") -> str:
    """The sentence of a write that fails, and of the check before it, which must not differ."""
    with pytest.raises(OutputError) as checked:
        check_writable(path)
    message = write_failure(path, text)
    assert checked.value.message == message
    return message


def write_failure(path: Path, text: str) -> str:
    with pytest.raises(OutputError) as caught:
        write_text(path, text)
    assert str(path) in caught.value.message
    assert "\n" not in caught.value.message
    assert caught.value.message.endswith(".")
    return caught.value.message


def test_text_is_written_as_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_text(path, "a\r\nb “c”\n")
    assert path.read_bytes() == "a\r\nb “c”\n".encode()
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]


def test_encoding_with_mark(tmp_path: Path) -> None:
    write_text(tmp_path / "a.csv", "a", encoding="utf-8-sig")
    assert (tmp_path / "a.csv").read_bytes() == b"\xef\xbb\xbfa"


def test_a_file_is_replaced_and_follows_the_umask(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old")
    before = os.umask(0o022)
    try:
        write_text(path, "new")
    finally:
        os.umask(before)
    assert path.read_text() == "new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o644


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link.txt").symlink_to(tmp_path / "real" / "a.txt")
    write_text(tmp_path / "link.txt", "new")
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real" / "a.txt").read_text() == "new"


def test_missing_folder(tmp_path: Path) -> None:
    assert "folder does not exist" in failure(tmp_path / "none" / "a.txt")


def test_folder_instead_of_file(tmp_path: Path) -> None:
    assert "it is a folder" in failure(tmp_path)


def test_file_instead_of_folder(tmp_path: Path) -> None:
    (tmp_path / "f").write_text("x")
    assert "not a folder" in failure(tmp_path / "f" / "a.txt")


def test_folder_that_takes_no_files() -> None:
    if not Path("/proc/self").is_dir():
        pytest.skip("there is no /proc here")
    assert "no file can be made in that folder" in failure(Path("/proc/a.txt"))


def test_device(tmp_path: Path) -> None:
    assert "not an ordinary file" in failure(Path("/dev/null"))


def test_too_long_name(tmp_path: Path) -> None:
    assert "too long" in failure(tmp_path / ("x" * 300))


def test_character_outside_the_encoding(tmp_path: Path) -> None:
    assert "utf-8" in write_failure(tmp_path / "a.txt", "\ud800")
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def locked() -> Iterator[Path]:
    """A folder that may be read and not written, seen as an ordinary user where the tests run as root."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "old.txt").write_text("old")
        folder.chmod(0o555)
        root = os.geteuid() == 0
        if root:
            os.seteuid(65534)
        try:
            yield folder
        finally:
            if root:
                os.seteuid(0)
            folder.chmod(0o755)


def test_read_only_folder(locked: Path) -> None:
    assert "may not be written" in failure(locked / "old.txt")
    assert (locked / "old.txt").read_text() == "old"
    assert [p.name for p in locked.iterdir()] == ["old.txt"]


def test_a_write_that_breaks_off_leaves_the_old_file(tmp_path: Path) -> None:
    """The system stops the write part-way (a limit on file sizes, as a full disk would)."""
    path = tmp_path / "a.txt"
    path.write_text("old")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        message = failure(path, "x" * 20_000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert "larger than allowed" in message
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_full_disk_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    assert "disk is full" in failure(tmp_path / "a.txt")
    assert list(tmp_path.iterdir()) == []


def test_interrupted_write_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_text(tmp_path / "a.txt", "new")
    assert list(tmp_path.iterdir()) == []


def test_check_leaves_everything_as_it_was(tmp_path: Path) -> None:
    old = tmp_path / "old.txt"
    old.write_text("old")
    before = old.stat()
    check_writable(old)
    check_writable(tmp_path / "new.txt")
    check_writable(str(tmp_path / "new.txt"))
    assert [p.name for p in tmp_path.iterdir()] == ["old.txt"]
    assert old.read_text() == "old"
    assert (old.stat().st_mtime_ns, old.stat().st_ino) == (before.st_mtime_ns, before.st_ino)


def test_check_follows_a_link(tmp_path: Path) -> None:
    (tmp_path / "link.txt").symlink_to(tmp_path / "none" / "a.txt")
    assert "folder does not exist" in failure(tmp_path / "link.txt")
