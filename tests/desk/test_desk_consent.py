"""What is agreed, and when a customer has to be asked again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal

import pytest
from desk_kit import Desk
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.desk.consent import NO_TOLERANCE, Agreement, Standing, Version, comes_back, standing
from voicecheck.desk.decisions import ChangeFinding, ChangeLine, Decision, PutAside, PutOff
from voicecheck.records import Estimate, LineChange
from voicecheck.records.papers import Tolerance
from voicecheck.records.shopdata import Discount, TaxRule

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


def up_to(amount: str) -> Tolerance:
    """A law that lets the price rise by ``amount``."""
    return Tolerance(kind="greater", amount=Decimal(amount), citation="none", status="memory")


def after(seen: Estimate, new: Estimate, tolerance: Tolerance = NO_TOLERANCE) -> Standing:
    """How ``new`` stands after a customer agreed to all of ``seen``."""
    versions = [Version(version=n, fingerprint=f"fp{n}", estimate=e) for n, e in enumerate((seen, new), 1)]
    return standing(versions, [said(1, jobs(seen))], tolerance)


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
    assert standing(versions, [said(1, [one])], up_to("19.99")).agreed == ()
    assert standing(versions, [said(1, [one])], up_to("25")).agreed == (one,)  # supplies and tax come on top


def test_small_steps_are_measured_from_what_was_agreed(desk: Desk) -> None:
    versions = issued(desk, raised(desk, "15"), raised(desk, "30"))
    one, _ = jobs(versions[0].estimate)
    room = up_to("20")
    assert standing(versions[:2], [said(1, [one])], room).agreed == (one,)
    assert standing(versions, [said(1, [one])], room).agreed == ()
    assert standing(versions, [said(1, [one]), said(2, [one])], room).agreed == (one,)


def test_the_same_estimate_needs_no_asking(desk: Desk) -> None:
    seen = desk.top().draft.estimate
    found = after(seen, seen)
    assert found.ask_again == ()
    assert found.agreed == tuple(jobs(seen))


_SEEN: list[Estimate] = []


@pytest.fixture(autouse=True)
def _seen(desk: Desk) -> None:
    _SEEN[:] = [desk.top().draft.estimate]


def taken_off(estimate: Estimate, amount: Decimal) -> Estimate:
    """The same jobs at the same prices with a discount, and neither supplies nor tax."""
    assert estimate.terms is not None
    discount = Discount(reason="regular customer", on="total", amount=amount)
    terms = {"discounts": (discount,), "taxes": (), "supplies_percent": Decimal(0)}
    return estimate.model_copy(update={"terms": estimate.terms.model_copy(update=terms)})


@given(cents=st.integers(-5000, 5000))
def test_one_cent_more_for_the_whole_is_asked_and_no_less(cents: int) -> None:
    """Every agreed job is as it was: what rose is only what comes on top."""
    seen = taken_off(_SEEN[0], Decimal(60))
    new = taken_off(_SEEN[0], Decimal(60) - Decimal(cents) / 100)
    found = after(seen, new)
    assert bool(found.ask_again) == (cents > 0)
    assert found.agreed == (() if cents > 0 else tuple(jobs(seen)))
    assert bool(after(seen, new, up_to("12.34")).ask_again) == (cents > 1234)


@given(cents=st.integers(-5000, 5000))
def test_one_cent_more_for_a_job_is_asked_and_no_less(cents: int) -> None:
    seen = taken_off(_SEEN[0], Decimal(0))
    job, more = seen.jobs[0], Decimal(cents) / 100
    assert job.lines[0].amount is not None
    line = job.lines[0].model_copy(update={"amount": job.lines[0].amount + more})
    dearer = job.model_copy(update={"lines": (line, *job.lines[1:]), "subtotal": job.subtotal + more})
    new = seen.model_copy(update={"jobs": (dearer, *seen.jobs[1:])})
    assert after(seen, new).agreed == tuple(jobs(seen)[1:] if cents > 0 else jobs(seen))
    assert bool(after(seen, new, up_to("12.34")).ask_again) == (cents > 1234)


def test_a_higher_tax_is_asked_though_every_job_costs_the_same(desk: Desk) -> None:
    seen = desk.top().draft.estimate
    assert seen.terms is not None
    rule = TaxRule(name="new tax", percent=Decimal(1), on=("labour",))
    terms = seen.terms.model_copy(update={"taxes": (*seen.terms.taxes, rule)})
    new = seen.model_copy(update={"terms": terms})
    found = after(seen, new)
    assert [j.state for j in found.jobs] == ["ask again", "ask again"]
    assert found.agreed == ()
    assert found.amount == 0
    (reason,) = found.ask_again
    assert reason.job == ""
    assert reason.before == seen.totals.total
    assert reason.now == seen.totals.total + (seen.totals.labour / 100).quantize(Decimal("0.01"))
    assert f"supplies and tax included, was agreed at {reason.before} and is now {reason.now}" in reason.text
    assert [j.why for j in found.jobs] == [reason.text] * 2
    assert after(new, seen).ask_again == ()


def test_what_was_agreed_to_in_the_newest_version_is_not_asked_with_the_rest(desk: Desk) -> None:
    """The second job was agreed to with the new tax on it, the first was not."""
    seen = desk.top().draft.estimate
    one, two = jobs(seen)
    assert seen.terms is not None
    rule = TaxRule(name="new tax", percent=Decimal(1), on=("labour", "part"))
    new = seen.model_copy(update={"terms": seen.terms.model_copy(update={"taxes": (rule,)})})
    old = seen.model_copy(update={"terms": seen.terms.model_copy(update={"taxes": ()})})
    versions = [Version(version=n, fingerprint=f"fp{n}", estimate=e) for n, e in enumerate((old, new), 1)]
    found = standing(versions, [said(1, [one, two]), said(2, [two])])
    assert [j.state for j in found.jobs] == ["ask again", "agreed"]
    assert standing(versions, [said(1, [one, two]), said(2, [one, two])]).ask_again == ()


def test_of_a_price_that_is_a_range_the_upper_end_counts(desk: Desk) -> None:
    seen = taken_off(desk.top().draft.estimate, Decimal(0))
    job = seen.jobs[0]
    amount = job.lines[0].amount
    assert amount is not None

    def up_to_more(more: int) -> Estimate:
        line = job.lines[0].model_copy(update={"amount_high": amount + more})
        ranged = job.model_copy(
            update={"lines": (line, *job.lines[1:]), "subtotal_high": job.subtotal + more}
        )
        return seen.model_copy(update={"jobs": (ranged, *seen.jobs[1:])})

    assert after(up_to_more(10), up_to_more(10)).ask_again == ()
    assert after(up_to_more(10), seen).ask_again == ()
    reasons = after(up_to_more(10), up_to_more(11)).ask_again
    assert [r.now - r.before for r in reasons] == [1]
    assert after(up_to_more(10), up_to_more(11), up_to("1")).ask_again == ()


def test_other_work_is_asked_whatever_it_costs(desk: Desk) -> None:
    seen = desk.top().draft.estimate
    new = desk.top(ChangeFinding(finding="f1", positions=("front right",))).draft.estimate
    assert new.totals.total == seen.totals.total
    for tolerance in (NO_TOLERANCE, up_to("500")):
        found = after(seen, new, tolerance)
        assert any("was not in" in a.text and "front right" in a.text for a in found.ask_again)
        assert [j.state for j in found.jobs] == ["ask again", "agreed"]


def test_a_used_part_instead_of_a_new_one_is_asked(desk: Desk) -> None:
    seen = desk.top().draft.estimate
    part = next(x for x in seen.jobs[0].lines if x.kind == "part")
    new = desk.top(ChangeLine(change=LineChange(line=part.id, part_condition="used"))).draft.estimate
    found = after(seen, new)
    assert [a.text for a in found.ask_again] == [f"“{part.name}” was to be new, and is now used."]
    assert found.jobs[0].state == "ask again"


def test_a_price_that_was_open_is_asked(desk_saying: Saying) -> None:
    desk = desk_saying("Windshield is cracked, replace it.")
    seen = desk.top().draft.estimate
    line = seen.jobs[0].lines[0]
    new = desk.top(ChangeLine(change=LineChange(line=line.id, unit_price=Decimal(1)))).draft.estimate
    found = after(seen, new, up_to("500"))
    assert any("had no price when it was agreed to; it is 1.00 now" in a.text for a in found.ask_again)
    assert found.agreed == ()
    assert after(seen, seen).ask_again == ()


def test_a_new_job_is_not_agreed_to_and_less_work_is_not_asked(desk: Desk) -> None:
    seen = desk.top(PutAside(target="f2", reason="x")).draft.estimate
    new = desk.top().draft.estimate
    found = after(seen, new)
    assert [j.state for j in found.jobs] == ["agreed", "not answered"]
    less = after(new, seen)
    assert less.ask_again == ()
    assert less.agreed == tuple(jobs(seen))
    assert [text.split(" and is ")[1] for text in less.lost] == ["not in version 2."]


def test_declined_jobs_are_not_asked_about(desk: Desk) -> None:
    versions = issued(desk, raised(desk, "20"))
    one, two = jobs(versions[0].estimate)
    found = standing(versions, [said(1, [two], [one])])
    assert [j.state for j in found.jobs] == ["declined", "agreed"]
    assert found.ask_again == ()


def test_a_job_that_is_put_off_waits_for_no_answer(desk: Desk) -> None:
    """It is in no total, and the customer's page asks nothing about it."""
    one, two = jobs(desk.top().draft.estimate)
    versions = issued(desk, [PutOff(job=two, by="advisor")])
    found = standing(versions, [said(2, [one])])
    assert [(j.job, j.state) for j in found.jobs] == [(one, "agreed")]
    before = standing(versions, [said(1, [one, two])])
    assert two not in before.agreed
    assert [text.split(" and is ")[1] for text in before.lost] == ["put off in version 2."]


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
