"""Learns, from labelled recordings, when a repair is accepted, which hearing is the better one, and what a
certainty is worth.

    python benchmarks/learn_ear.py samples_synthetic/tune [--only NAME.VOICE ...]
        [--conditions noise10,noise5] [--keep FILE] [--windows FILE] [--write]

Hears every NAME.VOICE.opus of the folder with the full ear, those without noise also in the conditions in
turn, compares with NAME.txt, fits the weights of ``voicecheck/speech/repair.json`` and ``choice.json`` and
the curves of ``certainty.json``, and prints what came of it. Weights are judged with the narration at hand
left out of the learning; so is the mean log probability below which a window is left as it was heard.
``--keep`` is a file in which what was seen in each recording is kept, from which a later run goes on: delete
it when the ear changes. ``--windows`` writes what was heard, window by window, for
``tests/speech/test_guard.py``. Only the tune folder may be learned from: hold is for measuring.
"""

from __future__ import annotations

import argparse
import gzip
import json
import pickle
import tempfile
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch

import numpy as np

import voicecheck.speech
from voicecheck.lexicon import load_lexicon, normalise_phrase
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.measure.ear import write_wav
from voicecheck.measure.ear_conditions import Condition, apply_condition, conditions_named, is_clean
from voicecheck.measure.ear_words import Tellers, heard_rightly, tellers_of
from voicecheck.measure.words import missed_terms, plain_numbers, terms_of, word_errors
from voicecheck.pipeline import listen
from voicecheck.recording import read_sound
from voicecheck.records import Word
from voicecheck.records.odds import logistic
from voicecheck.resources import lexicon_dir
from voicecheck.speech import SpeechSettings, ear, whisper
from voicecheck.speech.certainty import Kind, calibration, fit_curve
from voicecheck.speech.choices import (
    LEAST_GAIN,
    Hearing,
    Weighed,
    alternatives,
    choice,
    chosen_of,
    could_be_better,
)
from voicecheck.speech.choices import features_of as choice_features
from voicecheck.speech.repair import Asked, acceptance, chosen, clipped, least_gain, with_text
from voicecheck.speech.whisper import WhisperRecogniser

HELD_TO_KNOWN = 10.0  # towards the weights that ship: readings are too few to learn from alone
FEWEST = 40  # readings: from fewer no weights are learned anew
LEVELS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
LEAST, SIDE_LEAST, CHOICE_LEAST = 0.5, 0.6, 0.5
BOUNDS = (-9.0, -0.5, -0.45, -0.4, -0.36, -0.33, -0.3, -0.26)  # of a window's mean log probability
REPAIR_BOUND, CHOICE_BOUND = -0.33, -0.3
KINDS: tuple[Kind, ...] = ("word", "side", "number")


class Seen(NamedTuple):
    """Another reading in its place: the heard words of its window, ``first:last`` of them, the text."""

    sort: str  # "repair" or "choice"
    words: tuple[Word, ...]
    first: int
    last: int
    text: str
    features: dict[str, float]
    group: int
    side: bool = False
    logprob: float = 0.0  # of the window, mean


class Labelled(NamedTuple):
    """``errors`` and ``missed`` are what the recording has more of with this reading (less than 0: fewer)."""

    seen: Seen
    errors: int
    missed: int
    narration: str
    noisy: bool = False

    @property
    def right(self) -> bool:
        return self.errors < 0 or (self.errors == 0 and self.missed < 0)


class Window(NamedTuple):
    """What was heard in one window, before anything was read otherwise."""

    words: tuple[Word, ...]
    hot: tuple[str, ...]
    hearings: tuple[Hearing, ...]


