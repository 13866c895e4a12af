"""What a customer puts off, and what an advisor changes and adds."""

from __future__ import annotations

from decimal import Decimal

import pytest
from estimate_kit import component, estimate, finding, lexicon, lines, shop
from hypothesis import given, settings
from hypothesis import strategies as st
from test_estimate_properties import some_findings

from voicecheck.estimate import EstimateResult
from voicecheck.records import AddedLine, Finding, Line, LineChange, Ref

D = Decimal
calm = settings(deadline=None, max_examples=60)

CALIPER = finding("f1", "brake_caliper", "front left", urgency="now")  # 0.9 h, wheel off 0.2
TYRE = finding("f2", "tyre", "front left", urgency="soon")  # 0.4 h, wheel off 0.2


def by_id(result: EstimateResult) -> dict[str, Line]:
    return {x.id: x for x in lines(result)}


# -- ids ---


def test_ids_say_what_a_line_is() -> None:
    result = estimate(CALIPER, finding("f3", "muffler"), finding("f4", "starter", action="repair"))
    assert list(by_id(result)) == [
        "f1:B30:labour",
        "f1:B30:part1",
        "f1:B30:fluid1",
        "f3:replace_muffler:labour",
        "f4:E20:sublet",
    ]
    assert [j.id for j in result.estimate.jobs] == [
        "f1:B30:labour",
        "f3:replace_muffler:labour",
        "f4:E20:sublet",
    ]


@calm
@given(some_findings(), st.randoms(use_true_random=False), st.data())
def test_ids_are_unique_and_the_same_whatever_is_decided(
    findings: list[Finding], random: object, data: st.DataObject
) -> None:
    first = estimate(*findings)
    shuffled = findings[:]
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    jobs = [j.id for j in first.estimate.jobs]
    off = frozenset(i for i in jobs if data.draw(st.booleans()))
    later = estimate(*shuffled, put_off=off)
    ids = [x.id for x in lines(first)]
    assert len(ids) == len(set(ids))
    assert [x.id for x in lines(later)] == ids
    assert [(j.id, j.put_off) for j in later.estimate.jobs] == [(i, i in off) for i in jobs]


# -- put off ---


def test_a_job_that_is_put_off_gives_up_the_hours_it_paid_for_others() -> None:
    """The caliper's job takes the wheel off; without it the tyre's has to."""
    both = estimate(CALIPER, TYRE)
    assert [x.hours for x in lines(both, "labour")] == [D("0.9"), D("0.2")]
    result = estimate(CALIPER, TYRE, put_off=frozenset({"f1:B30:labour"}))
    caliper, tyre = result.estimate.jobs
    assert (caliper.put_off, tyre.put_off) == (True, False)
    assert tyre.lines[0].hours == D("0.4")
    assert tyre.lines[0].arithmetic == (
        "0.4 h × 120.00 = 48.00; 0.2 h of it was shared with “Replace brake caliper”, which is put off"
    )
    # 48.00 + tyre 140.00 + supplies 5 % of 48.00 + tax 8.25 % of 140.00
    assert result.estimate.totals.total == D("48.00") + D("140.00") + D("2.40") + D("11.55")


def test_what_is_put_off_is_priced_as_if_done_alone() -> None:
    result = estimate(CALIPER, TYRE, put_off=frozenset({"f2:W10:labour"}))
    caliper, tyre = result.estimate.jobs
    assert (caliper.lines[0].hours, tyre.lines[0].hours) == (D("0.9"), D("0.4"))
    assert "put off" not in caliper.lines[0].arithmetic, "nothing changed for it"
    assert result.estimate.totals.labour == caliper.lines[0].amount


def test_with_everything_put_off_nothing_is_to_pay() -> None:
    every = frozenset(j.id for j in estimate(CALIPER, TYRE).estimate.jobs)
    totals = estimate(CALIPER, TYRE, put_off=every).estimate.totals
    assert (totals.total, totals.supplies, totals.tax) == (D("0.00"), D("0.00"), D("0.00"))


def test_an_id_that_is_no_jobs_is_told() -> None:
    result = estimate(TYRE, put_off=frozenset({"f9:X:labour"}))
    assert result.unknown_jobs == ("f9:X:labour",)


@calm
@given(some_findings(), st.data())
def test_putting_off_never_makes_the_rest_dearer_than_alone(
    findings: list[Finding], data: st.DataObject
) -> None:
    """And what becomes dearer says so; the labour of what remains never exceeds that of all."""
    first = estimate(*findings)
    off = frozenset(j.id for j in first.estimate.jobs if data.draw(st.booleans()))
    later = estimate(*findings, put_off=off)
    before = by_id(first)
    for job in later.estimate.jobs:
        for x in job.lines:
            was = before[x.id]
            if x.kind != "labour" or x.hours is None or was.hours is None or job.put_off:
                continue
            if x.hours > was.hours:
                assert "of it was shared with" in x.arithmetic
            assert x.hours <= x.basis.units * (x.basis.hours_each or D(0))
    assert later.estimate.totals.labour <= first.estimate.totals.labour
    if not off:
        assert later.estimate == first.estimate


# -- changed ---


def test_changed_hours_say_who_and_why() -> None:
    change = LineChange(line="f2:W10:labour", hours=D("0.6"), reason="nuts are seized", by="Robin")
    result = estimate(TYRE, changes=[change])
    labour = by_id(result)["f2:W10:labour"]
    assert (labour.hours, labour.amount) == (D("0.6"), D("72.00"))
    assert labour.arithmetic == "0.6 h × 120.00 = 72.00, as changed; before: 0.4 h × 120.00 = 48.00"
    assert labour.changed == "hours 0.4 → 0.6 changed by Robin: nuts are seized"
    assert result.estimate.totals.labour == D("72.00")


