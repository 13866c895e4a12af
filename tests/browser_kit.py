"""The browser in which pages are looked at."""

from __future__ import annotations

import wave
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Error, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")
QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
PLAYS_BY_ITSELF = "--autoplay-policy=no-user-gesture-required"


@contextmanager
def chromium(*arguments: str) -> Iterator[Browser]:
    """A Chromium with further ``arguments``; skips the test where there is none or it does not start."""
    if not CHROMIUM.exists():
        pytest.skip("Chromium is not installed at /usr/bin/chromium")
    with sync_playwright() as playwright:
        try:
            started = playwright.chromium.launch(executable_path=str(CHROMIUM), args=[*QUIET, *arguments])
        except Error as error:
            pytest.skip(f"Chromium does not start here: {error.message.splitlines()[0]}")
        yield started
        started.close()


def hears(recording: Path, folder: Path) -> list[str]:
    """Arguments for a microphone that hears ``recording`` over and over; its sound goes into ``folder``."""
    from voicecheck.recording import read_sound

    voice = folder / "voice.wav"
    with wave.open(str(voice), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
        file.writeframes(read_sound(recording).samples.tobytes())
    return [
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={voice}",
    ]