class Learned(NamedTuple):
    """What one recording taught."""

    labelled: list[Labelled]
    stated: list[tuple[Kind, float, bool]]
    spoken: int
    noisy: bool = False
    market: str = "US"
    windows: tuple[Window, ...] = ()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--model", default="base")
    parser.add_argument("--conditions", default="", help="in turn, for recordings without noise")
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--windows", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    if given.folder.resolve().name == "hold":
        raise SystemExit("hold is for measuring, not for learning")
    paths = [p for p in sorted(given.folder.glob("*.opus")) if not given.only or p.stem in given.only]
    kept: dict[str, Learned] = {}
    if given.keep is not None and given.keep.exists():
        kept = pickle.loads(given.keep.read_bytes())
    pupil = Pupil(given.model)
    jobs = jobs_of(paths, [name for name in given.conditions.split(",") if name])
    for name, path, condition in jobs:
        if name not in kept:
            kept[name] = pupil.learn_from(path, condition)
            if given.keep is not None:
                given.keep.write_bytes(pickle.dumps(kept))
            print(f"{name}: {len(kept[name].labelled)} readings", flush=True)
    if given.windows is not None:
        write_windows({p.stem: kept[p.stem] for p in paths}, given.windows)
    report([kept[name] for name, _, _ in jobs], write=given.write)


def jobs_of(paths: Sequence[Path], names: Sequence[str]) -> list[tuple[str, Path, Condition | None]]:
    """Every recording as it is, and those without noise once more, in the conditions by turns."""
    jobs: list[tuple[str, Path, Condition | None]] = [(path.stem, path, None) for path in paths]
    conditions = conditions_named(names) if names else ()
    clean = sorted(
        (path for path in paths if is_clean(path.stem.split(".")[1])),
        key=lambda path: zlib.crc32(path.name.encode()),
    )
    for number, path in enumerate(clean):
        if conditions:
            condition = conditions[number % len(conditions)]
            jobs.append((f"{path.stem}@{condition.name}", path, condition))
    return jobs


def write_windows(learned: dict[str, Learned], to: Path) -> None:
    """What was heard in each recording, as packed JSON."""
    data = {
        "hot": {one.market: one.windows[0].hot for one in learned.values() if one.windows},
        "recordings": {
            name: {
                "market": one.market,
                "windows": [
                    {
                        "words": [
                            [w.heard, round(w.start or 0.0, 2), round(w.end or 0.0, 2), round(w.certainty, 3)]
                            for w in window.words
                        ],
                        "hearings": window.hearings,
                    }
                    for window in one.windows
                ],
            }
            for name, one in learned.items()
        },
    }
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    to.write_bytes(gzip.compress(text.encode(), mtime=0))


