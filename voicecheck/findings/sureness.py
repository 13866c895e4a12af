"""How often findings with evidence like this were right: learned from labelled narrations."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from voicecheck.records.base import Record
from voicecheck.records.odds import logistic

Judged = Literal["component", "positions", "state", "action", "finding"]
"""The fields that a label judges, and "finding": part, place, state and action all right."""


class Sureness(Record):
    """Weights of the counts of ``Evidence`` for each field, and what was seen when they were learned.

    ``ask_below`` is the certainty of a finding under which its work is not put on a draft without a question.
    """

    weights: dict[Judged, dict[str, float]]
    ask_below: float
    figures: dict[str, float | int | str] = Field(default_factory=dict)

    def certainty(self, field: Judged, counts: Mapping[str, float]) -> float:
        """The share of such findings of which the field was right, 0–1.

        Counts without a weight, and weights without a count, weigh nothing.
        """
        odds = sum(weight * counts.get(name, 0.0) for name, weight in self.weights[field].items())
        return logistic(odds)
