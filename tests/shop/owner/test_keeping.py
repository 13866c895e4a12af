"""The retention rule: what goes, what stays and why, and what two rows share."""

from __future__ import annotations

import secrets
from datetime import timedelta
from pathlib import Path

import pytest
from owner_kit import OwnShop, own_shop
from shop_kit import drafted, silence

from voicecheck.records import StoreError
from voicecheck.shop import retention
from voicecheck.shop.retention import Daily, Rule
from voicecheck.store import history, owner, papers, recordings
from voicecheck.store.tables import Take, Walkaround


@pytest.fixture
def own(tmp_path: Path) -> OwnShop:
    return own_shop(tmp_path, files=False, work="none")


def take_of(own: OwnShop, walkaround: str) -> Take:
    with own.shop.services.database.reading() as session:
        return recordings.takes(session, walkaround=walkaround)[0]


def heard(own: OwnShop, walkaround: str) -> Take:
    """As after drafting: put together, with its words, in review."""
    services = own.shop.services
    take = take_of(own, walkaround)
    recordings.assemble(services.database, services.media, take=take.id)
    with services.database.session() as session:
        words = {"text": "oil pan is dry", "words": []}
        recordings.set_transcript(session, take=take.id, transcript=words, seconds=20.0)
        row = session.get(Walkaround, walkaround)
        assert row is not None
        row.state = "review"
    return take_of(own, walkaround)


def add_photo(own: OwnShop, walkaround: str, content: bytes) -> str:
    services = own.shop.services
    with services.database.session() as session:
        row = recordings.add_photo(
            session,
            walkaround=walkaround,
            client_key=secrets.token_hex(8),
            media=services.media.put(content),
            kind="image/jpeg",
            now=services.clock(),
        )
    return row.id


def issue(own: OwnShop, walkaround: str, *, clips: list[str], photos: list[str], days: int) -> str:
    """An issued estimate with a link that opens for ``days``; the media key of its prices."""
    services = own.shop.services
    key = services.media.put(b'{"prices": "of that day"}')
    behind = {"clips": [{"take": take} for take in clips], "photos": photos, "shop": key, "draft": {}}
    now = services.clock()
    with services.database.session() as session:
        row = papers.issue(
            session, walkaround=walkaround, seq=0, person=own.owner.id, document={"jobs": []}, draft=behind,
            total=100, currency="USD", now=now,
        )  # fmt: skip
        papers.make_link(
            session, issued=row.id, token=secrets.token_hex(16), now=now, expires=now + timedelta(days=days),
            person=None,
        )  # fmt: skip
    return key


def test_old_sound_goes_and_its_words_stay(own: OwnShop) -> None:
    shop, services = own.shop, own.shop.services
    tess = shop.person("technician")
    old = drafted(shop, tess, recording=silence(5))
    take = heard(own, old)
    assert take.media is not None
    cached = services.settings.data / "cache" / "sound" / f"{take.media}.wav"
    assert shop.client(tess).get(f"/media/take/{take.id}/sound.wav").status_code == 200
    assert cached.exists()
    waiting = drafted(shop, tess, recording=silence(6))
    shop.clock.forward(days=31)
    new = drafted(shop, tess, recording=silence(7))
    own = OwnShop(shop, own.owner, shop.client(shop.again(own.owner)), own.folder)

    assert retention.apply(services).takes == 0  # without a rule everything is kept
    shown = own.client.post("/owner/keeping/rule", data={"recordings": "30", "do": "show"})
    assert "1 recording (" in shown.text
    assert retention.rule_of(services) == Rule()
    assert own.client.post("/owner/keeping/rule", data={"recordings": "30"}).status_code == 303
    page = own.page("/owner/keeping")
    assert "1 recording (" in page
    assert "it has not been drafted yet" in page
    answer = own.client.post("/owner/keeping/run")
    assert answer.status_code == 303
    assert "1%20recording%20and" in answer.headers["location"]

    gone = take_of(own, old)
    assert gone.deleted == shop.clock()
    assert gone.transcript == take.transcript
    assert not services.media.exists(take.media)
    assert not cached.exists()
    assert own.client.get(f"/media/take/{take.id}/sound.wav").status_code == 410
    for kept in (waiting, new):
        assert take_of(own, kept).deleted is None
    with services.database.reading() as session:
        assert history.check(session).whole
        assert {r.what for r in history.rows(session)} >= {"recording deleted", "retention ran"}


