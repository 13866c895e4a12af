"""What the phone sends: parts once, in any order, checked; nobody else's; a session that runs out."""

from __future__ import annotations

import hashlib
import io
import struct
import zlib
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from shop_kit import Shop, make_shop, silence
from technician_kit import begin, cut, finish, photo, put, recording, send_photo, take

from voicecheck.recording import read_sound
from voicecheck.records import InputError
from voicecheck.shop.pictures import LONGEST_SIDE, clean_photo
from voicecheck.shop.signatures import container_of
from voicecheck.store import recordings
from voicecheck.store.tables import Walkaround

# -- takes and parts -----------------------------------------------------------------------------------------


def test_a_take_arrives_in_any_order_and_is_drafted_once(shop: Shop, tmp_path: Path) -> None:
    client = shop.client(shop.person())
    content = recording(tmp_path, seconds=6)
    parts = cut(content, 5)
    walkaround = begin(client)
    new = take(client, walkaround)
    for number in (3, 1, 0, 4, 2):
        assert put(client, new, number, parts[number]).status_code == 200
    assert client.get(f"/t/takes/{new}").json()["parts"] == [0, 1, 2, 3, 4]
    assert finish(client, new, 5).json() == {"complete": True, "missing": []}
    assert client.post(f"/t/walkarounds/{walkaround}/finish", json={}).status_code == 200
    with shop.services.database.reading() as session:
        row = recordings.take(session, id=new)
    assert row.media == hashlib.sha256(content).hexdigest()
    assert row.seconds == pytest.approx(6, abs=0.2)
    again = client.post(f"/t/walkarounds/{walkaround}/finish", json={})
    assert again.status_code == 200
    assert again.json() == {"state": "review"}
    assert shop.submitted == [walkaround]


def test_everything_may_be_sent_twice(idle_shop: Shop, tmp_path: Path) -> None:
    client = idle_shop.client(idle_shop.person())
    parts = cut(recording(tmp_path), 2)
    walkaround = begin(client)
    first, second = take(client, walkaround), take(client, walkaround)
    assert first == second
    for _ in range(2):
        for number, part in enumerate(parts):
            assert put(client, first, number, part).status_code == 200
    for _ in range(2):
        assert finish(client, first, 2).status_code == 200
    assert put(client, first, 1, parts[1]).status_code == 200  # an answer that was lost on the way
    answer = client.get(f"/t/walkarounds/{walkaround}/state").json()
    assert [(t["parts"], t["complete"]) for t in answer["takes"]] == [([0, 1], True)]


def test_the_phone_may_choose_the_id_and_ask_twice(idle_shop: Shop) -> None:
    client = idle_shop.client(idle_shop.person())
    ids = {begin(client, id="0123456789abcdef" * 2) for _ in range(2)}
    assert ids == {"0123456789abcdef" * 2}
    other = idle_shop.client(idle_shop.person())
    answer = other.post("/t/walkarounds", json={"title": "x", "id": "0123456789abcdef" * 2})
    assert answer.status_code == 409


def test_finishing_says_which_parts_are_missing_and_completes_with_the_last(
    idle_shop: Shop, tmp_path: Path
) -> None:
    client = idle_shop.client(idle_shop.person())
    parts = cut(recording(tmp_path), 4)
    walkaround = begin(client)
    new = take(client, walkaround)
    put(client, new, 0, parts[0])
    put(client, new, 2, parts[2])
    answer = finish(client, new, 4)
    assert answer.status_code == 409
    assert answer.json()["missing"] == [1, 3]
    assert "2 parts" in answer.json()["message"]
    assert "1 and 3" in answer.json()["message"]
    early = client.post(f"/t/walkarounds/{walkaround}/finish", json={})
    assert early.status_code == 409
    assert "take 1" in early.json()["message"]
    assert idle_shop.submitted == []
    put(client, new, 1, parts[1])
    put(client, new, 3, parts[3])
    assert finish(client, new, 4).status_code == 200
    for _ in range(2):
        answer = client.post(f"/t/walkarounds/{walkaround}/finish", json={})
        assert answer.json() == {"state": "waiting"}


def test_a_part_that_arrives_otherwise_than_sent_is_refused(idle_shop: Shop, tmp_path: Path) -> None:
    client = idle_shop.client(idle_shop.person())
    parts = cut(recording(tmp_path), 2)
    new = take(client, begin(client))
    assert put(client, new, 0, parts[0], digest="0" * 64).status_code == 400
    assert put(client, new, 0, parts[0], digest="").status_code == 400
    assert client.get(f"/t/takes/{new}").json()["parts"] == []
    assert put(client, new, 0, parts[0]).status_code == 200
    other = put(client, new, 0, parts[0] + b"x")
    assert other.status_code == 409
    assert "other content" in other.json()["message"]
    with idle_shop.services.database.reading() as session:
        assert recordings.parts(session, take=new)[0].size == len(parts[0])