def test_a_price_closes_an_open_line() -> None:
    item = finding("f1", "wheel_cylinder", "rear left")
    change = LineChange(
        line="f1:B40:part1", unit_price=D("31.50"), name="cylinder, 19 mm", part_condition="rebuilt"
    )
    result = estimate(item, changes=[change])
    cylinder = by_id(result)["f1:B40:part1"]
    assert (cylinder.amount, cylinder.name, cylinder.part_condition) == (
        D("31.50"),
        "cylinder, 19 mm",
        "rebuilt",
    )
    assert (cylinder.asks, result.estimate.totals.open_lines) == ((), 0)


def test_work_that_the_catalogue_lacks_takes_hours_or_a_fixed_price() -> None:
    item = finding("f1", "muffler")
    timed = by_id(estimate(item, changes=[LineChange(line="f1:replace_muffler:labour", hours=D("1.5"))]))
    assert timed["f1:replace_muffler:labour"].amount == D("180.00")
    fixed = by_id(
        estimate(item, changes=[LineChange(line="f1:replace_muffler:labour", unit_price=D("99.00"))])
    )
    assert fixed["f1:replace_muffler:labour"].amount == D("99.00")
    assert fixed["f1:replace_muffler:labour"].asks == ()


def test_a_quantity_scales_labour_and_parts() -> None:
    changes = [
        LineChange(line="f2:W10:labour", quantity=D(2)),
        LineChange(line="f2:W10:part1", quantity=D(2)),
    ]
    found = by_id(estimate(TYRE, changes=changes))
    assert (found["f2:W10:labour"].hours, found["f2:W10:part1"].amount) == (D("0.8"), D("280.00"))


def test_hours_of_a_part_are_not_taken_and_said_so() -> None:
    found = by_id(estimate(TYRE, changes=[LineChange(line="f2:W10:part1", hours=D(2), by="Robin")]))[
        "f2:W10:part1"
    ]
    assert (found.hours, found.amount) == (None, D("140.00"))
    assert found.changed == "hours, which this line does not have, were not changed by Robin"


def test_labour_that_is_left_off_shares_no_more() -> None:
    change = LineChange(line="f1:B30:labour", left_off=True, reason="the customer does it", by="Robin")
    result = estimate(CALIPER, TYRE, changes=[change])
    assert by_id(result)["f2:W10:labour"].hours == D("0.4")
    (gone,) = result.estimate.left_off
    assert (gone.id, gone.changed) == ("f1:B30:labour", "Left off by Robin: the customer does it")
    assert [j.id for j in result.estimate.jobs] == ["f1:B30:labour", "f2:W10:labour"], "the job keeps its id"


def test_a_change_of_no_line_is_told() -> None:
    change = LineChange(line="f7:W10:labour", hours=D(1))
    result = estimate(TYRE, changes=[change])
    assert result.unmatched == (change,)


# -- added ---


def added(id: str, **more: object) -> AddedLine:
    fields = {
        "id": id,
        "kind": "part",
        "name": "valve",
        "operation": "replace",
        "unit_price": D("4.00"),
        **more,
    }
    return AddedLine.model_validate(fields)


def test_a_line_is_added_to_its_job_or_makes_one() -> None:
    rows = [
        added("a1", job="f2:W10:labour", reason="always with a tyre", by="Robin"),
        added("a2", kind="labour", name="Clean up", hours=D("0.5"), unit_price=None),
        added("a3", job="a2", quantity=D(3)),
    ]
    result = estimate(TYRE, added=rows)
    tyre, own = result.estimate.jobs
    assert [x.id for x in tyre.lines] == ["f2:W10:labour", "f2:W10:part1", "a1"]
    assert (tyre.lines[2].asked_by, tyre.lines[2].why) == ("advisor", "Added by Robin: always with a tyre")
    assert (own.id, own.title, [x.amount for x in own.lines]) == ("a2", "Clean up", [D("60.00"), D("12.00")])
    assert own.lines[0].arithmetic == "0.5 h × 120.00 = 60.00"


def test_an_added_line_needs_an_id_of_its_own() -> None:
    with pytest.raises(ValueError, match="the id f2:W10:part1 is there already"):
        estimate(TYRE, added=[added("f2:W10:part1")])


def test_an_added_line_without_a_price_is_open() -> None:
    result = estimate(added=[added("a1", unit_price=None)])
    (line,) = lines(result)
    assert (line.amount, [a.code for a in line.asks]) == (None, ["price_open"])
    assert result.estimate.totals.open_lines == 1


def test_a_line_for_a_job_that_is_not_there_is_kept_and_told() -> None:
    result = estimate(TYRE, added=[added("a1", job="f9:W10:labour")])
    assert [j.id for j in result.estimate.jobs] == ["f2:W10:labour", "a1"]
    assert result.unknown_jobs == ("f9:W10:labour",)


def test_an_added_line_is_put_off_and_changed_like_any() -> None:
    rows = [added("a1", component=Ref(id="lamp", name="lamp"))]
    more = lexicon(component("lamp", "lighting"))
    changes = [LineChange(line="a1", unit_price=D("9.00"))]
    result = estimate(added=rows, changes=changes, put_off=frozenset({"a1"}), lexicon=more, data=shop())
    (job,) = result.estimate.jobs
    assert (job.put_off, job.subtotal, result.estimate.totals.total) == (True, D("9.00"), D("0.00"))
