"""How alike two names are: the port, the rapidfuzz adapter, and a double."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from rapidfuzz import fuzz, process


class NameScorer(Protocol):
    """Says how alike names are, 0 (nothing in common) to 100 (the same words)."""

    def best(self, names: Sequence[str], texts: Sequence[str], *, least: float) -> Mapping[int, float]:
        """By the number of each text the score of the name most like it, where that is ``least`` or more."""
        ...

    def roughly(self, name: str, texts: Sequence[str], *, most: int) -> Sequence[int]:
        """The numbers of the ``most`` texts that are roughly most like a name, found quickly."""
        ...


class RapidfuzzScorer:
    """The mean of rapidfuzz's token_set_ratio and WRatio.

    token_set_ratio alone calls "brake hose" and "brake hose bracket" the same; WRatio brings the words that
    one name lacks back into account.
    """

    def best(self, names: Sequence[str], texts: Sequence[str], *, least: float) -> Mapping[int, float]:
        if not names or not texts:
            return {}
        one = process.cdist(names, texts, scorer=fuzz.token_set_ratio)
        other = process.cdist(names, texts, scorer=fuzz.WRatio)
        scores = ((one + other) / 2).max(axis=0).tolist()
        return {at: score for at, score in enumerate(scores) if score >= least}

    def roughly(self, name: str, texts: Sequence[str], *, most: int) -> Sequence[int]:
        found = process.extract(name, texts, scorer=fuzz.ratio, score_cutoff=30, limit=most)
        return [at for _, _, at in found]


class FixedScorer:
    """A double: scores looked up by the pair of names, in either order; 0 where nothing was set."""

    def __init__(self, scores: Mapping[tuple[str, str], float]) -> None:
        self._scores = dict(scores)

    def best(self, names: Sequence[str], texts: Sequence[str], *, least: float) -> Mapping[int, float]:
        found: dict[int, float] = {}
        for at, text in enumerate(texts):
            scores = [self._scores.get((n, text), self._scores.get((text, n), 0.0)) for n in names]
            if max(scores) >= least:
                found[at] = max(scores)
        return found

    def roughly(self, name: str, texts: Sequence[str], *, most: int) -> Sequence[int]:
        by_score = sorted(range(len(texts)), key=lambda i: -self._scores.get((name, texts[i]), 0.0))
        return by_score[:most]
