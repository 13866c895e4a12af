"""What this machine is told: where things are, who may reach it, how much is taken in.

From ``DATA/settings.toml`` and, over it, the environment (``VOICECHECK_`` and the name in capitals). What the
owner decides in the pages (rates, retention …) is in the database instead.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from pydantic import Field, ValidationError, field_validator

from voicecheck.records import InputError, Market, Record
from voicecheck.speech import DEFAULT_WEIGHTS
from voicecheck.store.database import address_beside

PREFIX = "VOICECHECK_"
FILE = "settings.toml"


class Settings(Record):
    """All that can be set. Folders are absolute."""

    data: Path  # where everything is that is not set to be elsewhere; not in the file, for the file is in it
    database_url: str = ""  # "": sqlite in data
    media_url: str = ""  # "": a folder in data
    folder: Path | None = None  # the shop's own words, work and prices; None: data/shop

    host: str = "127.0.0.1"  # 0.0.0.0 lets other machines of the network in
    port: int = Field(default=8420, ge=0, le=65535)

    market: Market = "US"  # of new walk-arounds, until the owner sets it
    model: str = DEFAULT_WEIGHTS  # speech weights: a known name or a folder
    executor: str = Field(
        default="", pattern=r"^[A-Za-z0-9._-]{0,60}$"
    )  # the worker's name; "": the machine's

    part_mb: int = Field(default=64, ge=1)  # most of one part of an upload
    take_mb: int = Field(default=2048, ge=1)  # most of one recording
    photo_mb: int = Field(default=30, ge=1)
    take_minutes: int = Field(default=120, ge=1, le=180)  # longest recording that is listened to

    @field_validator("data", "folder")
    @classmethod
    def _absolute(cls, value: Path | None) -> Path | None:
        return None if value is None else value.expanduser().absolute()

    @property
    def database(self) -> str:
        """The address of the shop's rows."""
        return self.database_url or f"sqlite:///{self.data / 'voicecheck.db'}"

    @property
    def media(self) -> str:
        """The address of the recordings and photos."""
        return self.media_url or f"file://{self.data / 'media'}"

    @property
    def work(self) -> str:
        """The address of the work queue: a file beside SQLite's, or the same Postgres (schema of its own).

        It holds nothing that cannot be made again from the shop's rows, and belongs into no backup.
        """
        return address_beside(self.database, "work.db")

    @property
    def shop_folder(self) -> Path:
        """The folder with the shop's own files."""
        return self.folder or self.data / "shop"

    @property
    def sound_cache(self) -> Path:
        """Copies of recordings for playing; can be thrown away."""
        return self.data / "cache" / "sound"

    @property
    def part_bytes(self) -> int:
        return self.part_mb * 1024**2

    @property
    def take_bytes(self) -> int:
        return self.take_mb * 1024**2

    @property
    def photo_bytes(self) -> int:
        return self.photo_mb * 1024**2

    @property
    def take_seconds(self) -> float:
        return self.take_minutes * 60.0


def load_settings(environment: Mapping[str, str] | None = None, **given: Any) -> Settings:
    """The settings of this machine; ``given`` (from the command line, ``None``: not given) goes over all.

    Raises ``InputError`` naming the file or variable that holds what cannot be used.
    """
    told = os.environ if environment is None else environment
    chosen = {name: value for name, value in given.items() if value is not None}
    data = Path(chosen.pop("data", None) or told.get(f"{PREFIX}DATA") or user_data_path("voicecheck", False))
    file = data.expanduser() / FILE
    values: dict[str, Any] = {}
    origin: dict[str, str] = {}
    for name, value in _from_file(file).items():
        values[name], origin[name] = value, str(file)
    for name in sorted(set(Settings.model_fields) - {"data"}):
        if told.get(PREFIX + name.upper()):
            values[name], origin[name] = told[PREFIX + name.upper()], PREFIX + name.upper()
    for name, value in chosen.items():
        values[name], origin[name] = value, "the command line"
    try:
        return Settings(**values, data=data)
    except ValidationError as error:
        first = error.errors()[0]
        name = str(first["loc"][0]) if first["loc"] else ""
        raise InputError(
            f"The setting {name} in {origin.get(name, 'the settings')} cannot be used: {first['msg']}.",
            hint="Mend it, or leave it out for the usual value.",
        ) from error


def _from_file(file: Path) -> dict[str, Any]:
    try:
        found = tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise InputError(f"{file} cannot be read: {(error.strerror or 'unknown reason').lower()}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{file} is not a TOML file: {error}.", hint="Lines like: port = 8420") from error
    known = set(Settings.model_fields) - {"data"}
    for name in found:
        if name not in known:
            raise InputError(
                f"{file} has a setting {name} that there is not.",
                hint=f"There are: {', '.join(sorted(known))}.",
            )
    return found
