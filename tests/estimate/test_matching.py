"""Which operation is used: by id, then for the place, then by a name that is alike enough; else it asks."""

from __future__ import annotations

from decimal import Decimal

import pytest
from estimate_kit import codes, component, estimate, finding, lexicon, line, lines, operation, shop

from voicecheck.estimate import FixedScorer, RapidfuzzScorer
from voicecheck.estimate.match import CLOSELY, SURE_MARGIN, SURE_SCORE, WORTH_SHOWING, Matcher
from voicecheck.estimate.needs import needs_of
from voicecheck.records import Catalogue

D = Decimal
BUSH = component("bush", "suspension", "front sides")
UPPER = operation("X1", "suspension", "bush", "replace", "each", "0.8", name="Replace bush, upper")
LOWER = operation("X2", "suspension", "bush", "replace", "each", "1.3", name="Replace bush, lower")


@pytest.mark.parametrize(("place", "code"), [("upper", "X1"), ("lower", "X2")])
def test_a_row_for_the_place_is_used_for_it(place: str, code: str) -> None:
    item = finding("f1", "bush", "left", place=(place,))
    labour = line(estimate(item, data=shop(UPPER, LOWER), lexicon=lexicon(BUSH)))
    assert (labour.catalogue, codes(labour.asks)) == (code, [])
    assert [c.code for c in labour.candidates] == ["X2" if code == "X1" else "X1"]


def test_without_a_place_both_rows_are_offered() -> None:
    labour = line(estimate(finding("f1", "bush", "left"), data=shop(UPPER, LOWER), lexicon=lexicon(BUSH)))
    assert codes(labour.asks) == ["catalogue_choice"]


def test_a_row_for_another_place_alone_is_asked_about() -> None:
    item = finding("f1", "bush", "left", place=("lower",))
    labour = line(estimate(item, data=shop(UPPER), lexicon=lexicon(BUSH)))
    assert (labour.catalogue, codes(labour.asks)) == ("X1", ["catalogue_match"])


def test_a_row_for_the_rear_is_not_used_in_front_without_asking() -> None:
    rear = operation("W11", "wheels_tyres", "tyre", "replace", "each", "0.4", name="Replace rear tyre")
    data = shop(rear, without=["W10"])
    assert codes(line(estimate(finding("f1", "tyre", "front left"), data=data)).asks) == ["catalogue_match"]
    assert codes(line(estimate(finding("f1", "tyre", "rear left"), data=data)).asks) == []


def test_a_name_alone_never_crosses_the_place() -> None:
    """By name the upper hose is the lower one's best match; it is shown, not used."""
    row = operation("X3", "suspension", "own_part", "replace", "each", "0.8", name="Replace long bush, upper")
    item = finding("f1", "bush", "left", place=("lower",))
    data = shop(row)
    scorer = FixedScorer({("bush", "long bush, upper"): 95.0})
    labour = line(estimate(item, data=data, lexicon=lexicon(BUSH), scorer=scorer))
    assert (labour.catalogue, [c.code for c in labour.candidates]) == (None, ["X3"])
    up = line(
        estimate(
            item.model_copy(update={"place": ("upper",)}), data=data, lexicon=lexicon(BUSH), scorer=scorer
        )
    )
    assert (up.catalogue, codes(up.asks)) == ("X3", ["catalogue_match"])


@pytest.mark.parametrize(
    ("best", "next_best", "used"),
    [(SURE_SCORE, 0.0, True), (SURE_SCORE - 1, 0.0, False), (95.0, 95.0 - SURE_MARGIN + 1, False)],
)
def test_a_likeness_is_used_above_its_score_and_margin_only(
    best: float, next_best: float, used: bool
) -> None:
    rows = [
        operation("X5", "exhaust", "own_part", "replace", "vehicle", "0.8", name="Replace first"),
        operation("X6", "exhaust", "own_part", "replace", "vehicle", "0.8", name="Replace second"),
    ]
    scorer = FixedScorer({("muffler", "first"): best, ("muffler", "second"): next_best})
    labour = line(estimate(finding("f1", "muffler"), data=shop(*rows), scorer=scorer))
    assert (labour.catalogue == "X5") is used
    assert codes(labour.asks) == ["catalogue_match" if used else "not_in_catalogue"]
    assert [c.score for c in labour.candidates] == [
        s for s in (best, next_best) if s >= WORTH_SHOWING and not (used and s == best)
    ]


def test_work_without_an_operation_shows_what_was_said() -> None:
    labour = line(estimate(finding("f1", "muffler")))
    assert (labour.amount, labour.arithmetic) == (None, "To be priced.")
    assert labour.why == "To be priced from what was said: “muffler”"


def test_of_many_names_the_likely_ones_are_compared_like_few() -> None:
    """A long list is searched in two steps; what it finds and how it scores is that of comparing all."""
    many = [
        operation(f"M{n:03d}", "exhaust", "own_part", "replace", "vehicle", "0.8", name=f"Replace {word} {n}")
        for n in range(CLOSELY)
        for word in ("pipe clamp", "hanger rubber", "rear muffler")
    ]
    few = [o for o in many if "muffler" in o.name][:10]
    words = lexicon()
    (need,) = needs_of([finding("f1", "muffler")], words)
    found = [
        Matcher(Catalogue(name="c", operations=tuple(rows)), lexicon=words, scorer=RapidfuzzScorer()).match(
            need
        )
        for rows in (many, few)
    ]
    assert found[0].candidates == found[1].candidates
    assert len(found[0].candidates) == 3


def test_advice_without_a_fault_is_asked_about_unless_it_is_maintenance() -> None:
    bare = finding("f1", "radiator", conditions=())
    (ask,) = estimate(bare).findings[0].asks
    assert (ask.code, ask.field) == ("no_fault_said", "conditions")
    assert ask.message == "Radiator: replace was advised, and nothing was said to be wrong with it. Price it?"
    assert len(lines(estimate(bare), "labour")) == 1
    assert estimate(finding("f1", "battery", action="service", conditions=())).findings[0].asks == ()


def test_work_inside_other_work_is_in_its_job() -> None:
    """A belt that includes the pump of another system: one job, the pump's hours in the belt's."""
    belt = component("belt", "engine")
    row = operation("N10", "engine", "belt", "replace", "vehicle", "4.0", includes=("C20",))
    both = [finding("f1", "belt"), finding("f2", "water_pump")]
    (job,) = estimate(*both, data=shop(row), lexicon=lexicon(belt)).estimate.jobs
    assert (job.title, [x.hours for x in job.lines if x.kind == "labour"]) == (
        "Engine and cooling system", [D("4.0"), D(0)],
    )  # fmt: skip
    later = [both[0], finding("f2", "water_pump", urgency="later")]
    assert len(estimate(*later, data=shop(row), lexicon=lexicon(belt)).estimate.jobs) == 2
