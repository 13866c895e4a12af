"""Finds the data folders: inside an installed wheel, or at the top of a checkout."""

from __future__ import annotations

from pathlib import Path

from voicecheck.records.errors import InputError

_PACKAGE = Path(__file__).resolve().parent


def lexicon_dir() -> Path:
    """The folder of the shipped term files. Raises ``InputError`` if it is not there."""
    return _find("lexicon", package=_PACKAGE)


def shared_dir() -> Path:
    """The folder of the demo catalogue, prices and limits. Raises ``InputError`` if it is not there."""
    return _find("shared", package=_PACKAGE)


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
