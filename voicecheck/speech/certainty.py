"""Certainty that means something: the recogniser's probabilities, corrected by what was right and wrong."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from typing import Literal

from voicecheck.records import Record, Word
from voicecheck.records.odds import logistic

DATA = "certainty.json"
Kind = Literal["word", "side", "number"]
_EDGE = 1e-3  # probabilities are kept this far from 0 and 1


class Curve(Record):
    """``certainty = logistic(offset + slope · logit(p))`` (Platt scaling), learned from ``words`` words."""

    offset: float
    slope: float
    words: int


class Calibration(Record):
    """One curve for each kind of word; ``figures`` says from which recordings, and how well it fits."""

    curves: dict[Kind, Curve]
    figures: dict[str, float | int | str]

    def certainty(self, probability: float, kind: Kind = "word") -> float:
        """The share of such words that were heard rightly, 0 to 1."""
        curve = self.curves[kind]
        return round(logistic(curve.offset + curve.slope * logit(probability)), 4)


@lru_cache(maxsize=1)
def calibration() -> Calibration:
    """What was learned, as it ships with the package."""
    text = resources.files("voicecheck.speech").joinpath(DATA).read_text(encoding="utf-8")
    return Calibration.model_validate(json.loads(text))


def calibrated(words: Sequence[Word], kinds: Sequence[Kind | None], learned: Calibration) -> list[Word]:
    """The words with corrected certainty; ``kinds`` are theirs, in order (none: is as it should be)"""
    return [
        word
        if kind is None
        else word.model_copy(update={"certainty": learned.certainty(word.certainty, kind)})
        for word, kind in zip(words, kinds, strict=True)
    ]


def logit(probability: float) -> float:
    """The log odds of a probability, kept finite."""
    kept = min(1.0 - _EDGE, max(_EDGE, probability))
    return math.log(kept / (1.0 - kept))


def fit_curve(probabilities: Sequence[float], right: Sequence[bool]) -> Curve:
    """The curve that fits labelled words best (Newton's method, held back a little towards no correction).

    Needs words of both kinds to say anything; with none it is no correction. The slope is never below 0:
    a word stated as more certain is not less so.
    """
    offset, slope = 0.0, 1.0
    points = [(logit(p), 1.0 if ok else 0.0) for p, ok in zip(probabilities, right, strict=True)]
    for _ in range(50):
        g0, g1 = _HOLD * offset, _HOLD * (slope - 1.0)
        h00, h01, h11 = _HOLD, 0.0, _HOLD
        for x, y in points:
            p = logistic(offset + slope * x)
            weight = p * (1.0 - p)
            g0 += p - y
            g1 += (p - y) * x
            h00 += weight
            h01 += weight * x
            h11 += weight * x * x
        determinant = h00 * h11 - h01 * h01
        step0 = (h11 * g0 - h01 * g1) / determinant
        step1 = (h00 * g1 - h01 * g0) / determinant
        share = min(1.0, 1.0 / max(abs(step0), abs(step1), 1e-9))  # a long step may overshoot for good
        step0, step1 = share * step0, share * step1
        offset, slope = offset - step0, slope - step1
        if abs(step0) + abs(step1) < 1e-9:
            break
    if slope < 0.0:
        right_share = (sum(y for _, y in points) + 1.0) / (len(points) + 2.0)
        offset, slope = math.log(right_share / (1.0 - right_share)), 0.0
    return Curve(offset=round(offset, 4), slope=round(slope, 4), words=len(points))


_HOLD = 1.0
