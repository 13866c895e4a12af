"""One finding from several, several from one, without losing a word, a number or a question."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from voicecheck.desk.decisions import covers
from voicecheck.estimate.needs import URGENCY_ORDER, natural
from voicecheck.estimate.scope import tidy
from voicecheck.records import UNPRICED_ACTIONS, Finding, Measure, Position, State
from voicecheck.records.vocabulary import expand
from voicecheck.records.wording import joined

T = TypeVar("T")

_WRONG: frozenset[State] = frozenset({"defect", "missing"})
_FINE: frozenset[State] = frozenset({"ok", "not_checked"})
_WORST: tuple[State, ...] = ("missing", "defect", "suspect", "not_checked", "ok")
_LETTERS = "abcdefgh"


def merge_objection(findings: Sequence[Finding]) -> str:
    """Why these findings cannot be made one without losing what was said; "" where they can."""
    states = {f.state for f in findings}
    if states & _WRONG and states & _FINE:
        return "one is said to be defective and another is not; change the state of one first"
    if {"defect", "missing"} <= states:
        return "one is said to be defective and another missing; change the state of one first"
    actions = {f.action for f in findings} - UNPRICED_ACTIONS
    if len(actions) > 1:
        return f"{joined(sorted(actions))} were advised for them; give them the same action first"
    if len({f.only_if for f in findings}) > 1:
        return "they are to be done under different conditions; make the conditions the same first"
    return ""


def merged(findings: Sequence[Finding]) -> Finding:
    """One finding under the smallest id, which also gives the part.

    Places, conditions, measures, evidence and questions of all are kept, the most urgent urgency holds. Where
    only some have an action, it covers the places of those only.
    """
    ordered = sorted(findings, key=lambda f: natural(f.id))
    first = ordered[0]
    positions = tidy([p for f in ordered for p in f.positions])
    working = [f for f in ordered if f.action not in UNPRICED_ACTIONS]
    advised = working or ordered
    action = next((f.action for f in advised if f.action != "none"), "none")
    advice = tidy([p for f in advised for p in (f.action_positions or f.positions)])
    return first.model_copy(
        update={
            "positions": positions,
            "place": tuple(dict.fromkeys(p for f in ordered for p in f.place)),
            "state": min((f.state for f in ordered), key=_WORST.index),
            "conditions": _once([c for f in ordered for c in f.conditions]),
            "measures": _once([_placed(m, f) for f in ordered for m in f.measures]),
            "limits_said": _once([m for f in ordered for m in f.limits_said]),
            "action": action,
            "action_positions": () if advice == positions else advice,
            "urgency": min((f.urgency for f in ordered), key=URGENCY_ORDER.index),
            "because": _texts([f.because for f in ordered]),
            "otherwise": _texts([f.otherwise for f in ordered]),
            "sublet": any(f.sublet for f in ordered),
            "heard": tuple(
                sorted(_once([s for f in ordered for s in f.heard]), key=lambda s: (s.first, s.last))
            ),
            "certainty": {
                field: min(f.certainty[field] for f in ordered if field in f.certainty)
                for field in dict.fromkeys(k for f in ordered for k in f.certainty)
            },
            "asks": _once([a for f in ordered for a in f.asks]),
        }
    )


def split_objection(finding: Finding, into: Sequence[tuple[Position, ...]]) -> str:
    """Why a finding cannot be split so; "" where it can."""
    lost = covers(tuple(into), finding.positions)
    return f"{joined(lost)} would be lost" if lost else ""


def split_ids(finding: str, count: int) -> tuple[str, ...]:
    return tuple(f"{finding}{letter}" for letter in _LETTERS[:count])


def split(finding: Finding, into: Sequence[tuple[Position, ...]]) -> tuple[Finding, ...]:
    """One finding per entry of ``into``.

    A measure that names its place goes where that is, every other to all. Advice for some places only stays
    with those; advised places that no part has stay with the first.
    """
    parts = [tidy(part) for part in into]
    shares = [tuple(p for p in finding.action_positions if _meets(p, part)) for part in parts]
    nowhere = [p for p in finding.action_positions if not any(p in share for share in shares)]
    whole = expand([p for part in parts for p in part])
    found = []
    for n, (part, id_) in enumerate(zip(parts, split_ids(finding.id, len(parts)), strict=True)):
        share = tidy([*shares[n], *(nowhere if n == 0 else [])])
        measures = tuple(
            m
            for m in finding.measures
            if m.position is None
            or _meets(m.position, part)
            or not any(_meets(m.position, other) for other in parts)
        )
        update = {
            "id": id_,
            "positions": part,
            "action_positions": () if share == part or _inside(part, share, whole) else share,
            "measures": measures,
        }
        if finding.action_positions and not share:
            update["action"] = "none"  # the advice was for the others only
        found.append(finding.model_copy(update=update))
    return tuple(found)


def _inside(part: Sequence[Position], share: Sequence[Position], whole: frozenset[Position]) -> bool:
    """Whether advice for ``share`` ("front") at a part ("front left") is the part's own share of it.

    So it is where the parts together (``whole``) cover all of that advice.
    """
    here, there = expand(tuple(part)), expand(tuple(share))
    return bool(here) and here < there <= whole


def _meets(position: Position, part: Sequence[Position]) -> bool:
    return position in part or bool(expand((position,)) & expand(tuple(part)))


def _placed(measure: Measure, finding: Finding) -> Measure:
    """A reading without a place is one of its finding's place, which others are about to join."""
    if measure.position is None and len(finding.positions) == 1:
        return measure.model_copy(update={"position": finding.positions[0]})
    return measure


def _once(items: Sequence[T]) -> tuple[T, ...]:
    found: list[T] = []
    for item in items:
        if item not in found:
            found.append(item)
    return tuple(found)


def _texts(texts: Sequence[str]) -> str:
    return "; ".join(dict.fromkeys(t for t in texts if t))
