"""The pages at the lift in a real Chromium with a made-up microphone: what was recorded arrives."""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser_kit import PLAYS_BY_ITSELF, chromium, hears
from playwright.sync_api import Browser, BrowserContext, Dialog, Page, Route, expect
from shop_kit import Member, Shop, drafted, make_shop, running, silence
from technician_kit import begin, cut, photo, put, recording
from technician_kit import take as begin_take

from voicecheck.recording import read_sound
from voicecheck.store import recordings, walkarounds
from voicecheck.store.tables import Photo, Take, Walkaround

pytestmark = pytest.mark.browser
SAMPLE = Path(__file__).resolve().parents[3] / "samples_synthetic" / "tune" / "clean-bill-crossover.slt.opus"
PHONE = {"width": 390, "height": 844}
WORDS = (
    "The ball joint has play, replace it. Rear brake pads are at three mil, replace soon. The belt is fine."
)
PART = 5.0  # seconds: the last part that was not full yet may be lost with the page
SHORT = 0.7  # seconds that the phone's clock may be ahead of the sound


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A Chromium whose microphone hears a sample recording, over and over."""
    microphone = hears(SAMPLE, tmp_path_factory.mktemp("voice"))
    # lift.test: a name that is no secure place without https
    with chromium(*microphone, PLAYS_BY_ITSELF, "--host-resolver-rules=MAP lift.test 127.0.0.1") as started:
        expect.set_options(timeout=20_000)  # a machine with two cores has more to do than this
        yield started
        expect.set_options(timeout=5_000)


@pytest.fixture
def place(tmp_path: Path) -> Iterator[tuple[Shop, str]]:
    """A shop that drafts at once, and its address."""
    shop = make_shop(tmp_path, words=WORDS)
    with running(shop) as address:
        yield shop, address
    shop.services.database.close()


def phone(browser: Browser, shop: Shop, address: str, member: Member) -> BrowserContext:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    context.set_default_timeout(20_000)
    shop.sign_in(context, member, address)
    return context


def hand_in_a_file(page: Page) -> None:
    """A short recording that was made elsewhere."""
    page.locator("input.hidden[data-recording]").nth(1).set_input_files(
        {"name": "walk.wav", "mimeType": "audio/wav", "buffer": silence(3)}
    )


def opened(context: BrowserContext, address: str) -> Page:
    """The page at ``address``; faults of its scripts fail the test when it is closed."""
    page = context.new_page()
    page.on("dialog", _go)
    page.goto(address)
    return page


def _go(dialog: Dialog) -> None:
    dialog.accept()


def at_a_vehicle(context: BrowserContext, address: str) -> tuple[Page, str]:
    """The recording page of a new vehicle, and the id of its walk-around."""
    page = opened(context, f"{address}/t/begin")
    page.locator("input[name=title]").fill("2014 blue van")
    page.get_by_role("button", name="Go on").tap()
    page.wait_for_selector("#record-page[data-begun]")
    found = re.search(r"/walkarounds/([0-9a-f]{32})/record", page.url)
    assert found is not None
    return page, found[1]


def recorded(page: Page, seconds: int) -> None:
    """Waits until the timer says at least ``seconds`` (and less than ten more)."""
    times = "|".join(f"0:{second:02d}" for second in range(seconds, seconds + 10))
    expect(page.locator("#timer")).to_have_text(re.compile(times), timeout=30_000)


def takes_of(shop: Shop, walkaround: str) -> list[Take]:
    with shop.services.database.reading() as session:
        return recordings.takes(session, walkaround=walkaround)


def heard_seconds(shop: Shop, take: Take) -> float:
    """How much sound of a take can be decoded, apart from what the work found."""
    assert take.media is not None
    with shop.services.media.as_file(take.media, name="take") as path:
        return read_sound(path).seconds


# -- recording -----------------------------------------------------------------------------------------------


def test_twenty_seconds_survive_a_lost_connection_and_a_reload(
    browser: Browser, place: tuple[Shop, str]
) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person(name="Tess Rowe"))
    page, walkaround = at_a_vehicle(context, address)
    assert "secure" in page.locator("#why").inner_text()
    page.get_by_role("button", name="Start recording").tap()
    expect(page.locator("#safe")).to_contain_text("Safe in the shop up to 0:0")
    expect(page.locator("#level-words")).to_have_text("Your voice is heard.")

    context.set_offline(True)
    page.locator("#photo-now").set_input_files(
        {"name": "joint.jpg", "mimeType": "image/jpeg", "buffer": photo(located=True)}
    )
    expect(page.locator("#safe")).to_contain_text(
        re.compile(r"Still on this phone only: \d parts?, \d+ s and 1 photo")
    )
    expect(page.locator("#safe")).to_contain_text("No connection to the shop")
    recorded(page, 12)
    before = page.locator("#timer").inner_text()

    context.set_offline(False)
    page.reload()
    page.wait_for_selector("#record-page[data-begun]")
    expect(page.locator("#stopped-words")).to_contain_text("The recording stopped at 0:1")
    expect(page.locator("#safe")).to_contain_text("All that was recorded is safe in the shop.")
    page.get_by_role("button", name="Go on in a new take").tap()
    recorded(page, 8)
    page.get_by_role("button", name="Stop").tap()
    expect(page.locator("#take-list li")).to_have_count(2)
    page.get_by_role("button", name="That is all").tap()
    page.wait_for_selector("#understood")

    takes = takes_of(shop, walkaround)
    assert [take.complete is not None for take in takes] == [True, True]
    said = [int(before.split(":")[1]) - PART, 8]
    for row, least in zip(takes, said, strict=True):
        assert row.seconds_claimed is not None
        assert heard_seconds(shop, row) >= row.seconds_claimed - SHORT
        assert heard_seconds(shop, row) >= least - SHORT
    with shop.services.database.reading() as session:
        (picture,) = recordings.photos(session, walkaround=walkaround)
    assert picture.take == takes[0].id
    assert picture.at is not None
    assert 0 < picture.at < 12
    assert shop.submitted == [walkaround]
    context.close()


def test_a_phone_that_dies_in_the_middle_gives_what_it_had(browser: Browser, place: tuple[Shop, str]) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    page, walkaround = at_a_vehicle(context, address)
    page.get_by_role("button", name="Start recording").tap()
    recorded(page, 1)
    context.set_offline(True)
    recorded(page, 7)
    page.close(run_before_unload=False)

    context.set_offline(False)
    home = opened(context, f"{address}/t")
    home.locator("#on-phone a").tap()
    expect(home.locator("#stopped-words")).to_contain_text(re.compile(r"stopped at 0:0[5-9]"))
    home.get_by_role("button", name="Send it as it is").tap()
    home.get_by_role("button", name="That is all").tap()
    home.wait_for_selector("#understood")
    (take,) = takes_of(shop, walkaround)
    assert take.complete is not None
    assert heard_seconds(shop, take) >= 5 - SHORT
    context.close()


def test_a_session_that_runs_out_while_recording_loses_nothing(
    browser: Browser, place: tuple[Shop, str]
) -> None:
    shop, address = place
    tess = shop.person()
    context = phone(browser, shop, address, tess)
    page, walkaround = at_a_vehicle(context, address)
    page.get_by_role("button", name="Start recording").tap()
    expect(page.locator("#safe")).to_contain_text("Safe in the shop up to 0:0")
    shop.clock.forward(hours=13)
    expect(page.locator("#safe")).to_contain_text("Sign in again to send it; what is on this phone stays.")
    assert page.locator("#recording").is_visible()
    page.get_by_role("button", name="Stop").tap()
    page.get_by_role("button", name="That is all").tap()
    expect(page.get_by_role("link", name="Sign in again")).to_be_visible()
    shop.sign_in(context, shop.again(tess), address)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")  # back from the other tab
    page.wait_for_selector("#understood")
    (take,) = takes_of(shop, walkaround)
    assert take.seconds_claimed is not None
    assert heard_seconds(shop, take) >= take.seconds_claimed - SHORT
    context.close()


def test_signed_in_again_while_an_answer_is_still_on_its_way(
    browser: Browser, place: tuple[Shop, str]
) -> None:
    """The old session is refused after the new sign-in: sent again at once, not in half a minute."""
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    page, walkaround = at_a_vehicle(context, address)
    held: list[Route] = []
    page.route("**/takes", lambda route: held.append(route) if not held else route.continue_())
    hand_in_a_file(page)
    page.get_by_role("button", name="That is all").tap()
    page.wait_for_timeout(300)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    (refused,) = held
    refused.fulfill(status=401, json={"message": "Sign in again."})
    page.wait_for_selector("#understood", timeout=15_000)
    assert shop.submitted == [walkaround]
    context.close()


def test_somebody_else_on_the_same_phone_sends_nothing_of_it(
    browser: Browser, place: tuple[Shop, str]
) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person(name="Tess Rowe"))
    page, walkaround = at_a_vehicle(context, address)
    context.set_offline(True)
    hand_in_a_file(page)
    expect(page.locator("#safe")).to_contain_text("Still on this phone only")
    page.close(run_before_unload=False)
    context.set_offline(False)
    shop.sign_in(context, shop.person(name="Ben Oyelaran"), address)
    home = opened(context, f"{address}/t")
    expect(home.locator("#safe")).to_contain_text("sent as soon as Tess Rowe signs in on this phone")
    assert takes_of(shop, walkaround) == []
    context.close()


def test_a_microphone_that_is_taken_away_leaves_what_was_recorded(
    browser: Browser, place: tuple[Shop, str]
) -> None:
    """A call comes in, or the phone ends the recording by itself; here with the picture as well."""
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    context.add_init_script(
        """const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
        navigator.mediaDevices.getUserMedia = async (want) => {
          globalThis.handed = await ask(want);
          return globalThis.handed;
        };"""
    )
    page, walkaround = at_a_vehicle(context, address)
    page.get_by_text("With video").tap()
    page.get_by_role("button", name="Start recording").tap()
    recorded(page, 3)
    assert page.locator("#preview").is_visible()
    page.evaluate("handed.getTracks().forEach(track => track.stop())")
    expect(page.locator("#stopped-words")).to_contain_text(re.compile(r"stopped at 0:0[3-6]"))
    page.get_by_role("button", name="Send it as it is").tap()
    page.get_by_role("button", name="That is all").tap()
    page.wait_for_selector("#understood")
    (take,) = takes_of(shop, walkaround)
    assert take.kind.startswith("video/")
    assert heard_seconds(shop, take) >= 3 - SHORT
    context.close()


def test_a_page_that_the_phone_puts_to_sleep_goes_on_recording(
    browser: Browser, place: tuple[Shop, str]
) -> None:
    """A locked screen: the page's scripts stand still, the recorder does not."""
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    page, walkaround = at_a_vehicle(context, address)
    page.get_by_role("button", name="Start recording").tap()
    recorded(page, 2)
    devtools = context.new_cdp_session(page)
    devtools.send("Page.setWebLifecycleState", {"state": "frozen"})
    time.sleep(6)
    devtools.send("Page.setWebLifecycleState", {"state": "active"})
    recorded(page, 8)
    page.get_by_role("button", name="Stop").tap()
    page.get_by_role("button", name="That is all").tap()
    page.wait_for_selector("#understood")
    (take,) = takes_of(shop, walkaround)
    assert heard_seconds(shop, take) >= 8 - SHORT
    context.close()


