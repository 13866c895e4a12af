#!/usr/bin/env python3
"""Learn how often findings are right from labelled narrations; write ``shared/sureness.json``.

    python benchmarks/learn_sureness.py                   from fresh
    python benchmarks/learn_sureness.py --ask-below 0.9   ask more often
    python benchmarks/learn_sureness.py --check           change nothing: the table on hold, as shipped

Logistic regression with a ridge, one for each field that a label judges. The figures kept beside the weights
are of narrations that had no part in learning (five parts, each narration whole in one of them). Run it again
when rules or terms have changed a lot. The second reader was taught on the other narrations, and is too sure
of them to learn from them here. Not part of the package.
"""

from __future__ import annotations

import argparse
import functools
import itertools
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray

from voicecheck.findings import Finder
from voicecheck.findings.sureness import Judged, Sureness
from voicecheck.language import Reader
from voicecheck.lexicon import load_lexicon
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.measure.gold import load_narrations
from voicecheck.measure.same import Names
from voicecheck.measure.score import judged_fields
from voicecheck.measure.tables import markdown_table
from voicecheck.pipeline import load_review, load_sureness, transcript_from_text
from voicecheck.records import Market
from voicecheck.records.vocabulary import UNPRICED_ACTIONS
from voicecheck.resources import lexicon_dir, shared_dir

HERE = Path(__file__).resolve().parent
SAMPLES = HERE.parent / "samples_synthetic"
FIELDS: tuple[Judged, ...] = get_args(Judged)
RIDGE = 3.0
PARTS = 5
EDGES = (0.0, 0.3, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0001)

Matrix = NDArray[np.float64]


class Kit(NamedTuple):
    """What reads the narrations of one market."""

    reader: Reader
    finder: Finder
    names: Names


class Example(NamedTuple):
    """One finding: its narration, its counts, whether each field was right, whether it asks for work."""

    narration: str
    counts: dict[str, float]
    right: dict[Judged, bool]
    priced: bool


@functools.cache
def kit(market: Market) -> Kit:
    """Made once per market."""
    lexicon = load_lexicon(lexicon_dir(), None, market=market)
    review = load_review(lexicon, shared_dir() / "second")
    return Kit(Reader(lexicon, compile_matcher(lexicon)), Finder(lexicon, review=review), Names(lexicon))


def examples(folders: Sequence[Path]) -> list[Example]:
    """Every finding that is drafted from the narrations of the folders, judged by their labels."""
    found: list[Example] = []
    for folder in folders:
        for narration in load_narrations(folder):
            reader, finder, names = kit(narration.gold.market)
            transcript = transcript_from_text(narration.text)
            findings, counts = finder.find_with_evidence(reader.read(transcript), transcript)
            right = judged_fields(findings.findings, narration.gold.findings, names)
            for finding, counted, fields in zip(findings.findings, counts, right, strict=True):
                found.append(Example(narration.name, counted, fields, finding.action not in UNPRICED_ACTIONS))
                assert finding.heard
    return found


def fit(counts: Matrix, right: Matrix) -> Matrix:
    """The weights that fit best (Newton's method); the first column is constant, and not held back."""
    weights = np.zeros(counts.shape[1])
    hold = RIDGE * np.r_[1e-6, np.ones(counts.shape[1] - 1)]
    for _ in range(100):
        share = 1.0 / (1.0 + np.exp(-counts @ weights))
        slope = counts.T @ (share - right) + hold * weights
        bend = (counts * (share * (1.0 - share))[:, None]).T @ counts + np.diag(hold)
        step = np.linalg.solve(bend, slope)
        weights -= step
        if np.abs(step).max() < 1e-9:
            break
    return weights


def told_apart(stated: Matrix, right: Matrix) -> float:
    """Of pairs of a right and a wrong finding, the share in which the right one is surer (area under ROC)."""
    good, bad = stated[right == 1], stated[right == 0]
    if not len(good) or not len(bad):
        return float("nan")
    above = (good[:, None] > bad[None, :]).mean() + 0.5 * (good[:, None] == bad[None, :]).mean()
    return float(above)


