"""The ear on sounds that nobody here made: people who read and talk, and real noise.

Sources: the recordings of ``../shared/data/human_speech`` (parts of LJSpeech, VCTK, CMU Arctic, LibriSpeech,
LibriVox, AMI and others, licences in its ``manifest.tsv``) with the words of their publishers, and of
``../shared/data/shop_noise`` (OpenSFX and others). They lie beside the project and are no part of it.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from voicecheck.lexicon import Lexicon, load_lexicon
from voicecheck.measure.ear_conditions import RealNoise, Samples, load_real_noise
from voicecheck.measure.words import plain_numbers, word_errors
from voicecheck.pipeline import listen
from voicecheck.recording import RATE, read_sound, sound_from_samples
from voicecheck.records import MissingModelError, Transcript
from voicecheck.resources import lexicon_dir
from voicecheck.speech import SpeechSettings, find_model
from voicecheck.speech.recogniser import Ear
from voicecheck.speech.whisper import WhisperRecogniser

pytestmark = [pytest.mark.external, pytest.mark.audio]

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
SPEECH, NOISE = DATA / "human_speech", DATA / "shop_noise"
NOISE_S = 12.0


class Spoken(NamedTuple):
    """One recording of a person and the words its publisher gives."""

    path: Path
    words: str


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load_lexicon(lexicon_dir(), None, market="US")


@pytest.fixture(scope="module")
def ear_of() -> Callable[[Ear], WhisperRecogniser]:
    try:
        find_model("base")
    except MissingModelError as error:
        pytest.skip(f"{error.message} {error.hint}")
    made: dict[Ear, WhisperRecogniser] = {}

    def of(ear: Ear) -> WhisperRecogniser:
        if ear not in made:
            made[ear] = WhisperRecogniser(SpeechSettings(model="base", ear=ear))
        return made[ear]

    return of


@pytest.fixture(scope="module")
def spoken() -> list[Spoken]:
    manifest = SPEECH / "manifest.tsv"
    if not manifest.is_file():
        pytest.skip(f"recordings of people are not here: {SPEECH}")
    with manifest.open(encoding="utf-8", newline="") as source:
        rows = [row for row in csv.DictReader(source, delimiter="\t") if row["use"] == "yes"]
    return [Spoken(SPEECH / row["file"], row["reference"]) for row in rows]


@pytest.fixture(scope="module")
def noise() -> RealNoise:
    if not (NOISE / "manifest.tsv").is_file():
        pytest.skip(f"recordings of real noise are not here: {NOISE}")
    return load_real_noise(NOISE)


def heard(lexicon: Lexicon, spoken: list[Spoken], ear: WhisperRecogniser) -> list[Transcript]:
    return [listen(lexicon, one.path, ear)[0] for one in spoken]


def errors(spoken: list[Spoken], transcripts: list[Transcript], *, as_heard: bool = False) -> tuple[int, int]:
    """Word errors and words, numbers in one form."""
    wrong = total = 0
    for one, transcript in zip(spoken, transcripts, strict=True):
        wanted = plain_numbers(one.words)
        got = " ".join(word.heard for word in transcript.words) if as_heard else transcript.text
        wrong += word_errors(wanted, plain_numbers(got))
        total += len(wanted)
    return wrong, total


def test_people_are_heard_no_worse_than_plain(
    lexicon: Lexicon, spoken: list[Spoken], ear_of: Callable[[Ear], WhisperRecogniser]
) -> None:
    """None of this is about vehicles: hot words and repairs can only do harm here."""
    assert len(spoken) >= 20
    plain, words = errors(spoken, heard(lexicon, spoken, ear_of("plain")))
    ours, _ = errors(spoken, heard(lexicon, spoken, ear_of(SpeechSettings().ear)))
    print(f"of {words} words wrong: plain {plain}, by default {ours}")
    assert words > 250
    assert plain < 0.25 * words  # the comparison is not between two kinds of rubbish
    assert ours <= plain


def test_real_noise_gives_no_words(
    lexicon: Lexicon, noise: RealNoise, ear_of: Callable[[Ear], WhisperRecogniser]
) -> None:
    """Each recording of noise by itself, short ones again and again for twelve seconds."""
    assert len(noise.noises) >= 10
    words = {}
    for number, one in enumerate(noise.noises):
        sound = sound_from_samples(lasting(one), name=f"noise {number}")
        got = ear_of("full").hear(sound, hot_words=("torn", "seeping", "outer tie rod end"), lexicon=lexicon)
        if got.text:
            words[number] = got.text
    assert words == {}


def lasting(noise: Samples) -> Samples:
    """The first seconds of a noise, or the whole of it several times, at half of full scale."""
    count = round(NOISE_S * RATE)
    long = np.tile(noise, -(-count // noise.size))[:count]
    loud: Samples = (0.5 * long / np.abs(long).max()).astype(np.float32)
    return loud


def test_real_rooms_and_noise_are_read() -> None:
    """The room responses begin with a direct sound; that is what conditions named ``realbay`` rest on."""
    if not (NOISE / "manifest.tsv").is_file():
        pytest.skip(f"recordings of real noise are not here: {NOISE}")
    real = load_real_noise(NOISE)
    assert len(real.rooms) >= 2
    for room in real.rooms:
        direct = int(np.argmax(np.abs(room)))
        early = np.sum(np.square(room[: direct + RATE // 20]))
        assert early > 0.5 * np.sum(np.square(room))
    assert all(read_sound(path).seconds > 0.3 for path in NOISE.glob("RIR*.flac"))
