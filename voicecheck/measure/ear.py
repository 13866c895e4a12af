"""Measures hearing alone: plain recognition, hot words, and the full ear side by side, in many conditions.

Each recording is heard by every ear in turn before the next one comes, so that all of them meet the same
machine. What was heard can be kept in a file, from which a run that was cut off goes on.
"""

from __future__ import annotations

import hashlib
import tempfile
import wave
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import NamedTuple, Protocol

import numpy as np
from pydantic import ValidationError

from voicecheck.lexicon import Lexicon, TermMatcher
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.measure.counts import share
from voicecheck.measure.ear_conditions import (
    Condition,
    RealNoise,
    Samples,
    apply_condition,
    is_clean,
)
from voicecheck.measure.ear_words import EarCounts, Tellers, score_ear, tellers_of
from voicecheck.measure.gold import Narration, load_narrations
from voicecheck.recording import RATE, read_sound
from voicecheck.records import InputError, Market, OutputError, Record, Transcript
from voicecheck.speech.recogniser import Ear

Progress = Callable[[str, float], None]

EARS: tuple[Ear, ...] = ("plain", "hot", "full")


class Heard(Record):
    """What one ear made of one recording; ``failure`` says why there is no transcript.

    ``wall_s``: time on the clock; ``cpu_s``: work of all cores, the fairer figure on a busy machine;
    ``peak_mb``: most memory of the ear's process so far, 10⁶ bytes, ``None`` where not told.
    """

    transcript: Transcript
    wall_s: float
    cpu_s: float
    peak_mb: float | None = None
    failure: str = ""


class Listener(Protocol):
    """One ear, ready to hear."""

    def listen(self, path: Path, *, market: Market) -> Heard:
        """Hears the recording at ``path``; what goes wrong with it is a ``Heard.failure``."""
        ...


class EarCell(Record):
    """The sum over the recordings of one ear, folder, condition and voice; or over several of those."""

    ear: str
    folder: str = ""
    condition: str = ""
    voice: str = ""
    counts: EarCounts = EarCounts()
    sound_s: float = 0.0
    wall_s: float = 0.0
    cpu_s: float = 0.0
    peak_mb: float | None = None

    @property
    def real_time_factor(self) -> float | None:
        """Seconds of work per second of recording."""
        return self.wall_s / self.sound_s if self.sound_s else None

    @property
    def cpu_factor(self) -> float | None:
        """Seconds of all cores' work per second of recording."""
        return self.cpu_s / self.sound_s if self.sound_s else None


class EarReport(Record):
    """All cells of a run. Pooled figures only: nothing of single narrations is kept."""

    folders: tuple[str, ...]
    model: str
    ears: tuple[str, ...]
    conditions: tuple[Condition, ...]
    cells: tuple[EarCell, ...]

    @property
    def voices(self) -> tuple[str, ...]:
        return tuple(sorted({cell.voice for cell in self.cells}))

    def pool(
        self,
        ear: str,
        *,
        folder: str | None = None,
        conditions: Sequence[str] | None = None,
        voice: str | None = None,
    ) -> EarCell:
        """The sum of the cells of ``ear`` that fit; ``None`` fits all."""
        total = EarCell(
            ear=ear, folder=folder or "", voice=voice or "", condition=", ".join(conditions or ())
        )
        for cell in self.cells:
            if cell.ear != ear or folder not in (None, cell.folder) or voice not in (None, cell.voice):
                continue
            if conditions is None or cell.condition in conditions:
                total = _sum(total, cell)
        return total

    def ratio(self, ear: str, base: str = "plain") -> tuple[float | None, float | None]:
        """How many times as long ``ear`` takes as ``base``, on the clock and in work."""
        one, other = self.pool(ear), self.pool(base)
        return _ratio(one.wall_s, other.wall_s), _ratio(one.cpu_s, other.cpu_s)


class _Job(NamedTuple):
    narration: Narration
    voice: str
    path: Path

    @property
    def label(self) -> str:
        return f"{self.narration.name}.{self.voice}"


