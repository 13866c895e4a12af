"""Where the stages meet: one recording or typed text in, one ``Draft`` out.

Nothing here knows how a stage does its work; every stage can be run alone from its records.
"""

from __future__ import annotations

import gc
import hashlib
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from voicecheck.catalogue import load_cautions, load_shop
from voicecheck.estimate import make_estimate
from voicecheck.findings import Finder
from voicecheck.findings.explain import explain
from voicecheck.findings.second import Review, Trust
from voicecheck.findings.sureness import Sureness
from voicecheck.findings.trace import trace
from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon, hot_words, load_lexicon
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.recording import read_sound
from voicecheck.records import (
    Ask,
    Draft,
    Estimate,
    FindingsResult,
    InputError,
    Market,
    RecordingInfo,
    ShopData,
    Transcript,
    Unplaced,
    Word,
    span_of,
)
from voicecheck.records.explanation import Explanation
from voicecheck.resources import learned, lexicon_dir, shared_dir
from voicecheck.second import TaughtReader, load_second
from voicecheck.speech.recogniser import Recogniser

Progress = Callable[[str, float], None]  # stage name, share done in 0–1

MAX_TEXT_CHARS = 250_000  # over four hours of talk, and a recording may have three: more is a wrong file
HOT_TOKENS = 200  # design section 4: the recogniser cuts a longer list in silence


@dataclass(frozen=True)
class Workshop:
    """Everything that stays the same from one recording to the next. Made once, safe to keep."""

    lexicon: Lexicon
    shop: ShopData
    cautions: tuple[str, ...]
    reader: Reader
    finder: Finder

    @property
    def market(self) -> Market:
        return self.lexicon.market


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Vocabulary is half a million small tuples that stay: looking through them for garbage takes as long as
    making them.
    """
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


@_no_collecting()
def load_workshop(
    *,
    market: Market = "US",
    lexicon_folder: Path | None = None,
    catalogue: Path | None = None,
    prices: Path | None = None,
    policies: Path | None = None,
    rules_alone: bool = False,
) -> Workshop:
    """The shipped vocabulary and shop data, with the shop's own over them.

    With ``rules_alone`` no second reader looks at what the rules found, and nothing learned asks.

    Raises ``DataError`` with every fault of the files, or ``InputError`` where they are not there.
    """
    lexicon = load_lexicon(lexicon_dir(), lexicon_folder, market=market)
    shop = load_shop(
        catalogue=catalogue,
        prices=prices,
        policies=policies,
        market=market,
        component_ids=lexicon.components.keys(),
        measure_ids=lexicon.measures.keys(),
        condition_ids=lexicon.conditions.keys(),
    )
    return Workshop(
        lexicon=lexicon,
        shop=shop,
        cautions=load_cautions(shared_dir() / "cautions.yaml", market=market),
        reader=Reader(lexicon, compile_matcher(lexicon)),
        finder=Finder(
            lexicon,
            sureness=None if rules_alone else load_sureness(shared_dir() / "sureness.json"),
            review=None if rules_alone else load_review(lexicon, shared_dir() / "second"),
        ),
    )


def load_review(lexicon: Lexicon, folder: Path) -> Review:
    """What reads the rules' findings a second time. Raises ``DataError`` where its files cannot be read."""
    reader, trust = _second(folder)
    return Review(lexicon, reader=reader, trust=trust)


@cache
def _second(folder: Path) -> tuple[TaughtReader, Trust]:
    return load_second(folder)  # the same for every market; its weights take some 100 MB


def load_sureness(path: Path) -> Sureness:
    """How often findings with what evidence were right. Raises ``DataError`` where that cannot be read."""
    return learned(path, Sureness, of="certainty")


def transcript_from_text(text: str) -> Transcript:
    """Typed notes as a transcript: every word certain, no times.

    Raises ``InputError`` for text that holds no word or is far too long to be a walk-around.
    """
    if len(text) > MAX_TEXT_CHARS:
        raise InputError(
            f"The text has {len(text):,} characters; at most {MAX_TEXT_CHARS:,} are read.",
            hint="Is this the right file? Split it by vehicle.",
        )
    words = tuple(Word(heard=word, read=word) for word in text.split())
    if not any(letter.isalnum() for letter in text):
        raise InputError("The text holds no words.", hint="Type or paste what was found on the vehicle.")
    return Transcript(text=" ".join(word.read for word in words), words=words, source="typed")


def text_recording(name: str, text: str) -> RecordingInfo:
    """What typed text has in the place of a recording."""
    return RecordingInfo(name=name, seconds=None, sha256=hashlib.sha256(text.encode()).hexdigest())


def understand(workshop: Workshop, transcript: Transcript) -> FindingsResult:
    """Language and findings alone: what extraction speed is measured on."""
    return workshop.finder.find(workshop.reader.read(transcript), transcript)


def draft_from_transcript(
    workshop: Workshop,
    transcript: Transcript,
    *,
    recording: RecordingInfo,
    timings: dict[str, float] | None = None,
) -> Draft:
    """Findings, estimate and questions from a transcript. ``timings`` are the seconds spent before."""
    took = dict(timings or {})
    with timed(took, "reading"):
        reading = workshop.reader.read(transcript)
    with timed(took, "finding"):
        result = workshop.finder.find(reading, transcript)
    with timed(took, "estimating"):
        priced = make_estimate(
            result.findings, lexicon=workshop.lexicon, shop=workshop.shop, market=workshop.market
        )
    return Draft(
        market=workshop.market,
        recording=recording,
        vehicle=result.vehicle,
        transcript=transcript,
        findings=priced.findings,
        ledger=result.ledger,
        estimate=priced.estimate,
        unplaced=_unplaced(result, transcript),
        asks=(*_asks_about_the_recording(transcript), *priced.asks),
        cautions=workshop.cautions,
        timings=took,
    )


