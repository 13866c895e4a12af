"""From the phone at the lift to the customer's yes, as people do it: browser, microphone, recogniser."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_kit import chromium, hears
from playwright.sync_api import Browser, Page, ViewportSize, expect
from shop_kit import Shop, make_shop, running

from voicecheck.shop import bench as benches
from voicecheck.shop import issuing
from voicecheck.speech import SpeechSettings
from voicecheck.speech.whisper import WhisperRecogniser
from voicecheck.store import papers

pytestmark = [pytest.mark.browser, pytest.mark.audio]
SAMPLE = Path(__file__).resolve().parents[2] / "samples_synthetic" / "tune" / "clean-bill-crossover.slt.opus"
PHONE: ViewportSize = {"width": 390, "height": 844}
DESK: ViewportSize = {"width": 1440, "height": 900}
SPOKEN = 25  # seconds that are recorded


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with chromium(*hears(SAMPLE, tmp_path_factory.mktemp("voice"))) as started:
        yield started


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[tuple[Shop, str]]:
    """A shop with the real queue and the real recogniser."""
    made = make_shop(tmp_path, work="durable", recogniser=lambda: WhisperRecogniser(SpeechSettings()))
    with running(made) as address:
        yield made, address
    made.services.database.close()


def until_changed(page: Page, seq: str | None) -> None:
    end = time.monotonic() + 20
    while page.locator("#bench").get_attribute("data-seq") == seq:
        assert time.monotonic() < end, "the decision was not taken"
        page.wait_for_timeout(40)


def test_recorded_drafted_settled_issued_agreed(browser: Browser, shop: tuple[Shop, str]) -> None:
    made, address = shop
    phone = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    made.sign_in(phone, made.person("technician", "Tess Rowe"), address)
    lift = phone.new_page()
    lift.goto(f"{address}/t/begin")
    lift.locator("input[name=title]").fill("2019 silver crossover")
    lift.get_by_role("button", name="Go on").tap()
    lift.get_by_role("button", name="Start recording").tap()
    expect(lift.locator("#timer")).to_have_text(re.compile(f"0:{SPOKEN}|0:2[6-9]"), timeout=120_000)
    lift.get_by_role("button", name="Stop").tap()
    lift.get_by_role("button", name="That is all").tap()
    lift.wait_for_selector("#understood", timeout=120_000)
    found = re.search(r"/walkarounds/([0-9a-f]{32})", lift.url)
    assert found is not None
    walk = found[1]
    # shown to the technician as soon as it is drafted, without loading the page again
    expect(lift.get_by_role("heading", name="Horn")).to_be_visible(timeout=180_000)
    phone.close()

    desk = browser.new_context(viewport=DESK)
    made.sign_in(desk, made.person("advisor", "Ada Moss"), address)
    page = desk.new_page()
    page.goto(f"{address}/desk")
    page.get_by_role("link", name="2019 silver crossover").click()
    expect(page.locator(".talk .spoken").first).to_be_visible(timeout=60_000)
    words = " ".join(page.locator(".talk .spoken").all_inner_texts()).lower()
    assert "lights" in words
    # one thing to write down by hand, so that there is certainly something to agree to
    page.locator("[data-say]").fill("left front outer tie rod end has play, replace it")
    seq = page.locator("#bench").get_attribute("data-seq")
    page.locator("[data-say]").press("Enter")
    until_changed(page, seq)
    for _ in range(60):
        top = benches.look(made.services, walk).top
        assert top is not None
        if not top.hindrances:
            break
        seq = page.locator("#bench").get_attribute("data-seq")
        choices = page.locator(".ask .choices button")
        answers = page.locator(".ask details")
        if choices.count():
            # What was typed by hand is meant.
            said = choices.filter(has_text=re.compile(r"^\d*\s*Yes$", re.IGNORECASE))
            (said.first if said.count() else choices.last).click()
        elif answers.count():
            answers.first.locator("summary").click()
            answers.first.locator("input[name=text]").fill("asked the technician")
            answers.first.get_by_role("button").click()
        else:
            page.locator("[data-confirm]").first.click()
        until_changed(page, seq)
    page.locator(".bar").get_by_role("link", name="Issue it").click()
    for label, text in {"Name": "Cleo Customer", "Phone": "555-0100"}.items():
        page.get_by_role("group", name="Customer").get_by_label(label, exact=True).fill(text)
    vehicle = page.get_by_role("group", name="Vehicle")
    vehicle.get_by_label("Make", exact=True).fill("Sample")
    vehicle.get_by_label("Plate").fill("VAN 123")
    page.get_by_role("button", name="Keep this").click()
    page.get_by_role("button", name="Issue version 1").click()
    link = page.locator(".link a").inner_text()
    desk.close()

    home = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    customer = home.new_page()
    customer.goto(link)
    for card in customer.locator("input[value=yes]").all():
        card.check()
    with made.services.database.reading() as session:
        (issued,) = papers.versions(session, walkaround=walk)
    total = issuing.estimate_of(issued).totals.total
    expect(customer.locator("[data-total]")).to_contain_text(f"${total:,.2f}", timeout=30_000)
    customer.get_by_label("Your name, in place of a signature").fill("Cleo Customer")
    customer.get_by_role("button", name="Send my answer").tap()
    expect(customer.get_by_text("Your answer is kept")).to_be_visible()
    home.close()

    with made.services.database.reading() as session:
        (consent,) = papers.consents(session, walkaround=walk)
    assert consent.fingerprint == issued.fingerprint
    assert consent.amount == issued.total == int(total * 100)
    assert set(issuing.standing_of(made.services, walk).agreed) == {
        j.id for j in issuing.estimate_of(issued).jobs if not j.put_off
    }
