"""Learns, from labelled recordings, when a repair is accepted and what a certainty is worth.

    python benchmarks/learn_ear.py samples_synthetic/tune [--only NAME.VOICE ...] [--write]

Hears every NAME.VOICE.opus of the folder with the full ear, compares with NAME.txt, fits the weights of
``voicecheck/speech/repair.json`` and the curves of ``certainty.json``, and prints what came of it. Only
the tune folder may be learned from: hold is for measuring.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import jiwer
import numpy as np

import voicecheck.speech
from voicecheck.lexicon import Lexicon, hot_words, load_lexicon, normalise_phrase
from voicecheck.measure.words import plain_numbers, word_errors
from voicecheck.pipeline import HOT_TOKENS
from voicecheck.recording import read_sound
from voicecheck.records import Word
from voicecheck.resources import lexicon_dir
from voicecheck.speech import SpeechSettings, ear
from voicecheck.speech.certainty import Kind, calibration, fit_curve
from voicecheck.speech.repair import (
    Asked,
    acceptance,
    chosen,
    features_of,
    hopeful,
    least_for,
    support,
    with_text,
)
from voicecheck.speech.search import Candidate, SoundIndex, groups_of, stem
from voicecheck.speech.whisper import WhisperRecogniser

ASKED_LEAST = 0.12  # candidates less likely than this by sight are not looked at: there would be thousands
HELD_BACK = 0.3  # towards weights of nothing
LEAST, SIDE_LEAST = 0.5, 0.75
KINDS: tuple[Kind, ...] = ("word", "side", "number")


class Seen(NamedTuple):
    """A candidate in its place: all heard words of its window, and what was familiar."""

    words: tuple[Word, ...]
    asked: Asked
    familiar: frozenset[str]
    group: int


class Labelled(NamedTuple):
    seen: Seen
    right: bool
    recording: str


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--model", default="base")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    if given.folder.resolve().name == "hold":
        raise SystemExit("hold is for measuring, not for learning")
    paths = [p for p in sorted(given.folder.glob("*.opus")) if not given.only or p.stem in given.only]
    recogniser = WhisperRecogniser(SpeechSettings(model=given.model, ear="full"))
    lexicons = {market: load_lexicon(lexicon_dir(), market=market) for market in ("US", "UK")}
    labelled: list[Labelled] = []
    stated: dict[Kind, list[tuple[float, bool]]] = {kind: [] for kind in KINDS}
    spoken = 0
    for path in paths:
        name = path.name.split(".")[0]
        text = path.with_name(f"{name}.txt").read_text(encoding="utf-8")
        lexicon = lexicons["UK" if name.startswith("uk-") else "US"]
        seen, raw = heard(recogniser, path, lexicon)
        units = {normalise_phrase(g.said): g.value for g in lexicon.grammar if g.kind == "unit"}
        labelled += label(seen, raw, text, units, path.stem)
        for kind, probability, right in judged(raw, text, units):
            stated[kind].append((probability, right))
        spoken += len(normalise_phrase(text))
        print(f"{path.stem}: {len(seen)} candidates", flush=True)
    weights = fit(
        [(features_of(x.seen.asked.candidate, x.seen.asked.gain, x.seen.familiar), x.right) for x in labelled]
    )
    report(labelled, weights, spoken, stated, len(paths), write=given.write)


def heard(
    recogniser: WhisperRecogniser, path: Path, lexicon: Lexicon
) -> tuple[list[Seen], list[tuple[Word, Kind | None]]]:
    """The candidates that came up in a recording, and its words with the certainty the engine states."""
    seen: list[Seen] = []
    raw: list[tuple[Word, Kind | None]] = []

    def considered(
        words: Sequence[Word], index: SoundIndex, score: ear.Scorer, *, familiar: frozenset[str] = frozenset()
    ) -> list[Asked]:
        learned = acceptance()
        low = learned.model_copy(update={"least": ASKED_LEAST, "side_least": ASKED_LEAST})
        taken: list[Asked] = []
        for group in groups_of(c for c in index.find(words) if hopeful(c, low, familiar)):
            best = sorted(group, key=lambda c: (-support(c, 0.0, learned, familiar), c.text))[: ear.PER_PLACE]
            asked = ear.asked_about(best, words, score, familiar)
            seen.extend(Seen(tuple(words), one, familiar, len(seen)) for one in asked)
            taken += chosen(asked, learned)
        return taken

    def calibrated(self: ear.LexiconTools, words: Sequence[Word]) -> list[Word]:
        raw.extend(zip(words, self.kinds(words), strict=True))
        return list(words)

    before = ear.considered, ear.LexiconTools.calibrated
    ear.considered, ear.LexiconTools.calibrated = considered, calibrated  # type: ignore[method-assign]
    try:
        recogniser.hear(
            read_sound(path),
            hot_words=hot_words(lexicon, limit_tokens=HOT_TOKENS, count_tokens=lambda t: -(-len(t) // 3)),
            lexicon=lexicon,
        )
    finally:
        ear.considered, ear.LexiconTools.calibrated = before  # type: ignore[method-assign]
    return seen, raw


def label(
    seen: Iterable[Seen],
    raw: Sequence[tuple[Word, Kind | None]],
    text: str,
    units: dict[tuple[str, ...], str],
    recording: str,
) -> list[Labelled]:
    """Right is a candidate whose words were said and with which the recording has fewer word errors, or whose
    words, give or take their endings, were said in its place, and with which it has no more.
    """
    whole = [word.heard for word, _ in raw]
    wanted = plain_numbers(text, units=units)
    errors = word_errors(wanted, plain_numbers(" ".join(whole), units=units))
    places = _places(wanted, whole, units)
    everywhere = set(normalise_phrase(text))
    found: list[Labelled] = []
    for one in seen:
        part = [word.heard for word in one.words]
        at = next((n for n in range(len(whole)) if whole[n : n + len(part)] == part), None)
        if at is None:  # an echo was taken out in between
            continue
        candidate = one.asked.candidate
        read = with_text(one.words, candidate.first, candidate.last, candidate.text)
        new = [*whole[:at], *read, *whole[at + len(part) :]]
        place = places[at + candidate.first]
        near = wanted[max(0, place - 3) : place + candidate.last - candidate.first + 4]
        said = {stem(word) for word in near} | {stem(a + b) for a, b in pairwise(near)}
        words = normalise_phrase(candidate.text)
        there = all(stem(word) in said or any(other.startswith(word) for other in near) for word in words)
        now = word_errors(wanted, plain_numbers(" ".join(new), units=units))
        right = (now < errors and set(words) <= everywhere) or (now <= errors and there)
        found.append(Labelled(one, right, recording))
    return found


def _places(wanted: Sequence[str], whole: Sequence[str], units: dict[tuple[str, ...], str]) -> list[int]:
    """For each heard word about where in ``wanted`` it lies."""
    counts = [len(plain_numbers(word, units=units)) for word in whole]
    tokens = [token for word in whole for token in plain_numbers(word, units=units)]
    at_token = [len(wanted)] * (len(tokens) + 1)
    for part in jiwer.process_words(" ".join(wanted), " ".join(tokens)).alignments[0]:
        for at in range(part.hyp_start_idx, part.hyp_end_idx):
            at_token[at] = min(part.ref_start_idx + at - part.hyp_start_idx, part.ref_end_idx)
    return [at_token[sum(counts[:number])] for number in range(len(whole))]


def judged(
    raw: Sequence[tuple[Word, Kind | None]], text: str, units: dict[tuple[str, ...], str]
) -> list[tuple[Kind, float, bool]]:
    """Each heard word: its kind, its stated certainty, and whether it was said there."""
    pieces = [plain_numbers(word.heard, units=units) for word, _ in raw]
    heard_tokens = [token for tokens in pieces for token in tokens]
    wanted = plain_numbers(text, units=units)
    same: set[int] = set()
    for part in jiwer.process_words(" ".join(wanted), " ".join(heard_tokens)).alignments[0]:
        if part.type == "equal":
            same.update(range(part.hyp_start_idx, part.hyp_end_idx))
    found: list[tuple[Kind, float, bool]] = []
    at = 0
    for (word, kind), tokens in zip(raw, pieces, strict=True):
        places = range(at, at + len(tokens))
        at += len(tokens)
        if kind is not None and tokens:
            found.append((kind, word.certainty, all(place in same for place in places)))
    return found


def fit(rows: Sequence[tuple[dict[str, float], bool]]) -> dict[str, float]:
    """The weights of a logistic model (Newton's method, held back towards nothing)."""
    names = list(rows[0][0])
    x = np.array([[features[name] for name in names] for features, _ in rows])
    y = np.array([float(right) for _, right in rows])
    hold = np.array([0.05 if name == "one" else HELD_BACK for name in names])
    weights = np.zeros(len(names))
    for _ in range(60):
        p = 1 / (1 + np.exp(-x @ weights))
        slope = x.T @ (p - y) + hold * weights
        bend = (x * (p * (1 - p))[:, None]).T @ x + np.diag(hold)
        weights -= np.linalg.solve(bend, slope)
    return {name: round(float(weight), 3) for name, weight in zip(names, weights, strict=True)}


def report(
    labelled: Sequence[Labelled],
    weights: dict[str, float],
    spoken: int,
    stated: dict[Kind, list[tuple[float, bool]]],
    recordings: int,
    *,
    write: bool,
) -> None:
    """Prints, and writes on demand, what was learned."""
    learned = acceptance().model_copy(update={"weights": weights, "least": LEAST, "side_least": SIDE_LEAST})
    kept = [
        (support(x.seen.asked.candidate, x.seen.asked.gain, learned, x.seen.familiar), x) for x in labelled
    ]
    for probability, x in sorted(kept, key=lambda pair: -pair[0])[:60]:
        candidate: Candidate = x.seen.asked.candidate
        part = " ".join(word.heard for word in x.seen.words[candidate.first : candidate.last])
        print(
            f"{probability:.2f} {'right' if x.right else 'WRONG'} {part!r} → {candidate.text!r} {x.recording}"
        )
    accepted = [x for p, x in kept if p >= least_for(x.seen.asked.candidate, learned)]
    wrong = sum(not x.right for x in accepted)
    figures: dict[str, float | int | str] = {
        "from": "samples_synthetic/tune, learned and counted on the same recordings",
        "recordings": recordings,
        "words": spoken,
        "candidates": len(labelled),
        "right candidates": sum(x.right for x in labelled),
        "accepted": len(accepted),
        "accepted wrongly": wrong,
        "false repairs per 1000 words": round(1000 * wrong / max(1, spoken), 2),
    }
    print(json.dumps({"weights": weights, "figures": figures}, indent=1))
    curves = {
        kind: fit_curve([p for p, _ in points], [ok for _, ok in points]) for kind, points in stated.items()
    }
    before = {f"{kind} error before": gap(points, lambda p: p) for kind, points in stated.items()}
    after = {
        f"{kind} error after": gap(
            points,
            lambda p, kind=kind: calibration().model_copy(update={"curves": curves}).certainty(p, kind),
        )
        for kind, points in stated.items()
    }
    print(
        json.dumps(
            {**before, **after, **{kind: curve.model_dump() for kind, curve in curves.items()}}, indent=1
        )
    )
    if write:
        folder = Path(voicecheck.speech.__file__).parent
        text = learned.model_copy(update={"figures": figures}).model_dump_json(indent=2)
        (folder / "repair.json").write_text(text + "\n", encoding="utf-8")
        learnt = calibration().model_copy(
            update={
                "curves": curves,
                "figures": {"from": figures["from"], "recordings": recordings, **before, **after},
            }
        )
        (folder / "certainty.json").write_text(learnt.model_dump_json(indent=2) + "\n", encoding="utf-8")


def gap(points: Sequence[tuple[float, bool]], curve: object) -> float:
    """The expected calibration error in ten bins of equal width."""
    assert callable(curve)
    total = 0.0
    values = [(curve(p), ok) for p, ok in points]
    for low in range(10):
        part = [(p, ok) for p, ok in values if low / 10 <= p < (low + 1) / 10 or (low == 9 and p == 1.0)]
        if part:
            total += abs(sum(p for p, _ in part) - sum(ok for _, ok in part))
    return round(total / max(1, len(points)), 4)


if __name__ == "__main__":
    main()