def measure_ear(
    folder: Path,
    *,
    listeners: Mapping[str, Listener],
    lexicon_for: Callable[[Market], Lexicon],
    conditions: Sequence[Condition],
    model: str = "",
    limit_s: float | None = None,
    recordings: Path | None = None,
    real: RealNoise | None = None,
    keep: Path | None = None,
    mark: str = "",
    progress: Progress | None = None,
) -> EarReport:
    """Has every listener hear the clean recordings of ``folder`` in every condition, and scores all of it.

    ``recordings`` is a folder with more recordings ``NAME.VOICE.opus`` of the same narrations. ``limit_s``
    bounds the seconds of recordings (before conditions), taking turns between voices. ``keep`` is a file in
    which everything heard is kept under ``mark``, the fingerprint of what does the hearing; what is in it
    under the same mark is not heard again. Raises ``InputError`` where there are no clean recordings.
    """
    tell = progress or _silent
    jobs = _jobs(folder, recordings)
    chosen = sorted(_limited(jobs, limit_s), key=lambda job: job.narration.gold.market)
    kept = _Kept(keep, mark)
    matchers: dict[Market, tuple[Lexicon, TermMatcher, Tellers]] = {}
    cells: dict[tuple[str, str, str], EarCell] = {}
    steps = len(conditions) * len(chosen)
    with tempfile.TemporaryDirectory() as work:
        for step, (condition, number, job) in enumerate(_steps(conditions, chosen)):
            tell("ears", step / steps)
            market = job.narration.gold.market
            if market not in matchers:
                lexicon = lexicon_for(market)
                matchers[market] = (lexicon, compile_matcher(lexicon), tellers_of(lexicon))
            samples = _conditioned(job, condition, jobs, real)
            wav = Path(work) / f"{job.label}.wav"
            write_wav(wav, samples)
            seconds = len(samples) / RATE
            digest = hashlib.sha256(wav.read_bytes()).hexdigest()
            # who goes first changes, so that a warm cache favours none
            names = list(listeners)
            for ear in names[number % len(names) :] + names[: number % len(names)]:
                heard = kept.get(ear, digest)
                if heard is None:
                    heard = listeners[ear].listen(wav, market=market)
                    kept.add(ear, digest, heard)
                cell = _cell(job, heard, ear, condition, folder.name, seconds, matchers[market])
                key = (ear, condition.name, job.voice)
                cells[key] = _sum(cells[key], cell) if key in cells else cell
            wav.unlink()
    tell("ears", 1.0)
    return EarReport(
        folders=(folder.name,),
        model=model,
        ears=tuple(listeners),
        conditions=tuple(conditions),
        cells=tuple(cells.values()),
    )


def together(reports: Sequence[EarReport]) -> EarReport:
    """Several folders' reports of the same ears and conditions as one. Raises ``ValueError`` of none."""
    if not reports:
        raise ValueError("no reports")
    first = reports[0]
    conditions = {c.name: c for report in reports for c in report.conditions}
    return EarReport(
        folders=tuple(dict.fromkeys(name for report in reports for name in report.folders)),
        model=first.model,
        ears=first.ears,
        conditions=tuple(conditions.values()),
        cells=tuple(cell for report in reports for cell in report.cells),
    )


def _steps(conditions: Sequence[Condition], jobs: Sequence[_Job]) -> Iterator[tuple[Condition, int, _Job]]:
    for condition in conditions:
        for number, job in enumerate(jobs):
            yield condition, number, job


def _jobs(folder: Path, more: Path | None) -> list[_Job]:
    """Every clean recording, voices taking turns."""
    by_voice: dict[str, list[_Job]] = {}
    for narration in load_narrations(folder):
        found = dict(narration.recordings)
        if more is not None:
            for path in sorted(more.glob(f"{narration.name}.*.opus")):
                found.setdefault(path.stem.removeprefix(f"{narration.name}."), path)
        for voice, path in sorted(found.items()):
            if is_clean(voice) and "." not in voice:
                by_voice.setdefault(voice, []).append(_Job(narration, voice, path))
    if not by_voice:
        raise InputError(
            f"There are no recordings without noise in {folder}.",
            hint="A recording is NAME.VOICE.opus beside NAME.txt; a VOICE with a hyphen has noise already.",
        )
    turns = zip_longest(*(by_voice[voice] for voice in sorted(by_voice)))
    return [job for turn in turns for job in turn if job is not None]


def _limited(jobs: Sequence[_Job], limit_s: float | None) -> list[_Job]:
    """The first jobs that together are not longer than ``limit_s``; at least one."""
    if limit_s is None:
        return list(jobs)
    chosen: list[_Job] = []
    total = 0.0
    for job in jobs:
        total += read_sound(job.path).seconds
        if chosen and total > limit_s:
            break
        chosen.append(job)
    return chosen