def test_a_full_phone_waits_for_room_and_loses_nothing(browser: Browser, place: tuple[Shop, str]) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    context.add_init_script(
        """const put = IDBObjectStore.prototype.put;
        globalThis.refusals = 0;
        IDBObjectStore.prototype.put = function (value) {
          if (this.name === "bytes" && globalThis.full && refusals < 3) {
            refusals += 1;
            throw new DOMException("full", "QuotaExceededError");
          }
          return put.call(this, value);
        };"""
    )
    page, walkaround = at_a_vehicle(context, address)
    page.get_by_role("button", name="Start recording").tap()
    recorded(page, 2)
    page.evaluate("() => { globalThis.full = true; }")
    recorded(page, 7)
    assert page.evaluate("refusals") == 3
    page.get_by_role("button", name="Stop").tap()
    page.get_by_role("button", name="That is all").tap()
    page.wait_for_selector("#understood")
    (take,) = takes_of(shop, walkaround)
    assert heard_seconds(shop, take) >= 7 - SHORT
    context.close()


def test_a_microphone_that_is_not_allowed_leads_to_the_phones_own_recorder(
    browser: Browser, place: tuple[Shop, str]
) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    context.add_init_script(
        """navigator.mediaDevices.getUserMedia = async () => {
          throw new DOMException("no", "NotAllowedError");
        };"""
    )
    page, walkaround = at_a_vehicle(context, address)
    page.get_by_role("button", name="Start recording").tap()
    expect(page.locator("#notice")).to_contain_text("The microphone is not allowed for this page.")
    page.locator("input[accept='audio/*,video/*']").set_input_files(
        {"name": "memo.wav", "mimeType": "audio/wav", "buffer": silence(3)}
    )
    expect(page.locator("#take-list li")).to_contain_text("safe in the shop")
    assert [take.name for take in takes_of(shop, walkaround)] == ["memo.wav"]
    context.close()


