"""Copies of a recording for every browser: its sound as WAV (16 kHz mono), single frames of a video.

What phones record has often no length and no index (a recorder that writes as it goes), and one phone's
format is unknown to the other's browser. The copies lie in a cache folder and are made again when needed.
"""

from __future__ import annotations

import os
import tempfile
import wave
from pathlib import Path

from voicecheck.recording import read_sound
from voicecheck.recording.sound import RATE
from voicecheck.recording.stills import still_at
from voicecheck.store.media import MediaStore


def playable(media: MediaStore, key: str, *, cache: Path) -> Path:
    """The WAV copy of the recording ``key``.

    Raises ``NotThereError`` when the recording is gone, ``RecordingError`` when it cannot be decoded,
    ``OSError`` when the cache cannot be written.
    """
    target = cache / f"{key}.wav"
    if target.exists():
        return target
    with media.as_file(key, name="take") as source:
        sound = read_sound(source)
    cache.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=cache, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file, wave.open(file) as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(RATE)
            out.writeframes(sound.samples.tobytes())
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return target


def picture(media: MediaStore, key: str, *, at: float, cache: Path) -> Path:
    """The frame of the video ``key`` at second ``at`` as JPEG, kept and raising as ``playable``."""
    target = cache / f"{key}-{round(at * 10)}.jpg"
    if not target.exists():
        with media.as_file(key, name="take") as source:
            content = still_at(source, at)
        cache.mkdir(parents=True, exist_ok=True)
        part = target.with_suffix(f".{os.getpid()}.part")
        part.write_bytes(content)
        part.replace(target)
    return target


def forget(key: str, *, cache: Path) -> None:
    """Remove the copies, if there are any."""
    for path in (cache / f"{key}.wav", *cache.glob(f"{key}-*.jpg")):
        path.unlink(missing_ok=True)