def _conditioned(job: _Job, condition: Condition, jobs: Sequence[_Job], real: RealNoise | None) -> Samples:
    other = None
    if condition.kind == "radio":
        others = [j for j in jobs if j.voice != job.voice and j.narration.name != job.narration.name]
        others = others or [j for j in jobs if j is not job]
        if others:
            other = read_sound(others[zlib.crc32(job.label.encode()) % len(others)].path).floats()
    samples = read_sound(job.path).floats()
    return apply_condition(condition, samples, seed=zlib.crc32(job.label.encode()), other=other, real=real)


def _cell(
    job: _Job,
    heard: Heard,
    ear: str,
    condition: Condition,
    folder: str,
    seconds: float,
    with_: tuple[Lexicon, TermMatcher, Tellers],
) -> EarCell:
    lexicon, matcher, tellers = with_
    counts = score_ear(
        job.narration.text, heard.transcript, lexicon=lexicon, matcher=matcher, tellers=tellers
    )
    return EarCell(
        ear=ear,
        folder=folder,
        condition=condition.name,
        voice=job.voice,
        counts=counts.model_copy(update={"failures": int(bool(heard.failure))}),
        sound_s=seconds,
        wall_s=heard.wall_s,
        cpu_s=heard.cpu_s,
        peak_mb=heard.peak_mb,
    )


def _sum(one: EarCell, other: EarCell) -> EarCell:
    peaks = [peak for peak in (one.peak_mb, other.peak_mb) if peak is not None]
    return one.model_copy(
        update={
            "counts": one.counts + other.counts,
            "sound_s": one.sound_s + other.sound_s,
            "wall_s": one.wall_s + other.wall_s,
            "cpu_s": one.cpu_s + other.cpu_s,
            "peak_mb": max(peaks, default=None),
        }
    )


def _ratio(part: float, whole: float) -> float | None:
    return part / whole if whole else None


def write_wav(path: Path, samples: Samples) -> None:
    """Writes ``samples`` (16 kHz mono, -1..1) as 16-bit sound."""
    whole = np.clip(np.rint(samples * 32_767), -32_768, 32_767).astype("<i2")
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(whole.tobytes())


class _Line(Record):
    mark: str
    ear: str
    digest: str
    heard: Heard


class _Kept:
    """What was heard, in a file with a line of JSON each; lines of another mark stay, and are not used."""

    def __init__(self, path: Path | None, mark: str) -> None:
        self._path, self._mark = path, mark
        self._heard: dict[tuple[str, str], Heard] = {}
        if path is None or not path.exists():
            return
        try:
            rows = path.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(f"{path} cannot be read: it is not what an earlier run kept.") from error
        for number, row in enumerate(rows, start=1):
            try:
                line = _Line.model_validate_json(row)
            except ValidationError as error:
                if number == len(rows):
                    continue  # the run was cut off while it wrote
                raise InputError(f"{path} row {number} is not what an earlier run kept.") from error
            if line.mark == mark:
                self._heard[line.ear, line.digest] = line.heard

    def get(self, ear: str, digest: str) -> Heard | None:
        return self._heard.get((ear, digest))

    def add(self, ear: str, digest: str, heard: Heard) -> None:
        if self._path is None:
            return
        row = _Line(mark=self._mark, ear=ear, digest=digest, heard=heard).model_dump_json()
        try:
            with self._path.open("a", encoding="utf-8") as out:
                out.write(row + "\n")
        except OSError as error:
            raise OutputError(f"{self._path} cannot be written: {error.strerror}.") from error


def _silent(_what: str, _done: float) -> None:
    return None


def at_most(value: float | None, most: float) -> bool:
    """Whether a figure is there and not above ``most``."""
    return value is not None and value <= most


def term_ratio(report: EarReport, *, condition: str) -> float | None:
    """The full ear's trade-term error rate as a share of plain recognition's, in one condition."""
    full = report.pool("full", conditions=[condition]).counts.hearing
    plain = report.pool("plain", conditions=[condition]).counts.hearing
    if full.term_error_rate is None or not plain.terms_missed:
        return None
    return share(full.terms_missed * plain.terms, plain.terms_missed * full.terms)
