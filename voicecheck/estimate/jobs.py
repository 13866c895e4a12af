"""Which lines make a job, and what it is called."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from voicecheck.estimate.needs import URGENCY_ORDER, Need
from voicecheck.estimate.scope import axle_of
from voicecheck.estimate.texts import system_title
from voicecheck.lexicon.model import System
from voicecheck.records.finding import Finding
from voicecheck.records.vocabulary import Market, Urgency
from voicecheck.records.wording import capital, joined


@dataclass(frozen=True, slots=True)
class Group:
    """A job before its money: the needs by index, in order, and what they are done for."""

    needs: tuple[int, ...]
    urgency: Urgency
    only_if: str
    title: str


def group(
    needs: Sequence[Need],
    findings: Sequence[Finding],
    *,
    market: Market,
    packages: Sequence[tuple[int, int]] = (),
) -> list[Group]:
    """Jobs in the order now, soon, unstated, later, and within that as first asked for.

    Work that was said to be done together is one job, at its most urgent, and so is work that is done inside
    other work (``packages``, pairs of indexes); else a job is the work on one system at one axle, with one
    urgency and one condition. A condition ("only if …") is not lost by joining.
    """
    together = _linked(needs, findings, packages)
    jobs: dict[tuple[str, str, Urgency, str], list[int]] = {}
    for members in together:
        said = [i for i in members if needs[i].beside is None]
        head = min(said, key=lambda i: (URGENCY_ORDER.index(needs[i].urgency), i))
        key = (needs[head].component.system, _axle(needs[head]), needs[head].urgency, needs[head].only_if)
        jobs.setdefault(key, []).extend(members)
    found = [
        Group(
            needs=tuple(sorted(members)),
            urgency=key[2],
            only_if=key[3],
            title=_title([needs[i] for i in sorted(members) if needs[i].beside is None], market),
        )
        for key, members in jobs.items()
    ]
    return sorted(found, key=lambda g: (URGENCY_ORDER.index(g.urgency), g.needs))


def _linked(
    needs: Sequence[Need], findings: Sequence[Finding], packages: Sequence[tuple[int, int]]
) -> list[list[int]]:
    """Needs by index, in sets that the findings' ``with`` ties together, and what comes beside them."""
    at = {f: i for i, need in enumerate(needs) if need.beside is None for f in need.findings}
    parent = list(range(len(needs)))

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    pairs = [(at.get(f.id), at.get(f.done_with or "")) for f in findings]
    pairs += [(need.beside, i) for i, need in enumerate(needs)]
    pairs += packages
    for one, other in pairs:
        if one is not None and other is not None and needs[one].only_if == needs[other].only_if:
            parent[max(root(one), root(other))] = min(root(one), root(other))
    sets: dict[int, list[int]] = {}
    for i in range(len(needs)):
        sets.setdefault(root(i), []).append(i)
    return list(sets.values())


def _axle(need: Need) -> str:
    axles = sorted({axle_of(s) for s in need.spots})
    return " and ".join(axles) if all(axles) else ""


def _title(needs: Sequence[Need], market: Market) -> str:
    systems: dict[System, set[str]] = {}
    for need in needs:
        systems.setdefault(need.component.system, set()).add(_axle(need))
    words = []
    for system, axles in systems.items():
        name = system_title(system, market=market)
        only = next(iter(axles)) if len(axles) == 1 else ""
        words.append(f"{only} {name}".strip())
    return capital(joined(words))