# -- the phone's own camera or recorder ----------------------------------------------------------------------


def test_without_https_a_chosen_file_goes_in_parts_over_a_bad_connection(
    browser: Browser, place: tuple[Shop, str], tmp_path: Path
) -> None:
    shop, address = place
    address = address.replace("127.0.0.1", "lift.test")
    context = phone(browser, shop, address, shop.person())
    failed: list[str] = []

    def lose_one(route: object) -> None:
        if len(failed) < 1 and route.request.url.endswith("/parts/1"):  # type: ignore[attr-defined]
            failed.append(route.request.url)  # type: ignore[attr-defined]
            route.abort("connectionreset")  # type: ignore[attr-defined]
        else:
            route.continue_()  # type: ignore[attr-defined]

    context.route("**/parts/*", lose_one)
    page, walkaround = at_a_vehicle(context, address)
    assert page.evaluate("isSecureContext") is False
    assert "no secure connection (https)" in page.locator("#why").inner_text()
    assert page.get_by_role("button", name="Start recording").count() == 0
    assert page.locator("input[capture][accept='video/*']").count() == 1
    assert page.locator("input[accept='audio/*,video/*']").count() == 1
    content = silence(400)  # 6.4 MB: four parts
    page.locator("input[accept='audio/*,video/*']").set_input_files(
        {"name": "lift 3.wav", "mimeType": "audio/wav", "buffer": content}
    )
    expect(page.locator("#take-list li")).to_contain_text("safe in the shop", timeout=60_000)
    assert failed
    page.get_by_role("button", name="That is all").tap()
    page.wait_for_selector("#understood", timeout=60_000)
    (take,) = takes_of(shop, walkaround)
    assert take.parts_expected == 4
    assert take.media == hashlib.sha256(content).hexdigest()
    context.close()


