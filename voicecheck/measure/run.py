"""Runs the pipeline over a folder of labelled narrations, from their texts and their recordings, and scores
it.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from pydantic import Field

from voicecheck.lexicon import TermMatcher
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.measure.counts import FolderScore, Hearing, NarrationScore
from voicecheck.measure.gold import Narration, load_narrations
from voicecheck.measure.score import pool, score_draft, score_nothing
from voicecheck.measure.words import score_hearing
from voicecheck.pipeline import (
    Workshop,
    draft_from_file,
    draft_from_transcript,
    text_recording,
    transcript_from_text,
    understand,
)
from voicecheck.records import InputError, Market, Record, Transcript, VoicecheckError
from voicecheck.speech.recogniser import Recogniser

Progress = Callable[[str, float], None]
"""Called with what is done ("texts", "recordings") and the share done, 0 to 1."""


class Speed(Record):
    """``extraction_s`` is language and findings alone, without a first run that fills caches;
    ``drafting_s`` the estimate too. ``sound_s`` is the length of the recordings, ``listening_s`` all the
    work on them, with the model loaded. ``peak_mb`` (10⁶ bytes) is that of the whole process since it
    began; ``None``: not told here.
    """

    words: int
    extraction_s: float
    drafting_s: float
    sound_s: float = 0.0
    listening_s: float = 0.0
    peak_mb: float | None = None

    @property
    def words_per_second(self) -> float | None:
        return self.words / self.extraction_s if self.extraction_s else None

    @property
    def real_time_factor(self) -> float | None:
        """Work per second of recording."""
        return self.listening_s / self.sound_s if self.sound_s else None


class FolderReport(Record):
    """The scores of one folder. ``sound`` is ``None`` if recordings were not asked for."""

    folder: str
    text: FolderScore
    sound: FolderScore | None = None
    voices: dict[str, FolderScore] = Field(default_factory=dict)
    speed: Speed


def measure_folder(
    folder: Path,
    *,
    workshop_for: Callable[[Market], Workshop],
    recogniser: Recogniser | None = None,
    each: int | None = None,
    progress: Progress | None = None,
) -> FolderReport:
    """Draft every narration from its text and, with a ``recogniser``, from each of its recordings; score all.

    Each narration is drafted with the workshop of its label's market; ``workshop_for`` is called once for
    each. At most ``each`` recordings of one narration are heard (``None``: all). A recording that cannot be
    used counts as one of which nothing was found. Raises ``InputError`` for a folder without labels, with a
    ``recogniser`` also for one without recordings; ``DataError`` for faulty labels.
    """
    tell = progress or _silent
    narrations = load_narrations(folder)
    if recogniser is not None and not any(n.recordings for n in narrations):
        raise InputError(
            f"There are no recordings in {folder}.",
            hint="A recording is NAME.VOICE.opus beside NAME.txt; without them, measure the texts alone.",
        )
    workshops = {market: workshop_for(market) for market in sorted({n.gold.market for n in narrations})}
    texts, speed = _from_texts(narrations, workshops, tell)
    heard: list[NarrationScore] = []
    if recogniser is not None:
        jobs = [(n, voice, path) for n in narrations for voice, path in n.recordings[:each]]
        heard, sound_s, listening_s = _from_recordings(jobs, workshops, recogniser, tell)
        speed = speed.model_copy(update={"sound_s": sound_s, "listening_s": listening_s})
    voices = sorted({score.voice for score in heard})
    return FolderReport(
        folder=folder.name,
        text=pool(texts),
        sound=pool(heard) if heard else None,
        voices={voice: pool(s for s in heard if s.voice == voice) for voice in voices},
        speed=speed.model_copy(update={"peak_mb": peak_mb()}),
    )


def _from_texts(
    narrations: tuple[Narration, ...], workshops: dict[Market, Workshop], tell: Progress
) -> tuple[list[NarrationScore], Speed]:
    scores: list[NarrationScore] = []
    drafting_s = extraction_s = 0.0
    transcripts = [transcript_from_text(n.text) for n in narrations]
    for done, (narration, transcript) in enumerate(zip(narrations, transcripts, strict=True)):
        tell("texts", done / len(narrations))
        workshop = workshops[narration.gold.market]
        recording = text_recording(f"{narration.name}.txt", narration.text)
        began = time.perf_counter()
        draft = draft_from_transcript(workshop, transcript, recording=recording)
        drafting_s += time.perf_counter() - began
        scores.append(score_draft(draft, narration.gold, workshop.lexicon))
    for narration, transcript in zip(narrations, transcripts, strict=True):
        began = time.perf_counter()
        understand(workshops[narration.gold.market], transcript)
        extraction_s += time.perf_counter() - began
    tell("texts", 1.0)
    words = sum(len(t.words) for t in transcripts)
    return scores, Speed(words=words, extraction_s=extraction_s, drafting_s=drafting_s)


def _from_recordings(
    jobs: Sequence[tuple[Narration, str, Path]],
    workshops: dict[Market, Workshop],
    recogniser: Recogniser,
    tell: Progress,
) -> tuple[list[NarrationScore], float, float]:
    matchers = {market: compile_matcher(w.lexicon) for market, w in workshops.items()}
    scores: list[NarrationScore] = []
    sound_s = listening_s = 0.0
    for done, (narration, voice, path) in enumerate(jobs):
        tell("recordings", done / len(jobs))
        workshop = workshops[narration.gold.market]
        began = time.perf_counter()
        try:
            draft = draft_from_file(workshop, path, recogniser)
        except VoicecheckError as error:
            transcript = Transcript(text="", words=())
            score = score_nothing(narration.gold, workshop.lexicon, failure=error.message)
        else:
            listening_s += time.perf_counter() - began
            sound_s += draft.recording.seconds or 0.0
            transcript = draft.transcript
            score = score_draft(draft, narration.gold, workshop.lexicon)
        hearing = _hearing(narration, transcript, workshop, matchers[narration.gold.market])
        counts = score.counts.model_copy(update={"hearing": hearing})
        scores.append(score.model_copy(update={"voice": voice, "counts": counts}))
    tell("recordings", 1.0)
    return scores, sound_s, listening_s


def _hearing(
    narration: Narration, transcript: Transcript, workshop: Workshop, matcher: TermMatcher
) -> Hearing:
    return score_hearing(narration.text, transcript, lexicon=workshop.lexicon, matcher=matcher)


def peak_mb() -> float | None:
    """The most memory this process has held, in 10⁶ bytes; ``None`` where the system does not tell."""
    try:
        import resource
    except ImportError:  # not on Windows
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 1e6 if sys.platform == "darwin" else peak * 1024 / 1e6


def _silent(_what: str, _done: float) -> None:
    return None


def failures(score: FolderScore) -> list[tuple[str, str]]:
    """Recordings that gave no draft: "NAME.VOICE" and why."""
    return [(f"{s.name}.{s.voice}", s.failure) for s in score.narrations if s.failure]
