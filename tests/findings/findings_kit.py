"""Short ways to say what was found."""

from __future__ import annotations

from collections.abc import Callable

from voicecheck.pipeline import Workshop, transcript_from_text, understand
from voicecheck.records import Finding, FindingsResult, Measure, Transcript

Found = Callable[[str], FindingsResult]
"""Typed words to findings, the fixture ``found``."""


def find(workshop: Workshop, text: str) -> FindingsResult:
    """Typed words to findings."""
    return understand(workshop, transcript_from_text(text))


def at(finding: Finding) -> str:
    """Where a finding is: "front left, front right", "" for nowhere."""
    return ", ".join(sorted(finding.positions))


def short(finding: Finding) -> str:
    """Component, place and state: "strut front left defect"."""
    return " ".join(part for part in (finding.component.id, at(finding), finding.state) if part)


def full(finding: Finding) -> str:
    """``short`` with conditions, advice and where the advice goes beyond the defect."""
    parts = [short(finding)]
    if finding.conditions:
        parts.append("[" + " ".join(sorted(c.id for c in finding.conditions)) + "]")
    if finding.action != "none":
        parts.append(finding.action)
    if finding.action_positions:
        parts.append("at " + ", ".join(sorted(finding.action_positions)))
    return " ".join(parts)


def told(finding: Finding) -> str:
    """Component, positions, state and advice in one line."""
    where = "/".join(finding.positions) or "-"
    wider = f" at {'/'.join(finding.action_positions)}" if finding.action_positions else ""
    return f"{finding.component.id} {where} {finding.state} {finding.action}{wider}"


def findings(found: Found, text: str) -> list[str]:
    """What was ``told`` in a text, sorted."""
    return sorted(told(finding) for finding in found(text).findings)


def measured(measure: Measure) -> str:
    """A reading: "front left 4 mm", "<2 mm", "2-3 mm"."""
    bound = "" if measure.bound == "=" else measure.bound
    high = f"-{measure.high}" if measure.high is not None else ""
    where = " ".join(part for part in (measure.position, measure.place) if part)
    return f"{where} {bound}{measure.value}{high} {measure.unit}".strip()


def readings(result: FindingsResult) -> list[str]:
    """All readings, in the order of the findings."""
    return [measured(m) for finding in result.findings for m in finding.measures]


def kinds(result: FindingsResult, transcript: Transcript) -> list[tuple[str, str]]:
    """Ledger entries: kind and words."""
    return [
        (entry.kind, " ".join(word.read for word in transcript.words[entry.first : entry.last]))
        for entry in result.ledger.entries
    ]
