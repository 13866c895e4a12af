"""The owner's pages in a real browser: words learned by clicks, readable by everybody, narrow and wide."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_kit import PLAYS_BY_ITSELF, chromium
from owner_kit import UNPLACED, WORDS, OwnShop, correct, own_shop
from playwright.sync_api import Page, expect
from shop_kit import drafted, running, silence

from voicecheck.resources import shared_dir
from voicecheck.store import walkarounds, workers

pytestmark = pytest.mark.browser
PICTURES = os.environ.get("VOICECHECK_PICTURES")  # a folder: the pages are kept there as pictures
PATHS = ("data", "data/prices", "data/catalogue", "words", "keeping", "machine")


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OwnShop]:
    made = own_shop(tmp_path_factory.mktemp("shop"), words=f"{UNPLACED} {WORDS}")
    shop, services = made.shop, made.shop.services
    walk = drafted(shop, shop.person("technician"), title="green coupe", recording=silence(30))
    drafted(shop, shop.person("technician"), title="blue van", recording=silence(30))
    correct(shop, walk, words="snubber ring", component="sway_bar_bushing")
    (made.folder / "shop.yaml").write_text((shared_dir() / "shop.us.yaml").read_text())
    with services.database.session() as session:
        workers.begin(session, executor="bay", host="bay-pc", now=shop.clock())
        lost = walkarounds.create(session, now=shop.clock(), market="US", technician=None, title="red truck")
        walkarounds.set_state(
            session, id=lost.id, to="failed", now=shop.clock(), trouble="The file is no recording."
        )
    yield made
    services.database.close()


@pytest.fixture(scope="module")
def open_page(own: OwnShop) -> Iterator[object]:
    with running(own.shop) as address, chromium(PLAYS_BY_ITSELF) as browser:

        def opened(path: str, *, width: int = 1440, height: int = 900) -> Page:
            context = browser.new_context(viewport={"width": width, "height": height})
            own.shop.sign_in(context, own.owner, address)
            page = context.new_page()
            page.goto(f"{address}/owner/{path}")
            return page

        yield opened


def looked_at(page: Page, name: str) -> None:
    """No fault that axe knows, nothing wider than the window."""
    found = Axe().run(page).response["violations"]
    assert not found, [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found]
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, f"{name} is {wide} px wider than the window"
    if PICTURES:
        page.screenshot(path=str(Path(PICTURES) / f"{name}.png"), full_page=True)


@pytest.mark.parametrize("size", [(390, 844), (1440, 900)], ids=["phone", "desk"])
@pytest.mark.parametrize("path", PATHS)
def test_every_page_is_readable(open_page: object, path: str, size: tuple[int, int]) -> None:
    page: Page = open_page(path, width=size[0], height=size[1])  # type: ignore[operator]
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    looked_at(page, f"{path.replace('/', '-')}-{size[0]}")


def test_a_fault_is_told_where_it_is_and_the_text_stays(open_page: object) -> None:
    page: Page = open_page("data/policies", width=390, height=844)  # type: ignore[operator]
    page.get_by_label("The file").fill("near_limit_percent: many\n")
    page.get_by_role("button", name="Check and save").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing was saved")
    expect(page.get_by_label("The file")).to_have_value(re.compile("near_limit_percent: many"))
    looked_at(page, "fault-390")


def test_a_table_is_looked_at(open_page: object, tmp_path: Path) -> None:
    page: Page = open_page("data", width=390, height=844)  # type: ignore[operator]
    table = tmp_path / "ours.csv"
    table.write_text("Job no,Description,Part group,Work,Hours\n101,Front brake pads,Brake pads,R&R,1.2\n")
    page.get_by_label(re.compile("^Table")).set_input_files(table)
    page.get_by_role("button", name="Look at it first").click()
    expect(page.get_by_role("status")).to_contain_text("a mapping to start from")
    looked_at(page, "table-390")
    page.get_by_role("button", name="Look at it with this mapping").click()
    expect(page.get_by_role("alert")).to_be_visible()  # what stands there as ??? is not filled in yet
    looked_at(page, "table-faults-390")


def test_words_are_learned_by_clicks(own: OwnShop, open_page: object) -> None:
    page: Page = open_page("words")  # type: ignore[operator]
    card = page.locator(".suggestions > li", has_text="snubber ring").first
    card.get_by_role("checkbox").check()
    page.get_by_role("button", name="What would change?").click()
    expect(page.get_by_role("button", name="Adopt")).to_be_visible(timeout=60_000)  # reloads by itself
    expect(page.get_by_text("2 of 2")).to_be_visible()
    looked_at(page, "tried-1440")
    page.set_viewport_size({"width": 390, "height": 844})
    looked_at(page, "tried-390")
    page.get_by_role("button", name="Adopt").click()
    expect(page.get_by_role("status").first).to_contain_text("Adopted as version 1")
    looked_at(page, "adopted-390")
    page.get_by_role("link", name="1", exact=True).click()
    expect(page.locator("ins", has_text="snubber ring")).to_be_visible()
    looked_at(page, "version-390")
    assert "snubber ring" in (own.folder / "lexicon/components/suspension.csv").read_text()
