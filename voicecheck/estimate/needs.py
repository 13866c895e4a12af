"""From findings to needs: pieces of work, each once, with everything that asked for it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from voicecheck.estimate.scope import VEHICLE, axle_of, meet, positions_at, spots_of, tidy, unsaid
from voicecheck.lexicon.model import Component, Lexicon
from voicecheck.records.errors import InputError
from voicecheck.records.estimate import AskedBy
from voicecheck.records.finding import Finding, Ref
from voicecheck.records.vocabulary import UNPRICED_ACTIONS, Action, Position, Urgency

URGENCY_ORDER: tuple[Urgency, ...] = ("now", "soon", "unstated", "later")
# Work on a part that makes no sense beside a new one of the same part.
_INSTEAD_OF_NEW: frozenset[Action] = frozenset({"repair", "resurface", "install"})


@dataclass(frozen=True, slots=True)
class Need:
    """One piece of work: what is done to which component, at which spots, and who asked for it.

    Work that nobody said names in ``beside`` the work it comes with, by its index, and goes into its job.
    """

    component: Component
    ref: Ref
    action: Action
    urgency: Urgency
    only_if: str
    place: tuple[str, ...]
    positions: tuple[Position, ...]
    spots: tuple[str, ...]
    sublet: bool
    findings: tuple[str, ...]
    why: str = ""
    asked_by: AskedBy = "technician"
    beside: int | None = None

    @property
    def key(self) -> tuple[object, ...]:
        """A fixed order of needs: as first asked for, then by what they are."""
        return (
            natural(self.findings[0]),
            self.component.id,
            self.action,
            self.spots,
            self.urgency,
            self.only_if,
        )


def natural(identifier: str) -> tuple[tuple[int, int | str], ...]:
    """A sorting key that puts "f2" before "f10"."""
    return tuple((0, int(t)) if t.isdigit() else (1, t) for t in re.findall(r"\d+|\D+", identifier))


def component_of(finding: Finding, lexicon: Lexicon) -> Component:
    """The lexicon entry of a finding's component. Raises ``InputError`` when the term files have none."""
    component = lexicon.components.get(finding.component.id)
    if component is None:
        raise InputError(
            f"Finding {finding.id} is about “{finding.component.id}”, which the term files do not have.",
            hint="Use the term files with which the findings were made, or add the component.",
        )
    return component


def kin(component: Component, lexicon: Lexicon) -> tuple[str, ...]:
    """The component's id and those of the more general ones above it, nearest first."""
    found: list[str] = []
    at: str | None = component.id
    while at is not None and at not in found:
        found.append(at)
        parent = lexicon.components.get(at)
        at = parent.kind_of if parent else None
    return tuple(found)


def scope_said(finding: Finding) -> tuple[Position, ...]:
    """Where the advice applies: its own positions where it has some, else the finding's."""
    return tidy(finding.action_positions or finding.positions)


def asks_for_work(finding: Finding) -> bool:
    """Whether a finding puts a line on the draft.

    Stated defects with advice do. Looking further into what is only suspected or could not be checked does
    too; any other advice on what is not a stated defect is asked about instead.
    """
    if finding.action in UNPRICED_ACTIONS:
        return False
    if finding.state in ("suspect", "not_checked"):
        return finding.action == "diagnose"
    return finding.state in ("defect", "missing")


def needs_of(findings: Sequence[Finding], lexicon: Lexicon) -> tuple[Need, ...]:
    """The work that the findings ask for, merged where it is the same work, in a fixed order."""
    grouped: dict[tuple[str, Action, tuple[str, ...]], list[Need]] = {}
    for finding in sorted(findings, key=lambda f: natural(f.id)):
        if asks_for_work(finding):
            need = _need(finding, component_of(finding, lexicon))
            grouped.setdefault((need.component.id, need.action, need.place), []).append(need)
    found: list[Need] = []
    for needs in grouped.values():
        found += _claim_once(_merge(needs))
    return tuple(sorted(found, key=lambda n: n.key))


