"""Does the recogniser work on this machine? It is played a sentence that came with the package."""

from __future__ import annotations

import re
import time
from importlib import resources

from voicecheck.recording import Sound, read_sound
from voicecheck.records import Record
from voicecheck.speech.recogniser import Recogniser

SAMPLE = "selftest.opus"  # a synthetic voice saying SAMPLE_TEXT
SAMPLE_TEXT = "Check the left front tire."
EXPECTED = ("left", "front", "tire")


class SelfTest(Record):
    """``heard``: what was made of the sample; ``ok``: whether it holds the ``expected`` words in order."""

    expected: tuple[str, ...]
    heard: str
    ok: bool
    seconds: float  # that it took


def sample_sound() -> Sound:
    """The sample that ships with the package."""
    with resources.as_file(resources.files("voicecheck.speech").joinpath(SAMPLE)) as path:
        return read_sound(path)


def self_test(recogniser: Recogniser) -> SelfTest:
    """Plays the sample to ``recogniser``. "tyre" is as good as "tire"."""
    sound = sample_sound()
    began = time.perf_counter()
    heard = recogniser.hear(sound).text
    took = time.perf_counter() - began
    spoken = re.findall(r"[a-z]+", heard.lower().replace("tyre", "tire"))
    at = 0
    for word in spoken:
        if at < len(EXPECTED) and word == EXPECTED[at]:
            at += 1
    return SelfTest(expected=EXPECTED, heard=heard, ok=at == len(EXPECTED), seconds=round(took, 2))
