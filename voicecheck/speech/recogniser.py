"""What a recogniser is, and its settings. Knows no engine."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from typing import Literal, Protocol

from pydantic import Field

from voicecheck.lexicon import Lexicon
from voicecheck.recording import Sound
from voicecheck.records import Record, Transcript
from voicecheck.speech.weights import DEFAULT_WEIGHTS

Progress = Callable[[float], None]
Ear = Literal["plain", "hot", "full"]
"""``plain``: the engine alone; ``hot``: with hot words and what guards against their echoes; ``full``: also
search by sound, asking the audio, and calibrated certainty."""


class Recogniser(Protocol):
    """Turns sound into words."""

    def hear(
        self,
        sound: Sound,
        *,
        hot_words: Sequence[str] = (),
        lexicon: Lexicon | None = None,
        progress: Progress | None = None,
    ) -> Transcript:
        """The words of ``sound`` in order, with seconds and certainty.

        ``hot_words`` are phrases to expect, the most confusable first; as many as fit are used. ``lexicon``
        holds the terms that may be read where something like them was heard (``Word.read``); without one
        every word is read as it was heard. ``progress`` is called with the share done, 0 to 1. Sound without
        speech gives no words and a ``note``. Raises ``RecordingError`` (another language) or ``SpeechError``
        (the engine failed).
        """
        ...


def _cores() -> int:
    """The cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class SpeechSettings(Record):
    """Everything about recognition that can be set. Times are seconds, levels probabilities.

    The defaults were measured on two cores with synthetic speech; a change of one wants a new measurement.
    """

    ear: Ear = "full"
    model: str = DEFAULT_WEIGHTS  # known weights, a folder, or a fetched "owner/name"
    language: str = "en"
    compute_type: str = "int8"
    threads: int = Field(default_factory=_cores, ge=1)
    beam_size: int = Field(default=5, ge=1)
    hot_tokens: int = Field(default=200, ge=0, le=223)  # the engine silently cuts at 223
    # "full": a window with a mean log probability below this is heard once more, with other hot words
    second_logprob: float = -0.26
    # Other hot words for each window by what it is about. Off: with names in a list it was worse than the
    # standing one (54 to 41 of 322 terms missed on tune); not measured with statements as hot words.
    topics: bool = False

    speech_level: float = Field(default=0.5, gt=0, lt=1)  # speech detector: above is speech
    speech_gap_s: float = 0.3  # a shorter silence does not end a stretch of speech
    speech_least_s: float = 0.1  # a shorter burst is not speech
    skip_silence_s: float = 2.0  # a longer silence is cut out before recognition
    pad_s: float = 0.4  # kept around speech
    slice_s: float = 240.0  # recognised at a time; bounds memory

    language_seconds_least: float = 5.0  # less speech than this does not tell its language
    language_doubt: float = 0.2  # probability of the wanted language under which it is in doubt
    language_sure: float = 0.5  # probability of another one above which it is believed

    unheard_s: float = 1.0  # speech of this length without a word is listened to again
    word_shoulder_s: float = 0.3  # a word covers this much around it
    word_longest_s: float = 2.0  # … and never more than this
    no_speech_level: float = 0.6  # the model's own doubt that there is speech …
    poor_logprob: float = -1.0  # … counts with a mean log probability below this
    unsure: float = 0.5  # … or with a mean certainty below this
    word_shortest_s: float = 0.03  # most words of a segment shorter than this: nobody spoke them
    repeat_ratio: float = 2.4  # text that zips better than this is a loop
    echo_run: int = 3  # so many hot words in the order of the list are an echo of the list
    score_margin_s: float = 0.4  # around the words that the sound is asked about
