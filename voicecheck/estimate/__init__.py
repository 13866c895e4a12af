"""From findings, catalogue, prices and limits to jobs, lines and money. No input or output, no clock."""

from voicecheck.estimate.issue import issue_blockers
from voicecheck.estimate.make import make_estimate
from voicecheck.estimate.names import FixedScorer, NameScorer, RapidfuzzScorer
from voicecheck.estimate.result import EstimateResult

__all__ = [
    "EstimateResult",
    "FixedScorer",
    "NameScorer",
    "RapidfuzzScorer",
    "issue_blockers",
    "make_estimate",
]