def test_a_file_half_taken_over_goes_on_when_chosen_again(
    browser: Browser, place: tuple[Shop, str], tmp_path: Path
) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    film = tmp_path / "film.wav"
    film.write_bytes(silence(400))
    page, walkaround = at_a_vehicle(context, address)
    page.evaluate(
        """() => {
          const read = Blob.prototype.arrayBuffer;
          let parts = 0;
          Blob.prototype.arrayBuffer = function () {
            parts += 1;
            return parts > 2 ? new Promise(() => {}) : read.call(this);
          };
        }"""
    )
    page.locator("input[accept='audio/*,video/*']").set_input_files(film)
    expect(page.locator("#take-list li")).to_contain_text("safe in the shop up to here")
    assert page.get_by_role("button", name="That is all").count() == 0
    page.reload()
    expect(page.locator("#half-copied-words")).to_contain_text(
        "“film.wav” was taken over up to 4.2 MB of 6.4 MB"
    )
    page.locator("input[accept='audio/*,video/*']").set_input_files(film)
    expect(page.locator("#take-list li")).to_contain_text("safe in the shop")
    page.get_by_role("button", name="That is all").tap()
    page.wait_for_selector("#understood")
    (take,) = takes_of(shop, walkaround)
    assert take.media == hashlib.sha256(film.read_bytes()).hexdigest()
    context.close()


def test_a_file_that_is_no_recording_is_refused_in_words(browser: Browser, place: tuple[Shop, str]) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    page, _ = at_a_vehicle(context, address)
    choose = page.locator("input[accept='audio/*,video/*']")
    choose.set_input_files({"name": "list.pdf", "mimeType": "application/pdf", "buffer": b"%PDF-1.7"})
    expect(page.locator("#notice")).to_contain_text("list.pdf is neither sound nor video.")
    choose.set_input_files({"name": "sham.webm", "mimeType": "video/webm", "buffer": b"%PDF-1.7 sham"})
    expect(page.locator("#safe")).to_contain_text("neither a sound nor a video file that can be read")
    page.get_by_role("button", name="Remove").tap()
    expect(page.locator("#take-list li")).to_have_count(0)
    context.close()


