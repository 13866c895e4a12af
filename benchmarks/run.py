#!/usr/bin/env python3
"""Measure accuracy, speed and memory on this machine and write the tables to ``RESULTS.md``.

    python benchmarks/run.py                          tune and hold, texts and recordings
    python benchmarks/run.py --no-audio               texts alone, no speech weights needed
    python benchmarks/run.py --folder DIR --out FILE  other labelled narrations

Speed and memory of the whole command are measured in processes of their own. Exit code 0: written, and every
speed target met. 1: written, a target missed (the document says which). 2: nothing could be measured.
Not part of the package.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.metadata
import os
import platform
import shlex
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

from voicecheck import __version__
from voicecheck.measure import FolderReport, load_narrations, measure_folder, report_markdown
from voicecheck.measure.tables import markdown_table
from voicecheck.pipeline import Workshop, load_workshop
from voicecheck.recording import RATE, read_sound
from voicecheck.records import Market, VoicecheckError
from voicecheck.speech import SpeechSettings, known_weights, taught
from voicecheck.speech.recogniser import Recogniser
from voicecheck.speech.taught import is_taught
from voicecheck.speech.weights import MODEL

HERE = Path(__file__).resolve().parent
SAMPLES = HERE.parent / "samples_synthetic"
PACKAGES = ("faster-whisper", "ctranslate2", "spacy", "av", "numpy", "rapidfuzz", "pydantic", "jiwer")
PROBE_S = 120.0  # the recording whose draft is timed from a cold start

# The targets, all of a machine with two cores.
MOST_REAL_TIME = 0.2  # from file to draft, as a share of the recording's length
MOST_PEAK_MB = 1200.0
LEAST_WORDS_PER_S = 2000.0
MOST_COLD_START_S = 25.0  # from the command to the draft of a recording of PROBE_S


class Probe(NamedTuple):
    """One run of the command in a process of its own."""

    seconds: float
    peak_mb: float
    sound_s: float
    name: str


class Target(NamedTuple):
    """A target, what was measured, and whether that meets it."""

    what: str
    wanted: str
    measured: str
    met: bool


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(description="Measure accuracy, speed and memory; write RESULTS.md.")
    parser.add_argument("--folder", type=Path, action="append", help="labelled narrations (tune and hold)")
    parser.add_argument("--each", type=int, help="at most so many recordings of one narration")
    parser.add_argument("--no-audio", action="store_true", help="texts alone")
    parser.add_argument("--model", default=SpeechSettings().model, help="speech weights")
    parser.add_argument("--out", type=Path, default=HERE / "RESULTS.md")
    options = parser.parse_args(arguments)
    folders = options.folder or [SAMPLES / "tune", SAMPLES / "hold"]
    shown = shlex.join(["python", "benchmarks/run.py", *(sys.argv[1:] if arguments is None else arguments)])
    try:
        reports, probe = measure(folders, model=options.model, audio=not options.no_audio, each=options.each)
    except VoicecheckError as error:
        print(error.message, *filter(None, [error.hint]), sep="\n", file=sys.stderr)
        return 2
    targets = targets_of(reports, probe)
    model = None if options.no_audio else options.model
    options.out.write_text(document(reports, targets, probe, command=shown, model=model), encoding="utf-8")
    print(f"{options.out}: {sum(t.met for t in targets)} of {len(targets)} speed targets met")
    return 0 if all(t.met for t in targets) else 1


def measure(
    folders: Sequence[Path], *, model: str, audio: bool, each: int | None = None
) -> tuple[list[FolderReport], Probe | None]:
    """Scores of every folder, and the cold run; raises ``VoicecheckError``."""
    probe = cold_run(folders, model=model) if audio else None
    recogniser = load_recogniser(model) if audio else None

    @cache
    def workshop_for(market: Market) -> Workshop:
        return load_workshop(market=market)

    reports = []
    for folder in folders:
        print(f"{folder} …", file=sys.stderr)
        reports.append(
            measure_folder(
                folder, workshop_for=workshop_for, recogniser=recogniser, each=each, progress=counter()
            )
        )
    return reports, probe


def load_recogniser(model: str) -> Recogniser:
    """The recogniser of the command line."""
    from voicecheck.speech.whisper import WhisperRecogniser

    return WhisperRecogniser(SpeechSettings(model=model))


def counter() -> Callable[[str, float], None]:
    """Tells each tenth of the work once."""
    told: set[tuple[str, int]] = set()

    def tell(what: str, share: float) -> None:
        step = (what, int(share * 10))
        if step not in told:
            told.add(step)
            print(f"  {what} {share:.0%}", file=sys.stderr)

    return tell


def cold_run(folders: Sequence[Path], *, model: str) -> Probe:
    """Draft the first ``PROBE_S`` of the longest recording with the command, in a process of its own.

    Its time runs from the start of the interpreter to the end of the process; its memory is the most it held.
    """
    paths = [path for folder in folders for n in load_narrations(folder) for _, path in n.recordings]
    if not paths:
        raise VoicecheckError("There are no recordings to time.", hint="--no-audio measures the texts alone.")
    sound = max((read_sound(path) for path in paths), key=lambda each: each.seconds)
    samples = sound.samples[: round(PROBE_S * RATE)]
    with tempfile.TemporaryDirectory() as folder:
        probe = Path(folder) / "probe.wav"
        with wave.open(str(probe), "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(RATE)
            out.writeframes(samples.astype("<i2").tobytes())
        command = [sys.executable, "-m", "voicecheck", "draft", str(probe), "--json", "--model", model]
        with (Path(folder) / "draft.json").open("wb") as stdout, (Path(folder) / "err").open("wb+") as stderr:
            began = time.perf_counter()
            process = subprocess.Popen(command, stdout=stdout, stderr=stderr)
            _, status, usage = os.wait4(process.pid, 0)
            seconds = time.perf_counter() - began
            process.returncode = os.waitstatus_to_exitcode(status)
            if process.returncode:
                stderr.seek(0)
                told = stderr.read().decode(errors="replace").strip()
                raise VoicecheckError(f"{shlex.join(command)} failed:\n{told}")
    peak = usage.ru_maxrss if sys.platform == "darwin" else usage.ru_maxrss * 1024
    return Probe(seconds, peak / 1e6, len(samples) / RATE, sound.name)


def targets_of(reports: Sequence[FolderReport], probe: Probe | None) -> list[Target]:
    """Every target that was measured."""
    words = sum(r.speed.words for r in reports)
    extraction_s = sum(r.speed.extraction_s for r in reports)
    per_second = words / extraction_s if extraction_s else 0.0
    found = [
        Target(
            "extraction, words per second",
            f"at least {LEAST_WORDS_PER_S:,.0f}",
            f"{per_second:,.0f}",
            per_second >= LEAST_WORDS_PER_S,
        )
    ]
    sound_s = sum(r.speed.sound_s for r in reports)
    if sound_s:
        factor = sum(r.speed.listening_s for r in reports) / sound_s
        found.append(
            Target(
                "file to draft, share of the recording's length, model loaded",
                f"at most {MOST_REAL_TIME}",
                f"{factor:.3f}",
                factor <= MOST_REAL_TIME,
            )
        )
    if probe is not None:
        allowed = MOST_COLD_START_S * probe.sound_s / PROBE_S
        found += [
            Target(
                f"command to draft from a cold start, {probe.sound_s:.0f} s of recording",
                f"under {allowed:.1f} s",
                f"{probe.seconds:.1f} s",
                probe.seconds < allowed,
            ),
            Target(
                "peak memory of that process",
                f"under {MOST_PEAK_MB:,.0f} MB",
                f"{probe.peak_mb:,.0f} MB",
                probe.peak_mb < MOST_PEAK_MB,
            ),
        ]
    return found


def document(
    reports: Sequence[FolderReport],
    targets: Sequence[Target],
    probe: Probe | None,
    *,
    command: str,
    model: str | None,
) -> str:
    """The whole of RESULTS.md. Holds no date: it changes when a figure changes."""
    rows = [(t.what, t.wanted, t.measured, "yes" if t.met else "NO") for t in targets]
    parts = [
        "# Results",
        "Written by `benchmarks/run.py`; not edited by hand. The recordings are synthetic voices that read",
        "invented narrations: their word errors compare versions of this program, and do not tell what a",
        "shop floor will give.",
        "The rules of marking are in `voicecheck/measure/score.py` and `voicecheck/measure/same.py`.",
        "`samples_synthetic/tune` is for working on the rules of the program, `hold` for measuring them.",
        "",
        f"```\n{command}\n```",
        "",
        "## Machine",
        "",
        markdown_table(("what", "value"), machine(model)),
        "",
        "## Speed targets",
        "",
        markdown_table(("what", "target", "measured", "met"), rows, right=(1, 2)),
        "",
    ]
    if probe is not None:
        parts += [f"The recording timed from a cold start is the beginning of {probe.name}.", ""]
    for report in reports:
        parts += [f"## {report.folder}", "", report_markdown(report)]
    return "\n".join(parts).rstrip() + "\n"


def machine(model: str | None) -> list[tuple[str, str]]:
    """What the figures depend on, without names or dates."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    rows = [
        ("cores", str(cores)),
        ("processor", processor()),
        ("memory", memory()),
        ("system", f"{platform.system()} {platform.machine()}"),
        ("Python", platform.python_version()),
        ("voicecheck", __version__),
        *((name, importlib.metadata.version(name)) for name in PACKAGES),
    ]
    if model is not None:
        known = known_weights().get(model)
        sums = [f"sha256 of {MODEL}: `{known.model_sha256}`"] if known else []
        settings = SpeechSettings(model=model)
        how = f"{settings.compute_type}, {settings.threads} threads, beam {settings.beam_size}"
        rows.append(("speech weights", "; ".join([model, how, *sums])))
        if is_taught(model):
            changes = Path(taught.__file__).with_name(taught.CHANGES).read_bytes()
            rows.append(("what they were taught", f"sha256 `{hashlib.sha256(changes).hexdigest()}`"))
    return rows


def processor() -> str:
    """The processor's name."""
    info = Path("/proc/cpuinfo")
    if info.is_file():
        for row in info.read_text(encoding="utf-8").splitlines():
            if row.startswith("model name"):
                return row.partition(":")[2].strip()
    return platform.processor() or "not told by the system"


def memory() -> str:
    """The machine's memory in 10⁹ bytes."""
    try:
        total = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, ValueError, OSError):
        return "not told by the system"
    return f"{total / 1e9:.0f} GB"


if __name__ == "__main__":
    raise SystemExit(main())
