"""The page in a real Chromium: widths, contrast, silence on the network, print."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader
from sample_draft import empty_draft, sample_draft, uk_draft

from voicecheck.documents import to_html
from voicecheck.documents.plain import hours_text, line_title, money, money_or_open, quantity_text
from voicecheck.records import Draft

pytestmark = pytest.mark.browser

# The contrast of every text node's colour with the first background behind it (WCAG 2.1 formula).
CONTRAST = """() => {
  const rgb = c => c.match(/[\\d.]+/g).map(Number);
  const lum = ([r, g, b]) => [r, g, b].map(v => v / 255)
    .map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const behind = e => {
    for (; e; e = e.parentElement) {
      const c = rgb(getComputedStyle(e).backgroundColor);
      if (c[3] !== 0) return c;
    }
    return [255, 255, 255];
  };
  const out = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const node = walk.currentNode, e = node.parentElement;
    if (!node.data.trim()) continue;
    const a = lum(rgb(getComputedStyle(e).color)), b = lum(behind(e));
    out.push([node.data.trim().slice(0, 40), (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)]);
  }
  return out;
}"""
# Elements that reach outside the window or hide part of their own text.
CUT_OFF = """() => [...document.querySelectorAll("body *")].filter(e => {
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  if (style.clipPath !== "none" || e.closest("caption, thead") || box.width === 0) return false;
  return box.right > innerWidth + 0.5 || box.left < -0.5;
}).map(e => e.tagName + "." + e.className)"""


def save(draft: Draft, folder: Path) -> str:
    path = folder / "draft.html"
    path.write_text(to_html(draft), encoding="utf-8")
    return path.as_uri()


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
@pytest.mark.parametrize("make", [sample_draft, uk_draft, empty_draft])
def test_nothing_overflows_and_nothing_is_fetched(
    browser: Browser, tmp_path: Path, make: object, width: int
) -> None:
    assert callable(make)
    address = save(make(), tmp_path)
    page = browser.new_page(viewport={"width": width, "height": 844})
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert page.evaluate(CUT_OFF) == []
    assert said == []
    assert [url for url in asked if url not in (address, "data:,")] == []
    page.close()


@pytest.mark.parametrize("width", [390, 1280])
def test_contrast_of_all_text(browser: Browser, tmp_path: Path, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 844})
    page.goto(save(sample_draft(), tmp_path))
    measured = page.evaluate(CONTRAST)
    assert len(measured) > 300
    assert [(text, ratio) for text, ratio in measured if ratio < 4.5] == []
    page.close()


def test_columns_of_numbers_line_up_over_all_jobs(browser: Browser, tmp_path: Path) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 844})
    page.goto(save(sample_draft(), tmp_path))
    edges = page.evaluate(
        "[...document.querySelectorAll('.line')].map(r => [...r.querySelectorAll('td')]"
        ".map(c => Math.round(c.getBoundingClientRect().right)).join())"
    )
    assert len(edges) > 10
    assert len(set(edges)) == 1
    page.close()


def test_a_link_to_a_word_shows_that_word(browser: Browser, tmp_path: Path) -> None:
    draft = sample_draft()
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(save(draft, tmp_path))
    span = draft.findings[6].heard[0]
    page.locator(f'.job a[href="#w{span.first}"]').first.click()
    assert page.evaluate("location.hash") == f"#w{span.first}"
    box = page.locator(f"#w{span.first}").bounding_box()
    assert box is not None
    assert 0 <= box["y"] <= 844
    page.close()


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_print_has_every_line_whole(
    browser: Browser, tmp_path: Path, paper: str, points: tuple[int, int]
) -> None:
    draft = sample_draft()
    path = tmp_path / "draft.html"
    path.write_text(to_html(draft, paper="A4" if paper == "A4" else "Letter"), encoding="utf-8")
    page = browser.new_page()
    page.goto(path.as_uri())
    pdf = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
    page.close()
    size = pdf.pages[0].mediabox
    assert (round(float(size.width)), round(float(size.height))) == pytest.approx(points, abs=1)
    sheets = [" ".join(sheet.extract_text().split()) for sheet in pdf.pages]
    for job in draft.estimate.jobs:
        assert any(job.title in sheet for sheet in sheets)
        for line in job.lines:
            currency, market = draft.estimate.currency, draft.market
            figures = [
                quantity_text(line),
                hours_text(line.hours) if line.hours is not None else "not known" * (line.kind == "labour"),
                "not known" if line.unit_price is None else money(line.unit_price, currency, market),
                money_or_open(line.amount, currency, market),
            ]
            # title and figures on one sheet, with no other line between them: the row is whole
            tail = re.escape(" ".join(filter(None, figures)))
            row = re.compile(rf"{re.escape(line_title(line))} (?:(?!(?:Labor|Part|Fluid|Sublet) ).)*?{tail}")
            assert any(row.search(sheet) for sheet in sheets), line_title(line)
    for number, sheet in enumerate(sheets, start=1):
        assert f"Page {number} of {len(sheets)}" in sheet
    whole = " ".join(sheets)
    for word in draft.transcript.words:
        assert word.read in whole


def test_rows_stay_whole_wherever_the_sheet_ends(browser: Browser, tmp_path: Path) -> None:
    """The page is pushed down step by step, so that ends of sheets fall on all kinds of rows."""
    draft = sample_draft()
    lines = [line for job in draft.estimate.jobs for line in job.lines]
    page = browser.new_page()
    page.goto(save(draft, tmp_path))
    for shift in range(0, 230, 18):
        page.evaluate(f"document.body.style.paddingTop = '{shift}mm'")
        for sheet in PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages:
            text = sheet.extract_text()
            body = " ".join(re.sub(r"Page \d+ of \d+|Draft estimate for the advisor", "", text).split())
            assert not re.search(r"(Unit price Amount|Time Words Led to)$", body), (
                f"header alone at {shift} mm"
            )
            for line in lines:
                if line.arithmetic and line.kind == "labour":  # the first and the last part of the row
                    begins = f"{line_title(line)} {line.arithmetic}" in body
                    assert begins == (f"{line.arithmetic} Catalog {line.catalogue}" in body), f"{shift} mm"
            assert not re.search(r"advice: (?:replace|adjust|install|top up)[\w ]*$", body), (
                f"words without their lines at {shift} mm"
            )
    page.close()
