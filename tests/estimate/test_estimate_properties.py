"""What holds for any findings whatever."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from estimate_kit import COMPONENTS, codes, estimate, every_ask, finding, lines, shop
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from voicecheck.estimate.scope import ground, spots_of, tidy, unsaid
from voicecheck.lexicon.seats import corners_of
from voicecheck.records import ACTIONS, POSITIONS, STATES, UNPRICED_ACTIONS, URGENCIES, Finding, expand

D = Decimal

calm = settings(deadline=None, max_examples=60)  # the first example pays for imports
positions = st.lists(st.sampled_from(POSITIONS), max_size=3, unique=True)


@st.composite
def one_finding(draw: st.DrawFn, /, id: str = "f1", **fixed: Any) -> Finding:
    choice: dict[str, Any] = {
        "state": draw(st.sampled_from(STATES)),
        "action": draw(st.sampled_from(ACTIONS)),
        "action_positions": tuple(draw(st.one_of(st.just([]), positions))),
        "urgency": draw(st.sampled_from(URGENCIES)),
        "only_if": draw(st.sampled_from(["", "", "if they keep it"])),
        "done_with": draw(st.sampled_from([None, None, "f1", "f2", "f9"])),
        "sublet": draw(st.sampled_from([False, False, True])),
        "place": draw(st.sampled_from([(), ("inner",), ("upper",)])),
    }
    component = draw(st.sampled_from([c.id for c in COMPONENTS]))
    # half of all advice is to replace, which is what the catalogue has most of
    if draw(st.booleans()):
        choice |= {"action": "replace", "state": "defect"}
    return finding(id, component, *draw(positions), **(choice | fixed))


@st.composite
def some_findings(draw: st.DrawFn, /, most: int = 6, **fixed: Any) -> list[Finding]:
    return [draw(one_finding(id=f"f{i}", **fixed)) for i in range(1, draw(st.integers(0, most)) + 1)]


@calm
@given(some_findings())
def test_the_total_is_its_lines_and_supplies_and_tax(findings: list[Finding]) -> None:
    result = estimate(*findings)
    totals = result.estimate.totals
    priced = [x.amount for x in lines(result) if x.amount is not None]
    assert totals.total == sum(priced, D(0)) + totals.supplies + totals.tax
    assert totals.labour + totals.parts + totals.sublet == sum(priced, D(0))
    assert sum((j.subtotal for j in result.estimate.jobs), D(0)) == sum(priced, D(0))
    assert totals.open_lines == len(lines(result)) - len(priced)


@calm
@given(some_findings(), st.randoms(use_true_random=False))
def test_the_order_of_the_findings_changes_nothing(findings: list[Finding], random: Any) -> None:
    shuffled = findings[:]
    random.shuffle(shuffled)
    one, other = estimate(*findings), estimate(*shuffled)
    assert one.estimate == other.estimate
    assert {f.id: f for f in one.findings} == {f.id: f for f in other.findings}
    assert [f.id for f in other.findings] == [f.id for f in shuffled]


@calm
@given(some_findings())
def test_findings_come_back_as_they_were_with_asks_added(findings: list[Finding]) -> None:
    result = estimate(*findings)
    assert [f.model_copy(update={"asks": ()}) for f in result.findings] == findings
    again = estimate(*result.findings)
    assert again.findings == result.findings
    assert again.estimate == result.estimate


@calm
@given(some_findings())
def test_no_float_where_money_and_hours_are(findings: list[Finding]) -> None:
    """Seconds of the recording, certainties and name scores are the only floats there may be."""

    def walk(value: object, path: str) -> list[str]:
        if isinstance(value, float):
            return [path]
        if isinstance(value, BaseModel):
            fields = type(value).model_fields
            return [p for n in fields for p in walk(getattr(value, n), f"{path}.{n}")]
        if isinstance(value, dict):
            return [p for k, v in value.items() for p in walk(v, f"{path}.{k}")]
        if isinstance(value, tuple):
            return [p for v in value for p in walk(v, path)]
        return []

    result = estimate(*findings)
    allowed = (".candidates.score", ".heard.start", ".heard.end")
    assert [p for p in walk(result, "") if not p.endswith(allowed)] == []


@calm
@given(some_findings(), one_finding(id="g1"))
def test_what_is_no_stated_defect_adds_no_priced_work(findings: list[Finding], extra: Finding) -> None:
    for state in ("suspect", "ok", "not_checked"):
        soft = extra.model_copy(update={"state": state, "done_with": None})
        before, after = estimate(*findings), estimate(*findings, soft)
        mine = [x for x in lines(after) if "g1" in x.findings]
        looking = soft.action == "diagnose" and state != "ok"
        assert all(x.operation == "diagnose" for x in mine)
        assert bool(mine) is looking
        if not looking:
            assert after.estimate == before.estimate


@calm
@given(some_findings())
def test_a_stated_defect_with_advice_is_on_exactly_one_leading_line(findings: list[Finding]) -> None:
    result = estimate(*findings)
    for item in findings:
        leading = [x for x in lines(result, "labour", "sublet") if item.id in x.findings]
        wanted = item.state in ("defect", "missing") and item.action not in UNPRICED_ACTIONS
        if wanted:
            assert len(leading) == 1
        elif leading:
            assert item.action == "diagnose"


@calm
@given(some_findings(done_with=None), one_finding(id="g1", state="defect", done_with=None))
def test_one_more_finding_on_another_component_never_lowers_the_total(
    findings: list[Finding], extra: Finding
) -> None:
    others = [f for f in findings if f.component.id != extra.component.id]
    before, after = estimate(*others).estimate.totals, estimate(*others, extra).estimate.totals
    assert after.total >= before.total
    assert after.labour >= before.labour
    assert after.open_lines >= before.open_lines


@calm
@given(
    some_findings(state="defect", action="replace", urgency="now", only_if="", done_with=None, sublet=False),
    one_finding(
        id="g1", state="defect", action="replace", urgency="now", only_if="", done_with=None, sublet=False
    ),
)
def test_nor_does_one_more_place_on_the_same_visit(findings: list[Finding], extra: Finding) -> None:
    """Positions that were not or half said are left out: a second finding may make the first one's clear."""
    said = [f for f in (*findings, extra) if set(f.action_positions or f.positions) <= set(POSITIONS[:6])]
    said = [f for f in said if f.positions or f.action_positions]
    before = estimate(*(f for f in said if f.id != "g1")).estimate.totals
    after = estimate(*said).estimate.totals
    assert after.total >= before.total