def conflicts(needs: Sequence[Need]) -> Mapping[Need, Need]:
    """Work on a part that is also to be replaced at the same place, with the replacement."""
    return {
        need: new
        for need in needs
        if need.action in _INSTEAD_OF_NEW
        for new in needs
        if new.action == "replace" and new.component.id == need.component.id and meet(need.spots, new.spots)
    }


def covering(finding: Finding, needs: Sequence[Need], lexicon: Lexicon) -> Need | None:
    """The work that settles a finding without its own advice, if there is any.

    That is work on the same component at the same place (the other half of a pair), or the replacement of the
    whole that the component is a part of.
    """
    component = component_of(finding, lexicon)
    spots = spots_of(component, finding.positions)
    wholes: set[str] = set()
    at = component.part_of
    while at is not None and at not in wholes:
        wholes.add(at)
        parent = lexicon.components.get(at)
        at = parent.part_of if parent else None
    for need in needs:
        same = need.component.id == component.id and need.action != "diagnose"
        whole = need.action == "replace" and need.component.id in wholes
        if (same or whole) and meet(spots, need.spots):
            return need
    return None


def _need(finding: Finding, component: Component) -> Need:
    positions = scope_said(finding)
    return Need(
        component=component,
        ref=finding.component,
        action=finding.action,
        urgency=finding.urgency,
        only_if=finding.only_if,
        # an axle set holds the inner and the outer one alike
        place=() if component.sets == "axle set" else tuple(sorted(set(finding.place))),
        positions=positions,
        spots=spots_of(component, positions),
        sublet=finding.sublet,
        findings=(finding.id,),
    )


def _same_work(one: Need, other: Need) -> bool:
    if (one.urgency, one.only_if) != (other.urgency, other.only_if):
        return False
    if set(one.spots) & set(other.spots):
        return True
    if any(unsaid(s) or s == VEHICLE for s in (*one.spots, *other.spots)):
        return False  # "the differential" and "the front differential" may be one or two
    if one.component.sets == "each":
        return True
    return bool({axle_of(s) for s in one.spots} & {axle_of(s) for s in other.spots})


def _merge(needs: Sequence[Need]) -> list[Need]:
    """Needs of one component, action and place, united where they are the same work."""
    merged: list[Need] = []
    for need in needs:
        # a union may touch what its parts did not, so look again until it touches nothing
        while (same := next((o for o in merged if _same_work(need, o)), None)) is not None:
            merged.remove(same)
            need = _unite(same, need)
        merged.append(need)
    return merged


def _unite(one: Need, other: Need) -> Need:
    positions = tidy((*one.positions, *other.positions))
    return replace(
        one,
        positions=positions,
        spots=spots_of(one.component, positions),
        sublet=one.sublet or other.sublet,
        findings=_ids(one.findings, other.findings),
    )


def _ids(*groups: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(sorted({i for g in groups for i in g}, key=natural))


def _claim_once(needs: Sequence[Need]) -> list[Need]:
    """The same work asked for with two urgencies is done once, at the more urgent one."""
    ranked = sorted(needs, key=lambda n: (n.only_if != "", URGENCY_ORDER.index(n.urgency), n.key))
    kept: list[Need] = []
    for need in ranked:
        taken = {s for other in kept for s in other.spots if not unsaid(s)}
        left = tuple(s for s in need.spots if s not in taken)
        if len(left) == len(need.spots):
            kept.append(need)
        elif left:
            places = positions_at(s for s in need.spots if s in taken)
            kept.append(
                replace(
                    need,
                    positions=tidy(positions_at(left)),
                    spots=left,
                    why=f"Without {' and '.join(places)}, which another line covers.",
                )
            )
        else:
            at = next(i for i, other in enumerate(kept) if set(other.spots) & set(need.spots))
            kept[at] = replace(
                kept[at],
                findings=_ids(kept[at].findings, need.findings),
                why="Also said with another urgency or condition.",
            )
    return kept