class Pupil:
    """Hears recordings with everything that could be read otherwise written down."""

    def __init__(self, model: str) -> None:
        self._recogniser = WhisperRecogniser(SpeechSettings(model=model, ear="full"))
        self._lexicons = {market: load_lexicon(lexicon_dir(), market=market) for market in ("US", "UK")}
        self._matchers = {market: compile_matcher(one) for market, one in self._lexicons.items()}

    def learn_from(self, path: Path, condition: Condition | None = None) -> Learned:
        name = path.name.split(".")[0]
        noisy = condition is not None or not is_clean(path.stem.split(".")[1])
        market = "UK" if name.startswith("uk-") else "US"
        lexicon, matcher = self._lexicons[market], self._matchers[market]
        text = path.with_name(f"{name}.txt").read_text(encoding="utf-8")
        tellers = tellers_of(lexicon)
        units = tellers.units
        if condition is None:
            seen, raw, windows = self._heard(path, market)
        else:
            samples = apply_condition(
                condition, read_sound(path).floats(), seed=zlib.crc32(path.stem.encode())
            )
            with tempfile.TemporaryDirectory() as work:
                wav = Path(work) / "noisy.wav"
                write_wav(wav, samples)
                seen, raw, windows = self._heard(wav, market)
        whole = [word.heard for word, _ in raw]
        wanted, terms = plain_numbers(text, units=units), terms_of(text, matcher)

        def faults(words: Sequence[str]) -> tuple[int, int]:
            said = " ".join(words)
            return (
                word_errors(wanted, plain_numbers(said, units=units)),
                missed_terms(terms, terms_of(said, matcher)),
            )

        before = faults(whole)
        labelled = []
        for one in seen:
            part = [word.heard for word in one.words]
            at = next((n for n in range(len(whole)) if whole[n : n + len(part)] == part), None)
            if at is None:  # an echo was taken out in between
                continue
            read = with_text(one.words, one.first, one.last, one.text)
            now = faults([*whole[:at], *read, *whole[at + len(part) :]])
            labelled.append(Labelled(one, now[0] - before[0], now[1] - before[1], name, noisy))
        return Learned(
            labelled, judged(raw, text, tellers), len(normalise_phrase(text)), noisy, market, tuple(windows)
        )

    def _heard(
        self, path: Path, market: str
    ) -> tuple[list[Seen], list[tuple[Word, Kind | None]], list[Window]]:
        """The readings that came up, the words with the certainty that the engine states, the windows."""
        seen: list[Seen] = []
        raw: list[tuple[Word, Kind | None]] = []
        windows: list[Window] = []
        at = [0.0]  # the log probability of the window at hand

        def mended(
            words: Sequence[Word],
            hot_words: Sequence[str],
            tools: ear.LexiconTools,
            score: ear.Scorer,
            *,
            hearings: Sequence[Hearing] = (),
            logprob: float = 0.0,
        ) -> list[Word]:
            at[0] = logprob
            windows.append(Window(tuple(words), tuple(hot_words), tuple(hearings)))
            return ear.mended(words, hot_words, tools, score, hearings=hearings)  # nothing is withheld

        def considered(words: Sequence[Word], tools: ear.LexiconTools, score: ear.Scorer) -> list[Asked]:
            taken: list[Asked] = []
            whole = tuple(words)  # one for all: which window a reading belongs to
            for group in ear.seen_in_groups(ear.seen_by(words, tools), acceptance()):
                asked = ear.asked_about(group, words, score)
                for one, (candidate, features) in zip(asked, group, strict=True):
                    if one.gain < least_gain(candidate) or (candidate.side and candidate.cost == 0):
                        continue
                    known = {**features, "gain": clipped(one.gain)}
                    place = candidate.first, candidate.last, candidate.text
                    seen.append(Seen("repair", whole, *place, known, len(seen), candidate.side, at[0]))
                taken += chosen(asked, acceptance())
            return taken

        def chosen_between(
            words: Sequence[Word], hearings: Sequence[Hearing], tools: ear.LexiconTools, score: ear.Scorer
        ) -> list[Weighed]:
            weighed = []
            whole = tuple(words)
            index = tools.index
            for one in alternatives(words, hearings, is_fixed=index.is_fixed, is_number=index.is_number):
                around = ear.Around(words, one.first, one.last)
                said = " ".join(around.texts(one.text))
                gain = score(said, around.stretch) - score(around.heard, around.stretch)
                if gain < LEAST_GAIN:
                    continue
                known = choice_features(
                    words, one, gain, tools.compared(words, one.first, one.last, one.text)
                )
                if not could_be_better(known, choice().model_copy(update={"least": 0.0})):
                    continue
                place = one.first, one.last, one.text
                seen.append(Seen("choice", whole, *place, known, len(seen), logprob=at[0]))
                weighed.append(Weighed(one, gain, weight_of(known, choice().weights)))
            return chosen_of(weighed, least=choice().least)

        def calibrated(self: ear.LexiconTools, words: Sequence[Word]) -> list[Word]:
            raw.extend(zip(words, self.kinds(words), strict=True))
            return list(words)

        with (
            patch.object(ear, "considered", considered),
            patch.object(ear, "chosen_between", chosen_between),
            patch.object(ear.LexiconTools, "calibrated", calibrated),
            patch.object(whisper, "mended", mended),
        ):
            listen(self._lexicons[market], path, self._recogniser)
        return seen, raw, windows