@calm
@given(some_findings())
def test_the_labour_of_a_visit_is_never_less_than_its_longest_operation(findings: list[Finding]) -> None:
    result = estimate(*findings)
    alone: dict[tuple[str, str], Decimal] = {}
    for job in result.estimate.jobs:
        for x in job.lines:
            if x.kind == "labour" and x.hours is not None and x.catalogue is not None:
                operation = next(o for o in shop().catalogue.operations if o.code == x.catalogue)
                visit = (job.urgency, job.only_if)
                alone[visit] = max(alone.get(visit, D(0)), operation.hours or D(0))
                assert x.hours >= 0
    for (urgency, only_if), longest in alone.items():
        hours = [
            x.hours or D(0)
            for job in result.estimate.jobs
            if (job.urgency, job.only_if) == (urgency, only_if)
            for x in job.lines
        ]
        assert sum(hours, D(0)) >= longest


@calm
@given(some_findings())
def test_what_has_no_price_asks_for_one_and_is_nowhere_zero(findings: list[Finding]) -> None:
    for x in lines(estimate(*findings)):
        if x.amount is None:
            assert {"price_open", "not_in_catalogue", "time_open"} & set(codes(x.asks))
        elif x.amount == 0:
            assert x.hours == 0  # charged with another line, which its arithmetic names
            assert "less" in x.arithmetic


@calm
@given(some_findings())
def test_a_line_off_the_catalogue_or_of_unsaid_place_always_asks(findings: list[Finding]) -> None:
    for x in lines(estimate(*findings), "labour", "sublet"):
        if x.catalogue is None:
            assert "not_in_catalogue" in codes(x.asks)


@calm
@given(some_findings())
def test_every_question_is_a_sentence(findings: list[Finding]) -> None:
    for ask in every_ask(estimate(*findings)):
        assert ask.message[0].isupper() or ask.message[0] == "“"
        assert ask.message[-1] in "?."
        assert "  " not in ask.message
        assert ask.code.isidentifier()


@calm
@given(st.sampled_from(COMPONENTS), positions)
def test_spots(component: Any, one: list[Any]) -> None:
    spots = spots_of(component, tidy(one))
    assert len(spots) == len(set(spots)) >= 1
    assert spots == spots_of(component, one), "tidying positions changes no spot"
    assert spots == spots_of(component, one[::-1]), "nor does their order"
    if one and component.sets != "axle set" and corners_of(component):
        assert {g for s in spots for g in ground(s) if not unsaid(s)} <= expand(tuple(one))


@calm
@given(some_findings(most=3))
def test_the_result_is_saved_and_read_back(findings: list[Finding]) -> None:
    result = estimate(*findings)
    assert type(result).model_validate_json(result.model_dump_json(by_alias=True)) == result