@pytest.mark.parametrize(
    "content",
    [
        b"<!doctype html><script>alert(1)</script>",
        b"\x89PNG\r\n\x1a\n" + bytes(64),
        b"#EXTM3U\nhttp://192.0.2.1/",
        b"PK\x03\x04" + bytes(64),
    ],
)
def test_what_is_no_recording_is_not_taken_whatever_it_is_called(idle_shop: Shop, content: bytes) -> None:
    client = idle_shop.client(idle_shop.person())
    new = take(client, begin(client))
    answer = put(client, new, 0, content)
    assert answer.status_code == 415
    assert "sound nor a video" in answer.json()["message"]
    assert client.get(f"/t/takes/{new}").json()["parts"] == []


def test_sizes_and_lengths_have_limits(tmp_path: Path) -> None:
    shop = make_shop(tmp_path, work="none", take_mb=1, take_minutes=1)
    client = shop.client(shop.person())
    new = take(client, begin(client))
    assert put(client, new, 0, silence(1) + bytes(8 * 1024**2)).status_code == 413
    assert put(client, new, 0, silence(1)).status_code == 200
    too_much = put(client, new, 1, bytes(1024**2))
    assert too_much.status_code == 422
    assert "larger than 1 MB" in too_much.json()["message"]
    assert put(client, new, 1, b"").status_code == 422
    assert put(client, new, 20_000, b"x").status_code == 422
    long = finish(client, new, 1, seconds=61.0)
    assert long.status_code == 422
    assert "1 minutes" in long.json()["message"] or "minute" in long.json()["message"]
    assert finish(client, new, 1, seconds=59.0).status_code == 200


def test_a_part_larger_than_it_says_is_cut_off(idle_shop: Shop) -> None:
    """A body without a length, sent in blocks."""
    client = idle_shop.client(idle_shop.person())
    new = take(client, begin(client))
    blocks = (bytes(1024**2) for _ in range(9))
    answer = client.put(f"/t/takes/{new}/parts/0", content=blocks, headers={"X-SHA256": "0" * 64})
    assert answer.status_code == 413


def test_what_has_arrived_from_a_lost_phone_becomes_a_take(shop: Shop, tmp_path: Path) -> None:
    client = shop.client(shop.person())
    content = recording(tmp_path, seconds=8)
    parts = cut(content, 8)
    walkaround = begin(client)
    new = take(client, walkaround)
    for number in (0, 1, 2, 3, 6):
        put(client, new, number, parts[number])
    assert client.post(f"/t/takes/{new}/as-it-is", json={}).status_code == 200
    assert client.post(f"/t/walkarounds/{walkaround}/finish", json={}).status_code == 200
    assert client.get(f"/t/walkarounds/{walkaround}/state").json()["state"] == "review"
    with shop.services.database.reading() as session:
        row = recordings.take(session, id=new)
    assert row.size == sum(len(parts[number]) for number in (0, 1, 2, 3, 6))
    assert row.seconds is not None
    assert 3 < row.seconds < 8


def test_no_more_is_recorded_once_the_customer_has_the_estimate(shop: Shop, tmp_path: Path) -> None:
    client = shop.client(shop.person())
    walkaround = begin(client)
    with shop.services.database.session() as session:
        row = session.get(Walkaround, walkaround)
        assert row is not None
        row.state = "issued"
    answer = client.post(f"/t/walkarounds/{walkaround}/takes", json={"client_key": "another-key"})
    assert answer.status_code == 409
    assert "with the customer" in answer.json()["message"]
    assert (
        client.get(f"/t/walkarounds/{walkaround}/record").headers["location"]
        == f"/t/walkarounds/{walkaround}"
    )


# -- who may -------------------------------------------------------------------------------------------------


