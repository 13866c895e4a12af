"""The technician's pages: which vehicle, what was understood, answers by one tap, the printed code."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from shop_kit import Shop, drafted, make_shop, silence
from technician_kit import begin, finish, photo, put, send_photo, take

from voicecheck.desk.asks import RULES
from voicecheck.desk.decisions import Confirm
from voicecheck.records import Transcript, Unheard, Word
from voicecheck.shop import bench as benches
from voicecheck.shop.web.qr import qr_svg
from voicecheck.shop.web.technician_view import TECHNICIANS_CODES
from voicecheck.store import desk, recordings, walkarounds
from voicecheck.store.tables import Walkaround

NO_SIDE = "The ball joint has play, replace it. The serpentine belt is fine."


def plain(html: str) -> str:
    """The words of a page."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def questions(html: str) -> list[tuple[str, list[str]]]:
    """Of every question on a page its key and the answers that are one tap."""
    found = []
    for card in re.findall(r'<article class="card ask".*?</article>', html, re.DOTALL):
        key = re.search(r'name="key" value="([^"]*)"', card)
        assert key is not None
        found.append(
            (unescape(key[1]), [unescape(v) for v in re.findall(r'name="choice" value="([^"]*)"', card)])
        )
    return found


# -- which vehicle -------------------------------------------------------------------------------------------


def test_a_vehicle_is_named_once_and_offered_the_next_time(idle_shop: Shop) -> None:
    client = idle_shop.client(idle_shop.person())
    form = {"plate": "7abc 123", "title": "2014 blue van", "complaint": "knocks over bumps", "lift": "Lift 3"}
    answer = client.post("/t/walkarounds", data=form)
    assert answer.status_code == 303
    page = client.get(answer.headers["location"])
    assert page.status_code == 200
    for words in ("2014 blue van", "7ABC123 · Lift 3", "knocks over bumps"):
        assert words in plain(page.text)
    offered = client.get("/t/begin?lift=Lift+4")
    assert "2014 blue van" in offered.text
    vehicle = re.search(r'name="vehicle" value="([0-9a-f]{32})"', offered.text)
    assert vehicle is not None
    again = client.post("/t/walkarounds", data={"vehicle": vehicle[1], "lift": "Lift 4"})
    assert again.status_code == 303
    with idle_shop.services.database.reading() as session:
        rows = walkarounds.page(session).rows
    assert len(rows) == 2
    assert len({row.walkaround.vehicle for row in rows}) == 1
    assert {row.walkaround.particulars.get("lift") for row in rows} == {"Lift 3", "Lift 4"}
    assert plain(client.get("/t").text).count("2014 blue van not handed in yet") == 2


@pytest.mark.parametrize(
    ("words", "found"), [("7ab", True), ("7 ABC-123", True), ("blue", True), ("9", False)]
)
def test_search_by_plate_or_name(idle_shop: Shop, words: str, found: bool) -> None:
    client = idle_shop.client(idle_shop.person())
    begin(client, plate="7abc123", title="2014 blue van")
    page = client.get("/t/begin", params={"q": words})
    assert ('name="vehicle"' in page.text) == found
    if not found:
        assert "No vehicle has a plate or name like that" in page.text
        assert f'name="plate" value="{words}"' in page.text


def test_a_vehicle_needs_a_plate_or_a_name(idle_shop: Shop) -> None:
    client = idle_shop.client(idle_shop.person(), csrf=False)
    token = re.search(r'name="csrf" value="([^"]+)"', client.get("/t/begin").text)
    assert token is not None
    form = {"plate": " - ", "title": " ", "complaint": "it <knocks>", "csrf": token[1]}
    answer = client.post("/t/walkarounds", data=form)
    assert answer.status_code == 422
    assert "one of the two is enough" in answer.text
    assert "it &lt;knocks&gt;" in answer.text  # nothing typed is lost
    unknown = client.post("/t/walkarounds", data={"vehicle": "0" * 32, "csrf": token[1]})
    assert unknown.status_code == 404
    long = client.post("/t/walkarounds", data={"title": "x" * 121, "csrf": token[1]})
    assert long.status_code == 422


@pytest.mark.parametrize(
    "named", [{"title": "blue van"}, {"plate": "7ABC 1"}, {"plate": "7abc1", "title": "van"}]
)
def test_a_double_tap_begins_one_walkaround(idle_shop: Shop, named: dict[str, str]) -> None:
    client = idle_shop.client(idle_shop.person())
    token = re.search(r'name="id" value="([0-9a-f]{32})"', client.get("/t/begin").text)
    assert token is not None
    form = {"id": token[1], **named}
    places = {client.post("/t/walkarounds", data=form).headers["location"] for _ in range(2)}
    assert places == {f"/t/walkarounds/{token[1]}/record"}
    back = client.post("/t/walkarounds", data={"id": token[1], "title": "red hatchback"})
    assert back.headers["location"] not in places  # went back and named another vehicle
    with idle_shop.services.database.reading() as session:
        assert len(walkarounds.page(session).rows) == 2


