"""A draft as a few readable lines: what was found, what goes on the estimate, what is left open.

Left out: seconds, hashes, certainties and the words of asks, which may change without anything being wrong.
"""

from __future__ import annotations

from typing import Any

import yaml

from voicecheck.records import Draft, Estimate, Finding, Job, Line, Measure, Vehicle


def snapshot(draft: Draft) -> str:
    """The draft as YAML, the same for the same draft."""
    document: dict[str, Any] = {"market": draft.market}
    if draft.vehicle != Vehicle():
        document["vehicle"] = _vehicle(draft.vehicle)
    document["findings"] = {finding.id: _finding(finding) for finding in draft.findings}
    document["estimate"] = [_job(job) for job in draft.estimate.jobs]
    document["totals"] = _totals(draft.estimate)
    document["unplaced"] = [f"{entry.text} ({entry.why})" for entry in draft.unplaced]
    document["asks"] = [ask.code for ask in draft.asks]
    return yaml.safe_dump(document, sort_keys=False, allow_unicode=True, width=10_000)


def _vehicle(vehicle: Vehicle) -> dict[str, Any]:
    facts = {"year": vehicle.year, "vin": vehicle.vin, "plate": vehicle.plate}
    if vehicle.odometer is not None:
        facts["odometer"] = _measure(vehicle.odometer)
    return {name: fact for name, fact in facts.items() if fact is not None}


def _finding(finding: Finding) -> dict[str, Any]:
    """``what`` in one line, then only what is there."""
    place = f" {' '.join(finding.place)}" if finding.place else ""
    parts = [f"{finding.component.id}{place}"]
    if finding.positions:
        parts.append("at " + ", ".join(finding.positions))
    parts.append(finding.state)
    if finding.conditions:
        parts.append(", ".join(c.id for c in finding.conditions))
    found: dict[str, Any] = {"what": "; ".join(parts)}
    if finding.measures:
        found["measures"] = [_measure(measure) for measure in finding.measures]
    if finding.limits_said:
        found["limits said"] = [_measure(measure) for measure in finding.limits_said]
    if finding.action != "none" or finding.urgency != "unstated":
        wider = f" at {', '.join(finding.action_positions)}" if finding.action_positions else ""
        urgency = f", {finding.urgency}" if finding.urgency != "unstated" else ""
        found["advice"] = f"{finding.action}{wider}{urgency}"
    for name, text in (
        ("only if", finding.only_if),
        ("because", finding.because),
        ("otherwise", finding.otherwise),
        ("with", finding.done_with or ""),
    ):
        if text:
            found[name] = text
    if finding.sublet:
        found["sublet"] = True
    found["heard"] = " … ".join(span.read for span in finding.heard)
    if finding.asks:
        found["asks"] = ", ".join(ask.code for ask in finding.asks)
    return found


def _measure(measure: Measure) -> str:
    bound = "" if measure.bound == "=" else f"{measure.bound} "
    high = f" to {measure.high}" if measure.high is not None else ""
    where = " ".join(part for part in (measure.position, measure.place) if part)
    at = f" ({where})" if where else ""
    return f"{measure.what}{at}: {bound}{measure.value}{high} {measure.unit}"


def _job(job: Job) -> dict[str, Any]:
    only_if = f" only if {job.only_if}" if job.only_if else ""
    return {"job": f"{job.title} [{job.urgency}]{only_if}", "lines": [_line(line) for line in job.lines]}


def _line(line: Line) -> str:
    parts = [f"{line.kind}: {line.operation} {line.name}"]
    if line.positions:
        parts.append("at " + ", ".join(line.positions))
    parts.append(f"{line.quantity.normalize():f} {line.unit}".strip())
    if line.hours is not None:
        parts.append(f"{line.hours} h")
    parts.append(str(line.amount) if line.amount is not None else "no price")
    parts.append("from " + ", ".join(line.findings) if line.findings else "from nothing")
    if line.asks:
        parts.append("asks " + ", ".join(ask.code for ask in line.asks))
    return "; ".join(parts)


def _totals(estimate: Estimate) -> str:
    totals = estimate.totals
    return f"{totals.total} {estimate.currency}, {totals.open_lines} open"
