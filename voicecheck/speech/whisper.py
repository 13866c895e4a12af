"""Whisper through faster-whisper, on the CPU. The only module that sees that engine.

The way of one recording: find speech, check the language, recognise the speech with hot words, throw out
loops and echoes, listen again without hot words where speech has no words, and report what stays unheard.
Always at temperature 0, so that the same recording gives the same words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import babel
import numpy as np
from faster_whisper import WhisperModel
from faster_whisper.vad import VadOptions, get_speech_timestamps
from numpy.typing import NDArray

from voicecheck.lexicon import Lexicon
from voicecheck.recording import RATE, Sound
from voicecheck.records import MissingModelError, RecordingError, SpeechError, Transcript, Unheard, Word
from voicecheck.speech.recogniser import Progress, SpeechSettings
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
from voicecheck.speech.weights import find_model

DETECT_BLOCK_S = 120.0  # the speech detector is given this much at a time; bounds memory
WINDOW_S = 30.0  # what Whisper hears at once
LANGUAGE_WINDOWS = 3
SPEECH_WHY = "something like speech was heard here, but no words could be made out"


class _Segment(NamedTuple):
    """Words that belong together, on the recording's own time."""

    words: tuple[Word, ...]
    text: str
    no_speech: float
    logprob: float

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
            return self._hear(sound, tuple(hot_words), tell)
        except (RuntimeError, MemoryError) as error:
            raise SpeechError(f"Speech recognition failed on {sound.name}: {error}") from error

    def _hear(self, sound: Sound, hot_words: tuple[str, ...], tell: Progress) -> Transcript:
        settings = self.settings
        speech = find_speech(sound, settings)
        tell(0.05)
        if not speech:
            return _transcript(sound, (), (), note=_why_silent(sound))
        self._check_language(sound, speech)
        hot = () if settings.ear == "plain" else self._fitting(hot_words)
        kept = joined(speech, gap=settings.skip_silence_s, pad=settings.pad_s, seconds=sound.seconds)
        total = sum(stretch.seconds for stretch in kept)
        words: list[Word] = []
        done = 0.0
        for portion in portions(kept, longest=settings.slice_s):
            splice = Splice(portion)
            for segment, reached in self._decode(sound, splice, hot):
                if not self._is_noise(segment, speech, hot):
                    words.extend(segment.words)
                tell(0.05 + 0.85 * min(1.0, (done + reached) / total))
            done += splice.seconds
        words, unheard = self._listen_again(sound, speech, words)
        tell(1.0)
        note = ""
        if not words:
            note = (
                f"Something like speech was heard in {sound.name} "
                f"({sum(s.seconds for s in speech):.0f} s of it), "
                "but no words could be made out."
            )
        return _transcript(sound, words, unheard, note=note)

    def _decode(
        self, sound: Sound, splice: Splice, hot_words: Sequence[str]
    ) -> Iterator[tuple[_Segment, float]]:
        """Segments with words, in order, each with the seconds of the splice that are done."""
        settings = self.settings
        audio = np.concatenate([sound.floats(s.start, s.end) for s in splice.stretches])
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
            hotwords=", ".join(hot_words) or None,
        )
        for segment in segments:
            pieces = []
            for word in segment.words or ():
                at = splice.original(word.start, word.end)
                pieces.append(Piece(word.word, at.start, at.end, word.probability))
            words = tuple(words_from(pieces))
            if words:
                yield (
                    _Segment(words, segment.text.strip(), segment.no_speech_prob, segment.avg_logprob),
                    segment.end,
                )

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
        self, sound: Sound, speech: Sequence[Stretch], words: list[Word]
    ) -> tuple[list[Word], list[Unheard]]:
        """Speech that no word covers is recognised once more, by itself and without hot words."""
        settings = self.settings
        for gap in _gaps(speech, words, settings):
            found: list[Word] = []
            padded = Stretch(
                max(0.0, gap.start - settings.pad_s), min(sound.seconds, gap.end + settings.pad_s)
            )
            for segment, _ in self._decode(sound, Splice([padded]), ()):
                if not self._is_noise(segment, speech, ()):
                    found.extend(segment.words)
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
            text = " " + ", ".join([*fitting, phrase])
            if (
                len(self._model.hf_tokenizer.encode(text, add_special_tokens=False).ids)
                > self.settings.hot_tokens
            ):
                break
            fitting.append(phrase)
        return tuple(fitting)

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


def _load(folder: Path, settings: SpeechSettings) -> WhisperModel:
    try:
        return WhisperModel(
            str(folder),
            device="cpu",
            compute_type=settings.compute_type,
            cpu_threads=settings.threads,
            local_files_only=True,
        )
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
        text=" ".join(word.read for word in words),
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
