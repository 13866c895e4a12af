"""The real engine with real weights, on the sample of the package and on sounds that are not speech."""

from __future__ import annotations

import socket
from typing import Any, NoReturn

import numpy as np
import pytest

from voicecheck.lexicon import load_lexicon
from voicecheck.recording import RATE, sound_from_samples
from voicecheck.records import MissingModelError
from voicecheck.resources import lexicon_dir
from voicecheck.speech import SpeechSettings, find_model, self_test, verify
from voicecheck.speech.doctor import sample_sound
from voicecheck.speech.timeline import Splice, Stretch
from voicecheck.speech.whisper import WhisperRecogniser

pytestmark = pytest.mark.audio


@pytest.fixture(scope="module", params=["base", "tiny.en"])
def recogniser(request: Any) -> WhisperRecogniser:
    try:
        find_model(request.param)
    except MissingModelError as error:
        pytest.skip(f"{error.message} {error.hint}")
    return WhisperRecogniser(SpeechSettings(model=request.param, ear="full"))


def test_weights_are_the_pinned_ones(recogniser: WhisperRecogniser) -> None:
    verify(recogniser.settings.model)


def test_self_test_passes(recogniser: WhisperRecogniser) -> None:
    result = self_test(recogniser)
    assert result.ok, result.heard


def test_same_sound_same_words_with_times_in_order(recogniser: WhisperRecogniser) -> None:
    silence = np.zeros(4 * RATE, np.float32)
    sound = sound_from_samples(np.concatenate([silence, sample_sound().floats(), silence]))
    first = recogniser.hear(sound, hot_words=["left front tire", "idler pulley"])
    assert first == recogniser.hear(sound, hot_words=["left front tire", "idler pulley"])
    times = [time for word in first.words for time in (word.start or 0.0, word.end or 0.0)]
    assert times == sorted(times)
    assert 3.8 < times[0] < 5.0
    assert times[-1] < sound.seconds - 3.0
    assert first.unheard == ()


def test_noise_gives_no_hot_words(recogniser: WhisperRecogniser) -> None:
    rng = np.random.default_rng(3)
    time = np.arange(30 * RATE) / RATE
    hum = sum(np.sin(2 * np.pi * f * time) / f for f in (58, 117, 175, 233)) * 10
    sound = sound_from_samples(np.clip(0.3 * hum + 0.05 * rng.standard_normal(len(time)), -1, 1))
    transcript = recogniser.hear(sound, hot_words=["torn", "seeping", "outer tie rod end"])
    assert transcript.words == ()
    assert "No speech was heard" in transcript.note


def test_the_full_ear_makes_nothing_of_noise_and_leaves_what_is_right(recogniser: WhisperRecogniser) -> None:
    lexicon = load_lexicon(lexicon_dir())
    rng = np.random.default_rng(7)
    for samples in (np.zeros(10 * RATE), np.clip(0.1 * rng.standard_normal(20 * RATE), -1, 1)):
        transcript = recogniser.hear(
            sound_from_samples(samples), hot_words=["torn", "idler pulley"], lexicon=lexicon
        )
        assert transcript.words == ()
        assert transcript.note
    heard = recogniser.hear(sample_sound(), hot_words=["idler pulley", "tie rod end"], lexicon=lexicon)
    assert heard.words
    assert all(word.read == word.heard and not word.why for word in heard.words)


def test_every_word_is_the_tokens_that_the_model_knows(recogniser: WhisperRecogniser) -> None:
    """The tokeniser as loaded writes what it reads in as few tokens as the vocabulary has for it."""
    tokeniser = recogniser._model.hf_tokenizer
    for word in (" the", " tire", " and", " tie", " rod", " bearing", " left"):
        ids = tokeniser.encode(word, add_special_tokens=False).ids
        assert len(ids) == 1, word
        assert tokeniser.decode(ids) == word


def test_the_sound_tells_what_was_said_from_what_was_not(recogniser: WhisperRecogniser) -> None:
    """Forced scores on the package's own sample: the words that were spoken against some that were not."""
    sound = sample_sound()
    segments = [s for s, _ in recogniser._decode(sound, Splice([Stretch(0.0, sound.seconds)]), ())]
    score = recogniser._scorer(segments[0].window)
    whole = Stretch(0.0, sound.seconds)
    said = score("Check the left front tire.", whole)
    for other in ("Check the left front liar.", "Check the left rear tire.", "Chuck a lift from fire."):
        assert said > score(other, whole), other


def test_no_network_is_used(recogniser: WhisperRecogniser, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any, **__: Any) -> NoReturn:
        raise AssertionError("the network was used")

    monkeypatch.setattr(socket, "create_connection", refuse)
    monkeypatch.setattr(socket.socket, "connect", refuse)
    again = WhisperRecogniser(recogniser.settings)
    assert self_test(again).ok
