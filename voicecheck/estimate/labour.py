"""Hours: how often an operation is done, and what is charged only once.

Two rules, both within one visit (the lines that are done at one time):

*Included.* An operation whose catalogue row includes another takes that one's labour over where both are done
at the same place, but never more than its own hours: no set of operations costs less than its longest one.

*Shared.* Operations that name the same opening step ("wheel off") at the same place pay for it once. A row's
shared hours are taken as spread evenly over its steps and over the corners it covers (an assumption: a row
has one number for all its steps); for each step and place the dearest claim is charged and no other. So the
order of the lines does not matter, and one more operation never makes the whole cheaper.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_DOWN, Decimal

from voicecheck.estimate.needs import Need
from voicecheck.estimate.scope import VEHICLE, axle_of, ground, unsaid
from voicecheck.estimate.texts import joined, plain
from voicecheck.records.shopdata import Operation

_STEP = Decimal("0.001")  # hours; shared time is split no finer, so that every sum stays exact
_EVERYWHERE = frozenset({VEHICLE})


@dataclass(frozen=True, slots=True)
class Task:
    """One need with its operation, in a visit; ``units`` are the places where it is done once each."""

    index: int
    need: Need
    operation: Operation
    visit: tuple[str, str]
    units: tuple[frozenset[str], ...]
    general: bool = False

    @property
    def order(self) -> tuple[str, int]:
        return (self.operation.code, self.index)


@dataclass(slots=True)
class Charge:
    """What one task costs in hours: ``full`` by the catalogue, ``hours`` as charged, why they differ."""

    full: Decimal
    hours: Decimal
    less: list[str] = field(default_factory=list)
    uncertain: list[str] = field(default_factory=list)  # sentences to ask about


def units_of(need: Need, operation: Operation) -> tuple[frozenset[str], ...]:
    """The places at which an operation is done once each, by its ``per``; at least one."""
    if operation.per == "vehicle":
        return (_EVERYWHERE,)
    if operation.per == "axle":
        axles = dict.fromkeys(axle_of(s) for s in need.spots)
        return tuple(_place(axle, need) if axle else _place(need.spots[0], need) for axle in axles)
    if operation.per == "side" and need.component.sets == "axle set":
        return tuple(_place(half, need) for spot in need.spots for half in sorted(ground(spot)))
    return tuple(_place(spot, need) for spot in need.spots)


def _place(spot: str, need: Need) -> frozenset[str]:
    # two parts with an unsaid place are not known to be at the same one
    return frozenset({f"{spot} {need.component.id}"}) if unsaid(spot) else ground(spot)


def same_opening(one: Task, other: Task) -> bool:
    """Whether two tasks of one visit open the same thing at the same place, such as one cooling system."""
    here = {place for unit in one.units for place in unit}
    there = {place for unit in other.units for place in unit}
    return (
        one.visit == other.visit
        and bool(set(one.operation.shares) & set(other.operation.shares))
        and bool(here & there or VEHICLE in here | there)
    )


def charge(tasks: Sequence[Task], operations: Mapping[str, Operation]) -> dict[int, Charge]:
    """The hours to charge for every task that has hours of its own, by the task's index."""
    timed = sorted((t for t in tasks if _per_unit(t) is not None), key=lambda t: t.order)
    charges = {t.index: Charge(full=_full(t), hours=_full(t)) for t in timed}
    open_units = {t.index: list(t.units) for t in timed}
    closure = {o.code: _closure(o.code, operations) for o in operations.values()}
    seen: list[Task] = []
    for task in timed:
        twin = next((o for o in seen if _twins(o, task)), None)
        if twin is None:
            seen.append(task)
        elif task.general:
            charges[task.index].hours = Decimal(0)
            charges[task.index].less.append(f"{plain(_full(task))} h is charged once for the system")
            open_units[task.index] = []
        else:
            charges[task.index].uncertain.append(
                f"“{task.operation.name}” is counted per vehicle and is already on the draft for "
                f"{twin.need.ref.name}: charge it again?"
            )
    for task in timed:
        _take_included(task, tasks, charges, open_units, closure)
    _share(timed, charges, open_units)
    return charges