def explain_transcript(
    workshop: Workshop, transcript: Transcript, *, recording: RecordingInfo
) -> Explanation:
    """Clause by clause how ``draft_from_transcript`` comes to its findings. Slower, same findings."""
    reading = workshop.reader.read(transcript)
    result, trail = trace(workshop.finder, reading, transcript)
    priced = make_estimate(
        result.findings, lexicon=workshop.lexicon, shop=workshop.shop, market=workshop.market
    )
    return explain(
        reading,
        transcript,
        trail,
        result,
        lexicon=workshop.lexicon,
        recording=recording,
        findings=priced.findings,
        lines=_lines_of(priced.estimate),
    )


def _lines_of(estimate: Estimate) -> dict[str, list[str]]:
    """The names of the work on the draft by the ids of the findings it comes from."""
    names: dict[str, list[str]] = {}
    for job in estimate.jobs:
        for line in job.lines:
            for finding in line.findings if line.kind in ("labour", "sublet") else ():
                names.setdefault(finding, []).append(f"{line.name} × {line.quantity}")
    return names


def draft_from_file(
    workshop: Workshop,
    path: Path,
    recogniser: Recogniser,
    *,
    progress: Progress | None = None,
    timings: dict[str, float] | None = None,
) -> Draft:
    """The whole line: decode, listen, understand, estimate.

    ``timings`` are the seconds spent before. Raises ``RecordingError``, ``SpeechError`` or ``InputError``
    with one clear sentence.
    """
    took = dict(timings or {})
    transcript, recording = listen(workshop.lexicon, path, recogniser, progress=progress, timings=took)
    return draft_from_transcript(workshop, transcript, recording=recording, timings=took)


def listen(
    lexicon: Lexicon,
    path: Path,
    recogniser: Recogniser,
    *,
    progress: Progress | None = None,
    timings: dict[str, float] | None = None,
    max_seconds: float | None = None,
) -> tuple[Transcript, RecordingInfo]:
    """Decode and recognise, with hot words from ``lexicon``. ``timings`` receives the seconds of both stages.

    Raises as ``draft_from_file`` does; ``TooLongError`` beyond ``max_seconds`` (``None``: three hours).
    """
    took = timings if timings is not None else {}

    def tell(stage: str) -> Callable[[float], None] | None:
        return None if progress is None else lambda share: progress(stage, share)

    with timed(took, "decoding"):
        longest = {} if max_seconds is None else {"max_seconds": max_seconds}
        sound = read_sound(path, **longest, progress=tell("decoding"))
    # A file name may hold bytes that are no text, which no JSON can carry.
    sound = replace(sound, name=os.fsencode(path.name).decode("utf-8", errors="replace"))
    phrases = hot_words(lexicon, limit_tokens=HOT_TOKENS, count_tokens=_rough_tokens)
    with timed(took, "listening"):
        transcript = recogniser.hear(sound, hot_words=phrases, lexicon=lexicon, progress=tell("listening"))
    if sound.note not in transcript.note:  # a recogniser may have passed it on
        note = f"{transcript.note} {sound.note}".strip()
        transcript = transcript.model_copy(update={"note": note})
    return transcript, RecordingInfo(name=sound.name, seconds=round(sound.seconds, 2), sha256=sound.sha256)


def _rough_tokens(text: str) -> int:
    """A rough estimate of a recogniser's tokens: four letters each, at least one a word.

    The recogniser counts exactly and cuts again; this only keeps the list short.
    """
    return sum(max(1, -(-len(word) // 4)) for word in text.split())


def _unplaced(result: FindingsResult, transcript: Transcript) -> tuple[Unplaced, ...]:
    found = []
    for entry in result.ledger.entries:
        if entry.kind != "unplaced":
            continue
        span = span_of(transcript.words, entry.first, entry.last)
        found.append(
            Unplaced(
                first=entry.first,
                last=entry.last,
                start=span.start,
                end=span.end,
                text=span.read,
                why=entry.why,
            )
        )
    return tuple(found)


def _asks_about_the_recording(transcript: Transcript) -> tuple[Ask, ...]:
    asks = []
    for stretch in transcript.unheard:
        asks.append(
            Ask(
                code="unheard",
                field="transcript",
                message=f"Between {_clock(stretch.start)} and {_clock(stretch.end)} someone speaks, "
                "but the words could not be made out. Listen there: was anything said about the vehicle?",
                choices=("nothing about the vehicle", "type what was said"),
            )
        )
    if transcript.note:
        asks.append(Ask(code="recording", field="transcript", message=transcript.note))
    return tuple(asks)


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


@contextmanager
def timed(took: dict[str, float], stage: str) -> Iterator[None]:
    """Adds the seconds spent inside to ``took[stage]``."""
    began = time.perf_counter()
    try:
        yield
    finally:
        took[stage] = round(took.get(stage, 0.0) + time.perf_counter() - began, 4)