def test_what_a_customer_can_see_stays_until_the_link_is_over(own: OwnShop) -> None:
    shop, services = own.shop, own.shop.services
    tess = shop.person("technician")
    walk = drafted(shop, tess, recording=silence(5))
    take = heard(own, walk)
    chosen, other = add_photo(own, walk, b"chosen"), add_photo(own, walk, b"other")
    prices = issue(own, walk, clips=[take.id], photos=[chosen], days=60)
    retention.set_rule(services, Rule(recordings=10, photos=10), person=own.owner.id)

    shop.clock.forward(days=45)  # longer than SHOWN_FOR, and the link still opens
    planned = retention.plan(services, retention.rule_of(services))
    assert {a.id for a in planned.held} == {take.id, chosen}
    assert [p.id for p in planned.photos] == [other]
    assert {a.held for a in planned.held} == {owner.SHOWN}
    assert retention.apply(services) == retention.Done(takes=0, photos=1)
    shop.clock.forward(days=20)
    assert retention.apply(services) == retention.Done(takes=1, photos=1)
    assert services.media.exists(prices)


def test_an_estimate_issued_lately_is_kept_even_with_its_link_withdrawn(own: OwnShop) -> None:
    shop, services = own.shop, own.shop.services
    walk = drafted(shop, shop.person("technician"), recording=silence(5))
    take = heard(own, walk)
    shop.clock.forward(days=20)
    issue(own, walk, clips=[take.id], photos=[], days=1)
    retention.set_rule(services, Rule(recordings=10), person=own.owner.id)
    shop.clock.forward(days=29)
    assert [a.id for a in retention.plan(services, Rule(recordings=10)).held] == [take.id]
    shop.clock.forward(days=2)
    assert [a.id for a in retention.plan(services, Rule(recordings=10)).takes] == [take.id]


def test_content_of_two_rows_goes_with_the_last(own: OwnShop) -> None:
    shop, services = own.shop, own.shop.services
    tess = shop.person("technician")
    same = silence(5)
    first = drafted(shop, tess, recording=same)
    key = heard(own, first).media
    assert key is not None
    shop.clock.forward(days=20)
    second = drafted(shop, tess, recording=same)
    assert heard(own, second).media == key
    retention.set_rule(services, Rule(recordings=30), person=own.owner.id)
    shop.clock.forward(days=15)
    assert retention.apply(services).takes == 1
    assert take_of(own, first).deleted is not None
    assert services.media.exists(key)
    assert own.shop.client(own.shop.again(own.owner)).get(
        f"/media/take/{take_of(own, second).id}/sound.wav"
    ).status_code == 200  # fmt: skip
    shop.clock.forward(days=20)
    assert retention.apply(services).takes == 1
    assert not services.media.exists(key)


def test_the_prices_of_an_issued_estimate_are_never_deleted(own: OwnShop) -> None:
    """Even where a photo has the very same bytes."""
    shop, services = own.shop, own.shop.services
    walk = drafted(shop, shop.person("technician"), recording=silence(5))
    heard(own, walk)
    prices = issue(own, walk, clips=[], photos=[], days=1)
    add_photo(own, walk, b'{"prices": "of that day"}')
    retention.set_rule(services, Rule(photos=5), person=own.owner.id)
    shop.clock.forward(days=100)
    assert retention.apply(services).photos == 1
    assert services.media.exists(prices)


def test_what_cannot_be_deleted_stays_on_record(own: OwnShop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop, services = own.shop, own.shop.services
    walk = drafted(shop, shop.person("technician"), recording=silence(5))
    take = heard(own, walk)
    retention.set_rule(services, Rule(recordings=5), person=own.owner.id)
    shop.clock.forward(days=10)

    def unreachable(_: str) -> None:
        raise StoreError("The place for recordings cannot be deleted: read-only.")

    monkeypatch.setattr(services.media, "delete", unreachable)
    done = retention.apply(services)
    assert done.takes == 0
    assert "read-only" in done.trouble
    assert take_of(own, walk).deleted is None
    monkeypatch.undo()
    services.media.delete(take.media or "")  # as a process leaves it that dies between file and row
    assert retention.apply(services) == retention.Done(takes=1)
    assert take_of(own, walk).deleted is not None


def test_it_runs_once_a_day(own: OwnShop) -> None:
    shop, services = own.shop, own.shop.services
    daily = Daily(services)
    assert daily.once() is True
    assert daily.once() is False
    shop.clock.forward(hours=23)
    assert daily.once() is False
    shop.clock.forward(hours=1)
    assert daily.once() is True
    daily.start()
    daily.stop()
    daily.join(5)
    assert not daily.is_alive()


@pytest.mark.parametrize("days", ["0", "-1", "1.5", "many", "36501", "³"])
def test_days_that_are_none(own: OwnShop, days: str) -> None:
    answer = own.client.post("/owner/keeping/rule", data={"recordings": days})
    assert answer.status_code == 422
    assert "no number of days" in answer.text
    assert retention.rule_of(own.shop.services) == Rule()
