"""Hot words by topic and their echoes, the quality of sound, and certainty that was corrected."""

from __future__ import annotations

import numpy as np
import pytest

from voicecheck.lexicon import SimpleMatcher, load_lexicon, normalise_phrase
from voicecheck.recording import RATE, sound_from_samples
from voicecheck.records import Word
from voicecheck.records.odds import logistic
from voicecheck.resources import lexicon_dir
from voicecheck.speech.certainty import calibrated, calibration, fit_curve, logit
from voicecheck.speech.doctor import sample_sound
from voicecheck.speech.ear import told_apart
from voicecheck.speech.quality import record_again, sound_quality
from voicecheck.speech.recogniser import SpeechSettings
from voicecheck.speech.timeline import Splice, Stretch
from voicecheck.speech.topic import Topic, TopicLimits
from voicecheck.speech.whisper import find_speech

STANDING = ("idler pulley", "outer tie rod end", "slide pins", "wiper blades")


def tokens(text: str) -> int:
    return sum(1 + len(word) // 6 for word in text.split())


@pytest.fixture(scope="module")
def topic() -> Topic:
    lexicon = load_lexicon(lexicon_dir())
    return Topic(lexicon, matcher=SimpleMatcher(lexicon), count_tokens=tokens, limits=TopicLimits(tokens=60))


def test_without_a_topic_the_standing_list_is_used(topic: Topic) -> None:
    assert topic.hot_words(STANDING, []) == STANDING
    assert topic.hot_words(STANDING, ["good", "morning", "to", "everybody"]) == STANDING


def test_what_was_talked_about_comes_last_and_fills_the_room(topic: Topic) -> None:
    brakes = topic.hot_words(
        STANDING, normalise_phrase("the brake pads and the caliper on the rotor are worn")
    )
    steering = topic.hot_words(STANDING, normalise_phrase("play in the tie rod and the steering rack"))
    assert set(STANDING) <= set(brakes)
    assert set(STANDING) <= set(steering)
    assert set(brakes) != set(steering)
    assert any("brake" in phrase or "caliper" in phrase for phrase in brakes[len(STANDING) :])
    assert brakes.index("slide pins") > brakes.index("idler pulley")
    assert steering.index("outer tie rod end") > steering.index("wiper blades")
    for chosen in (brakes, steering):
        assert sum(tokens(phrase) + 1 for phrase in chosen) <= 60
        assert len(set(chosen)) == len(chosen)


def test_only_the_last_minutes_tell_the_topic(topic: Topic) -> None:
    long_ago = normalise_phrase("play in the tie rod and the steering rack")
    since = ["well"] * topic.limits.recent_words
    assert topic.hot_words(STANDING, [*long_ago, *since]) == STANDING


def word(text: str, start: float, seconds: float, certainty: float) -> Word:
    return Word(heard=text, read=text, start=start, end=start + seconds, certainty=certainty)


def test_doubled_hot_words_are_read_once() -> None:
    words = [
        word("the", 0.0, 0.2, 0.9), word("slide", 0.2, 0.05, 0.6), word("slide", 0.25, 0.4, 0.9),
        word("pins", 0.65, 0.4, 0.9), word("stick", 1.1, 0.4, 0.9),
    ]  # fmt: skip
    result = told_apart(words, ["slide pins"])
    assert [w.read for w in result] == ["the", "", "slide", "pins", "stick"]
    assert [w.heard for w in result] == [w.heard for w in words]
    assert "echo" in result[1].why
    assert told_apart(words, ["idler pulley"]) == words  # nobody put it into the recogniser's ear
    kept = told_apart(words, ["slide pins"], lambda text, stretch: 10.0 * text.count("slide"))
    assert kept == words  # the sound has both


def test_words_said_twice_on_purpose_stay() -> None:
    words = [word("worn", 0.0, 0.4, 0.9), word("worn", 0.5, 0.4, 0.95), word("out", 1.0, 0.3, 0.9)]
    assert told_apart(words, ["worn"]) == words
    words = [word("no,", 0.0, 0.1, 0.4), word("no", 0.1, 0.1, 0.4)]
    assert told_apart(words, ["idler"]) == words


def test_a_stray_hot_word_goes_only_if_it_has_no_time_and_no_certainty() -> None:
    words = [word("front", 0.0, 0.3, 0.9), word("replacement", 0.3, 0.06, 0.2), word("pads", 0.4, 0.4, 0.9)]
    assert [w.read for w in told_apart(words, ["replacement"])] == ["front", "", "pads"]
    slow = [words[0], word("replacement", 0.3, 0.6, 0.2), word("pads", 0.9, 0.4, 0.9)]
    assert told_apart(slow, ["replacement"]) == slow


# -- quality of sound


def noisy(ratio_db: float, *, gain: float = 1.0, clip: float = 1.0) -> np.ndarray:
    """The package's sample three times, with silence around, in hiss so many dB below the voice."""
    sample = sample_sound().floats()
    silence = np.zeros(RATE, np.float32)
    voice = np.concatenate([silence, *(part for _ in range(3) for part in (sample, silence))])
    loud = float(np.sqrt(np.mean(np.square(voice[np.abs(voice) > 0.01]))))
    hiss = np.random.default_rng(2).standard_normal(len(voice)) * loud / 10 ** (ratio_db / 20)
    return np.clip((voice + hiss) * gain, -clip, clip) / clip


def quality_of(samples: np.ndarray, speech: list[Stretch] | None = None):  # type: ignore[no-untyped-def]
    sound = sound_from_samples(samples)
    return sound_quality(sound, find_speech(sound, SpeechSettings()) if speech is None else speech)


def test_quality_measures_what_was_mixed() -> None:
    speech = find_speech(sound_from_samples(noisy(60)), SpeechSettings())
    ratios = [quality_of(noisy(db), speech).ratio_db for db in (20, 10, 3)]
    assert ratios == sorted(ratios, reverse=True)
    assert ratios == pytest.approx([20, 10, 3], abs=4)
    halved = quality_of(noisy(20, gain=0.1), speech)
    assert halved.level_db == pytest.approx(quality_of(noisy(20), speech).level_db - 20, abs=0.5)
    assert 0.2 < halved.speech < 0.9


def test_good_and_middling_sound_is_not_complained_about() -> None:
    speech = find_speech(sound_from_samples(noisy(60)), SpeechSettings())
    for db in (60, 20, 12):
        assert record_again(quality_of(noisy(db), speech)) == ""


@pytest.mark.parametrize(
    ("samples", "says"),
    [
        (noisy(0), "above the noise"),
        (noisy(40, clip=0.02), "overdriven"),
        (noisy(40, gain=0.002), "very quiet"),
    ],
    ids=["noise", "clipped", "quiet"],
)
def test_bad_sound_says_in_one_sentence_to_record_again(samples: np.ndarray, says: str) -> None:
    speech = find_speech(sound_from_samples(noisy(60)), SpeechSettings())
    sentence = record_again(quality_of(samples, speech))
    assert says in sentence
    assert "record again" in sentence
    assert sentence.count(". ") == 0


def test_quality_of_nothing() -> None:
    quality = quality_of(np.zeros(100), [])
    assert quality.speech == 0.0
    assert record_again(quality) == ""


# -- certainty


def test_a_curve_finds_the_shares_that_labels_were_drawn_from() -> None:
    rng = np.random.default_rng(4)
    stated = [float(p) for p in rng.uniform(0.02, 0.98, 4000)]
    truth = [logistic(-0.7 + 0.6 * logit(p)) for p in stated]
    curve = fit_curve(stated, [bool(rng.random() < p) for p in truth])
    assert curve.offset == pytest.approx(-0.7, abs=0.15)
    assert curve.slope == pytest.approx(0.6, abs=0.1)
    assert fit_curve([], []).slope == 1.0
    for said, right in (([0.9] * 5 + [0.01], [False] * 5 + [True]), ([0.999] * 80, [True] * 80)):
        hard = fit_curve(said, right)
        assert 0.0 <= hard.slope < 20.0
        assert abs(hard.offset) < 20.0


def test_shipped_calibration_was_learned_and_rises() -> None:
    learned = calibration()
    assert learned.figures["recordings"]
    for kind in ("word", "side", "number"):
        values = [learned.certainty(p / 20, kind) for p in range(21)]
        assert values == sorted(values)
        assert 0.0 < values[0] < values[-1] < 1.0
        assert learned.curves[kind].words > 50
    words = [word("pads", 0.0, 0.1, 0.7), word("left", 0.1, 0.1, 0.7)]
    result = calibrated(words, ["word", None], learned)
    assert result[0].certainty == learned.certainty(0.7, "word")
    assert result[1] == words[1]


def test_splice_finds_the_way_there_and_back() -> None:
    splice = Splice([Stretch(2.0, 4.0), Stretch(10.0, 13.0)])
    for time in (2.0, 3.5, 10.5, 12.9):
        at = splice.spliced(time)
        assert splice.original(at, at).start == pytest.approx(time)
    assert splice.spliced(0.0) == 0.0
    assert splice.spliced(7.0) == 2.0
    assert splice.spliced(20.0) == 5.0
