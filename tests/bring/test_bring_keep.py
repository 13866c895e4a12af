"""The old file or the new one, whatever happens in between."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from bring_kit import DAY, bring, table, told, write_csv

from voicecheck.bring import earlier_files, keep, put_back
from voicecheck.bring.keep import EARLIER, LOCK, digest, replace_file
from voicecheck.records import InputError, OutputError


def files(folder: Path) -> dict[str, bytes]:
    """Every file of a folder by its path, the lock left out."""
    return {
        str(p.relative_to(folder)): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and p.name != LOCK
    }


def put(path: Path, data: bytes) -> None:
    replace_file(path, data, before=digest(path), today=DAY)


def test_each_earlier_file_is_kept_and_can_be_put_back(tmp_path: Path) -> None:
    target = tmp_path / "shop/catalogue.csv"
    for data in (b"one", b"two", b"three"):
        put(target, data)
    assert [(e.number, e.day, e.path.read_bytes()) for e in earlier_files(target)] == [
        (1, "2026-03-14", b"one"),
        (2, "2026-03-14", b"two"),
    ]
    restored, kept = put_back(target, number=1, today=DAY)
    assert target.read_bytes() == b"one"
    assert restored.number == 1
    assert kept is not None
    assert kept.path.read_bytes() == b"three"
    put_back(target, number=None, today=DAY)
    assert target.read_bytes() == b"three"
    assert len(earlier_files(target)) == 4


def test_what_is_not_there_cannot_be_put_back(tmp_path: Path) -> None:
    target = tmp_path / "catalogue.csv"
    with pytest.raises(InputError, match="holds no earlier"):
        put_back(target, number=None, today=DAY)
    put(target, b"one")
    put(target, b"two")
    with pytest.raises(InputError, match="number 7") as caught:
        put_back(target, number=7, today=DAY)
    assert caught.value.hint == "There are: 1."


def test_files_of_other_names_are_no_earlier_ones(tmp_path: Path) -> None:
    target = tmp_path / "prices.us.yaml"
    put(target, b"one")
    put(target, b"two")
    for name in ("prices.uk.0001.2026-01-01.yaml", "prices.us.0009.yaml", "prices.us.0009.2026-01-01.csv"):
        (tmp_path / EARLIER / name).write_bytes(b"x")
    assert [e.number for e in earlier_files(target)] == [1]


@pytest.mark.parametrize("step", ["write", "keep", "replace"])
def test_a_failure_at_any_step_leaves_the_old_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    source = write_csv(tmp_path / "t.csv", table())
    assert bring(tmp_path, source).written
    shop = tmp_path / "shop"
    before = files(shop)
    write_csv(source, table(E2=90))
    name_in_place = "catalogue.csv"

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    if step == "write":
        monkeypatch.setattr(os, "fsync", fail)
    elif step == "keep":
        monkeypatch.setattr(keep, "_keep", fail)
    else:
        real = os.replace
        monkeypatch.setattr(
            os, "replace", lambda a, b: fail() if Path(b).name == name_in_place else real(a, b)
        )
    with pytest.raises(OutputError, match="no space left"):
        bring(tmp_path, source)
    monkeypatch.undo()
    after = files(shop)
    assert after["catalogue.csv"] == before["catalogue.csv"]
    assert not [name for name in after if name.endswith(".part")]
    if step != "replace":  # then the copy is there already, which takes nothing away
        assert after == before
    outcome = bring(tmp_path, source)
    assert outcome.written, told(outcome)


KILL = """
import os, sys
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from bring_kit import bring
real = os.replace
os.replace = lambda a, b: os._exit(9) if Path(b).name == "catalogue.csv" else real(a, b)
bring(Path(sys.argv[2]), Path(sys.argv[3]))
"""


def test_killed_between_writing_and_replacing(tmp_path: Path) -> None:
    """A process that ends there, without any clearing up, leaves the old file; the next run clears up."""
    source = write_csv(tmp_path / "t.csv", table())
    bring(tmp_path, source)
    shop = tmp_path / "shop"
    old = (shop / "catalogue.csv").read_bytes()
    write_csv(source, table(E2=90))
    kit = Path(__file__).parent
    root = kit.parent.parent
    done = subprocess.run(
        [sys.executable, "-c", KILL, str(kit), str(tmp_path), str(source)],
        env={**os.environ, "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 9, done.stderr
    assert (shop / "catalogue.csv").read_bytes() == old
    assert list(shop.glob(".voicecheck-bring-*.part"))
    assert bring(tmp_path, source).written
    assert not list(shop.rglob("*.part"))
    assert (shop / "catalogue.csv").read_bytes() != old
    assert [e.path.read_bytes() for e in earlier_files(shop / "catalogue.csv")] == [old, old]


def test_a_file_that_changed_meanwhile_is_not_replaced(tmp_path: Path) -> None:
    target = tmp_path / "catalogue.csv"
    put(target, b"one")
    before = digest(target)
    target.write_bytes(b"by hand")
    with pytest.raises(InputError, match="changed by someone else"):
        replace_file(target, b"two", before=before, today=DAY)
    assert target.read_bytes() == b"by hand"


def test_only_one_writer_at_a_time(tmp_path: Path) -> None:
    fcntl = pytest.importorskip("fcntl")
    with (tmp_path / LOCK).open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with pytest.raises(InputError, match="Another run"):
            put(tmp_path / "catalogue.csv", b"one")
    put(tmp_path / "catalogue.csv", b"one")


def test_a_folder_whose_parent_is_missing(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="Cannot write"):
        put(tmp_path / "no/shop/catalogue.csv", b"one")
