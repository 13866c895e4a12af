#!/usr/bin/env python3
"""Measure hearing: plain recognition, hot words, and the full ear side by side; write ``EAR.md``.

    python benchmarks/ear.py                              tune and hold, all clean recordings, and in noise
    python benchmarks/ear.py --conditions noise5,bay10    instead of the usual conditions beside clean
    python benchmarks/ear.py --limit-minutes 10           of each folder in each condition but clean
    python benchmarks/ear.py --noise ../shared/data/shop_noise --conditions real10,realbay10
    python benchmarks/ear.py --keep heard.jsonl           go on where a run was cut off

The document is written anew after every condition of every folder, so that a run that is cut off leaves what
was measured. Exit code 0: written, and every target met. 1: written, a target missed (the document says
which). 2: nothing could be measured. Not part of the package.
"""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path

from run import machine

from voicecheck.lexicon import Lexicon, load_lexicon
from voicecheck.measure.ear import EARS, EarReport, measure_ear, together
from voicecheck.measure.ear_conditions import conditions_named, load_real_noise
from voicecheck.measure.ear_process import ear_mark, ear_processes
from voicecheck.measure.ear_tables import ear_markdown, ear_targets, ear_targets_markdown
from voicecheck.measure.tables import markdown_table
from voicecheck.records import Market, VoicecheckError
from voicecheck.resources import lexicon_dir
from voicecheck.speech import SpeechSettings

HERE = Path(__file__).resolve().parent
SAMPLES = HERE.parent / "samples_synthetic"
USUAL = "noise10,noise20,noise5,compressor10,wrench10,radio10,bay10,speed0.9,speed1.2,phone,clipping"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(description="Measure hearing; write EAR.md.")
    parser.add_argument("--folder", type=Path, action="append", help="labelled narrations (hold and tune)")
    parser.add_argument("--conditions", default=USUAL, help=f"beside clean ({USUAL})")
    parser.add_argument("--limit-minutes", type=float, help="of each folder in each condition but clean")
    parser.add_argument("--clean-minutes", type=float, help="of each folder in clean")
    parser.add_argument("--noise", type=Path, help="a folder with recordings of real noise")
    parser.add_argument("--recordings", type=Path, help="more recordings, in folders named as those measured")
    parser.add_argument("--keep", type=Path, help="a file in which what was heard is kept")
    parser.add_argument("--model", default=SpeechSettings().model, help="speech weights")
    parser.add_argument("--out", type=Path, default=HERE / "EAR.md")
    options = parser.parse_args(arguments)
    given = list(sys.argv[1:] if arguments is None else arguments)
    for option in ("--keep", "--out"):  # where files lie on one machine is nobody's business, and no setting
        while option in given:
            at = given.index(option)
            del given[at : at + 2]
    shown = shlex.join(["python", "benchmarks/ear.py", *given])
    try:
        report = measure(options, command=shown)
    except VoicecheckError as error:
        print(f"{error.message} {error.hint}".strip(), file=sys.stderr)
        return 2
    missed = [target for folder in report.folders for target in ear_targets(report, folder=folder)
              if target.met is False]  # fmt: skip
    return 1 if missed else 0


def measure(options: argparse.Namespace, *, command: str) -> EarReport:
    """Measure step by step, writing the document after each; raises ``VoicecheckError``."""
    folders: list[Path] = options.folder or [SAMPLES / "hold", SAMPLES / "tune"]
    real = load_real_noise(options.noise) if options.noise else None
    usual = conditions_named([name for name in options.conditions.split(",") if name] or ["clean"])
    conditions = [conditions_named(["clean"])[0], *(c for c in usual if c.name != "clean")]
    mark = ear_mark(model=options.model)
    reports: list[EarReport] = []
    with ear_processes(EARS, model=options.model) as listeners:
        for condition in conditions:
            minutes = options.clean_minutes if condition.name == "clean" else options.limit_minutes
            for folder in folders:
                report = measure_ear(
                    folder,
                    listeners=listeners,
                    lexicon_for=lexicon_for,
                    conditions=[condition],
                    model=options.model,
                    limit_s=None if minutes is None else 60 * minutes,
                    recordings=options.recordings / folder.name if options.recordings else None,
                    real=real,
                    keep=options.keep,
                    mark=mark,
                )
                reports.append(report)
                document = written(together(reports), command=command)
                options.out.write_text(document, encoding="utf-8")
                print(f"{folder.name}, {condition.name}: measured", file=sys.stderr, flush=True)
    return together(reports)


def lexicon_for(market: Market) -> Lexicon:
    """The shipped terms."""
    return load_lexicon(lexicon_dir(), None, market=market)


def written(report: EarReport, *, command: str) -> str:
    """The whole of EAR.md. Holds no date: it changes when a figure changes."""
    parts = [
        "# The ear",
        "",
        "Written by `benchmarks/ear.py`; not edited by hand. Plain recognition, hot words alone, and the",
        "full ear heard the same sounds in turn: plain and hot with the speech weights as published, full",
        "with what they were taught about shop talk (`voicecheck/speech/taught.py`). That was done with",
        "other texts, in the voices joe, rms and others; awb, gb and slt were not among them. The voices",
        "and the noise are synthetic: the figures compare versions of this program, and do not tell what",
        "a shop floor will give. `samples_synthetic/tune` is for working on the rules and thresholds of",
        "the program, `hold` for measuring them. Conditions are laid over the recordings without noise by",
        "`voicecheck/measure/ear_conditions.py`.",
        "",
        f"```\n{command}\n```",
        "",
        "## Machine",
        "",
        markdown_table(("what", "value"), machine(report.model)),
        "",
    ]
    for folder in report.folders:
        targets = ear_targets(report, folder=folder)
        parts += [f"## Targets, {folder}", "", ear_targets_markdown(targets), ""]
    parts += ["## Figures", "", ear_markdown(report)]
    return "\n".join(parts).rstrip() + "\n"


if __name__ == "__main__":
    raise SystemExit(main())
