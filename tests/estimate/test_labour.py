"""Hours that are charged once: what holds for any catalogue and any work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from estimate_kit import COMPONENTS, finding, operation
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.estimate.labour import Charge, Task, charge, units_of
from voicecheck.estimate.needs import URGENCY_ORDER, Need
from voicecheck.estimate.scope import spots_of
from voicecheck.records import CORNERS, Operation, Position, Urgency

D = Decimal
calm = settings(deadline=None, max_examples=150)

AT_A_CORNER = next(c for c in COMPONENTS if c.id == "tyre")
ON_THE_VEHICLE = next(c for c in COMPONENTS if c.id == "radiator")
tenths = st.integers(1, 30).map(lambda n: D(n) / 10)


@st.composite
def rows(draw: st.DrawFn) -> list[Operation]:
    """A catalogue whose rows include only rows after them that take no longer and are counted alike."""
    found: list[Operation] = []
    for n in range(draw(st.integers(1, 6))):
        hours = draw(tenths)
        per = draw(st.sampled_from(["each", "axle", "vehicle"]))
        shares = draw(st.sampled_from([(), ("wheel off",), ("wheel off", "caliper off"), ("drained",)]))
        inner = [o.code for o in found if o.per == per and (o.hours or D(0)) <= hours]
        includes = draw(st.lists(st.sampled_from(inner), unique=True)) if inner else []
        found.append(
            operation(
                f"R{n}", "brakes", "tyre", "replace", per, str(hours),
                includes=tuple(includes), shares=shares,
                shared_hours=min(hours, draw(tenths)) if shares else D(0),
            )
        )  # fmt: skip
    return found


def need(places: Sequence[Position], number: int, row: Operation) -> Need:
    component = ON_THE_VEHICLE if row.per == "vehicle" else AT_A_CORNER
    item = finding(f"f{number}", component.id)
    positions = () if row.per == "vehicle" else tuple(places)
    return Need(
        component=component, ref=item.component, action="replace", urgency="unstated", only_if="", place=(),
        positions=positions, spots=spots_of(component, positions), sublet=False, findings=(item.id,),
    )  # fmt: skip


@st.composite
def tasks(draw: st.DrawFn, conditions: bool = False) -> tuple[list[Task], dict[str, Operation]]:
    catalogue = draw(rows())
    found = []
    for n in range(draw(st.integers(1, 5))):
        row = draw(st.sampled_from(catalogue))
        wanted = need(draw(st.lists(st.sampled_from(CORNERS), min_size=1, max_size=3, unique=True)), n, row)
        found.append(
            Task(
                index=n, need=wanted, operation=row, units=units_of(wanted, row),
                urgency=draw(st.sampled_from(URGENCY_ORDER)),
                only_if=draw(st.sampled_from(["", "", "if they keep it", "if it is scored"]))
                if conditions else "",
            )
        )  # fmt: skip
    return found, {o.code: o for o in catalogue}


def hours(charges: dict[int, Charge]) -> Decimal:
    return sum((c.hours for c in charges.values()), D(0))


def alone(task: Task) -> Decimal:
    return (task.operation.hours or D(0)) * len(task.units)


@calm
@given(tasks())
def test_never_below_the_longest_and_never_above_the_sum(
    given: tuple[list[Task], dict[str, Operation]],
) -> None:
    work, catalogue = given
    total = hours(charge(work, catalogue))
    assert max(alone(t) for t in work) <= total <= sum(map(alone, work))


@calm
@given(tasks(), st.randoms(use_true_random=False))
def test_neither_order_nor_urgency_changes_the_total(
    given: tuple[list[Task], dict[str, Operation]], random: object
) -> None:
    """Which job pays is a matter of urgency; what all of them come to is not."""
    work, catalogue = given
    charges = charge(work, catalogue)
    shuffled = work[:]
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    again = charge(shuffled, catalogue)
    assert {i: c.hours for i, c in again.items()} == {i: c.hours for i, c in charges.items()}
    at_once = charge([replace(t, urgency="now") for t in work], catalogue)
    assert hours(at_once) == hours(charges)


@calm
@given(tasks(conditions=True))
def test_every_charge_unfolds_to_the_row_and_what_others_pay(
    given: tuple[list[Task], dict[str, Operation]],
) -> None:
    work, catalogue = given
    for index, found in charge(work, catalogue).items():
        task = work[index]
        assert found.full == alone(task)
        assert D(0) <= found.hours == found.full - sum((s.hours for s in found.less), D(0))
        assert all(s.hours > 0 and s.by != index and s.reason for s in found.less)


@calm
@given(tasks())
def test_one_more_task_never_lowers_the_total_unless_its_row_includes_others(
    given: tuple[list[Task], dict[str, Operation]],
) -> None:
    work, catalogue = given
    if not work[-1].operation.includes:
        assert hours(charge(work[:-1], catalogue)) <= hours(charge(work, catalogue))


@calm
@given(tasks())
def test_nor_does_a_package_come_below_its_own_hours(given: tuple[list[Task], dict[str, Operation]]) -> None:
    work, catalogue = given
    assert hours(charge(work, catalogue)) >= alone(work[-1])


@calm
@given(tasks())
def test_putting_off_the_less_urgent_changes_nothing_before_it_but_for_packages(
    given: tuple[list[Task], dict[str, Operation]],
) -> None:
    work, catalogue = given
    if any(t.operation.includes for t in work):
        return
    first = min(t.rank for t in work)
    urgent = [t for t in work if t.rank == first]
    together, by_themselves = charge(work, catalogue), charge(urgent, catalogue)
    assert {t.index: together[t.index].hours for t in urgent} == {
        i: c.hours for i, c in by_themselves.items()
    }


@calm
@given(tasks(conditions=True))
def test_a_condition_changes_no_other_line(given: tuple[list[Task], dict[str, Operation]]) -> None:
    work, catalogue = given
    agreed = [t for t in work if not t.only_if]
    every, base = charge(work, catalogue), charge(agreed, catalogue)
    assert {t.index: every[t.index].hours for t in agreed} == {i: c.hours for i, c in base.items()}


def row(code: str, hours: str, **more: object) -> Operation:
    return operation(code, "brakes", "tyre", "replace", "axle", hours, **more)


def on_the_front(*given: tuple[Operation, Urgency, str]) -> dict[str, Charge]:
    """Charges by code of work on the front axle: row, urgency, condition."""
    found = []
    for n, (op, urgency, only_if) in enumerate(given):
        wanted = need(("front left", "front right"), n, op)
        task = Task(
            index=n, need=wanted, operation=op, units=units_of(wanted, op), urgency="now", only_if=only_if
        )
        found.append(replace(task, urgency=urgency))
    charges = charge(found, {op.code: op for op, _, _ in given})
    return {op.code: charges[n] for n, (op, _, _) in enumerate(given)}


ROTORS = row("ROT", "1.6", includes=("PAD",), shares=("wheel off",), shared_hours=D("0.8"))
PADS = row("PAD", "1.2", shares=("wheel off",), shared_hours=D("0.8"))


def test_in_one_urgency_the_package_pays_for_its_parts() -> None:
    found = on_the_front((PADS, "now", ""), (ROTORS, "now", ""))
    assert (found["PAD"].hours, found["ROT"].hours) == (D(0), D("1.6"))


def test_a_later_package_takes_off_what_is_paid_before_it() -> None:
    found = on_the_front((PADS, "now", ""), (ROTORS, "later", ""))
    assert (found["PAD"].hours, found["ROT"].hours) == (D("1.2"), D("0.4"))
    assert found["ROT"].less[-1].reason == "that “Replace tyre”, part of this, already pays"


def test_so_does_one_under_a_condition() -> None:
    found = on_the_front((PADS, "now", ""), (ROTORS, "now", "if they are scored"))
    assert (found["PAD"].hours, found["ROT"].hours) == (D("1.2"), D("0.4"))


def test_a_package_that_costs_less_than_its_parts_gives_the_rest_back() -> None:
    one, other = row("A1", "0.7"), row("A2", "0.7")
    whole = row("W", "1.0", includes=("A1", "A2"))
    found = on_the_front((one, "now", ""), (other, "now", ""), (whole, "later", ""))
    assert (found["A1"].hours, found["A2"].hours, found["W"].hours) == (D("0.7"), D("0.3"), D(0))
    # under a condition nothing is given back: it may not hold
    found = on_the_front((one, "now", ""), (other, "now", ""), (whole, "later", "if they keep it"))
    assert (found["A1"].hours, found["A2"].hours, found["W"].hours) == (D("0.7"), D("0.7"), D(0))
