"""Several recordings of one walk-around as one transcript."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from voicecheck.records import RecordingInfo, Transcript, Unheard, Word
from voicecheck.records.transcript import joined

SHORT_SECONDS = 2.0  # decoded less than the phone counted by more than this …
SHORT_SHARE = 0.03  # … and by more than this share: something is missing
STOPS = (".", "?", "!")


@dataclass(frozen=True)
class Heard:
    """What came of take ``number`` (from 1): its file, what was heard, its seconds and the phone's count."""

    number: int
    name: str
    media: str
    transcript: Transcript
    seconds: float
    claimed: float | None


def join_takes(takes: Sequence[Heard]) -> Transcript:
    """The words of all takes in order, with times as if the takes followed each other without a gap.

    A take ends a sentence: nobody goes on with a clause after having pressed stop. What is wrong with a take
    is in ``note``, each with the take's number where there are several.
    """
    words: list[Word] = []
    unheard: list[Unheard] = []
    notes: list[str] = []
    offset = 0.0
    for take in takes:
        moved = [_moved(word, offset) for word in take.transcript.words]
        if moved and take is not takes[-1]:
            moved = _ended(moved)
        words += moved
        unheard += [
            stretch.model_copy(
                update={"start": _later(stretch.start, offset), "end": _later(stretch.end, offset)}
            )
            for stretch in take.transcript.unheard
        ]
        said = [note for note in (take.transcript.note, missing_note(take)) if note]
        if said:
            before = f"Recording {take.number}: " if len(takes) > 1 else ""
            notes.append(before + " ".join(said))
        offset += take.seconds
    return Transcript(
        text=joined(word.read for word in words),
        words=tuple(words),
        language=takes[0].transcript.language,
        seconds=round(offset, 3),
        unheard=tuple(unheard),
        note=" ".join(notes),
    )


def offsets(seconds: Sequence[float]) -> list[float]:
    """Where each take begins in the joined transcript, from the lengths of the takes."""
    return [sum(seconds[:number]) for number in range(len(seconds))]


def missing_note(take: Heard) -> str:
    """One sentence where much less sound came out than the phone counted; "" where not."""
    if take.claimed is None:
        return ""
    short = take.claimed - take.seconds
    if short <= SHORT_SECONDS or short <= SHORT_SHARE * take.claimed:
        return ""
    return (
        f"The phone recorded {_clock(take.claimed)}, but only {_clock(take.seconds)} could be read; "
        "what was said in the rest is missing. Ask the technician, or record it again."
    )


def recording_of(takes: Sequence[Heard]) -> RecordingInfo:
    """The one file, or what stands for several."""
    seconds = round(sum(take.seconds for take in takes), 2)
    if len(takes) == 1:
        return RecordingInfo(name=takes[0].name, seconds=seconds, sha256=takes[0].media)
    together = hashlib.sha256("".join(take.media for take in takes).encode()).hexdigest()
    return RecordingInfo(name=f"{len(takes)} recordings", seconds=seconds, sha256=together)


def _moved(word: Word, offset: float) -> Word:
    if not offset:
        return word
    return word.model_copy(
        update={
            "start": None if word.start is None else _later(word.start, offset),
            "end": None if word.end is None else _later(word.end, offset),
        }
    )


def _later(seconds: float, offset: float) -> float:
    return round(seconds + offset, 3)


def _ended(words: list[Word]) -> list[Word]:
    """The same words with a full stop behind the last that is read."""
    for at in range(len(words) - 1, -1, -1):
        read = words[at].read
        if read:
            if not read.endswith(STOPS):
                words[at] = words[at].model_copy(update={"read": read.rstrip(",;:") + "."})
            break
    return words


def _clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
