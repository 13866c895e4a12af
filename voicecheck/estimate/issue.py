"""What stands between a draft and an estimate that may be given to a customer."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.estimate.texts import named
from voicecheck.records.asks import Ask
from voicecheck.records.draft import Unplaced
from voicecheck.records.estimate import Estimate
from voicecheck.records.finding import Finding


def issue_blockers(
    estimate: Estimate,
    *,
    findings: Sequence[Finding],
    unplaced: Sequence[Unplaced] = (),
    asks: Sequence[Ask] = (),
) -> tuple[str, ...]:
    """Every reason why the estimate cannot be issued yet, one sentence each; empty when it can.

    A reason is an open question (``asks`` are those about the whole recording), a line without a price, or
    words that name a component, a condition or advice and found no place.
    """
    reasons = [f"Open question: {ask.message}" for ask in asks]
    for finding in findings:
        what = named(finding.component.name, finding.positions)
        reasons += [f"Open question on {what}: {ask.message}" for ask in finding.asks]
    for job in estimate.jobs:
        for line in job.lines:
            reasons += [f"Open question on “{line.name}”: {ask.message}" for ask in line.asks]
            if line.amount is None:
                reasons.append(f"No price yet: “{line.name}” in {job.title}.")
    reasons += [f"Words without a place: “{words.text}” ({words.why})." for words in unplaced]
    return tuple(reasons)