def _per_unit(task: Task) -> Decimal | None:
    """Hours of one unit; ``None`` where the work has a price instead of hours, or is sent out."""
    fixed = task.operation.price is not None and not task.operation.sublet
    sent_out = task.need.sublet and not task.operation.sublet
    return None if fixed or sent_out else task.operation.hours


def _full(task: Task) -> Decimal:
    return (_per_unit(task) or Decimal(0)) * len(task.units)


def _twins(one: Task, other: Task) -> bool:
    return (
        one.operation.code == other.operation.code
        and one.operation.per == "vehicle"
        and one.visit == other.visit
    )


def _closure(code: str, operations: Mapping[str, Operation]) -> frozenset[str]:
    """Every code whose labour an operation contains, directly or through another."""
    found: set[str] = set()
    todo = [code]
    while todo:
        at = operations.get(todo.pop())
        for inner in at.includes if at else ():
            if inner not in found and inner != code:
                found.add(inner)
                todo.append(inner)
    return frozenset(found)


def _take_included(
    task: Task,
    tasks: Sequence[Task],
    charges: dict[int, Charge],
    open_units: dict[int, list[frozenset[str]]],
    closure: Mapping[str, frozenset[str]],
) -> None:
    each = _per_unit(task)
    if each is None or not open_units[task.index]:
        return
    own = task.operation.code
    for other in sorted(tasks, key=lambda t: t.order):
        code = other.operation.code
        if own not in closure[code] or code in closure[own] or other.visit != task.visit:
            continue  # rows that include each other contradict themselves: neither is reduced
        covered = [u for u in open_units[task.index] if _covers(other.units, u)]
        if not covered:
            continue
        own_hours = _per_unit(other)
        if own_hours is None:
            charges[task.index].uncertain.append(
                f"“{task.operation.name}” is part of “{other.operation.name}”, which has no hours of its "
                "own: charge it as well?"
            )
            continue
        saved = min(each * len(covered), own_hours * len(other.units))
        charges[task.index].hours -= saved
        charges[task.index].less.append(f"{plain(saved)} h that is part of “{other.operation.name}”")
        open_units[task.index] = [u for u in open_units[task.index] if u not in covered]


def _covers(units: Sequence[frozenset[str]], unit: frozenset[str]) -> bool:
    if any(u == _EVERYWHERE for u in units) or unit == _EVERYWHERE:
        return True
    ground_covered = frozenset(place for u in units for place in u)
    return unit <= ground_covered


def _share(
    timed: Sequence[Task], charges: dict[int, Charge], open_units: dict[int, list[frozenset[str]]]
) -> None:
    paid: dict[tuple[tuple[str, str], str, str], tuple[Decimal, str]] = {}
    for task in timed:
        saved: dict[tuple[str, str], Decimal] = {}
        steps: dict[tuple[str, str], list[str]] = {}
        operation = task.operation
        for unit in open_units[task.index]:
            for step in operation.shares:
                for place in sorted(unit):
                    part = _split(operation, len(operation.shares) * len(unit))
                    key = (task.visit, step, place)
                    already, by = paid.get(key, (Decimal(0), ""))
                    if already and part:
                        saved[step, by] = saved.get((step, by), Decimal(0)) + min(part, already)
                        steps.setdefault((step, by), []).append(place)
                    if part > already:
                        paid[key] = (part, operation.name)
        for (step, by), hours in saved.items():
            where = joined([p for p in dict.fromkeys(steps[step, by]) if p])
            what = f"{step}, {where}" if where else step
            charges[task.index].hours -= hours
            charges[task.index].less.append(f"{plain(hours)} h for {what}, already in “{by}”")


def _split(operation: Operation, shares: int) -> Decimal:
    whole = min(operation.shared_hours, operation.hours or Decimal(0))
    return (whole / shares).quantize(_STEP, rounding=ROUND_DOWN)
