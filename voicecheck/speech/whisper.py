"""Whisper through faster-whisper, on the CPU. The only module that sees that engine.

The way of one recording: find speech, check the language, recognise the speech with hot words, throw out
loops and echoes, look for terms by their sound and ask the audio about them, listen again without hot words
where speech has no words, and report what stays unheard. Always at temperature 0, so that the same recording
gives the same words.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import babel
import numpy as np
from ctranslate2 import StorageView
from faster_whisper import WhisperModel
from faster_whisper.tokenizer import Tokenizer
from faster_whisper.transcribe import get_compression_ratio
from faster_whisper.vad import VadOptions, get_speech_timestamps
from numpy.typing import NDArray

from voicecheck.lexicon import Lexicon
from voicecheck.lexicon import hot_words as listed
from voicecheck.recording import RATE, Sound
from voicecheck.records import MissingModelError, RecordingError, SpeechError, Transcript, Unheard, Word
from voicecheck.records.transcript import joined as joined_texts
from voicecheck.speech.choices import Hearing
from voicecheck.speech.ear import LexiconTools, Scorer, mended, told_apart
from voicecheck.speech.quality import record_again, sound_quality
from voicecheck.speech.recogniser import Progress, SpeechSettings
from voicecheck.speech.taught import is_taught, taught_files
from voicecheck.speech.timeline import (
    Piece,
    Splice,
    Stretch,
    crammed,
    echoes,
    joined,
    loops,
    overlap,
    portions,
    uncovered,
    without_words_between,
    words_from,
)
from voicecheck.speech.topic import hot_text
from voicecheck.speech.weights import find_model

DETECT_BLOCK_S = 120.0  # the speech detector is given this much at a time; bounds memory
WINDOW_S = 30.0  # what Whisper hears at once
FRAMES_PER_S = 100
ENCODED_FRAMES = 1500
ENCODED_PER_S = 50
FRAMES_SCORED = (
    2  # of the window where only probabilities are wanted: fewer make no difference to them, but speed
)
MOST_TOKENS = 440  # of a text that is scored; the model has room for 448
LEAST_PROBABILITY = 1e-5  # one impossible token does not outweigh all others
LANGUAGE_WINDOWS = 3
SPEECH_WHY = "something like speech was heard here, but no words could be made out"


class _Model(WhisperModel):  # type: ignore[misc]  # the engine has no types
    """The engine, with other hot words for each window, keeping what it made of the sound of the last one.

    With ``wide`` it also keeps the other ``hearings`` of the window: those that its search ended with, and,
    where the best one's mean log probability is below ``second_below``, one with the hot words of
    ``second_text`` (with none if that is empty) in the place of the first ones.
    """

    hot_text: str | None = None
    second_text: str = ""
    encoding: Any = None
    wide: bool = False
    second_below: float = -math.inf
    hearings: tuple[Hearing, ...] = ()

    def encode(self, features: Any) -> Any:
        self.encoding = super().encode(features)
        return self.encoding

    def get_prompt(
        self,
        tokenizer: Any,
        previous_tokens: list[int],
        without_timestamps: bool = False,
        prefix: str | None = None,
        hotwords: str | None = None,
    ) -> list[int]:
        if hotwords and self.hot_text:
            hotwords = self.hot_text
        prompt: list[int] = super().get_prompt(
            tokenizer, previous_tokens, without_timestamps, prefix, hotwords
        )
        return prompt

    def generate_with_fallback(
        self, encoder_output: Any, prompt: list[int], tokenizer: Any, options: Any
    ) -> tuple[Any, float, float, float]:
        """The engine's own way with a window, which gives one hearing; or one pass that keeps all."""
        self.hearings = ()
        if not self.wide:
            found: tuple[Any, float, float, float] = super().generate_with_fallback(
                encoder_output, prompt, tokenizer, options
            )
            return found
        result = self._pass(encoder_output, prompt, options, options.beam_size, options.beam_size)
        texts = [_text_of(ids, tokenizer) for ids in result.sequences_ids]
        count = len(result.sequences_ids[0])
        logprob = result.scores[0] * count**options.length_penalty / (count + 1)
        hearings = [Hearing(text) for text in texts[1:]]
        if logprob < self.second_below and tokenizer.sot_prev in prompt:
            hot = tokenizer.encode(" " + self.second_text) if self.second_text else []
            before = [tokenizer.sot_prev, *hot] if hot else []
            other = [*before, *tokenizer.sot_sequence, tokenizer.no_timestamps]
            second = self._pass(encoder_output, other, options, 1, 1)
            hearings.append(Hearing(_text_of(second.sequences_ids[0], tokenizer), second=True))
        self.hearings = tuple(hearings)
        return result, logprob, options.temperatures[0], get_compression_ratio(texts[0])

    def _pass(self, encoding: Any, prompt: list[int], options: Any, beam: int, hypotheses: int) -> Any:
        return self.model.generate(
            encoding,
            [prompt],
            beam_size=beam,
            num_hypotheses=hypotheses,
            patience=options.patience,
            length_penalty=options.length_penalty,
            repetition_penalty=options.repetition_penalty,
            no_repeat_ngram_size=options.no_repeat_ngram_size,
            max_length=self.max_length,
            return_scores=True,
            return_no_speech_prob=True,
            suppress_blank=options.suppress_blank,
            suppress_tokens=options.suppress_tokens,
            max_initial_timestamp_index=round(options.max_initial_timestamp / self.time_precision),
        )[0]


