"""The way of a recording through the recogniser, with a scripted engine in place of the weights.

The speech detector is the real one (it ships with the engine); the speech is the sample of the package.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from voicecheck.lexicon import hot_words, load_lexicon
from voicecheck.recording import RATE, Sound, sound_from_samples
from voicecheck.records import Market, MissingModelError, RecordingError, SpeechError, Word
from voicecheck.resources import lexicon_dir
from voicecheck.speech import ScriptedRecogniser, SpeechSettings, self_test, whisper
from voicecheck.speech.doctor import sample_sound
from voicecheck.speech.topic import hot_text
from voicecheck.speech.whisper import WhisperRecogniser, find_speech


class Engine:
    """Stands for ``faster_whisper.WhisperModel``: answers ``transcribe`` from a list of answers, in turn."""

    def __init__(
        self,
        answers: Iterable[list[dict[str, Any]]],
        *,
        languages: list[list[tuple[str, float]]] | None = None,
    ):
        self.answers = iter(answers)
        self.languages = iter(languages or [])
        self.model = SimpleNamespace(is_multilingual=languages is not None)
        self.hf_tokenizer = SimpleNamespace(
            encode=lambda text, add_special_tokens: SimpleNamespace(ids=text.split())
        )
        self.asked: list[dict[str, Any]] = []

    def transcribe(self, audio: np.ndarray, **options: Any) -> tuple[Iterator[Any], None]:
        self.asked.append({"seconds": len(audio) / RATE, **options})
        segments = []
        for answer in next(self.answers):
            words = [SimpleNamespace(word=w, start=a, end=b, probability=p) for w, a, b, p in answer["words"]]
            segments.append(
                SimpleNamespace(
                    words=words,
                    text="".join(w.word for w in words),
                    seek=0,
                    end=words[-1].end,
                    no_speech_prob=answer.get("no_speech", 0.0),
                    avg_logprob=answer.get("logprob", -0.2),
                )
            )
        return iter(segments), None

    def detect_language(self, audio: np.ndarray) -> tuple[str, float, list[tuple[str, float]]]:
        levels = next(self.languages)
        return levels[0][0], levels[0][1], levels


@pytest.fixture
def with_engine(monkeypatch: pytest.MonkeyPatch) -> Any:
    def build(engine: Engine, **settings: Any) -> WhisperRecogniser:
        monkeypatch.setattr(whisper, "find_model", lambda spec: spec)
        monkeypatch.setattr(whisper, "_load", lambda folder, options: engine)
        return WhisperRecogniser(SpeechSettings(**settings))

    return build


def spoken(times: int = 1, *, pause: float = 0.2) -> Sound:
    """The package's sample (about 1.6 s of speech) ``times`` over, ``pause`` seconds between."""
    sample = sample_sound().floats()
    silence = np.zeros(round(pause * RATE), np.float32)
    return sound_from_samples(
        np.concatenate([part for _ in range(times) for part in (sample, silence)]), name="x.wav"
    )


def words(
    text: str, start: float, end: float, certainty: float = 0.9
) -> list[tuple[str, float, float, float]]:
    parts = text.split()
    step = (end - start) / len(parts)
    return [(f" {p}", start + n * step, start + (n + 1) * step, certainty) for n, p in enumerate(parts)]


def test_detector_hears_the_sample_and_not_the_silence() -> None:
    sound = spoken(2, pause=5.0)
    speech = find_speech(sound, SpeechSettings())
    assert len(speech) == 2
    assert sum(s.seconds for s in speech) == pytest.approx(2 * 1.4, abs=0.8)
    assert speech[1].start > 5.0


@pytest.mark.parametrize(
    ("wave", "note"),
    [
        (np.zeros(10 * RATE, np.float32), "silent throughout"),
        (0.1 * np.random.default_rng(1).standard_normal(10 * RATE).astype(np.float32), "No speech was heard"),
        (0.3 * np.sin(np.arange(10 * RATE) * 0.05).astype(np.float32), "No speech was heard"),
    ],
    ids=["silence", "hiss", "hum"],
)
def test_no_speech_no_words_and_the_engine_is_not_even_asked(
    with_engine: Any, wave: np.ndarray, note: str
) -> None:
    engine = Engine([])
    transcript = with_engine(engine).hear(sound_from_samples(wave), hot_words=["torn", "seeping"])
    assert (transcript.words, transcript.unheard, transcript.text) == ((), (), "")
    assert note in transcript.note
    assert engine.asked == []


