"""A copy of a recording that every browser can play and seek exactly: 16 kHz mono WAV in a cache folder.

What phones record has often no length and no index (a recorder that writes as it goes), and one phone's
format is unknown to the other's browser. The copy can be thrown away; it is made again when needed.
"""

from __future__ import annotations

import os
import tempfile
import wave
from pathlib import Path

from voicecheck.recording import read_sound
from voicecheck.recording.sound import RATE


def playable(source: Path, *, key: str, cache: Path) -> Path:
    """The WAV copy of the media file ``source``, whose content is named by ``key`` (its sha256).

    Raises ``RecordingError`` when the file cannot be decoded, ``OSError`` when the cache cannot be written.
    """
    target = cache / f"{key}.wav"
    if target.exists():
        return target
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


def forget(key: str, *, cache: Path) -> None:
    """Remove the copy, if there is one."""
    (cache / f"{key}.wav").unlink(missing_ok=True)
