"""Learns, from labelled recordings, when a repair is accepted, which hearing is the better one, and what a
certainty is worth.

    python benchmarks/learn_ear.py samples_synthetic/tune [--only NAME.VOICE ...] [--keep FILE] [--write]

Hears every NAME.VOICE.opus of the folder with the full ear, compares with NAME.txt, fits the weights of
``voicecheck/speech/repair.json`` and ``choice.json`` and the curves of ``certainty.json``, and prints what
came of it. Weights are judged with the narration at hand left out of the learning. ``--keep`` is a file in
which what was seen in each recording is kept, from which a later run goes on: delete it when the ear changes.
Only the tune folder may be learned from: hold is for measuring.
"""

from __future__ import annotations

import argparse
import json
import pickle
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import jiwer
import numpy as np

import voicecheck.speech
from voicecheck.lexicon import load_lexicon, normalise_phrase
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.measure.words import missed_terms, plain_numbers, terms_of, word_errors
from voicecheck.pipeline import listen
from voicecheck.records import Word
from voicecheck.records.odds import logistic
from voicecheck.resources import lexicon_dir
from voicecheck.speech import SpeechSettings, ear
from voicecheck.speech.certainty import Kind, calibration, fit_curve
from voicecheck.speech.choices import Hearing, Weighed, alternatives, choice, chosen_of, could_be_better
from voicecheck.speech.choices import features_of as choice_features
from voicecheck.speech.repair import LEAST_GAIN, SIDE_GAIN, Asked, acceptance, chosen, clipped, with_text
from voicecheck.speech.whisper import WhisperRecogniser

HELD_BACK = 0.3  # towards weights of nothing
LEVELS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
LEAST, SIDE_LEAST, CHOICE_LEAST = 0.6, 0.75, 0.5
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


class Labelled(NamedTuple):
    """``errors`` and ``missed`` are what the recording has more of with this reading (less than 0: fewer)."""

    seen: Seen
    errors: int
    missed: int
    narration: str

    @property
    def right(self) -> bool:
        return self.errors < 0 or (self.errors == 0 and self.missed < 0)


class Learned(NamedTuple):
    """What one recording taught."""

    labelled: list[Labelled]
    stated: list[tuple[Kind, float, bool]]
    spoken: int


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--model", default="base")
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    if given.folder.resolve().name == "hold":
        raise SystemExit("hold is for measuring, not for learning")
    paths = [p for p in sorted(given.folder.glob("*.opus")) if not given.only or p.stem in given.only]
    kept: dict[str, Learned] = {}
    if given.keep is not None and given.keep.exists():
        kept = pickle.loads(given.keep.read_bytes())
    pupil = Pupil(given.model)
    for path in paths:
        if path.stem not in kept:
            kept[path.stem] = pupil.learn_from(path)
            if given.keep is not None:
                given.keep.write_bytes(pickle.dumps(kept))
            print(f"{path.stem}: {len(kept[path.stem].labelled)} readings", flush=True)
    report([kept[path.stem] for path in paths], write=given.write)


class Pupil:
    """Hears recordings with everything that could be read otherwise written down."""

    def __init__(self, model: str) -> None:
        self._recogniser = WhisperRecogniser(SpeechSettings(model=model, ear="full"))
        self._lexicons = {market: load_lexicon(lexicon_dir(), market=market) for market in ("US", "UK")}
        self._matchers = {market: compile_matcher(one) for market, one in self._lexicons.items()}

    def learn_from(self, path: Path) -> Learned:
        name = path.name.split(".")[0]
        market = "UK" if name.startswith("uk-") else "US"
        lexicon, matcher = self._lexicons[market], self._matchers[market]
        text = path.with_name(f"{name}.txt").read_text(encoding="utf-8")
        units = {normalise_phrase(g.said): g.value for g in lexicon.grammar if g.kind == "unit"}
        seen, raw = self._heard(path, market)
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
            labelled.append(Labelled(one, now[0] - before[0], now[1] - before[1], name))
        return Learned(labelled, judged(raw, text, units), len(normalise_phrase(text)))

    def _heard(self, path: Path, market: str) -> tuple[list[Seen], list[tuple[Word, Kind | None]]]:
        """The readings that came up, and the words with the certainty that the engine states."""
        seen: list[Seen] = []
        raw: list[tuple[Word, Kind | None]] = []

        def considered(words: Sequence[Word], tools: ear.LexiconTools, score: ear.Scorer) -> list[Asked]:
            taken: list[Asked] = []
            for group in ear.seen_in_groups(ear.seen_by(words, tools), acceptance()):
                asked = ear.asked_about(group, words, score)
                for one, (candidate, features) in zip(asked, group, strict=True):
                    if one.gain < (SIDE_GAIN if candidate.side else LEAST_GAIN):
                        continue
                    known = {**features, "gain": clipped(one.gain)}
                    place = candidate.first, candidate.last, candidate.text
                    seen.append(Seen("repair", tuple(words), *place, known, len(seen), candidate.side))
                taken += chosen(asked, acceptance())
            return taken

        def chosen_between(
            words: Sequence[Word], hearings: Sequence[Hearing], tools: ear.LexiconTools, score: ear.Scorer
        ) -> list[Weighed]:
            weighed = []
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
                seen.append(Seen("choice", tuple(words), one.first, one.last, one.text, known, len(seen)))
                weighed.append(Weighed(one, gain, weight_of(known, choice().weights)))
            return chosen_of(weighed, least=choice().least)

        def calibrated(self: ear.LexiconTools, words: Sequence[Word]) -> list[Word]:
            raw.extend(zip(words, self.kinds(words), strict=True))
            return list(words)

        before = ear.considered, ear.chosen_between, ear.LexiconTools.calibrated
        ear.considered, ear.chosen_between = considered, chosen_between
        ear.LexiconTools.calibrated = calibrated  # type: ignore[method-assign]
        try:
            listen(self._lexicons[market], path, self._recogniser)
        finally:
            ear.considered, ear.chosen_between = before[:2]
            ear.LexiconTools.calibrated = before[2]  # type: ignore[method-assign]
        return seen, raw