def reliability(stated: Matrix, right: Matrix) -> list[tuple[str, ...]]:
    """Rows of stated against observed."""
    rows: list[tuple[str, ...]] = []
    for low, high in itertools.pairwise(EDGES):
        here = (stated >= low) & (stated < high)
        if here.any():
            rows.append((
                f"{low:.1f}–{min(high, 1.0):.1f}", str(int(here.sum())), f"{stated[here].mean():.2f}",
                f"{right[here].mean():.2f}",
            ))  # fmt: skip
    return rows


def learned(folders: Sequence[Path], *, ask_below: float) -> Sureness:
    """The weights, with figures of narrations that each were left out."""
    found = examples(folders)
    names = ["const", *sorted({name for example in found for name in example.counts} - {"const"})]
    counts = np.array([[example.counts.get(name, 0.0) for name in names] for example in found])
    part = np.array([zlib.crc32(example.narration.encode()) % PARTS for example in found])
    weights: dict[Judged, dict[str, float]] = {}
    figures: dict[str, float | int | str] = {
        "findings": len(found),
        "narrations": len({e.narration for e in found}),
        "from": ", ".join(folder.name for folder in folders),
    }
    for field in FIELDS:
        right = np.array([float(example.right[field]) for example in found])
        stated = np.zeros(len(found))
        for number in range(PARTS):
            out = part == number
            stated[out] = 1.0 / (1.0 + np.exp(-counts[out] @ fit(counts[~out], right[~out])))
        figures[f"{field}: right"] = round(float(right.mean()), 3)
        figures[f"{field}: told apart"] = round(told_apart(stated, right), 3)
        weights[field] = {name: round(float(w), 3) for name, w in zip(names, fit(counts, right), strict=True)}
        print(f"\n{field}, narrations left out\n")
        print(markdown_table(("stated", "findings", "mean stated", "right"), reliability(stated, right)))
        if field == "finding":
            _report_asks(stated, right, np.array([e.priced for e in found]), ask_below)
    return Sureness(weights=weights, ask_below=ask_below, figures=figures)


def _report_asks(stated: Matrix, right: Matrix, priced: NDArray[np.bool_], ask_below: float) -> None:
    asked = priced & (stated < ask_below)
    silent = priced & ~asked
    print(
        f"\nof {int(priced.sum())} findings with work to price, below {ask_below}: {int(asked.sum())} asked, "
        f"{int((1 - right[asked]).sum())} of them wrong; {int(silent.sum())} not asked, "
        f"{int((1 - right[silent]).sum())} of them wrong"
    )


def check(folders: Sequence[Path], sureness: Sureness) -> None:
    """Print the table of what is shipped on other narrations."""
    found = examples(folders)
    for field in FIELDS:
        right = np.array([float(example.right[field]) for example in found])
        stated = np.array([sureness.certainty(field, example.counts) for example in found])
        print(
            f"\n{field}, {', '.join(f.name for f in folders)}: told apart {told_apart(stated, right):.3f}\n"
        )
        print(markdown_table(("stated", "findings", "mean stated", "right"), reliability(stated, right)))
        if field == "finding":
            _report_asks(stated, right, np.array([e.priced for e in found]), sureness.ask_below)


def main() -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(description="Learn how often findings are right.")
    parser.add_argument("--folder", type=Path, action="append", help="labelled narrations (fresh)")
    parser.add_argument(
        "--ask-below", type=float, default=0.88, help="certainty below which work is asked about"
    )
    parser.add_argument("--check", action="store_true", help="the table of what is shipped, on hold")
    options = parser.parse_args()
    target = shared_dir() / "sureness.json"
    if options.check:
        check(options.folder or [SAMPLES / "hold"], load_sureness(target))
        return 0
    sureness = learned(options.folder or [SAMPLES / "fresh"], ask_below=options.ask_below)
    target.write_text(sureness.model_dump_json(indent=1) + "\n", encoding="utf-8")
    print(f"\n{target}: written", sureness.figures)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