def test_the_complaint_can_be_noted_later(idle_shop: Shop) -> None:
    client = idle_shop.client(idle_shop.person())
    walkaround = begin(client)
    answer = client.post(f"/t/walkarounds/{walkaround}/complaint", data={"complaint": " squeals "})
    assert answer.status_code == 303
    assert "squeals" in client.get(f"/t/walkarounds/{walkaround}/record").text
    with idle_shop.services.database.reading() as session:
        assert walkarounds.get(session, id=walkaround).particulars["complaint"] == "squeals"


# -- how far it is -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("recording", "To the recording"),
        ("waiting", "Waiting for the shop to begin."),
        ("working", "The shop is working on it."),
        ("failed", "There was no speech."),
    ],
)
def test_every_state_says_what_to_do(idle_shop: Shop, state: str, words: str) -> None:
    client = idle_shop.client(idle_shop.person())
    walkaround = begin(client)
    with idle_shop.services.database.session() as session:
        row = session.get(Walkaround, walkaround)
        assert row is not None
        row.state, row.trouble = state, "There was no speech." if state == "failed" else ""
    page = client.get(f"/t/walkarounds/{walkaround}")
    assert page.status_code == 200
    assert words in plain(page.text)


def test_a_recording_without_words_leads_to_another_recording(tmp_path: Path) -> None:
    shop = make_shop(tmp_path, words="")
    tess = shop.person()
    walkaround = drafted(shop, tess)
    client = shop.client(tess)
    page = client.get(f"/t/walkarounds/{walkaround}")
    assert "Record again" in page.text
    assert client.get(f"/t/walkarounds/{walkaround}/record").status_code == 200
    assert take(client, walkaround, key="second-try")
    assert client.get(f"/t/walkarounds/{walkaround}/state").json()["state"] == "recording"


# -- what was understood -------------------------------------------------------------------------------------


def test_findings_are_shown_with_their_words_and_seconds(shop: Shop) -> None:
    tess = shop.person()
    walkaround = drafted(shop, tess)
    page = shop.client(tess).get(f"/t/walkarounds/{walkaround}")
    words = plain(page.text)
    assert "Outer tie rod end, front left" in words
    assert "Pad thickness 3 mm (rear)" in words
    assert "Replace, plan soon" in words
    take_id = re.search(r'data-take="([0-9a-f]{32})" data-from="([\d.]+)" data-to="([\d.]+)"', page.text)
    assert take_id is not None
    assert 0 <= float(take_id[2]) < float(take_id[3]) <= 20
    sound = shop.client(tess).get(f"/media/take/{take_id[1]}/sound.wav", headers={"Range": "bytes=0-43"})
    assert sound.status_code == 206
    assert sound.content[:4] == b"RIFF"


def test_the_seconds_of_a_second_take_are_those_of_its_own_sound(tmp_path: Path) -> None:
    shop = make_shop(tmp_path, words="Left front tyre is at two thirty seconds, replace now.")
    tess = shop.person()
    client = shop.client(tess)
    walkaround = drafted(shop, tess)
    assert take(client, walkaround, key="second-take")
    with shop.services.database.reading() as session:
        takes = [row.id for row in recordings.takes(session, walkaround=walkaround)]
    put(client, takes[1], 0, silence(10))
    finish(client, takes[1], 1, 10.0)
    client.post(f"/t/walkarounds/{walkaround}/finish", json={})
    page = client.get(f"/t/walkarounds/{walkaround}").text
    seen = re.findall(r'data-take="([0-9a-f]{32})" data-from="([\d.]+)" data-to="([\d.]+)"', page)
    assert {row[0] for row in seen} == set(takes)
    assert all(float(end) <= (20 if of == takes[0] else 10) + 0.01 for of, _, end in seen)


def test_photos_stand_at_their_time(shop: Shop) -> None:
    tess = shop.person()
    walkaround = drafted(shop, tess)
    client = shop.client(tess)
    take_id = client.get(f"/t/walkarounds/{walkaround}/state").json()["takes"][0]["take"]
    send_photo(client, walkaround, photo(), take=take_id, at=12.5)
    shop.clock.forward(seconds=1)
    send_photo(client, walkaround, photo(size=(30, 30)), key="without-a-time")
    page = client.get(f"/t/walkarounds/{walkaround}").text
    assert "Photo 1, taken at 0:12" in page
    assert page.count("/media/photo/") == 4


# -- questions -----------------------------------------------------------------------------------------------


