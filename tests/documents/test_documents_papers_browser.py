"""The papers in a real Chromium: nothing wider than a phone, axe content, rows whole in print."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from papers_kit import DRAFTS, papers_named
from playwright.sync_api import Browser, ConsoleMessage, Request

pytestmark = pytest.mark.browser
# Elements that reach outside the window.
CUT_OFF = """() => [...document.querySelectorAll("body *")].filter(e => {
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  if (style.clipPath !== "none" || e.closest(".hidden, thead") || box.width === 0) return false;
  return box.right > innerWidth + 0.5 || box.left < -0.5;
}).map(e => e.tagName + "." + e.className)"""


def keep_url(kept: list[str], request: Request) -> None:
    kept.append(request.url)


def keep_text(kept: list[str], message: ConsoleMessage) -> None:
    kept.append(message.text)


@pytest.mark.parametrize("name", DRAFTS)
def test_nothing_is_wider_than_the_window(browser: Browser, tmp_path: Path, name: str) -> None:
    for kind, pair in papers_named(name).items():
        path = tmp_path / f"{kind}.html"
        path.write_text(pair.html, encoding="utf-8")
        for width in (320, 390, 1280):
            page = browser.new_page(viewport={"width": width, "height": 844})
            asked: list[str] = []
            said: list[str] = []
            page.on("request", partial(keep_url, asked))
            page.on("console", partial(keep_text, said))
            page.goto(path.as_uri())
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (kind, width)
            assert page.evaluate(CUT_OFF) == [], (kind, width)
            assert [url for url in asked if url not in (path.as_uri(), "data:,")] == []
            assert said == []
            page.close()


@pytest.mark.parametrize("name", ["sample", "empty", "all open"])
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing_serious(browser: Browser, tmp_path: Path, name: str, width: int) -> None:
    for kind, pair in papers_named(name).items():
        path = tmp_path / f"{kind}.html"
        path.write_text(pair.html, encoding="utf-8")
        # axe is put into the page as a script, which its own policy would refuse
        context = browser.new_context(viewport={"width": width, "height": 844}, bypass_csp=True)
        page = context.new_page()
        page.goto(path.as_uri())
        found = [
            (fault["id"], fault["impact"], [node["html"][:100] for node in fault["nodes"][:3]])
            for fault in Axe().run(page).response["violations"]
            if fault["impact"] in ("serious", "critical", "moderate")
        ]
        assert found == [], kind
        context.close()
