"""Media files for the tests."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from media_kit import write_media

Maker = Callable[..., Path]


@pytest.fixture
def media(tmp_path: Path) -> Maker:
    """Call with a file name and options of ``write_media``."""

    def make(name: str, **options: object) -> Path:
        return write_media(tmp_path / name, **options)  # type: ignore[arg-type]

    return make
