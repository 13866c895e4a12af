"""Probabilities from odds."""

from __future__ import annotations

import math


def logistic(odds: float) -> float:
    """The probability of log odds."""
    return 1.0 / (1.0 + math.exp(-min(30.0, max(-30.0, odds))))
