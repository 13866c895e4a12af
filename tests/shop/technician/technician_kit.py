"""What a phone does, step by step, for the tests of the routes."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient
from media_kit import write_media
from PIL import Image


def recording(folder: Path, *, seconds: float = 4.0, kind: str = "webm") -> bytes:
    """A real media file."""
    return write_media(folder / f"made.{kind}", seconds=seconds, kind=kind).read_bytes()


def cut(content: bytes, pieces: int) -> list[bytes]:
    """``content`` in ``pieces`` parts of like size."""
    size = -(-len(content) // pieces)
    return [content[at : at + size] for at in range(0, len(content), size)]


def begin(client: TestClient, **fields: str) -> str:
    """A new walk-around's id."""
    answer = client.post("/t/walkarounds", json={"title": "2014 blue van", **fields})
    assert answer.status_code == 201, answer.text
    found: str = answer.json()["id"]
    return found


def take(client: TestClient, walkaround: str, *, key: str = "phone-take-1") -> str:
    """A new take's id."""
    answer = client.post(
        f"/t/walkarounds/{walkaround}/takes", json={"client_key": key, "kind": "audio/webm", "name": "x.webm"}
    )
    assert answer.status_code == 201, answer.text
    found: str = answer.json()["take"]
    return found


def put(client: TestClient, take: str, number: int, content: bytes, *, digest: str | None = None) -> Any:
    """Sends a part; the response."""
    headers = {
        "X-SHA256": hashlib.sha256(content).hexdigest() if digest is None else digest,
        "Content-Type": "application/octet-stream",
    }
    return client.put(f"/t/takes/{take}/parts/{number}", content=content, headers=headers)


def finish(client: TestClient, take: str, parts: int, seconds: float | None = 4.0) -> Any:
    """Says that no more parts come; the response."""
    return client.post(f"/t/takes/{take}/finish", json={"parts": parts, "seconds": seconds})


def send_photo(
    client: TestClient, walkaround: str, content: bytes, *, key: str = "phone-photo-1", **query: Any
) -> Any:
    """Sends a photo; the response."""
    headers = {"X-SHA256": hashlib.sha256(content).hexdigest(), "Content-Type": "application/octet-stream"}
    return client.post(
        f"/t/walkarounds/{walkaround}/photos", content=content, headers=headers, params={"key": key, **query}
    )


def photo(
    *, size: tuple[int, int] = (400, 300), kind: str = "JPEG", turned: bool = False, located: bool = False
) -> bytes:
    """A picture, dark on its left half; ``turned``: held sideways, ``located``: with where it was taken."""
    image = Image.new("RGB", size, (240, 240, 240))
    image.paste((20, 20, 20), (0, 0, size[0] // 2, size[1]))
    exif = Image.Exif()
    if turned:
        exif[0x0112] = 6  # turn by 90 degrees clockwise to see it upright
    if located:
        exif[0x010F] = "maker"
        exif.get_ifd(0x8825)[1] = "N"
        exif.get_ifd(0x8825)[2] = (52.0, 30.0, 0.0)
    made = io.BytesIO()
    image.save(made, kind, exif=exif) if kind == "JPEG" else image.save(made, kind)
    return made.getvalue()
