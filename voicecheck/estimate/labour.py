"""Hours: how often an operation is done, and what is charged only once.

Two rules, both within one visit (the lines that are done at one time):

*Included.* An operation whose catalogue row includes another takes that one's labour over where both are done
at the same place, but never more than its own hours: no set of operations costs less than its longest one.

*Shared.* Operations that name the same opening step ("wheel off") at the same place pay for it once. A row's
shared hours are taken as spread evenly over its steps and over the corners it covers (an assumption: a row
has one number for all its steps); for each step and place the dearest claim is charged and no other. So the
order of the lines does not matter, and one more operation never makes the whole cheaper, unless its row
includes work that is there already.

Everything that is agreed to is one visit. Who pays what is shared: the more urgent job, so that putting off
a later one changes nothing before it. Work under a condition comes last and lowers no other line, because
the condition may not hold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_DOWN, Decimal

from voicecheck.estimate.needs import URGENCY_ORDER, Need
from voicecheck.estimate.scope import VEHICLE, axle_of, ground, meet, unsaid
from voicecheck.records.shopdata import Operation
from voicecheck.records.vocabulary import Urgency
from voicecheck.records.wording import joined

_STEP = Decimal("0.001")  # hours; shared time is split no finer, so that every sum stays exact
_EVERYWHERE = frozenset({VEHICLE})
_NONE = Decimal(0)


@dataclass(frozen=True, slots=True)
class Task:
    """One need with its operation; ``units`` are the places where it is done once each.

    ``urgency`` and ``only_if`` are those of its job.
    """

    index: int
    need: Need
    operation: Operation
    units: tuple[frozenset[str], ...]
    urgency: Urgency = "unstated"
    only_if: str = ""
    general: bool = False

    @property
    def rank(self) -> int:
        return URGENCY_ORDER.index(self.urgency)


@dataclass(frozen=True, slots=True)
class Saving:
    """Hours that a task does not charge because the task ``by`` (an index) does."""

    hours: Decimal
    by: int
    reason: str


@dataclass(slots=True)
class Charge:
    """What one task costs in hours: ``full`` by the catalogue, less what others pay."""

    full: Decimal
    less: list[Saving] = field(default_factory=list)
    uncertain: list[str] = field(default_factory=list)  # sentences to ask about

    @property
    def hours(self) -> Decimal:
        return self.full - sum((s.hours for s in self.less), _NONE)


def packages(
    needs: Sequence[Need], rows: Sequence[Operation | None], operations: Mapping[str, Operation]
) -> list[tuple[int, int]]:
    """Work that is done inside other work at the same place and time, by the indexes of both."""
    return [
        (i, j)
        for i, whole in enumerate(rows)
        for j, inner in enumerate(rows)
        if whole is not None and inner is not None and whole.includes
        if inner.code in contained(whole.code, operations)
        if (needs[i].urgency, needs[i].only_if) == (needs[j].urgency, needs[j].only_if)
        if meet(needs[i].spots, needs[j].spots)
    ]


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
    """Whether two tasks open the same thing at the same place, such as one cooling system."""
    here = {place for unit in one.units for place in unit}
    there = {place for unit in other.units for place in unit}
    return bool(set(one.operation.shares) & set(other.operation.shares)) and bool(
        here & there or VEHICLE in here | there
    )


def charge(tasks: Sequence[Task], operations: Mapping[str, Operation]) -> dict[int, Charge]:
    """The hours to charge for every task that has hours of its own, by the task's index, in one visit.

    First what has no condition, the more urgent before the less; then, for each condition, its work beside
    that.
    """
    found: dict[int, Charge] = {}
    agreed: list[Task] = []
    for rank in range(len(URGENCY_ORDER)):
        more = [t for t in tasks if not t.only_if and t.rank == rank]
        if more:
            _add(more, agreed, found, operations, refund=True)
            agreed += more
    for condition in sorted({t.only_if for t in tasks} - {""}):
        _add([t for t in tasks if t.only_if == condition], agreed, found, operations, refund=False)
    return found


def _add(
    more: Sequence[Task],
    agreed: Sequence[Task],
    found: dict[int, Charge],
    operations: Mapping[str, Operation],
    *,
    refund: bool,
) -> None:
    """Charge ``more`` beside what is ``agreed``, whose charges in ``found`` stand.

    Where new work includes some that is charged already, that is taken off the new. What is left to take off
    then is given back on the old (``refund``): the package costs less than its parts.
    """
    both = _one_visit([*agreed, *more], operations)
    names = {t.index: t.operation.name for t in (*agreed, *more)}
    new = {t.index for t in more}
    found |= {i: c for i, c in both.items() if i in new}
    over = sum((found[i].hours - both[i].hours for i in both if i not in new), _NONE)
    for index in (t.index for t in more if t.index in both):
        held = [i for i in both if i not in new and any(s.by == index for s in both[i].less)]
        saved = min(over, found[index].hours)
        if held and saved > 0:
            what = joined([f"“{names[i]}”" for i in held])
            found[index].less.append(
                Saving(saved, held[0], f"that {what}, part of this, already {_pays(held)}")
            )
            over -= saved
    if refund and over > 0:
        for index in reversed([i for i in both if i not in new]):
            by = next((s.by for s in both[index].less if s.by in new), None)
            back = min(over, found[index].hours - both[index].hours)
            if by is not None and back > 0:
                found[index].less.append(
                    Saving(back, by, f"because “{names[by]}” holds it and costs less than its parts")
                )
                over -= back


def _pays(indexes: Sequence[int]) -> str:
    return "pays" if len(indexes) == 1 else "pay"


def _one_visit(tasks: Sequence[Task], operations: Mapping[str, Operation]) -> dict[int, Charge]:
    """The least hours that the rows allow, all tasks being done at one time; no matter in what order."""
    codes = {t.operation.code for t in tasks}
    closure = {code: contained(code, operations) for code in codes}

    def order(t: Task) -> tuple[bool, int, int, str, int]:
        return (t.only_if != "", t.rank, -len(closure[t.operation.code]), t.operation.code, t.index)

    timed = sorted((t for t in tasks if _per_unit(t) is not None), key=order)
    charges = {t.index: Charge(full=_full(t)) for t in timed}
    open_units = {t.index: list(t.units) for t in timed}
    seen: list[Task] = []
    for task in timed:
        twin = next((o for o in seen if _twins(o, task)), None)
        if twin is None:
            seen.append(task)
        elif task.general:
            charges[task.index].less.append(Saving(_full(task), twin.index, "charged once for the system"))
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
    return (_per_unit(task) or _NONE) * len(task.units)


def _twins(one: Task, other: Task) -> bool:
    return one.operation.code == other.operation.code and one.operation.per == "vehicle"


def contained(code: str, operations: Mapping[str, Operation]) -> frozenset[str]:
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
    for other in sorted(tasks, key=lambda t: (t.operation.code, t.index)):
        code = other.operation.code
        if own not in closure[code] or code in closure[own]:
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
        charges[task.index].less.append(
            Saving(saved, other.index, f"that is part of “{other.operation.name}”")
        )
        open_units[task.index] = [u for u in open_units[task.index] if u not in covered]


def _covers(units: Sequence[frozenset[str]], unit: frozenset[str]) -> bool:
    if any(u == _EVERYWHERE for u in units) or unit == _EVERYWHERE:
        return True
    ground_covered = frozenset(place for u in units for place in u)
    return unit <= ground_covered


def _share(
    timed: Sequence[Task], charges: dict[int, Charge], open_units: dict[int, list[frozenset[str]]]
) -> None:
    paid: dict[tuple[str, str], tuple[Decimal, Task]] = {}
    for task in timed:
        saved: dict[tuple[str, int], Decimal] = {}
        steps: dict[tuple[str, int], list[str]] = {}
        payers: dict[int, str] = {}
        operation = task.operation
        for unit in open_units[task.index]:
            for step in operation.shares:
                for place in sorted(unit):
                    part = _split(operation, len(operation.shares) * len(unit))
                    already, by = paid.get((step, place), (_NONE, task))
                    if already and part:
                        key = (step, by.index)
                        saved[key] = saved.get(key, _NONE) + min(part, already)
                        steps.setdefault(key, []).append(place)
                        payers[by.index] = by.operation.name
                    if part > already:
                        paid[step, place] = (part, task)
        for (step, index), hours in saved.items():
            where = joined([p for p in dict.fromkeys(steps[step, index]) if p])
            what = f"{step}, {where}" if where else step
            charges[task.index].less.append(Saving(hours, index, f"for {what}, already in “{payers[index]}”"))


def _split(operation: Operation, shares: int) -> Decimal:
    whole = min(operation.shared_hours, operation.hours or _NONE)
    return (whole / shares).quantize(_STEP, rounding=ROUND_DOWN)
