"""How alike two names are: the port, the rapidfuzz adapter, and a double."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from rapidfuzz import fuzz


class NameScorer(Protocol):
    """Says how alike two names are, 0 (nothing in common) to 100 (the same words)."""

    def score(self, name: str, other: str) -> float: ...


class RapidfuzzScorer:
    """The mean of rapidfuzz's token_set_ratio and WRatio.

    token_set_ratio alone calls "brake hose" and "brake hose bracket" the same; WRatio brings the words that
    one name lacks back into account.
    """

    def score(self, name: str, other: str) -> float:
        return (fuzz.token_set_ratio(name, other) + fuzz.WRatio(name, other)) / 2


class FixedScorer:
    """A double: scores looked up by the pair of names, in either order; 0 where nothing was set."""

    def __init__(self, scores: Mapping[tuple[str, str], float]) -> None:
        self._scores = dict(scores)

    def score(self, name: str, other: str) -> float:
        return self._scores.get((name, other), self._scores.get((other, name), 0.0))