def test_words_keep_the_recordings_time(with_engine: Any) -> None:
    sample = sample_sound().floats()
    sound = sound_from_samples(np.concatenate([np.zeros(10 * RATE, np.float32), sample]))
    engine = Engine([[{"words": words("check the left front tire.", 0.4, 1.7)}]])
    transcript = with_engine(engine).hear(sound)
    assert transcript.text == "check the left front tire."
    assert engine.asked[0]["seconds"] < 3  # the silence was cut out
    first, last = transcript.words[0], transcript.words[-1]
    assert 9.9 < (first.start or 0) < 10.6
    assert (last.end or 0) <= sound.seconds
    assert transcript.seconds == pytest.approx(sound.seconds, abs=0.001)


def test_hot_words_are_given_whole_and_only_as_many_as_fit(with_engine: Any) -> None:
    engine = Engine([[{"words": words("check the left front tire", 0.2, 1.7)}]])
    with_engine(engine, hot_tokens=5).hear(spoken(), hot_words=["tie rod end", "idler pulley", "ball joint"])
    assert engine.asked[0]["hotwords"] == "tie rod end, idler pulley."
    assert engine.asked[0]["temperature"] == 0.0
    assert engine.asked[0]["condition_on_previous_text"] is False


def test_dropped_speech_is_listened_to_again_without_hot_words(with_engine: Any) -> None:
    sound = spoken(4)
    quarter = sound.seconds / 4
    engine = Engine(
        [
            [
                {"words": words("check the left front tire", 0.2, quarter)},
                {"words": words("check the left front tire", 3 * quarter, sound.seconds)},
            ],
            [{"words": words("sorry that is the right front tire", 0.5, 2 * quarter)}],
        ]
    )
    transcript = with_engine(engine).hear(sound, hot_words=["idler pulley"])
    assert (
        transcript.text
        == "check the left front tire sorry that is the right front tire check the left front tire"
    )
    assert transcript.unheard == ()
    assert [asked["hotwords"] for asked in engine.asked] == ["idler pulley.", None]
    starts = [w.start or 0.0 for w in transcript.words]
    assert starts == sorted(starts)


def test_speech_that_stays_without_words_is_reported(with_engine: Any) -> None:
    sound = spoken(4)
    quarter = sound.seconds / 4
    # the last word is given the whole lost stretch, as the engine sometimes does
    engine = Engine(
        [
            [
                {
                    "words": [
                        *words("check the left", 0.2, 1.0),
                        (" front", 1.0, quarter, 0.9),
                        (" tire", quarter, sound.seconds, 0.9),
                    ]
                }
            ],
            [],
        ]
    )
    transcript = with_engine(engine).hear(sound)
    assert len(transcript.words) == 5
    (unheard,) = transcript.unheard
    assert unheard.start == pytest.approx(quarter + 2.3, abs=0.5)
    assert unheard.end == pytest.approx(sound.seconds, abs=0.6)
    assert "no words could be made out" in unheard.why


@pytest.mark.parametrize(
    "bad",
    [
        {"words": words("the rotor is worn " * 15, 0.2, 1.7)},
        {"words": words("thank you", 0.2, 1.7), "no_speech": 0.9, "logprob": -1.5},
        {"words": words("thank you", 0.2, 1.7, 0.3), "no_speech": 0.9, "logprob": -0.5},
        {"words": words("idler pulley torn", 0.5, 0.55)},
        {"words": words("outer tie rod end, idler pulley, ball joint", 0.2, 1.7)},
    ],
    ids=["loop", "doubted by the model", "doubted and unsure", "piled up", "echo of the hot words"],
)
def test_words_of_the_models_own_are_thrown_out_and_the_speech_heard_again(
    with_engine: Any, bad: dict[str, Any]
) -> None:
    hot = ["outer tie rod end", "idler pulley", "ball joint"]
    engine = Engine([[bad], [{"words": words("check the left front tire", 0.2, 1.7)}]])
    assert with_engine(engine).hear(spoken(), hot_words=hot).text == "check the left front tire"
    engine = Engine([[bad], []])
    transcript = with_engine(engine).hear(spoken(), hot_words=hot)
    assert transcript.words == ()
    assert len(transcript.unheard) == 1
    assert "no words could be made out" in transcript.note


def test_words_where_no_speech_is_are_thrown_out(with_engine: Any) -> None:
    sound = spoken(2, pause=1.2)  # less than is cut out
    speech = find_speech(sound, SpeechSettings())
    middle = (speech[0].end + speech[1].start) / 2
    engine = Engine(
        [[
            {"words": words("check the left front tire", 0.2, speech[0].end)},
            {"words": words("seeping", middle - 0.1, middle + 0.1)},
            {"words": words("check the left front tire", speech[1].start, speech[1].end)},
        ]]
    )  # fmt: skip
    assert "seeping" not in with_engine(engine).hear(sound, hot_words=["seeping"]).text