def weight_of(features: dict[str, float], weights: dict[str, float]) -> float:
    return logistic(sum(weight * features[name] for name, weight in weights.items()))


def judged(
    raw: Sequence[tuple[Word, Kind | None]], text: str, tellers: Tellers
) -> list[tuple[Kind, float, bool]]:
    """Each heard word: its kind, its stated certainty, and whether it was said there."""
    rightly = heard_rightly(text, [word.heard for word, _ in raw], tellers)
    return [
        (kind, word.certainty, right)
        for (word, kind), right in zip(raw, rightly, strict=True)
        if kind is not None and normalise_phrase(word.heard)
    ]


def fit(rows: Sequence[tuple[dict[str, float], bool]], known: dict[str, float]) -> dict[str, float]:
    """The weights of a logistic model (Newton's method, held towards the ``known`` weights).

    From few readings it may come out that a sound that fits better speaks against one: then the gain counts
    by its lower bound alone.
    """
    weights = fitted(rows, list(rows[0][0]), known)
    if weights.get("gain", 0.0) >= 0:
        return weights
    return fitted(rows, [name for name in rows[0][0] if name != "gain"], known)


def fitted(
    rows: Sequence[tuple[dict[str, float], bool]], names: Sequence[str], known: dict[str, float]
) -> dict[str, float]:
    """The weights of the features ``names``."""
    x = np.array([[features[name] for name in names] for features, _ in rows])
    y = np.array([float(right) for _, right in rows])
    centre = np.array([known.get(name, 0.0) for name in names])
    weights = centre.copy()
    for _ in range(60):
        p = 1 / (1 + np.exp(-np.clip(x @ weights, -30, 30)))
        slope = x.T @ (p - y) + HELD_TO_KNOWN * (weights - centre)
        bend = (x * (p * (1 - p))[:, None]).T @ x + HELD_TO_KNOWN * np.eye(len(names))
        weights -= np.linalg.solve(bend, slope)
    return {name: round(float(weight), 3) for name, weight in zip(names, weights, strict=True)}


def left_out(rows: Sequence[Labelled], known: dict[str, float]) -> list[float]:
    """The support of each reading by weights that were learned without its narration."""
    found = [0.0] * len(rows)
    for narration in sorted({row.narration for row in rows}):
        weights = fit([(row.seen.features, row.right) for row in rows if row.narration != narration], known)
        for at, row in enumerate(rows):
            if row.narration == narration:
                found[at] = weight_of(row.seen.features, weights)
    return found


def accepted(
    rows: Sequence[Labelled], supports: Sequence[float], least: float, bound: float = BOUNDS[0]
) -> list[int]:
    """Which would be read: in each window of at least the log probability ``bound`` the best supported that
    do not overlap."""
    taken: list[int] = []
    for at in sorted(range(len(rows)), key=lambda n: -supports[n]):
        one = rows[at].seen
        if one.logprob < bound or supports[at] < max(least, SIDE_LEAST if one.side else 0.0):
            continue
        others = (rows[n].seen for n in taken)
        if not any(o.words is one.words and o.first < one.last and one.first < o.last for o in others):
            taken.append(at)
    return taken