def test_what_another_phone_has_begun_is_said_and_can_be_used(
    browser: Browser, place: tuple[Shop, str], tmp_path: Path
) -> None:
    shop, address = place
    tess = shop.person()
    lost = shop.client(tess)
    walkaround = begin(lost)
    first = begin_take(lost, walkaround)
    for number, part in enumerate(cut(recording(tmp_path, seconds=6), 6)[:4]):
        put(lost, first, number, part)
    context = phone(browser, shop, address, tess)
    page = opened(context, f"{address}/t/walkarounds/{walkaround}/record")
    expect(page.locator("#take-list li")).to_contain_text("4 parts in the shop, not finished")
    page.locator("input[accept='audio/*,video/*']").set_input_files(
        {"name": "rest.wav", "mimeType": "audio/wav", "buffer": silence(3)}
    )
    expect(page.locator("#take-list li").first).to_contain_text("safe in the shop")
    page.get_by_role("button", name="That is all").tap()
    expect(page.locator("#notice")).to_contain_text("Not every part of take 1 has arrived.")
    page.get_by_role("button", name="Use what has arrived").tap()
    expect(page.locator("#take-list li").last).to_contain_text("safe in the shop")
    page.get_by_role("button", name="That is all").tap()
    page.wait_for_selector("#understood")
    assert [row.complete is not None for row in takes_of(shop, walkaround)] == [True, True]
    context.close()


# -- after the recording -------------------------------------------------------------------------------------


def test_one_tap_answers_and_the_seconds_can_be_heard(browser: Browser, place: tuple[Shop, str]) -> None:
    shop, address = place
    tess = shop.person()
    walkaround = drafted(shop, tess)
    context = phone(browser, shop, address, tess)
    page = opened(context, f"{address}/t/walkarounds/{walkaround}")
    hear = page.locator(".ask .play").first
    hear.tap()
    expect(hear).to_contain_text("Stop")
    while page.evaluate("document.getElementById('player').currentTime") < 0.3:
        page.wait_for_timeout(50)
    expect(hear).to_contain_text("Hear", timeout=15_000)
    end = float(hear.get_attribute("data-to") or "0")
    assert page.evaluate("document.getElementById('player').currentTime") == pytest.approx(end + 0.4, abs=1)

    page.get_by_role("button", name="Front left", exact=True).tap()
    expect(page.get_by_role("heading", name="Nothing more to ask you")).to_be_visible()
    expect(page.get_by_role("heading", name="Ball joint, front left")).to_be_visible()
    page.get_by_role("button", name="Take back").tap()
    expect(page.get_by_role("heading", name="One question only you can answer")).to_be_visible()
    context.set_offline(True)
    page.get_by_role("button", name="Front right", exact=True).tap()
    expect(page.locator(".ask .fault")).to_contain_text("Nothing was answered")
    context.set_offline(False)
    page.get_by_role("button", name="Front right", exact=True).tap()
    expect(page.get_by_role("heading", name="Ball joint, front right")).to_be_visible()
    context.close()


@pytest.mark.parametrize("streaming", [True, False])
def test_the_page_follows_the_work(browser: Browser, tmp_path: Path, streaming: bool) -> None:
    shop = make_shop(tmp_path, work="none")
    tess = shop.person()
    walkaround = drafted(shop, tess)
    with running(shop) as address:
        context = phone(browser, shop, address, tess)
        if not streaming:
            context.route("**/live/**", lambda route: route.abort())
        page = opened(context, f"{address}/t/walkarounds/{walkaround}")
        expect(page.locator("#progress-words")).to_have_text("Waiting for the shop to begin.")
        with shop.services.database.session() as session:
            walkarounds.set_state(session, id=walkaround, to="working", now=shop.clock())
        with shop.services.database.session() as session:
            walkarounds.set_progress(session, id=walkaround, stage="listening", share=0.4)
        expect(page.locator("#progress-words")).to_have_text("Listening to what you said: 40 %")
        with shop.services.database.session() as session:
            walkarounds.set_state(
                session, id=walkaround, to="failed", now=shop.clock(), trouble="There was no speech."
            )
        expect(page.get_by_role("alert")).to_have_text("There was no speech.")
        context.close()
    shop.services.database.close()


# -- how the pages are made ----------------------------------------------------------------------------------