def asked(tmp_path: Path, words: str = NO_SIDE) -> tuple[Shop, TestClient, str, str]:
    """A shop with a drafted walk-around that has one question; its key."""
    shop = make_shop(tmp_path, words=words)
    tess = shop.person()
    walkaround = drafted(shop, tess)
    client = shop.client(tess)
    (key, choices), *_ = questions(client.get(f"/t/walkarounds/{walkaround}").text)
    assert "front left" in choices
    return shop, client, walkaround, key


def test_one_tap_answers_which_side(tmp_path: Path) -> None:
    shop, client, walkaround, key = asked(tmp_path)
    answer = client.post(f"/t/walkarounds/{walkaround}/answers", data={"key": key, "choice": "front left"})
    assert answer.status_code == 303
    assert answer.headers["location"].endswith("#asks")
    page = client.get(f"/t/walkarounds/{walkaround}").text
    assert "Ball joint, front left" in page
    assert "Nothing more to ask you" in page
    assert "Which one is it? Front left Take back" in plain(page)
    with shop.services.database.reading() as session:
        rows = desk.decisions(session, walkaround=walkaround)
    assert [(row.seq, row.kind, row.decision["choice"]) for row in rows] == [(1, "answer", "front left")]
    top = benches.look(shop.services, walkaround).top
    assert top is not None
    assert top.draft.findings[0].positions == ("front left",)


def test_a_slip_of_the_thumb_is_taken_back_by_who_made_it(tmp_path: Path) -> None:
    shop, client, walkaround, key = asked(tmp_path)
    client.post(f"/t/walkarounds/{walkaround}/answers", data={"key": key, "choice": "front right"})
    advisor = shop.client(shop.person("advisor"))
    headers = {"X-Part": "understood"}
    refused = advisor.post(
        f"/t/walkarounds/{walkaround}/answers/take-back", data={"seq": "1"}, headers=headers
    )
    assert refused.status_code == 409
    assert "not your answer" in refused.text
    back = client.post(f"/t/walkarounds/{walkaround}/answers/take-back", data={"seq": "1"}, headers=headers)
    assert back.status_code == 200
    assert back.headers["x-part"] == "understood"
    assert "<html" not in back.text
    assert [k for k, _ in questions(back.text)] == [key]


def test_a_side_that_was_carried_over_can_be_any_other_with_one_tap(tmp_path: Path) -> None:
    words = "Right front tie rod end boot is torn, replace it. Ball joint has play, replace it."
    shop, client, walkaround, _ = asked(tmp_path, words)
    shown = questions(client.get(f"/t/walkarounds/{walkaround}").text)
    key, choices = next((k, c) for k, c in shown if "/place_carried/" in k)
    assert "yes" in choices
    assert "another side" not in choices
    client.post(f"/t/walkarounds/{walkaround}/answers", data={"key": key, "choice": "front left"})
    top = benches.look(shop.services, walkaround).top
    assert top is not None
    joint = next(f for f in top.draft.findings if f.component.id.startswith("ball_joint"))
    assert joint.positions == ("front left",)
    assert top.ask(key) is None or top.ask(key).state == "answered"  # type: ignore[union-attr]


def test_typed_answers_are_read_too(tmp_path: Path) -> None:
    shop, client, walkaround, key = asked(tmp_path)
    empty = client.post(f"/t/walkarounds/{walkaround}/answers", data={"key": key, "text": "  "})
    assert "Type+the+answer+first" in empty.headers["location"]
    client.post(
        f"/t/walkarounds/{walkaround}/answers", data={"key": key, "text": "the left one, at the front"}
    )
    top = benches.look(shop.services, walkaround).top
    assert top is not None
    assert top.draft.findings[0].positions == ("front left",)


def test_an_answered_question_is_not_answered_twice(tmp_path: Path) -> None:
    shop, client, walkaround, key = asked(tmp_path)
    form = {"key": key, "choice": "front left"}
    client.post(f"/t/walkarounds/{walkaround}/answers", data=form)
    again = client.post(f"/t/walkarounds/{walkaround}/answers", data=form, headers={"X-Part": "understood"})
    assert again.status_code == 409
    assert "answered already" in again.text
    with shop.services.database.reading() as session:
        assert len(desk.decisions(session, walkaround=walkaround)) == 1


