"""What is agreed, and when a customer has to be asked again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal

import pytest
from desk_kit import Desk
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.desk.consent import (
    Agreement,
    Tolerance,
    Version,
    comes_back,
    needs_asking_again,
    standing,
)
from voicecheck.desk.decisions import ChangeFinding, ChangeLine, Decision, PutAside
from voicecheck.records import Estimate, LineChange

Saying = Callable[..., Desk]

TWO_JOBS = (
    "Left front wheel bearing is noisy, replace it now. Cabin air filter is dirty, replace it some time."
)


@pytest.fixture
def desk(desk_saying: Saying) -> Desk:
    found = desk_saying(TWO_JOBS)
    assert len(found.base.estimate.jobs) == 2
    return found


def issued(desk: Desk, *decisions: Sequence[Decision]) -> list[Version]:
    """The first version as the machine made it, then one for each set of decisions."""
    versions = [()] + [tuple(d) for d in decisions]
    return [
        Version(version=n, fingerprint=f"fp{n}", estimate=desk.top(*found).draft.estimate)
        for n, found in enumerate(versions, 1)
    ]


def said(version: int, agreed: Sequence[str] = (), declined: Sequence[str] = (), **more: str) -> Agreement:
    return Agreement.model_validate(
        {"agreed": tuple(agreed), "declined": tuple(declined), "fingerprint": f"fp{version}",
         "name": "J. Doe", "means": "phone"} | more
    )  # fmt: skip


def jobs(estimate: Estimate) -> list[str]:
    return [j.id for j in estimate.jobs]


def raised(desk: Desk, by: str) -> list[Decision]:
    """The bearing's labour for ``by`` more."""
    line = desk.top().lines[0].line
    assert line.hours is not None
    assert line.unit_price is not None
    price = line.unit_price + Decimal(by) / line.hours
    return [ChangeLine(change=LineChange(line=line.id, unit_price=price, reason="rusted"))]


def test_the_latest_word_counts_for_each_job(desk: Desk) -> None:
    versions = issued(desk)
    one, two = jobs(versions[0].estimate)
    assert [j.state for j in standing(versions, []).jobs] == ["not answered", "not answered"]
    both = [said(1, [one, two])]
    assert standing(versions, both).agreed == (one, two)
    less = [*both, said(1, [], [two])]
    assert [j.state for j in standing(versions, less).jobs] == ["agreed", "declined"]
    assert standing(versions, less).amount == versions[0].estimate.jobs[0].subtotal
    again = [*less, said(1, [two])]
    assert standing(versions, again).agreed == (one, two)
    gone = [*again, said(1, kind="withdrawal")]
    assert [j.state for j in standing(versions, gone).jobs] == ["withdrawn", "withdrawn"]
    only = [*again, said(1, [], [one], kind="withdrawal")]
    assert [j.state for j in standing(versions, only).jobs] == ["withdrawn", "agreed"]
    assert standing(versions, [said(1, [one], [one])]).agreed == ()  # both said: not agreed


def test_nothing_is_agreed_without_a_document(desk: Desk) -> None:
    versions = issued(desk)
    found = standing(versions, [said(9, jobs(versions[0].estimate))])
    assert found.agreed == ()
    assert "not among those issued" in found.unknown[0]
    assert standing([], [said(1, ["x"])]).version is None


def test_an_agreement_holds_for_a_version_that_asks_no_more(desk: Desk) -> None:
    versions = issued(desk, raised(desk, "-20"))
    one, _ = jobs(versions[0].estimate)
    found = standing(versions, [said(1, [one])])
    assert found.agreed == (one,)
    assert (found.jobs[0].version, found.version) == (1, 2)
    assert found.ask_again == ()


def test_an_agreement_does_not_hold_for_more(desk: Desk) -> None:
    versions = issued(desk, raised(desk, "20"))
    one, _ = jobs(versions[0].estimate)
    found = standing(versions, [said(1, [one])])
    assert found.agreed == ()
    assert found.jobs[0].state == "ask again"
    before, now = (v.estimate.jobs[0].subtotal for v in versions)
    assert now - before == 20
    assert f"was agreed at {before} and is now {now}" in found.ask_again[0].text
    allowed = standing(versions, [said(1, [one])], Tolerance(amount=Decimal(20), which="greater"))
    assert allowed.agreed == (one,)


def test_small_steps_are_measured_from_what_was_agreed(desk: Desk) -> None:
    versions = issued(desk, raised(desk, "15"), raised(desk, "30"))
    one, _ = jobs(versions[0].estimate)
    room = Tolerance(amount=Decimal(20), which="lesser")
    assert standing(versions[:2], [said(1, [one])], room).agreed == (one,)
    assert standing(versions, [said(1, [one])], room).agreed == ()
    assert standing(versions, [said(1, [one]), said(2, [one])], room).agreed == (one,)