def _text_of(tokens: Sequence[int], tokenizer: Any) -> str:
    text: str = tokenizer.decode([token for token in tokens if token < tokenizer.eot])
    return text.strip()


class _Window(NamedTuple):
    """What the engine heard at once: its encoding, its start in the splice (s), its hot words, and what else
    may have been heard."""

    encoding: Any
    splice: Splice
    start: float
    hot: tuple[str, ...]
    hearings: tuple[Hearing, ...] = ()


class _Segment(NamedTuple):
    """Words that belong together, on the recording's own time; ``logprob`` is that of the whole window."""

    words: tuple[Word, ...]
    text: str
    no_speech: float
    logprob: float
    window: _Window

    @property
    def stretch(self) -> Stretch:
        return Stretch(self.words[0].start or 0.0, self.words[-1].end or 0.0)


class WhisperRecogniser:
    """A loaded Whisper model. Loading takes about a second; keep it for many recordings."""

    def __init__(self, settings: SpeechSettings | None = None) -> None:
        """Loads the model of ``settings``; raises ``MissingModelError`` if it is not there or cannot be
        loaded."""
        self.settings = settings or SpeechSettings()
        folder = find_model(self.settings.model)
        self._model = _load(folder, self.settings)
        self._model.wide = self.settings.ear == "full"
        self._model.second_below = self.settings.second_logprob
        self._tools: LexiconTools | None = None

    def hear(
        self,
        sound: Sound,
        *,
        hot_words: Sequence[str] = (),
        lexicon: Lexicon | None = None,
        progress: Progress | None = None,
    ) -> Transcript:
        """The words of ``sound``; see ``Recogniser.hear``."""
        tell = progress or _silent
        try:
            return self._hear(sound, tuple(hot_words), lexicon, tell)
        except (RuntimeError, MemoryError) as error:
            raise SpeechError(f"Speech recognition failed on {sound.name}: {error}") from error

    def _hear(
        self, sound: Sound, hot_words: tuple[str, ...], lexicon: Lexicon | None, tell: Progress
    ) -> Transcript:
        settings = self.settings
        speech = find_speech(sound, settings)
        tell(0.05)
        if not speech:
            return _transcript(sound, (), (), note=_why_silent(sound))
        self._check_language(sound, speech)
        tools = self._tools_for(lexicon)
        hot = () if settings.ear == "plain" else self._fitting(hot_words)
        self._model.second_text = hot_text(self._left_over(hot, lexicon))
        kept = joined(speech, gap=settings.skip_silence_s, pad=settings.pad_s, seconds=sound.seconds)
        total = sum(stretch.seconds for stretch in kept)
        words: list[Word] = []
        done = 0.0
        for portion in portions(kept, longest=settings.slice_s):
            splice = Splice(portion)
            segments: list[_Segment] = []
            for segment, reached in self._decode(sound, splice, hot, tools=tools, before=words):
                if not self._is_noise(segment, speech, segment.window.hot):
                    segments.append(segment)
                tell(0.05 + 0.85 * min(1.0, (done + reached) / total))
            words += self._mended(segments, tools)
            done += splice.seconds
        words, unheard = self._listen_again(sound, speech, words, tools)
        if settings.ear == "full" and tools is not None:
            words = tools.calibrated(words)
        tell(1.0)
        note = record_again(sound_quality(sound, speech))
        if not words:
            note = (
                f"Something like speech was heard in {sound.name} "
                f"({sum(s.seconds for s in speech):.0f} s of it), "
                "but no words could be made out."
            )
        return _transcript(sound, words, unheard, note=note)

    def _decode(
        self,
        sound: Sound,
        splice: Splice,
        hot_words: tuple[str, ...],
        *,
        tools: LexiconTools | None = None,
        before: Sequence[Word] = (),
    ) -> Iterator[tuple[_Segment, float]]:
        """Segments with words, in order, each with the seconds of the splice that are done.

        With ``tools``, and topics wanted, the hot words change from window to window with what was heard
        ``before``.
        """
        settings = self.settings
        audio = np.concatenate([sound.floats(s.start, s.end) for s in splice.stretches])
        hot = hot_words
        heard: list[Word] = list(before)
        if not settings.topics:
            tools = None
        if hot and tools is not None:
            hot = tools.hot_words(hot_words, heard)
            self._model.hot_text = hot_text(hot)
        else:
            self._model.hot_text = None
        segments, _ = self._model.transcribe(
            audio,
            language=settings.language if self._model.model.is_multilingual else "en",
            beam_size=settings.beam_size,
            temperature=0.0,
            condition_on_previous_text=False,
            word_timestamps=True,
            vad_filter=False,  # done before
            no_speech_threshold=settings.no_speech_level,
            log_prob_threshold=settings.poor_logprob,
            hotwords=hot_text(hot) or None,
        )
        window: _Window | None = None
        seek = -1
        for segment in segments:
            if window is None or segment.seek != seek:
                seek = segment.seek
                window = _Window(
                    getattr(self._model, "encoding", None),
                    splice,
                    seek / FRAMES_PER_S,
                    hot,
                    getattr(self._model, "hearings", ()),
                )
            pieces = []
            for word in segment.words or ():
                at = splice.original(word.start, word.end)
                pieces.append(Piece(word.word, at.start, at.end, word.probability))
            words = tuple(words_from(pieces))
            if words:
                yield (
                    _Segment(
                        words, segment.text.strip(), segment.no_speech_prob, segment.avg_logprob, window
                    ),
                    segment.end,
                )
            if hot_words and tools is not None:  # the engine takes them with the next window
                heard.extend(words)
                hot = tools.hot_words(hot_words, heard)
                self._model.hot_text = hot_text(hot)

    def _mended(self, segments: Sequence[_Segment], tools: LexiconTools | None) -> list[Word]:
        """The words of the segments, window by window, without echoes and with terms read by their sound."""
        settings = self.settings
        words: list[Word] = []
        at = 0
        while at < len(segments):
            window, logprob = segments[at].window, segments[at].logprob
            part: list[Word] = []
            while at < len(segments) and segments[at].window is window:
                part.extend(segments[at].words)
                at += 1
            if settings.ear == "plain":
                words += part
            elif settings.ear == "hot" or tools is None:
                words += told_apart(part, window.hot)
            else:
                words += mended(
                    part,
                    window.hot,
                    tools,
                    self._scorer(window),
                    hearings=window.hearings,
                    logprob=logprob,
                )
        return words

    def _scorer(self, window: _Window) -> Scorer:
        """Scores texts against the sound of a window: the log probability of their tokens.

        Only the stretch asked about is looked at: the time goes into what the model makes of each frame.
        """
        parts: dict[tuple[int, int], Any] = {}

        def score(text: str, stretch: Stretch) -> float:
            tokens = self._model.hf_tokenizer.encode(" " + text, add_special_tokens=False).ids
            if not tokens or len(tokens) > MOST_TOKENS or window.encoding is None:
                return -math.inf
            frames = self._frames(window, stretch)
            if frames not in parts:
                whole = np.asarray(window.encoding)
                parts[frames] = StorageView.from_array(np.ascontiguousarray(whole[:, slice(*frames)]))
            result = self._model.model.align(
                parts[frames], self._start_tokens(), [tokens], FRAMES_SCORED, median_filter_width=1
            )
            probabilities = np.maximum(np.asarray(result[0].text_token_probs), LEAST_PROBABILITY)
            return float(np.log(probabilities).sum())

        return score

    def _frames(self, window: _Window, stretch: Stretch) -> tuple[int, int]:
        """The half-open range of encoded frames of a window in which a stretch of the recording lies."""
        margin = self.settings.score_margin_s
        start = (window.splice.spliced(stretch.start) - window.start - margin) * ENCODED_PER_S
        end = (window.splice.spliced(stretch.end) - window.start + margin) * ENCODED_PER_S
        first = min(max(0, int(start)), ENCODED_FRAMES - 1)
        return first, min(max(first + 1, math.ceil(end)), ENCODED_FRAMES)

    def _start_tokens(self) -> list[int]:
        model = self._model
        language = self.settings.language if model.model.is_multilingual else "en"
        tokenizer = Tokenizer(
            model.hf_tokenizer, model.model.is_multilingual, task="transcribe", language=language
        )
        return list(tokenizer.sot_sequence)

    def _tools_for(self, lexicon: Lexicon | None) -> LexiconTools | None:
        """What is made once from a lexicon and kept: its matcher, its sounds, its topics."""
        settings = self.settings
        if lexicon is None or settings.ear == "plain" or (settings.ear == "hot" and not settings.topics):
            return None
        if self._tools is None or self._tools.lexicon is not lexicon:
            self._tools = LexiconTools(
                lexicon, count_tokens=self._count_tokens, hot_tokens=self.settings.hot_tokens
            )
        return self._tools

    def _count_tokens(self, text: str) -> int:
        return len(self._model.hf_tokenizer.encode(" " + text, add_special_tokens=False).ids)

    def _is_noise(self, segment: _Segment, speech: Sequence[Stretch], hot_words: Sequence[str]) -> bool:
        """Whether these words are the model's own: a loop, an echo of the hot words, or words on no
        speech."""
        settings = self.settings
        stretch = segment.stretch
        if loops(segment.text, ratio=settings.repeat_ratio):
            return True
        if crammed(segment.words, shortest=settings.word_shortest_s):
            return True
        certainty = sum(word.certainty for word in segment.words) / len(segment.words)
        doubtful = segment.logprob < settings.poor_logprob or certainty < settings.unsure
        if doubtful and segment.no_speech > settings.no_speech_level:
            return True
        if hot_words and echoes(segment.text, hot_words, run=settings.echo_run):
            return True
        shoulder = settings.word_shoulder_s
        return overlap(Stretch(stretch.start - shoulder, stretch.end + shoulder), speech) < 0.05

    def _listen_again(
        self, sound: Sound, speech: Sequence[Stretch], words: list[Word], tools: LexiconTools | None
    ) -> tuple[list[Word], list[Unheard]]:
        """Speech that no word covers is recognised once more, by itself and without hot words."""
        settings = self.settings
        for gap in _gaps(speech, words, settings):
            segments: list[_Segment] = []
            padded = Stretch(
                max(0.0, gap.start - settings.pad_s), min(sound.seconds, gap.end + settings.pad_s)
            )
            for segment, _ in self._decode(sound, Splice([padded]), ()):
                if not self._is_noise(segment, speech, ()):
                    segments.append(segment)
            found = self._mended(segments, tools)
            inside = [w for w in found if gap.start <= ((w.start or 0.0) + (w.end or 0.0)) / 2 <= gap.end]
            words = sorted([*words, *inside], key=lambda word: word.start or 0.0)
        unheard = [
            Unheard(start=round(gap.start, 2), end=round(gap.end, 2), why=SPEECH_WHY)
            for gap in _gaps(speech, words, settings)
        ]
        return words, unheard

    def _fitting(self, hot_words: Sequence[str]) -> tuple[str, ...]:
        """The first of the hot words that fit into the prompt whole; the engine would cut through a
        phrase."""
        fitting: list[str] = []
        for phrase in hot_words:
            text = hot_text([*fitting, phrase])
            if self._count_tokens(text) > self.settings.hot_tokens:
                break
            fitting.append(phrase)
        return tuple(fitting)

    def _left_over(self, hot: tuple[str, ...], lexicon: Lexicon | None) -> tuple[str, ...]:
        """The hot words of the lexicon that did not fit into the first hearing, for the second one."""
        if not hot or lexicon is None or self.settings.ear != "full":
            return ()
        both = listed(lexicon, limit_tokens=2 * self.settings.hot_tokens, count_tokens=self._count_tokens)
        return self._fitting([phrase for phrase in both if phrase not in hot])

    def _check_language(self, sound: Sound, speech: Sequence[Stretch]) -> None:
        """Raises ``RecordingError`` if the speech is clearly not in the wanted language.

        One window is enough if it sounds right; if not, up to two more must agree.
        """
        settings = self.settings
        if not self._model.model.is_multilingual:
            return
        if sum(stretch.seconds for stretch in speech) < settings.language_seconds_least:
            return
        kept = joined(speech, gap=settings.skip_silence_s, pad=settings.pad_s, seconds=sound.seconds)
        windows = portions(kept, longest=WINDOW_S)
        step = max(1, len(windows) // LANGUAGE_WINDOWS)
        other: dict[str, float] = {}
        tried = windows[::step][:LANGUAGE_WINDOWS]
        for window in tried:
            audio = np.concatenate([sound.floats(s.start, s.end) for s in window])
            _, _, levels = self._model.detect_language(audio)
            by_code = dict(levels)
            code = max(by_code, key=lambda each: by_code[each])
            if (
                by_code.get(settings.language, 0.0) >= settings.language_doubt
                or by_code[code] < settings.language_sure
            ):
                return
            other[code] = other.get(code, 0.0) + by_code[code]
        code = max(other, key=lambda each: other[each])
        names = babel.Locale.parse("en").languages
        wanted = names.get(settings.language, settings.language)
        raise RecordingError(
            f"{sound.name} sounds like {names.get(code, code)}, not {wanted}.",
            hint=f"Only {wanted} is understood. If it is {wanted}, record again nearer to the microphone.",
        )


def find_speech(sound: Sound, settings: SpeechSettings) -> list[Stretch]:
    """Where the speech detector hears speech, in order, without padding."""
    options = VadOptions(
        threshold=settings.speech_level,
        min_speech_duration_ms=round(settings.speech_least_s * 1000),
        min_silence_duration_ms=round(settings.speech_gap_s * 1000),
        speech_pad_ms=0,
    )
    found: list[Stretch] = []
    start = 0.0
    while start < sound.seconds:
        block: NDArray[np.float32] = sound.floats(start, start + DETECT_BLOCK_S)
        for chunk in get_speech_timestamps(block, options):
            found.append(Stretch(start + chunk["start"] / RATE, start + chunk["end"] / RATE))
        start += DETECT_BLOCK_S
    return joined(found, gap=settings.speech_gap_s, pad=0.0, seconds=sound.seconds)


def _gaps(speech: Sequence[Stretch], words: Sequence[Word], settings: SpeechSettings) -> list[Stretch]:
    covers = []
    for word in words:  # a word next to lost speech can be given all of its time: no word takes that long
        start, end = word.start or 0.0, word.end or 0.0
        covers.append((start, min(end, start + settings.word_longest_s)))
    return without_words_between(
        uncovered(speech, covers, shoulder=settings.word_shoulder_s, least=settings.unheard_s),
        covers,
        gap=settings.skip_silence_s,
    )


def whole_merges(tokeniser: str) -> str:
    """A tokeniser file (JSON text) with the merges that its vocabulary needs and it lacks put back in place.

    The weights "base" come with a file whose first merge, space and t, was lost: " tire" then falls into
    three tokens that the model never saw together, in hot words and wherever a text is scored. A file that
    lacks nothing is given back as it is.
    """
    data = json.loads(tokeniser)
    model = data.get("model") or {}
    merges, vocabulary = model.get("merges"), model.get("vocab")
    if model.get("type") != "BPE" or not merges or not vocabulary:
        return tokeniser
    pairs = [tuple(merge.split(" ")) if isinstance(merge, str) else tuple(merge) for merge in merges]
    made = {"".join(pair) for pair in pairs}
    lost = [
        token
        for token in vocabulary
        if len(token) == 2 and token not in made and set(token) <= set(vocabulary)
    ]
    if not lost:
        return tokeniser
    for token in lost:  # merges are in the order of the numbers of what they make
        place = sum(vocabulary.get("".join(pair), 0) < vocabulary[token] for pair in pairs)
        merge = " ".join(token) if isinstance(merges[0], str) else list(token)
        merges.insert(place, merge)
        pairs.insert(place, tuple(token))
    return json.dumps(data, ensure_ascii=False)


def _load(folder: Path, settings: SpeechSettings) -> _Model:
    """The model of ``folder``: as published for the plain and the hot ear, with what it was taught for the
    full one."""
    files = taught_files(folder) if settings.ear == "full" and is_taught(settings.model) else None
    try:
        model = _Model(
            str(folder),
            device="cpu",
            compute_type=settings.compute_type,
            cpu_threads=settings.threads,
            local_files_only=True,
            files=files,
        )
        given = model.hf_tokenizer.to_str()
        whole = whole_merges(given)
        if whole is not given:
            model.hf_tokenizer = type(model.hf_tokenizer).from_str(whole)
        return model
    except (RuntimeError, ValueError, OSError) as error:
        raise MissingModelError(
            f"The speech model in {folder} cannot be loaded: {error}",
            hint="Fetch known weights again (voicecheck weights base), or name another model folder.",
        ) from error
    except Exception as error:  # the tokeniser library raises bare Exception for a broken tokenizer.json
        if type(error) is not Exception:
            raise
        raise MissingModelError(
            f"The speech model in {folder} cannot be loaded: its tokenizer.json is broken ({error})."
        ) from error


def _transcript(sound: Sound, words: Sequence[Word], unheard: Sequence[Unheard], *, note: str) -> Transcript:
    return Transcript(
        text=joined_texts(word.read for word in words),
        words=tuple(words),
        source="speech",
        language="en",
        seconds=round(sound.seconds, 3),
        unheard=tuple(unheard),
        note=" ".join(part for part in (note, sound.note) if part),
    )


def _why_silent(sound: Sound) -> str:
    if (
        max(int(sound.samples.max(initial=0)), -int(sound.samples.min(initial=0))) <= 3
    ):  # of 32 768: nothing but rounding
        return f"{sound.name} is silent throughout: the microphone was off or muted."
    return f"No speech was heard in {sound.name}: {sound.seconds:.0f} s of other sound."


def _silent(_: float) -> None:
    return None