def test_a_decision_at_the_desk_in_the_same_moment_does_not_lose_the_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop, client, walkaround, key = asked(tmp_path)
    advisor = shop.person("advisor")
    look, first = benches.look, [True]

    def look_while_the_desk_decides(services: object, about: str) -> benches.Bench:
        bench = look(shop.services, about)
        if first:
            first.clear()
            assert bench.top is not None
            line = bench.top.lines[0]
            benches.decide(
                shop.services, bench, expected_seq=bench.row.seq, person=advisor.id,
                decision=Confirm(line=line.id),
            )  # fmt: skip
        return bench

    monkeypatch.setattr(benches, "look", look_while_the_desk_decides)
    client.post(f"/t/walkarounds/{walkaround}/answers", data={"key": key, "choice": "front left"})
    monkeypatch.setattr(benches, "look", look)
    with shop.services.database.reading() as session:
        kinds = [row.kind for row in desk.decisions(session, walkaround=walkaround)]
    assert kinds == ["confirm", "answer"]


def test_questions_of_the_desk_are_not_put_to_the_technician(tmp_path: Path) -> None:
    shop, client, walkaround, _ = asked(tmp_path)
    top = benches.look(shop.services, walkaround).top
    assert top is not None
    other = [ask for ask in top.asks if ask.ask.code not in TECHNICIANS_CODES]
    assert other, "the sample should have a question for the desk too"
    page = client.get(f"/t/walkarounds/{walkaround}").text
    assert {k for k, _ in questions(page)} == {a.key for a in top.asks if a.ask.code in TECHNICIANS_CODES}
    form = {"key": other[0].key, "choice": "x"}
    answer = client.post(f"/t/walkarounds/{walkaround}/answers", data=form, headers={"X-Part": "understood"})
    assert answer.status_code == 409
    assert "for the desk" in answer.text


def test_codes_for_the_technician_exist() -> None:
    assert set(RULES) >= TECHNICIANS_CODES


class HalfDeaf:
    """Hears a few words, and a stretch that it could not make out."""

    def hear(self, sound: object, **_: object) -> Transcript:
        words = tuple(
            Word(heard=w, read=w, start=n * 0.5, end=n * 0.5 + 0.4)
            for n, w in enumerate(["The", "serpentine", "belt", "is", "fine."])
        )
        return Transcript(
            text="The serpentine belt is fine.",
            words=words,
            seconds=20.0,
            unheard=(Unheard(start=8.0, end=12.0, why="no words"),),
        )


def test_what_was_not_made_out_can_be_played_and_typed(tmp_path: Path) -> None:
    shop = make_shop(tmp_path, recogniser=HalfDeaf)
    tess = shop.person()
    walkaround = drafted(shop, tess)
    client = shop.client(tess)
    page = client.get(f"/t/walkarounds/{walkaround}").text
    ((key, choices),) = questions(page)
    assert choices == ["nothing about the vehicle"]
    assert 'data-from="8.0" data-to="12.0"' in page
    headers = {"X-Part": "understood"}
    vague = client.post(
        f"/t/walkarounds/{walkaround}/answers", data={"key": key, "text": "well you know"}, headers=headers
    )
    assert vague.status_code == 409
    assert "No part of a vehicle was recognised" in vague.text
    assert [k for k, _ in questions(vague.text)] == [key]
    typed = "left front brake hose is cracked, replace it"
    done = client.post(
        f"/t/walkarounds/{walkaround}/answers", data={"key": key, "text": typed}, headers=headers
    )
    assert done.status_code == 200
    assert "Brake hose, front left" in plain(done.text)
    assert questions(done.text) == []


def test_nothing_is_answered_once_it_is_with_the_customer(tmp_path: Path) -> None:
    shop, client, walkaround, key = asked(tmp_path)
    with shop.services.database.session() as session:
        row = session.get(Walkaround, walkaround)
        assert row is not None
        row.state = "issued"
    page = client.get(f"/t/walkarounds/{walkaround}").text
    assert questions(page) == []
    assert "The estimate of this vehicle is with the customer." in page
    form = {"key": key, "choice": "front left"}
    answer = client.post(f"/t/walkarounds/{walkaround}/answers", data=form, headers={"X-Part": "understood"})
    assert answer.status_code == 409
    assert "not open for answers" in answer.text


# -- the code at the lift ------------------------------------------------------------------------------------


def test_the_sheet_has_a_code_for_every_lift(idle_shop: Shop) -> None:
    client = idle_shop.client(idle_shop.person())
    sheet = client.get("/t/qr", params={"lifts": "Lift 1\n\n  Bay & pit "}).text
    assert sheet.count('<img src="/t/qr.svg?lift=') == 2
    assert "http://testserver/t/begin?lift=Bay+%26+pit" in unescape(sheet)
    picture = client.get("/t/qr.svg", params={"lift": "Lift 1"})
    assert picture.headers["content-type"].startswith("image/svg+xml")
    assert b"<svg" in picture.content
    assert idle_shop.client().get("/t/qr").status_code == 303


def test_two_addresses_have_two_codes() -> None:
    assert qr_svg("https://192.0.2.7:8420/t/begin") != qr_svg("https://192.0.2.8:8420/t/begin")
