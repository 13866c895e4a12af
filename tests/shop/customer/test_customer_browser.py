"""The customer's page and the issuing page in a real browser: prices follow the choice, all can use them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_kit import chromium
from playwright.sync_api import Browser, Page, expect
from shop_kit import Member, Shop, make_shop, running
from test_customer import WORDS, finished, issue

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Shop, str, Member, str, str]]:
    """A shop, its address, an advisor, a walk-around, and the path of the customer's link."""
    shop = make_shop(tmp_path_factory.mktemp("shop"), words=WORDS)
    ada = shop.person("advisor", "Ada")
    walk = finished(shop, ada)
    path, _ = issue(shop, ada, walk)
    with running(shop) as address:
        yield shop, address, ada, walk, path


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


def serious(page: Page) -> list[tuple[str, str]]:
    found = Axe().run(page).response["violations"]
    return [(v["id"], v["nodes"][0]["html"][:120]) for v in found if v["impact"] in ("serious", "critical")]


@pytest.mark.parametrize(("width", "height"), [(390, 844), (320, 700), (1440, 900)])
def test_everybody_can_use_them(
    browser: Browser, issued: tuple[Shop, str, Member, str, str], width: int, height: int
) -> None:
    shop, address, ada, walk, path = issued
    context = browser.new_context(viewport={"width": width, "height": height})
    shop.sign_in(context, ada, address)
    page = context.new_page()
    for where in (path, f"/desk/{walk}/issue", "/desk", f"/desk/{walk}/history", "/sign-in"):
        page.goto(address + where)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, where
        assert serious(page) == [], where
    context.close()


def test_the_sum_follows_the_choice(browser: Browser, issued: tuple[Shop, str, Member, str, str]) -> None:
    _, address, _, _, path = issued
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(address + path)
    page.get_by_role("button", name="Send my answer").click()
    expect(page.locator("[data-total]")).to_have_text("")
    yes = page.get_by_role("radio", name="Yes, do it")
    yes.first.check()
    expect(page.locator("[data-total]")).to_contain_text("tax included")
    expect(page.locator("[data-moved]")).to_contain_text("instead of")
    alone = page.locator("[data-total]").inner_text()
    for radio in yes.all():
        radio.check()
    expect(page.locator("[data-moved]")).to_have_text("")
    expect(page.locator("[data-total]")).not_to_have_text(alone)
    whole = page.locator("section .num strong").last.inner_text()
    expect(page.locator("[data-total]")).to_contain_text(whole)
    context.close()


FIRST_ANSWER_IS_READ_LATE = """
const read = Response.prototype.json;
let first = true;
Response.prototype.json = async function () {
  if (first) {
    first = false;
    globalThis.reading = true;
    await new Promise((done) => setTimeout(done, 1500));
    globalThis.late = true;
  }
  return read.call(this);
};
"""


def test_an_answer_that_comes_late_is_no_sum_of_what_was_chosen_since(
    browser: Browser, issued: tuple[Shop, str, Member, str, str]
) -> None:
    _, address, _, _, path = issued
    context = browser.new_context(viewport={"width": 390, "height": 844}, bypass_csp=True)
    context.add_init_script(FIRST_ANSWER_IS_READ_LATE)
    page = context.new_page()
    page.goto(address + path)
    yes = page.get_by_role("radio", name="Yes, do it")
    yes.first.check()
    page.wait_for_function("globalThis.reading")
    for radio in yes.all()[1:]:
        radio.check()
    whole = page.locator("section .num strong").last.inner_text()
    expect(page.locator("[data-total]")).to_contain_text(whole)
    page.wait_for_function("globalThis.late")
    page.wait_for_timeout(300)
    expect(page.locator("[data-total]")).to_contain_text(whole)
    context.close()


def test_it_works_without_a_script(browser: Browser, issued: tuple[Shop, str, Member, str, str]) -> None:
    _, address, _, _, path = issued
    context = browser.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=False)
    page = context.new_page()
    page.goto(address + path)
    for radio in page.get_by_role("radio", name="Not now").all():
        radio.check()
    page.get_by_label("Your name, in place of a signature").fill("Cleo")
    page.get_by_role("button", name="Send my answer").click()
    expect(page.get_by_text("Your answer is kept")).to_be_visible()
    context.close()
