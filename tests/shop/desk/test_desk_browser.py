"""The desk in a real browser: by keys, with the sound, two people at once, and readable by everybody."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_kit import PLAYS_BY_ITSELF, chromium
from playwright.sync_api import Page, expect
from shop_kit import Shop, drafted, make_shop, running, silence

from voicecheck.shop import bench as benches

pytestmark = pytest.mark.browser

WORDS = (
    "Left front outer tie rod end has play, replace it. Cabin filter is dirty, replace the cabin filter. "
    "Serpentine belt is cracked, replace the serpentine belt. Water pump is leaking, replace the water pump. "
    "Battery failed the test, replace the battery. Wiper blades are torn, replace the wiper blades. "
    "Engine air filter is dirty, replace the engine air filter. Oil pan is dry."
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return make_shop(tmp_path_factory.mktemp("shop"), words=WORDS)


@pytest.fixture(scope="module")
def address(shop: Shop) -> Iterator[str]:
    with running(shop) as found:
        yield found


@pytest.fixture(scope="module")
def pages(shop: Shop, address: str) -> Iterator[object]:
    with chromium(PLAYS_BY_ITSELF) as browser:

        def open_page(walk: str, name: str = "Ada", *, width: int = 1440, height: int = 900) -> Page:
            context = browser.new_context(viewport={"width": width, "height": height})
            shop.sign_in(context, shop.person("advisor", name), address)
            page = context.new_page()
            page.goto(f"{address}/desk/{walk}")
            return page

        yield open_page


@pytest.fixture
def walk(shop: Shop) -> str:
    return drafted(shop, shop.person("technician"), recording=silence(40))


def until(page: Page, expression: str, *, seconds: float = 10.0) -> None:
    """Waits for a JavaScript expression; playwright's own way needs eval, which the pages forbid."""
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"never came true: {expression}"
        page.wait_for_timeout(40)


def test_a_draft_is_confirmed_with_few_keys(shop: Shop, pages: object, walk: str) -> None:
    """Answering every question with its first answer and confirming every line: one key each."""
    page: Page = pages(walk)  # type: ignore[operator]
    presses = 0
    for _ in range(60):
        bench = benches.look(shop.services, walk)
        assert bench.top is not None
        if not bench.top.summary.open_asks and not bench.top.summary.unconfirmed:
            break
        seq = bench.row.seq
        kind = page.evaluate("document.activeElement.closest('.item')?.dataset.item ?? ''")
        if kind == "line":
            page.keyboard.press("Enter")
        elif kind in ("ask", "unplaced"):
            last = page.locator(".item:focus [data-choice]").last.get_attribute("data-choice")
            page.keyboard.press(last or "1")
        else:
            page.keyboard.press("ArrowDown")
            presses += 1
            continue
        presses += 1
        until(page, f"Number(document.getElementById('bench').dataset.seq) > {seq}")
    top = benches.look(shop.services, walk).top
    assert top is not None
    assert top.summary.unconfirmed == 0
    assert len(top.lines) >= 10
    assert presses <= len(top.lines) + len(top.asks) + 2
    print(f"{len(top.lines)} lines and {len(top.asks)} questions took {presses} keys")


def test_space_plays_the_words_of_the_line(pages: object, walk: str) -> None:
    page: Page = pages(walk)  # type: ignore[operator]
    page.locator(".line.item").first.focus()
    page.keyboard.press("Space")
    until(page, "!document.querySelector('.player audio').paused")
    assert page.evaluate("document.querySelector('.player audio').src").endswith("/sound.wav")
    expect(page.locator(".talk.shown")).not_to_have_count(0)


def test_clicking_a_line_plays_its_words(pages: object, walk: str) -> None:
    page: Page = pages(walk)  # type: ignore[operator]
    page.locator(".line .what").nth(2).click()
    until(page, "!document.querySelector('.player audio').paused", seconds=8)
    expect(page.locator(".talk.shown")).not_to_have_count(0)


def test_clicking_words_starts_at_their_second(pages: object, walk: str) -> None:
    page: Page = pages(walk)  # type: ignore[operator]
    button = page.locator(".talk [data-play]").nth(3)
    start = float(button.get_attribute("data-from") or "0")
    button.click()
    until(page, "!document.querySelector('.player audio').paused")
    now = page.evaluate("document.querySelector('.player audio').currentTime")
    assert start - 0.3 <= now <= start + 2.0


def test_somebody_elses_change_is_told_and_nothing_is_overwritten(
    shop: Shop, pages: object, walk: str
) -> None:
    ada: Page = pages(walk, "Ada")  # type: ignore[operator]
    bob: Page = pages(walk, "Bob")  # type: ignore[operator]
    ada.locator(".line.item").first.focus()
    ada.keyboard.press("Enter")
    until(ada, "Number(document.getElementById('bench').dataset.seq) === 1")
    expect(bob.locator("#notice")).to_contain_text("Somebody else has changed this draft", timeout=5000)
    bob.locator("#notice button").click()
    expect(bob.locator(".line.confirmed")).to_have_count(1)


def test_typing_a_line_and_taking_it_back(shop: Shop, pages: object, walk: str) -> None:
    page: Page = pages(walk)  # type: ignore[operator]
    page.locator(".line.item").first.focus()
    page.keyboard.press("a")
    page.keyboard.type("right rear shock is leaking, replace it")
    page.keyboard.press("Enter")
    until(page, "Number(document.getElementById('bench').dataset.seq) === 1")
    expect(page.locator("#bench")).to_contain_text("right rear shock is leaking")
    page.locator(".line.item").first.focus()
    page.keyboard.press("u")
    until(page, "Number(document.getElementById('bench').dataset.seq) === 2")
    expect(page.locator("#bench")).not_to_contain_text("right rear shock is leaking")


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844), (320, 700)])
def test_readable_by_everybody(pages: object, walk: str, width: int, height: int) -> None:
    page: Page = pages(walk, width=width, height=height)  # type: ignore[operator]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    found = Axe().run(page).response["violations"]
    serious = [
        (v["id"], v["nodes"][0]["html"][:120]) for v in found if v["impact"] in ("serious", "critical")
    ]
    assert serious == []
