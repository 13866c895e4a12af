"""What was heard, word by word."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from pydantic import Field

from voicecheck.records.base import Record


class Word(Record):
    """One word: ``heard`` as the recogniser wrote it, ``read`` as it is understood, seconds, certainty 0–1.

    Both texts keep the punctuation that hangs on the word. ``start`` and ``end`` are ``None`` for
    typed words.
    A phrase read in the place of several heard words stands on those words in order: joined they read as the
    phrase, and a word without a share of it reads as "". ``why`` says what such a reading rests on.
    """

    heard: str
    read: str
    start: float | None = None
    end: float | None = None
    certainty: float = Field(default=1.0, ge=0.0, le=1.0)
    why: str = ""


class Unheard(Record):
    """A stretch with speech in it that no word covers (seconds)."""

    start: float
    end: float
    why: str


class Transcript(Record):
    """The words of one recording, in order. ``text`` is the words as read, joined by spaces (``joined``)."""

    text: str
    words: tuple[Word, ...]
    source: Literal["speech", "typed"] = "speech"
    language: str = "en"
    seconds: float | None = None
    unheard: tuple[Unheard, ...] = ()
    note: str = ""  # why there are no words, or what is wrong with the sound, in one sentence


class Span(Record):
    """Words ``first`` up to but not including ``last`` of the transcript, with seconds and texts."""

    first: int
    last: int
    start: float | None
    end: float | None
    heard: str
    read: str


def joined(texts: Iterable[str]) -> str:
    """The texts that are not empty, a space between."""
    return " ".join(text for text in texts if text)


def span_of(words: tuple[Word, ...], first: int, last: int) -> Span:
    """The span of words ``first:last`` (half-open, at least one word)."""
    part = words[first:last]
    if not part:
        raise ValueError(f"an empty span {first}:{last} of {len(words)} words")
    return Span(
        first=first,
        last=last,
        start=part[0].start,
        end=part[-1].end,
        heard=joined(w.heard for w in part),
        read=joined(w.read for w in part),
    )
