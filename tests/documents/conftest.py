"""The browser in which pages are looked at."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from browser_kit import chromium
from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started