def report(learned: Sequence[Learned], *, write: bool) -> None:
    """Prints, and writes on demand, what was learned."""
    spoken = sum(one.spoken for one in learned)
    spoken_noisy = sum(one.spoken for one in learned if one.noisy)
    recordings = len(learned)
    print(f"{recordings} recordings, {spoken} words, {spoken_noisy} of them in noise")
    for sort, least, bound, name in (
        ("repair", LEAST, REPAIR_BOUND, "repair.json"),
        ("choice", CHOICE_LEAST, CHOICE_BOUND, "choice.json"),
    ):
        rows = [row for one in learned for row in one.labelled if row.seen.sort == sort]
        model = acceptance() if sort == "repair" else choice()
        enough = len(rows) >= FEWEST
        supports = (
            left_out(rows, model.weights)
            if enough
            else [weight_of(row.seen.features, model.weights) for row in rows]
        )
        for level in LEVELS:
            print(sort, "support", level, by_noise(rows, accepted(rows, supports, level, bound)))
        for each in BOUNDS:
            print(sort, "log probability", each, by_noise(rows, accepted(rows, supports, least, each)))
        for at in accepted(rows, supports, least, bound):
            row, one = rows[at], rows[at].seen
            heard = " ".join(word.heard for word in one.words[one.first : one.last])
            print(f"  {supports[at]:.2f} {row.errors:+d} {row.missed:+d} {heard!r} → {one.text!r}")
        weights = fit([(r.seen.features, r.right) for r in rows], model.weights) if enough else model.weights
        counts = counted(rows, accepted(rows, supports, least, bound))
        figures: dict[str, float | int | str] = {
            "from": "samples_synthetic/tune; counted with the narration at hand left out of the learning"
            if enough
            else "samples_synthetic/tune; the weights were learned before, from 15 of these recordings",
            "recordings": recordings,
            "words": spoken,
            "of these in noise": spoken_noisy,
            "asked about": len(rows),
            "of these right": sum(row.right for row in rows),
            **counts,
            "false per 1000 words": round(1000 * counts["false"] / max(1, spoken), 2),
        }
        print(json.dumps({"weights": weights, "figures": figures}, indent=1))
        if write:
            update = {"weights": weights, "least": least, "least_logprob": bound, "figures": figures}
            if sort == "repair":
                update["side_least"] = SIDE_LEAST
            save(name, model.model_copy(update=update).model_dump_json(indent=2))
    stated: dict[Kind, list[tuple[float, bool]]] = {
        kind: [(p, ok) for one in learned for k, p, ok in one.stated if k == kind] for kind in KINDS
    }
    curves = {
        kind: fit_curve([p for p, _ in points], [ok for _, ok in points]) for kind, points in stated.items()
    }
    new = calibration().model_copy(update={"curves": curves})
    figures = {"from": "samples_synthetic/tune, full ear; learned and counted on the same words",
               "recordings": recordings}  # fmt: skip
    for kind, points in stated.items():
        figures[f"{kind} error before"] = gap(points)
        figures[f"{kind} error after"] = gap([(new.certainty(p, kind), ok) for p, ok in points])
    print(json.dumps({**figures, **{kind: curve.model_dump() for kind, curve in curves.items()}}, indent=1))
    if write:
        save("certainty.json", new.model_copy(update={"figures": figures}).model_dump_json(indent=2))


def by_noise(rows: Sequence[Labelled], taken: Sequence[int]) -> dict[str, dict[str, int]]:
    """The counts of recordings without and with noise."""
    return {
        name: counted(rows, [at for at in taken if rows[at].noisy is noisy])
        for name, noisy in (("clean", False), ("noise", True))
    }


def counted(rows: Sequence[Labelled], taken: Sequence[int]) -> dict[str, int]:
    errors = [rows[at].errors for at in taken]
    return {
        "read": len(taken),
        "right": sum(e < 0 for e in errors),
        "false": sum(e > 0 for e in errors),
        "idle": sum(e == 0 for e in errors),
        "terms gained": -sum(rows[at].missed for at in taken),
    }


def save(name: str, text: str) -> None:
    folder = Path(voicecheck.speech.__file__).parent
    (folder / name).write_text(text + "\n", encoding="utf-8")


def gap(values: Sequence[tuple[float, bool]]) -> float:
    """The expected calibration error in ten bins of equal width."""
    total = 0.0
    for low in range(10):
        part = [(p, ok) for p, ok in values if low / 10 <= p < (low + 1) / 10 or (low == 9 and p == 1.0)]
        if part:
            total += abs(sum(p for p, _ in part) - sum(ok for _, ok in part))
    return round(total / max(1, len(values)), 4)


if __name__ == "__main__":
    main()