def weight_of(features: dict[str, float], weights: dict[str, float]) -> float:
    return logistic(sum(weight * features[name] for name, weight in weights.items()))


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
        p = 1 / (1 + np.exp(-np.clip(x @ weights, -30, 30)))
        slope = x.T @ (p - y) + hold * weights
        bend = (x * (p * (1 - p))[:, None]).T @ x + np.diag(hold)
        weights -= np.linalg.solve(bend, slope)
    return {name: round(float(weight), 3) for name, weight in zip(names, weights, strict=True)}


def left_out(rows: Sequence[Labelled]) -> list[float]:
    """The support of each reading by weights that were learned without its narration."""
    found = [0.0] * len(rows)
    for narration in sorted({row.narration for row in rows}):
        weights = fit([(row.seen.features, row.right) for row in rows if row.narration != narration])
        for at, row in enumerate(rows):
            if row.narration == narration:
                found[at] = weight_of(row.seen.features, weights)
    return found


def accepted(rows: Sequence[Labelled], supports: Sequence[float], least: float) -> list[int]:
    """Which would be read: in each window the best supported that do not overlap."""
    taken: list[int] = []
    for at in sorted(range(len(rows)), key=lambda n: -supports[n]):
        one = rows[at].seen
        if supports[at] < max(least, SIDE_LEAST if one.side else 0.0):
            continue
        others = (rows[n].seen for n in taken)
        if not any(o.words is one.words and o.first < one.last and one.first < o.last for o in others):
            taken.append(at)
    return taken


def report(learned: Sequence[Learned], *, write: bool) -> None:
    """Prints, and writes on demand, what was learned."""
    spoken = sum(one.spoken for one in learned)
    recordings = len(learned)
    for sort, least, name in (("repair", LEAST, "repair.json"), ("choice", CHOICE_LEAST, "choice.json")):
        rows = [row for one in learned for row in one.labelled if row.seen.sort == sort]
        supports = left_out(rows)
        for level in LEVELS:
            print(sort, level, counted(rows, accepted(rows, supports, level)))
        for at in accepted(rows, supports, least):
            row, one = rows[at], rows[at].seen
            heard = " ".join(word.heard for word in one.words[one.first : one.last])
            print(f"  {supports[at]:.2f} {row.errors:+d} {row.missed:+d} {heard!r} → {one.text!r}")
        weights = fit([(row.seen.features, row.right) for row in rows])
        counts = counted(rows, accepted(rows, supports, least))
        figures: dict[str, float | int | str] = {
            "from": "samples_synthetic/tune; counted with the narration at hand left out of the learning",
            "recordings": recordings,
            "words": spoken,
            "asked about": len(rows),
            "of these right": sum(row.right for row in rows),
            **counts,
            "false per 1000 words": round(1000 * counts["false"] / max(1, spoken), 2),
        }
        print(json.dumps({"weights": weights, "figures": figures}, indent=1))
        if write:
            model = acceptance() if sort == "repair" else choice()
            update = {"weights": weights, "least": least, "figures": figures}
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
