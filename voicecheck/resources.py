"""Finds and reads the data that comes with the program: inside a wheel, or at the top of a checkout."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from voicecheck.records.base import Record
from voicecheck.records.errors import DataError, InputError

_PACKAGE = Path(__file__).resolve().parent


def lexicon_dir() -> Path:
    """The folder of the shipped term files. Raises ``InputError`` if it is not there."""
    return _find("lexicon", package=_PACKAGE)


def shared_dir() -> Path:
    """The folder of the demo catalogue, prices and limits. Raises ``InputError`` if it is not there."""
    return _find("shared", package=_PACKAGE)


Learned = TypeVar("Learned", bound=Record)


def learned(path: Path, kind: type[Learned], *, of: str) -> Learned:
    """What was learned ``of`` something, as shipped. Raises ``DataError`` where it cannot be read."""
    try:
        return kind.model_validate_json(path.read_bytes())
    except (OSError, ValidationError) as error:
        raise DataError(
            f"What was learned of {of} cannot be read from {path.name}: {error}",
            hint="Install voicecheck again.",
        ) from error


def _find(name: str, *, package: Path) -> Path:
    """``package/_data/NAME`` (a wheel) or else ``NAME`` beside the package (a checkout)."""
    candidates = [package / "_data" / name]
    # A folder "shared" beside an installed package may be anyone's: only a checkout has the project file.
    if (package.parent / "pyproject.toml").is_file():
        candidates.append(package.parent / name)
    for candidate in candidates:
        if candidate.is_dir():
            return candidate
    looked = " or ".join(str(c) for c in candidates)
    raise InputError(
        f"The folder of {name} files that comes with voicecheck is not at {looked}.",
        hint="Install voicecheck again, or name a folder yourself.",
    )