def test_somebody_elses_walkaround_is_not_there(idle_shop: Shop, tmp_path: Path) -> None:
    mine, theirs = (idle_shop.client(idle_shop.person()) for _ in range(2))
    parts = cut(recording(tmp_path), 2)
    walkaround = begin(mine)
    new = take(mine, walkaround)
    put(mine, new, 0, parts[0])
    answers = [
        theirs.get(f"/t/walkarounds/{walkaround}"),
        theirs.get(f"/t/walkarounds/{walkaround}/record"),
        theirs.get(f"/t/walkarounds/{walkaround}/state"),
        theirs.post(f"/t/walkarounds/{walkaround}/takes", json={"client_key": "another-key"}),
        theirs.post(f"/t/walkarounds/{walkaround}/finish", json={}),
        theirs.post(f"/t/walkarounds/{walkaround}/complaint", data={"complaint": "x"}),
        theirs.post(f"/t/walkarounds/{walkaround}/answers", data={"key": "k", "choice": "yes"}),
        theirs.post(f"/t/walkarounds/{walkaround}/answers/take-back", data={"seq": "1"}),
        theirs.get(f"/t/takes/{new}"),
        put(theirs, new, 1, parts[1]),
        finish(theirs, new, 1),
        theirs.post(f"/t/takes/{new}/as-it-is", json={}),
        send_photo(theirs, walkaround, photo()),
        theirs.get("/t/takes/" + "0" * 32),
    ]
    assert [answer.status_code for answer in answers] == [404] * len(answers)
    assert mine.get(f"/t/takes/{new}").json()["parts"] == [0]
    assert walkaround not in theirs.get("/t").text
    advisor = idle_shop.client(idle_shop.person("advisor"))
    assert advisor.get(f"/t/walkarounds/{walkaround}/state").status_code == 200


def test_a_take_cannot_be_hung_on_another_walkaround(idle_shop: Shop) -> None:
    one, other = (idle_shop.client(idle_shop.person()) for _ in range(2))
    take(one, begin(one), key="the-same-key")
    answer = other.post(f"/t/walkarounds/{begin(other)}/takes", json={"client_key": "the-same-key"})
    assert answer.status_code == 409
    assert "another walk-around" in answer.json()["message"]


def test_nobody_signed_in_is_sent_to_sign_in_or_told_so_in_json(idle_shop: Shop) -> None:
    nobody = idle_shop.client()
    page = nobody.get("/t/begin?lift=Lift+3")
    assert page.status_code == 303
    assert page.headers["location"].startswith("/sign-in?to=/t/begin")
    asked = nobody.get("/t/me", headers={"Accept": "application/json"})
    assert asked.status_code == 401
    assert asked.json() == {"message": "Sign in first."}
    sent = nobody.put("/t/takes/" + "0" * 32 + "/parts/0", content=b"x", headers={"X-CSRF": "old"})
    assert sent.status_code == 401


def test_a_session_that_runs_out_loses_nothing(idle_shop: Shop, tmp_path: Path) -> None:
    tess = idle_shop.person()
    client = idle_shop.client(tess)
    parts = cut(recording(tmp_path), 3)
    walkaround = begin(client)
    new = take(client, walkaround)
    put(client, new, 0, parts[0])
    idle_shop.clock.forward(hours=13)
    late = put(client, new, 1, parts[1])
    assert late.status_code == 401
    assert late.json() == {"message": "Sign in first."}
    fresh = idle_shop.client(idle_shop.again(tess))
    fresh.headers["X-CSRF"] = tess.csrf  # the page is still the old one
    assert put(fresh, new, 1, parts[1]).status_code == 403
    fresh.headers["X-CSRF"] = fresh.get("/t/me").json()["csrf"]
    assert put(fresh, new, 1, parts[1]).status_code == 200
    assert put(fresh, new, 2, parts[2]).status_code == 200
    assert finish(fresh, new, 3).json()["complete"] is True


def test_changes_need_the_token(idle_shop: Shop) -> None:
    tess = idle_shop.person()
    walkaround = begin(idle_shop.client(tess))
    bare = idle_shop.client(tess, csrf=False)
    answers = [
        bare.post("/t/walkarounds", json={"title": "x"}),
        bare.post("/t/walkarounds", data={"title": "x"}),
        bare.post(f"/t/walkarounds/{walkaround}/takes", json={"client_key": "some-key"}),
        bare.post(f"/t/walkarounds/{walkaround}/finish", json={}),
        bare.post(f"/t/walkarounds/{walkaround}/photos?key=some-key-1", content=photo()),
    ]
    assert [answer.status_code for answer in answers] == [403] * len(answers)
    form = bare.post("/t/walkarounds", data={"title": "x", "csrf": tess.csrf})
    assert form.status_code == 303
    foreign = idle_shop.client(tess).post(
        "/t/walkarounds", json={"title": "x"}, headers={"Sec-Fetch-Site": "cross-site"}
    )
    assert foreign.status_code == 403


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("takes", {"client_key": "short"}),
        ("takes", {"client_key": "with space in it"}),
        ("takes", {"client_key": "fine-enough", "more": 1}),
        ("takes", ["a list"]),
    ],
)
def test_json_that_cannot_be_is_refused_in_a_sentence(idle_shop: Shop, path: str, body: object) -> None:
    client = idle_shop.client(idle_shop.person())
    answer = client.post(f"/t/walkarounds/{begin(client)}/{path}", json=body)
    assert answer.status_code == 422
    assert answer.json()["message"]