GERMAN, ENGLISH, UNSURE = (
    [("de", 0.97), ("en", 0.01)],
    [("en", 0.9), ("de", 0.05)],
    [("cy", 0.3), ("en", 0.1)],
)


@pytest.mark.parametrize("windows", [[ENGLISH], [UNSURE], [GERMAN, ENGLISH], [GERMAN, GERMAN, UNSURE]])
def test_english_is_not_refused_for_one_doubtful_window(with_engine: Any, windows: list[Any]) -> None:
    sound = spoken(60)
    text = words("check the left front tire " * 60, 0.0, sound.seconds)
    engine = Engine([[{"words": text[n : n + 5]} for n in range(0, 300, 5)], *([[]] * 60)], languages=windows)
    assert len(with_engine(engine).hear(sound).words) == 300
    assert next(engine.languages, None) is None


def test_another_language_is_refused_by_name(with_engine: Any) -> None:
    engine = Engine([], languages=[GERMAN, GERMAN, GERMAN])
    with pytest.raises(RecordingError, match=r"x\.wav sounds like German, not English"):
        with_engine(engine).hear(spoken(60))
    assert engine.asked == []


def test_a_few_words_are_too_little_to_tell_a_language(with_engine: Any) -> None:
    engine = Engine([[{"words": words("check the left front tire", 0.2, 1.7)}]], languages=[GERMAN])
    assert len(with_engine(engine).hear(spoken()).words) == 5