def pages(shop: Shop, tess: Member) -> list[str]:
    done = drafted(shop, tess)
    with shop.services.database.session() as session:
        fresh = walkarounds.create(
            session,
            now=shop.clock(),
            market="US",
            technician=tess.id,
            title="A vehicle with a long name: 2009 van",
        ).id
        waiting = walkarounds.create(session, now=shop.clock(), market="US", technician=tess.id, title="x").id
        row = session.get(Walkaround, waiting)
        assert row is not None
        row.state = "waiting"
        picture = shop.services.media.put(photo())
        session.add(
            Photo(walkaround=done, client_key="k", media=picture, kind="image/jpeg", taken=shop.clock())
        )
    return [
        "/t", "/t/begin", "/t/begin?q=nothing", f"/t/walkarounds/{fresh}/record", f"/t/walkarounds/{waiting}",
        f"/t/walkarounds/{done}", f"/t/walkarounds/{done}/record", "/t/qr?lifts=Lift+1%0ALift+2",
    ]  # fmt: skip


SMALL = """() => [...document.querySelectorAll('main button, main .button, main summary, main input, main a')]
  .filter(e => !e.closest('p') || e.matches('.button, .back a'))
  .map(e => e.closest('label') || e)
  .map(e => [e.textContent.trim().slice(0, 30), e.getBoundingClientRect()])
  .filter(([, box]) => box.width > 0 && (box.height < 47.5 || box.width < 47.5)).map(([text]) => text)"""


def test_pages_fit_a_phone_can_be_used_by_everybody_and_say_no_errors(
    browser: Browser, place: tuple[Shop, str]
) -> None:
    shop, address = place
    tess = shop.person()
    context = phone(browser, shop, address, tess)
    page = context.new_page()
    faults: list[str] = []
    page.on("console", lambda m: faults.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: faults.append(str(error)))
    for path in pages(shop, tess):
        page.set_viewport_size({"width": 390, "height": 844})
        page.goto(address + path)
        page.wait_for_timeout(300)
        for width in (390, 320):
            page.set_viewport_size({"width": width, "height": 844})
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (path, width)
        assert page.evaluate(SMALL) == [], path
        found = Axe().run(page).response["violations"]
        grave = [(v["id"], v["nodes"][0]["html"]) for v in found if v["impact"] in ("serious", "critical")]
        assert grave == [], path
    assert faults == []
    context.close()


def test_everything_works_by_keyboard_while_recording(browser: Browser, place: tuple[Shop, str]) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    page, _ = at_a_vehicle(context, address)
    page.get_by_role("button", name="Start recording").press("Enter")
    expect(page.get_by_role("button", name="Stop")).to_be_focused()
    found = Axe().run(page).response["violations"]
    assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []
    recorded(page, 2)
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="That is all")).to_be_visible()
    context.close()


# -- the modules ---------------------------------------------------------------------------------------------


def test_the_modules_pure_parts(browser: Browser, place: tuple[Shop, str]) -> None:
    shop, address = place
    context = phone(browser, shop, address, shop.person())
    page = opened(context, f"{address}/t")
    for size in (0, 1, 55, 56, 63, 64, 65, 1000, 100_000):
        content = bytes((n * 31 + size) % 256 for n in range(size))
        digest = page.evaluate(
            """async (bytes) => (await import("/static/technician/digest.js"))
              .plainSha256(new Uint8Array(bytes).buffer)""",
            list(content),
        )
        assert digest == hashlib.sha256(content).hexdigest()
    warnings = page.evaluate(
        """async () => {
          const { Level } = await import("/static/technician/level.js");
          const said = (loud, seconds) => {
            const level = new Level();
            for (let at = 0; at < seconds; at += 0.1) {
              level.feed(Float32Array.from({ length: 2048 }, (_, n) => loud * Math.sin(n / 3)), at);
            }
            return level.warning;
          };
          return [said(0.1, 10), said(0.003, 10), said(0.003, 3), said(0, 10), said(1.5, 1)];
        }"""
    )
    assert warnings[0] == ""
    assert warnings[1].startswith("Too quiet")
    assert warnings[2] == ""  # too early to tell
    assert warnings[3].startswith("No sound at all")
    assert warnings[4].startswith("Too loud")
    words = page.evaluate(
        """async () => {
          const w = await import("/static/technician/words.js");
          return [w.clock(130.9), w.clock(3723), w.leftOver({ parts: 3, seconds: 12, bytes: 1, photos: 0 }),
            w.leftOver({ parts: 1, seconds: 0, bytes: 4200000, photos: 2 }),
            w.leftOver({ parts: 0, seconds: 0, bytes: 0, photos: 0 })];
        }"""
    )
    assert words == ["2:10", "1:02:03", "3 parts, 12 s", "1 part, 4.2 MB and 2 photos", ""]
    context.close()