def test_numbers_that_are_none_are_refused(idle_shop: Shop, tmp_path: Path) -> None:
    client = idle_shop.client(idle_shop.person())
    new = take(client, begin(client))
    put(client, new, 0, recording(tmp_path))
    for end in ({"parts": 0, "seconds": 1}, {"parts": 1, "seconds": -1}, {"parts": 10**9, "seconds": 1}, {}):
        assert client.post(f"/t/takes/{new}/finish", json=end).status_code == 422
    raw = client.post(
        f"/t/takes/{new}/finish",
        content=b'{"parts": 1, "seconds": NaN}',
        headers={"Content-Type": "application/json"},
    )
    assert raw.status_code == 422


# -- photos --------------------------------------------------------------------------------------------------


def test_a_photo_is_turned_upright_and_says_nothing_about_where_it_was_taken(idle_shop: Shop) -> None:
    client = idle_shop.client(idle_shop.person())
    walkaround = begin(client)
    new = take(client, walkaround)
    content = photo(turned=True, located=True)
    assert b"Exif" in content
    answer = send_photo(client, walkaround, content, take=new, at=12.5)
    assert answer.status_code == 201
    assert send_photo(client, walkaround, content, take=new, at=12.5).json() == answer.json()
    kept = client.get(f"/media/photo/{answer.json()['photo']}")
    assert kept.headers["content-type"] == "image/jpeg"
    assert b"Exif" not in kept.content
    image = Image.open(io.BytesIO(kept.content))
    assert image.size == (300, 400)  # it was held sideways
    assert image.getexif() == {}
    top, bottom = (image.getpixel((150, y)) for y in (50, 350))
    assert isinstance(top, tuple)
    assert isinstance(bottom, tuple)
    assert top[0] < 60 < 200 < bottom[0]
    with idle_shop.services.database.reading() as session:
        row = recordings.photos(session, walkaround=walkaround)[0]
    assert (row.at, row.take) == (12.5, new)
    assert client.get(f"/t/walkarounds/{walkaround}/state").json()["photos"] == 1


def huge_png(width: int, height: int) -> bytes:
    """Only the beginning of one: its size is said there, its content would be a few kilobytes of zeros."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return (
            struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
        )

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(1000)))


def test_large_pictures_are_made_smaller_and_bombs_are_refused() -> None:
    small = Image.open(io.BytesIO(clean_photo(photo(size=(4000, 3000)))))
    assert max(small.size) == LONGEST_SIDE
    for side in (11_500, 40_000):
        with pytest.raises(InputError, match="too many"):
            clean_photo(huge_png(side, side))
    with pytest.raises(InputError, match="at most"):
        clean_photo(bytes(2000), most_bytes=1000)


@pytest.mark.parametrize(
    "content", [b"", b"no picture", photo()[:700], photo(kind="PNG")[:120], silence(0.1)]
)
def test_what_is_no_picture_is_refused_in_a_sentence(idle_shop: Shop, content: bytes) -> None:
    client = idle_shop.client(idle_shop.person())
    walkaround = begin(client)
    answer = send_photo(client, walkaround, content)
    assert answer.status_code == 422
    assert "picture" in answer.json()["message"]
    assert client.get(f"/t/walkarounds/{walkaround}/state").json()["photos"] == 0


def test_a_see_through_picture_gets_a_white_ground() -> None:
    made = io.BytesIO()
    Image.new("RGBA", (10, 10), (0, 0, 0, 0)).save(made, "PNG")
    pixel = Image.open(io.BytesIO(clean_photo(made.getvalue()))).getpixel((5, 5))
    assert isinstance(pixel, tuple)
    assert min(pixel) > 250


@given(st.binary(max_size=300))
def test_any_bytes_are_a_picture_or_refused(content: bytes) -> None:
    for attempt in (content, photo()[:200] + content, b"\x89PNG\r\n\x1a\n" + content):
        with suppress(InputError):  # nothing else may come out
            assert Image.open(io.BytesIO(clean_photo(attempt))).format == "JPEG"


# -- signatures ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["wav", "mp3", "m4a", "aac", "ogg", "opus", "webm", "mp4", "mov", "flac"])
def test_every_kind_of_recording_that_can_be_read_is_known_by_its_beginning(
    tmp_path: Path, kind: str
) -> None:
    content = recording(tmp_path, seconds=1, kind=kind)
    assert container_of(content[:256])
    assert read_sound(tmp_path / f"made.{kind}").seconds > 0.5


@given(st.binary(max_size=16))
def test_text_and_pictures_are_not_taken_for_recordings(tail: bytes) -> None:
    for start in (b"<html>", b"%PDF-1.7", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff\xe0", b"GIF89a", b"#EXTM3U"):
        assert container_of(start + b" " + tail) == ""
