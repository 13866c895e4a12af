#!/usr/bin/env python3
"""Learns how sure the second reader must be to be heard against the rules: ``shared/second/second.json``.

    python benchmarks/second/trust.py LESSONS.npz FOLDER …
    python benchmarks/second/trust.py LESSONS.npz FOLDER … --show      change nothing

The texts must have had no part in teaching the model (``samples_synthetic/fresh``). Of all limits that are
tried, one after another, those stay with which most findings come out right.
LESSONS.npz tells which counts of evidence the model takes.
"""

from __future__ import annotations

import argparse
import copy
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
from prepare import names, texts, workshop

from voicecheck.findings import Finder
from voicecheck.findings.assemble import Assembler
from voicecheck.findings.candidates import Candidate
from voicecheck.findings.evidence import Evidence
from voicecheck.findings.notes import Note
from voicecheck.findings.second import Judgement, Review, SecondReader, Trust
from voicecheck.lexicon import Lexicon
from voicecheck.measure.score import judged_fields
from voicecheck.pipeline import transcript_from_text
from voicecheck.records.reading import Reading
from voicecheck.resources import shared_dir
from voicecheck.second.model import Taught, TaughtReader, word_pieces

TRIED = {
    "state": (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 2.0),
    "action": (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 2.0),
    "seats": (0.5, 0.55, 0.6, 0.7, 0.8, 0.9, 2.0),
    "drop": (-1.0, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5),
    "add": (0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.7, 2.0),
    "apart": (0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.7, 2.0),
}
START = {"state": 0.4, "action": 0.3, "seats": 0.55, "drop": 0.45, "add": 0.5, "apart": 0.7}


class Remembered:
    """A second reader that judges the same narration once."""

    def __init__(self, reader: SecondReader) -> None:
        self._reader = reader
        self._told: dict[tuple[str, ...], list[Judgement]] = {}

    def judge(self, words: Sequence[str], candidates: Sequence[Candidate]) -> list[Judgement]:
        key = tuple(words)
        if key not in self._told:
            self._told[key] = self._reader.judge(words, candidates)
        return self._told[key]


class Again(Finder):
    """A finder whose rules read the same talk once."""

    def __init__(self, lexicon: Lexicon) -> None:
        super().__init__(lexicon)
        self._read: dict[int, tuple[list[Note], Evidence]] = {}

    def _noted(self, assembler: Assembler, reading: Reading) -> tuple[list[Note], Evidence]:
        if id(reading) not in self._read:
            self._read[id(reading)] = super()._noted(assembler, reading)
        notes, evidence = self._read[id(reading)]
        return copy.deepcopy(notes), evidence

    def trusting(self, review: Review) -> Again:
        """The same finder, with a second reader."""
        self._review = review
        return self


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("lessons", type=Path)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--show", action="store_true")
    given = parser.parse_args()
    counts = [str(name) for name in np.load(given.lessons, allow_pickle=True)["counts"]]
    home = shared_dir() / "second"
    reader = Remembered(
        TaughtReader(home / "weights.onnx", split=word_pieces(home / "vocab.txt"), counts=counts)
    )
    read = []
    for folder in given.folders:
        for text in texts(folder):
            transcript = transcript_from_text(text.words)
            read.append((text, workshop(text.market).reader.read(transcript), transcript))
    print(f"{len(read)} texts that the model was not taught on")

    finders = {market: Again(workshop(market).lexicon) for market in {text.market for text, _, _ in read}}

    def score(values: dict[str, float]) -> float:
        trust = Trust(**values)
        reviews = {market: Review(workshop(market).lexicon, reader=reader, trust=trust) for market in finders}
        wanted = drafted = right = 0
        for text, reading, transcript in read:
            finder = finders[text.market].trusting(reviews[text.market])
            findings = finder.find(reading, transcript).findings
            wanted, drafted = wanted + len(text.gold), drafted + len(findings)
            right += sum(one["finding"] for one in judged_fields(findings, text.gold, names(text.market)))
        return 2 * right / (wanted + drafted)

    never = {"state": 2.0, "action": 2.0, "seats": 2.0, "drop": -1.0, "add": 2.0, "apart": 2.0, "show": 2.0}
    alone = score(never)
    print(f"rules alone: strict F1 {alone:.3f}")
    best = dict(START)
    most = score(best)
    for _ in range(2):
        for name, tried in TRIED.items():
            for value in tried:
                got = score(best | {name: value})
                if got > most + 1e-9:
                    best, most = best | {name: value}, got
            print(f"{name}: {best[name]} -> strict F1 {most:.3f}", flush=True)
    if not given.show:
        figures: dict[str, float | int | str] = {
            "texts": len(read),
            "strict F1, rules alone": round(alone, 3),
            "strict F1": round(most, 3),
        }
        taught = Taught(counts=tuple(counts), trust=Trust(**best, figures=figures))
        (home / "second.json").write_text(taught.model_dump_json(indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
