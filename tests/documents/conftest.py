"""The browser in which pages are looked at."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Error, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")
QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not CHROMIUM.exists():
        pytest.skip("Chromium is not installed at /usr/bin/chromium")
    with sync_playwright() as playwright:
        try:
            started = playwright.chromium.launch(executable_path=str(CHROMIUM), args=QUIET)
        except Error as error:
            pytest.skip(f"Chromium does not start here: {error.message.splitlines()[0]}")
        yield started
        started.close()
