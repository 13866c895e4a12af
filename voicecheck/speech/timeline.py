"""Stretches of time, and putting words on them: pure functions, no engine."""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from voicecheck.records import Word


class Stretch(NamedTuple):
    """From second ``start`` up to second ``end``."""

    start: float
    end: float

    @property
    def seconds(self) -> float:
        return self.end - self.start


class Piece(NamedTuple):
    """A word or part of a word as an engine writes it: a leading space begins a new word."""

    text: str
    start: float
    end: float
    certainty: float


def joined(stretches: Iterable[Stretch], *, gap: float, pad: float, seconds: float) -> list[Stretch]:
    """``stretches`` in order, those less than ``gap`` apart made one, each widened by ``pad`` within the
    recording.

    ``pad`` never makes two stretches overlap: they meet in the middle of what lies between them.
    """
    runs: list[Stretch] = []
    for stretch in sorted(stretches):
        if runs and stretch.start - runs[-1].end < gap:
            runs[-1] = Stretch(runs[-1].start, max(runs[-1].end, stretch.end))
        else:
            runs.append(stretch)
    padded = []
    for number, run in enumerate(runs):
        before = runs[number - 1].end if number else None
        after = runs[number + 1].start if number + 1 < len(runs) else None
        start = max(0.0, run.start - pad)
        end = min(seconds, run.end + pad)
        if before is not None:
            start = max(start, (before + run.start) / 2)
        if after is not None:
            end = min(end, (run.end + after) / 2)
        padded.append(Stretch(start, end))
    return padded


def portions(stretches: Sequence[Stretch], *, longest: float) -> list[list[Stretch]]:
    """``stretches`` dealt in order into portions of at most ``longest`` seconds, divided between stretches.

    A single stretch that is longer is divided at equal distances, for want of a silence.
    """
    dealt: list[list[Stretch]] = []
    used = 0.0
    for stretch in stretches:
        parts = max(1, -int(-stretch.seconds // longest))
        for number in range(parts):
            part = Stretch(
                stretch.start + stretch.seconds * number / parts,
                stretch.start + stretch.seconds * (number + 1) / parts,
            )
            if not dealt or used + part.seconds > longest:
                dealt.append([])
                used = 0.0
            dealt[-1].append(part)
            used += part.seconds
    return dealt


class Splice:
    """Stretches of a recording laid end to end; finds the way back to the recording's own time."""

    def __init__(self, stretches: Sequence[Stretch]) -> None:
        self.stretches = tuple(stretches)
        self._begins: list[float] = []
        self.seconds = 0.0
        for stretch in self.stretches:
            self._begins.append(self.seconds)
            self.seconds += stretch.seconds

    def original(self, start: float, end: float) -> Stretch:
        """The recording's time of ``start``..``end`` of the splice; a word stays in the stretch of its
        middle."""
        middle = (start + end) / 2
        at = 0
        for number, begin in enumerate(self._begins):
            if begin <= middle:
                at = number
        stretch, begin = self.stretches[at], self._begins[at]
        first = min(max(start - begin, 0.0), stretch.seconds)
        last = min(max(end - begin, first), stretch.seconds)
        return Stretch(stretch.start + first, stretch.start + last)

    def spliced(self, time: float) -> float:
        """Where a time of the recording lies in the splice; what was cut out lies at the nearest edge."""
        at = 0
        for number, stretch in enumerate(self.stretches):
            if stretch.start <= time:
                at = number
        stretch, begin = self.stretches[at], self._begins[at]
        return begin + min(max(time - stretch.start, 0.0), stretch.seconds)


def words_from(pieces: Sequence[Piece]) -> list[Word]:
    """Whole words: a piece without a leading space belongs to the word before, as does a lone punctuation
    mark.

    So "12", ".4" is "12.4" and "5", "-mm" is "5-mm". The certainty of a joined word is that of its least
    certain piece. The first piece always begins a word.
    """
    words: list[Word] = []
    for piece in pieces:
        text = piece.text.strip()
        if not text:
            continue
        certainty = min(1.0, max(0.0, piece.certainty))
        spoken = any(character.isalnum() for character in text)
        if words and (not spoken or not piece.text[0].isspace()):
            last = words[-1]
            heard = last.heard + text
            end = max(last.end or 0.0, piece.end) if spoken else last.end
            words[-1] = Word(
                heard=heard,
                read=heard,
                start=last.start,
                end=end,
                certainty=min(last.certainty, certainty) if spoken else last.certainty,
            )
        elif spoken:
            words.append(
                Word(
                    heard=text,
                    read=text,
                    start=piece.start,
                    end=max(piece.start, piece.end),
                    certainty=certainty,
                )
            )
    return words


def uncovered(
    speech: Sequence[Stretch], covers: Iterable[tuple[float, float]], *, shoulder: float, least: float
) -> list[Stretch]:
    """The parts of ``speech`` of at least ``least`` seconds that none of ``covers`` (start, end), widened by
    ``shoulder``, touches."""
    taken = sorted((start - shoulder, end + shoulder) for start, end in covers)
    left = []
    for stretch in speech:
        at = stretch.start
        for start, end in taken:
            if end <= at:
                continue
            if start >= stretch.end:
                break
            if start - at >= least:
                left.append(Stretch(at, start))
            at = max(at, end)
        if stretch.end - at >= least:
            left.append(Stretch(at, stretch.end))
    return left


def without_words_between(
    stretches: Sequence[Stretch], covers: Sequence[tuple[float, float]], *, gap: float
) -> list[Stretch]:
    """``stretches`` in order, those under ``gap`` apart made one unless one of ``covers`` lies between."""
    runs: list[Stretch] = []
    for stretch in stretches:
        if (
            runs
            and stretch.start - runs[-1].end < gap
            and not any(runs[-1].end < (start + end) / 2 < stretch.start for start, end in covers)
        ):
            runs[-1] = Stretch(runs[-1].start, stretch.end)
        else:
            runs.append(stretch)
    return runs


def overlap(stretch: Stretch, others: Iterable[Stretch]) -> float:
    """The seconds of ``stretch`` that lie in ``others`` (which do not overlap each other)."""
    return sum(max(0.0, min(stretch.end, o.end) - max(stretch.start, o.start)) for o in others)


def loops(text: str, *, ratio: float) -> bool:
    """Whether ``text`` repeats itself so much that a recogniser must have got stuck: it zips better than
    ``ratio``."""
    raw = text.encode()
    return len(raw) >= 40 and len(raw) / len(zlib.compress(raw)) > ratio


def crammed(words: Sequence[Word], *, shortest: float) -> bool:
    """Whether most of ``words`` (three or more) take less than ``shortest`` seconds: no mouth spoke them.

    Words that a recogniser makes up on noise have no sound to be laid on and pile up at one moment.
    """
    hasty = sum((word.end or 0.0) - (word.start or 0.0) < shortest for word in words)
    return len(words) >= 3 and 2 * hasty > len(words)


def echoes(text: str, hot_words: Sequence[str], *, run: int) -> bool:
    """Whether ``text`` contains ``run`` neighbours of the list of hot words in the order of the list,
    nothing between.
    """
    plain = f" {_plain(text)} "
    listed = [_plain(phrase) for phrase in hot_words]
    return any(
        f" {' '.join(listed[first : first + run])} " in plain for first in range(len(listed) - run + 1)
    )


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9']+", text.lower()))
