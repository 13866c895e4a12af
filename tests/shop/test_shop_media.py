"""Sound and pictures only for those who may see them; the state of the work as events."""

from __future__ import annotations

import io
import json
import re
import wave

import av
import httpx
import numpy as np
import pytest
from PIL import Image
from shop_kit import Shop, drafted, make_shop, running, silence

from voicecheck.store import recordings
from voicecheck.store.tables import Take


@pytest.fixture
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return make_shop(tmp_path_factory.mktemp("shop"), words="Cabin filter is dirty, replace it.")


def take_of(shop: Shop, walk: str) -> str:
    with shop.services.database.reading() as session:
        (take,) = recordings.takes(session, walkaround=walk)
    return take.id


def test_who_may_hear_a_recording(shop: Shop) -> None:
    tess, other = shop.person("technician", "Tess"), shop.person("technician", "Theo")
    walk = drafted(shop, tess, recording=silence(5))
    path = f"/media/take/{take_of(shop, walk)}/sound.wav"
    assert shop.client(tess).get(path).status_code == 200
    assert shop.client(shop.person("advisor")).get(path).status_code == 200
    assert shop.client(other).get(path).status_code == 404
    assert shop.client().get(path).status_code in (303, 401)
    assert shop.client(tess).get("/media/take/" + "0" * 32 + "/sound.wav").status_code == 404


def test_the_playable_copy_has_the_same_length_and_can_be_sought(shop: Shop) -> None:
    walk = drafted(shop, shop.person("technician"), recording=silence(5))
    client = shop.client(shop.person("advisor"))
    path = f"/media/take/{take_of(shop, walk)}/sound.wav"
    whole = client.get(path)
    with wave.open(io.BytesIO(whole.content)) as sound:
        assert sound.getnframes() / sound.getframerate() == pytest.approx(5.0, abs=0.05)
    part = client.get(path, headers={"Range": "bytes=1000-1999"})
    assert part.status_code == 206
    assert part.content == whole.content[1000:2000]


def test_a_recording_that_was_removed_says_so_and_the_words_stay(shop: Shop) -> None:
    walk = drafted(shop, shop.person("technician"), recording=silence(5))
    take = take_of(shop, walk)
    with shop.services.database.session() as session:
        row = session.get(Take, take)
        assert row is not None
        row.deleted = shop.clock()
    client = shop.client(shop.person("advisor"))
    gone = client.get(f"/media/take/{take}/sound.wav", headers={"Accept": "application/json"})
    assert gone.status_code == 410
    assert "words are still here" in gone.json()["message"]
    assert "Cabin filter is dirty" in client.get(f"/desk/{walk}").text


def test_a_video_shows_its_pictures_beside_the_words(shop: Shop) -> None:
    tess = shop.person("technician")
    walk = drafted(shop, tess, recording=video(6))
    take = take_of(shop, walk)
    with shop.services.database.session() as session:
        row = session.get(Take, take)
        assert row is not None
        row.kind = "video/mp4"
    client = shop.client(shop.person("advisor"))
    shown = re.search(
        r'src="(/media/take/[0-9a-f]+/still.jpg\?at=[0-9.]+)"', client.get(f"/desk/{walk}").text
    )
    assert shown is not None
    answer = client.get(shown[1])
    assert answer.headers["content-type"] == "image/jpeg"
    for at, grey in ((0.5, 0), (2.5, 80), (4.5, 160)):
        content = client.get(f"/media/take/{take}/still.jpg", params={"at": at}).content
        with Image.open(io.BytesIO(content)) as image:
            assert image.convert("L").getpixel((10, 10)) == pytest.approx(grey, abs=6)
    theo = shop.client(shop.person("technician", "Theo"))
    assert theo.get(f"/media/take/{take}/still.jpg").status_code == 404


def test_sound_alone_has_no_picture(shop: Shop) -> None:
    walk = drafted(shop, shop.person("technician"), recording=silence(5))
    client = shop.client(shop.person("advisor"))
    assert client.get(f"/media/take/{take_of(shop, walk)}/still.jpg").status_code == 404
    assert "still.jpg" not in client.get(f"/desk/{walk}").text


def video(seconds: int) -> bytes:
    """A video with silent sound whose grey gets lighter every two seconds: 0, 80, 160."""
    made = io.BytesIO()
    with av.open(made, "w", format="mp4") as container:
        pictures = container.add_stream("mpeg4", rate=10)
        pictures.width, pictures.height, pictures.pix_fmt = 320, 240, "yuv420p"
        sound = container.add_stream("aac", rate=16_000)
        for n in range(seconds * 10):
            grey = np.full((240, 320, 3), (n // 20) * 80, np.uint8)
            for packet in pictures.encode(av.VideoFrame.from_ndarray(grey, format="rgb24")):
                container.mux(packet)
        frame = av.AudioFrame.from_ndarray(
            np.zeros((1, 16_000 * seconds), np.float32), format="fltp", layout="mono"
        )
        frame.sample_rate = 16_000
        for packet in [*sound.encode(frame), *sound.encode(None), *pictures.encode(None)]:
            container.mux(packet)
    return made.getvalue()


def test_the_state_of_the_work_is_pushed(shop: Shop) -> None:
    tess = shop.person("technician")
    walk = drafted(shop, tess, recording=silence(5))
    with running(shop) as address, httpx.Client(base_url=address, timeout=10) as client:
        client.cookies.set("voicecheck", tess.token)
        with client.stream("GET", f"/live/walkaround/{walk}") as events:
            assert events.headers["content-type"].startswith("text/event-stream")
            lines = events.iter_lines()
            data = next(line for line in lines if line.startswith("data: "))
        state = json.loads(data.removeprefix("data: "))
        assert state["state"] == "review"
        assert state["seq"] == 0
        other = shop.person("technician")
        client.cookies.set("voicecheck", other.token)
        assert client.get(f"/live/walkaround/{walk}").status_code == 404
