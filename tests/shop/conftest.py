"""Shops for the tests of the pages; see ``shop_kit``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from shop_kit import Shop, make_shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """A shop that drafts at once."""
    made = make_shop(tmp_path)
    yield made
    made.services.database.close()


@pytest.fixture
def idle_shop(tmp_path: Path) -> Iterator[Shop]:
    """A shop that only notes what it is asked to draft."""
    made = make_shop(tmp_path, work="none")
    yield made
    made.services.database.close()