@pytest.mark.parametrize(
    ("tolerance", "allowed"),
    [
        (Tolerance(), "0"),
        (Tolerance(percent=Decimal(10), amount=Decimal(25)), "0"),
        (Tolerance(percent=Decimal(10), amount=Decimal(25), which="lesser"), "20.00"),
        (Tolerance(percent=Decimal(10), amount=Decimal(25), which="greater"), "25.00"),
        (Tolerance(percent=Decimal(10), which="lesser"), "20.00"),
        (Tolerance(amount=Decimal(25), which="greater"), "25.00"),
        (Tolerance(which="greater"), "0"),
    ],
)
def test_tolerances(tolerance: Tolerance, allowed: str) -> None:
    assert tolerance.allowed(Decimal(200), "USD") == Decimal(allowed)


def total_agreement(estimate: Estimate) -> Agreement:
    return said(1, jobs(estimate)).model_copy(update={"amount": estimate.totals.total, "currency": "USD"})


def test_the_same_estimate_needs_no_asking(desk: Desk) -> None:
    seen = desk.top().draft.estimate
    assert needs_asking_again(total_agreement(seen), seen, seen) == ()


@given(cents=st.integers(-5000, 5000))
def test_one_cent_more_is_asked_and_no_less(cents: int) -> None:
    """Against the total, tax included: made of one job's amount by hand."""
    seen = _SEEN[0]
    total = seen.totals.total + Decimal(cents) / 100
    new = seen.model_copy(update={"totals": seen.totals.model_copy(update={"total": total})})
    found = needs_asking_again(total_agreement(seen), seen, new)
    assert bool(found) == (cents > 0)
    room = Tolerance(amount=Decimal("12.34"), which="lesser")
    assert bool(needs_asking_again(total_agreement(seen), seen, new, room)) == (cents > 1234)


_SEEN: list[Estimate] = []


@pytest.fixture(autouse=True)
def _seen(desk: Desk) -> None:
    _SEEN[:] = [desk.top().draft.estimate]


def test_other_work_is_asked_whatever_it_costs(desk: Desk) -> None:
    seen = desk.top().draft.estimate
    new = desk.top(ChangeFinding(finding="f1", positions=("front right",))).draft.estimate
    assert new.totals.total == seen.totals.total
    found = needs_asking_again(total_agreement(seen), seen, new)
    assert any("was not in" in a.text and "front right" in a.text for a in found)
    room = Tolerance(percent=Decimal(50), which="greater")
    assert needs_asking_again(total_agreement(seen), seen, new, room)


def test_a_used_part_instead_of_a_new_one_is_asked(desk: Desk) -> None:
    seen = desk.top().draft.estimate
    part = next(x for x in seen.jobs[0].lines if x.kind == "part")
    new = desk.top(ChangeLine(change=LineChange(line=part.id, part_condition="used"))).draft.estimate
    found = needs_asking_again(total_agreement(seen), seen, new)
    assert [a.text for a in found] == [f"“{part.name}” was to be new, and is now used."]


def test_a_price_that_was_open_is_asked(desk_saying: Saying) -> None:
    desk = desk_saying("Windshield is cracked, replace it.")
    seen = desk.top().draft.estimate
    line = seen.jobs[0].lines[0]
    new = desk.top(ChangeLine(change=LineChange(line=line.id, unit_price=Decimal(1)))).draft.estimate
    room = Tolerance(amount=Decimal(500), which="greater")
    found = needs_asking_again(total_agreement(seen), seen, new, room)
    assert any("had no price when it was agreed to; it is 1.00 now" in a.text for a in found)
    assert needs_asking_again(total_agreement(seen), seen, seen) == ()


def test_a_new_job_is_asked_and_less_work_is_not(desk: Desk) -> None:
    seen = desk.top(PutAside(target="f2", reason="x")).draft.estimate
    new = desk.top().draft.estimate
    found = needs_asking_again(total_agreement(seen), seen, new)
    assert any("is new since the customer agreed" in a.text for a in found)
    assert needs_asking_again(total_agreement(new), new, seen) == ()


def test_declined_jobs_are_not_asked_about(desk: Desk) -> None:
    seen = desk.top().draft.estimate
    one, two = jobs(seen)
    part = said(1, [one], [two]).model_copy(update={"amount": seen.jobs[0].subtotal})
    assert needs_asking_again(part, seen, seen, amount=seen.jobs[0].subtotal) == ()


def test_work_that_was_put_off_comes_back(desk_saying: Saying, desk: Desk) -> None:
    put_off = desk.base.estimate.jobs
    lexicon = desk.workshop.lexicon
    again = comes_back(put_off, desk.base, lexicon=lexicon)
    assert [c.now for c in again] == ["again", "again"]
    assert all(c.lines for c in again)
    later = desk_saying("Left front wheel bearing is fine. Horn is dead, replace it.").base
    found = comes_back(put_off, later, lexicon=lexicon)
    assert [c.now for c in found] == ["fine", "not spoken of"]
    assert "was said to be fine" in found[0].text
    other = desk_saying("Right rear wheel bearing is noisy, replace it.").base
    assert comes_back(put_off[:1], other, lexicon=lexicon)[0].now == "not spoken of"