def test_failure_of_the_engine_is_told_in_a_sentence(
    with_engine: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine = Engine([])

    def fail(*_: Any, **__: Any) -> None:
        raise RuntimeError("out of luck")

    monkeypatch.setattr(engine, "transcribe", fail)
    with pytest.raises(SpeechError, match=r"failed on x\.wav: out of luck"):
        with_engine(engine).hear(spoken())


def test_progress_rises_to_one(with_engine: Any) -> None:
    engine = Engine(
        [[{"words": words("check the left", 0.1, 0.9)}, {"words": words("front tire", 0.9, 1.7)}]]
    )
    shares: list[float] = []
    with_engine(engine).hear(spoken(), progress=shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_note_of_the_file_is_passed_on(with_engine: Any) -> None:
    sound = sound_from_samples(np.zeros(RATE, np.float32), note="The rest is missing.")
    assert with_engine(Engine([])).hear(sound).note.endswith("muted. The rest is missing.")


@pytest.mark.parametrize("content", [b"", b"not a model" * 100])
def test_broken_model_folder(tmp_path: Any, content: bytes) -> None:
    for name in ("model.bin", "config.json", "tokenizer.json", "vocabulary.txt"):
        (tmp_path / name).write_bytes(content)
    with pytest.raises(MissingModelError, match="cannot be loaded"):
        WhisperRecogniser(SpeechSettings(model=str(tmp_path)))


def test_a_lost_merge_is_put_back_in_its_place() -> None:
    vocabulary = {"a": 0, "b": 1, "c": 2, "ab": 3, "bc": 4, "abc": 5}
    whole = {"model": {"type": "BPE", "vocab": vocabulary, "merges": ["a b", "b c", "ab c"]}}
    assert whisper.whole_merges(json.dumps(whole)) == json.dumps(whole)
    for lost in (0, 1):
        merges = whole["model"]["merges"]
        assert isinstance(merges, list)
        torn = {"model": {**whole["model"], "merges": merges[:lost] + merges[lost + 1 :]}}
        assert json.loads(whisper.whole_merges(json.dumps(torn))) == whole
    pairs = {"model": {"type": "BPE", "vocab": vocabulary, "merges": [["b", "c"], ["ab", "c"]]}}
    assert json.loads(whisper.whole_merges(json.dumps(pairs)))["model"]["merges"][0] == ["a", "b"]
    other = json.dumps({"model": {"type": "Unigram", "vocab": []}})
    assert whisper.whole_merges(other) == other


def test_double_hears_its_script() -> None:
    double = ScriptedRecogniser("Left front tire is worn.", note="a note")
    transcript = double.hear(spoken(), hot_words=["tire"])
    assert transcript.text == "Left front tire is worn."
    assert transcript.words[-1].end == pytest.approx(transcript.seconds, abs=0.01)
    assert transcript.note == "a note"
    assert double.asked == [("x.wav", ("tire",))]
    given = (Word(heard="rodent", read="rod end", start=0.0, end=1.0, certainty=0.3),)
    assert ScriptedRecogniser(given).hear(spoken()).words == given
    assert ScriptedRecogniser(given).hear(spoken()).text == "rod end"


@pytest.mark.parametrize(
    ("heard", "ok"),
    [
        ("Check the left front tire.", True),
        ("Check the left-front tyre", True),
        ("Check the left tire front", False),
        ("", False),
    ],
)
def test_self_test_compares_words_in_order(heard: str, ok: bool) -> None:
    result = self_test(ScriptedRecogniser(heard))
    assert result.ok is ok
    assert result.heard == heard


class Generating:
    """Stands for the engine's inner model: as many hypotheses as asked for, a second pass with its own."""

    def __init__(self, score: float) -> None:
        self.score = score
        self.asked: list[dict[str, Any]] = []

    def generate(self, encoding: Any, prompts: list[list[int]], **options: Any) -> list[Any]:
        self.asked.append({"prompt": prompts[0], **options})
        first = len(self.asked) * 10
        ids = [[first + n, 99] for n in range(options["num_hypotheses"])]
        return [SimpleNamespace(sequences_ids=ids, scores=[self.score] * len(ids), no_speech_prob=0.0)]


@pytest.mark.parametrize(("score", "second"), [(-0.1, False), (-0.6, True)])
def test_the_other_hearings_of_a_window_are_kept(score: float, second: bool) -> None:
    engine = object.__new__(whisper._Model)
    engine.model = inner = Generating(score)
    engine.max_length, engine.time_precision = 448, 0.02
    engine.wide, engine.second_below = True, -0.3
    tokenizer = SimpleNamespace(
        eot=99, sot_prev=50, sot_sequence=(51, 52), no_timestamps=53, decode=lambda ids: f" text {ids}"
    )
    options = SimpleNamespace(
        beam_size=3, patience=1, length_penalty=1, repetition_penalty=1, no_repeat_ngram_size=0,
        suppress_blank=True, suppress_tokens=[-1], max_initial_timestamp=1.0, temperatures=[0.0],
    )  # fmt: skip
    result, logprob, temperature, _ = engine.generate_with_fallback(None, [50, 7, 51, 52], tokenizer, options)
    assert result.sequences_ids[0] == [10, 99]
    assert logprob == pytest.approx(score * 2 / 3)
    assert temperature == 0.0
    texts = [(h.text, h.second) for h in engine.hearings]
    assert texts == [("text [11]", False), ("text [12]", False)] + [("text [20]", True)] * second
    if second:
        assert inner.asked[1]["prompt"] == [51, 52, 53]  # without the hot words
        assert inner.asked[1]["beam_size"] == 1


def test_the_second_hearing_is_told_the_hot_words_that_were_left_over() -> None:
    engine = object.__new__(whisper._Model)
    engine.model = inner = Generating(-0.6)
    engine.max_length, engine.time_precision = 448, 0.02
    engine.wide, engine.second_below, engine.second_text = True, -0.3, "bulb's out."
    tokenizer = SimpleNamespace(
        eot=99, sot_prev=50, sot_sequence=(51, 52), no_timestamps=53, decode=lambda ids: f" text {ids}",
        encode=lambda text: [len(text)],
    )  # fmt: skip
    options = SimpleNamespace(
        beam_size=3, patience=1, length_penalty=1, repetition_penalty=1, no_repeat_ngram_size=0,
        suppress_blank=True, suppress_tokens=[-1], max_initial_timestamp=1.0, temperatures=[0.0],
    )  # fmt: skip
    engine.generate_with_fallback(None, [50, 7, 51, 52], tokenizer, options)
    assert inner.asked[1]["prompt"] == [50, 12, 51, 52, 53]
    engine.generate_with_fallback(None, [51, 52], tokenizer, options)  # listened to again, without any
    assert len(inner.asked) == 3


@pytest.mark.parametrize("market", ["US", "UK"])
def test_hot_words_are_left_over_for_a_second_hearing(
    market: Market, monkeypatch: pytest.MonkeyPatch
) -> None:
    lexicon = load_lexicon(lexicon_dir(), market=market)
    recogniser = object.__new__(WhisperRecogniser)
    recogniser.settings = SpeechSettings()
    monkeypatch.setattr(recogniser, "_count_tokens", lambda text: len(text) // 3)
    first = recogniser._fitting(hot_words(lexicon, limit_tokens=200, count_tokens=recogniser._count_tokens))
    second = recogniser._left_over(first, lexicon)
    assert len(second) > 10
    assert not set(first) & set(second)
    assert recogniser._left_over((), lexicon) == recogniser._left_over(first, None) == ()


def test_a_list_of_hot_words_ends_as_a_sentence_does() -> None:
    assert hot_text(["rotor's scored", "CV boot"]) == "rotor's scored, CV boot."
    assert hot_text(["CV boot's split."]) == "CV boot's split."
    assert hot_text([]) == ""
