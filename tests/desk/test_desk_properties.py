"""What holds whatever people decide, over drafts of real narrations."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal

import pytest
from desk_kit import Desk, decisions_over, priced, stated
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from voicecheck.desk.content import content_of
from voicecheck.desk.decisions import (
    Confirm,
    Numbered,
    Undo,
    decision_json,
    parse_decision,
)
from voicecheck.desk.worktop import Worktop, origins_of

DRAFTS = ("without-a-breath", "scratch-that-hatch", "comeback-brakes", "storyteller-wagon", "uk-ramp-saloon")

# HYPOTHESIS_PROFILE=explore tries more
several = settings(
    deadline=None,
    max_examples=5 if settings().max_examples < 1000 else 60,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.function_scoped_fixture,
    ],
)


def total_of(top: Worktop) -> Decimal:
    t = top.draft.estimate.totals
    return t.labour + t.parts + t.sublet + t.fees


@pytest.mark.parametrize("name", DRAFTS)
@several
@given(data=st.data())
def test_nothing_is_lost_and_everything_adds_up(
    desk_named: Callable[[str], Desk], name: str, data: st.DataObject
) -> None:
    desk = desk_named(name)
    made = data.draw(decisions_over(desk))
    top = desk.numbered(made)

    # every finding of the machine is on the draft or put aside, also where it was merged or split
    assert origins_of(top) >= {f.id for f in desk.base.findings}
    # the totals are the sum of the lines that are to be done
    assert total_of(top) == priced(top)
    left_off = {a.target for a in top.aside if a.kind == "line"}
    assert not left_off & {x.id for x in top.lines}
    # a confirmation that holds is of the line's content as it is
    for line in top.lines:
        assert line.content == content_of(line.line)
        assert not (line.confirmed and line.lapsed)
        if line.confirmed:
            given_ = next(n.decision for n in made if n.seq == line.confirmed)
            assert isinstance(given_, Confirm)
            assert given_.content in ("", line.content)
    # nothing that is open goes without a hindrance, and the other way round
    hindering = {h.target for h in top.hindrances}
    assert {a.key for a in top.asks if a.state == "open"} == hindering & {a.key for a in top.asks}
    assert {x.id for x in top.lines if x.confirmed is None} <= hindering
    assert {x.id for x in top.lines if x.line.amount is None and not x.to_be_priced} <= hindering
    # the draft is one: ids are unique, every word has its place, evidence is of findings that are there
    ids = [f.id for f in top.draft.findings]
    assert len(set(ids)) == len(ids)
    at = 0
    for entry in top.draft.ledger.entries:
        assert entry.first == at
        at = entry.last
        assert set(entry.findings) <= set(ids)
        assert bool(entry.findings) == (entry.kind == "evidence")
    assert at == len(top.draft.transcript.words)
    here = {o for f in top.findings for o in f.origins}
    entries = zip(desk.base.ledger.entries, top.draft.ledger.entries, strict=False)
    for was, now in entries:
        assert (was.first, was.last) == (now.first, now.last)
        if set(was.findings) & here:  # also under another name, of what was merged or split
            assert now.kind == "evidence"
    for finding in top.draft.findings:
        assert all(0 <= s.first < s.last <= at for s in finding.heard)
    assert Worktop.model_validate_json(top.model_dump_json(by_alias=True)) == top


@pytest.mark.parametrize("name", DRAFTS)
@several
@given(data=st.data())
def test_taking_back_is_as_if_it_had_not_been(
    desk_named: Callable[[str], Desk], name: str, data: st.DataObject
) -> None:
    desk = desk_named(name)
    made = data.draw(decisions_over(desk))
    seq = data.draw(st.sampled_from([n.seq for n in made]))
    after = desk.numbered([*made, Numbered(seq=len(made) + 1, decision=Undo(seq=seq))])
    without = desk.numbered([n for n in made if n.seq != seq])
    if seq in desk.numbered(made).undone:  # taken back before: doing it again is no more than that
        assert stated(after) == stated(desk.numbered(made))
    else:
        assert stated(after) == stated(without)


@several
@given(data=st.data())
def test_taking_back_in_any_order_and_again(desk_named: Callable[[str], Desk], data: st.DataObject) -> None:
    desk = desk_named("scratch-that-hatch")
    made = [n for n in data.draw(decisions_over(desk, most=6)) if not isinstance(n.decision, Undo)]
    order = data.draw(st.permutations([n.seq for n in made]))
    last = max((n.seq for n in made), default=0)
    undos = [Numbered(seq=last + i, decision=Undo(seq=s)) for i, s in enumerate(order, 1)]
    assert stated(desk.numbered([*made, *undos])) == stated(desk.numbered([]))
    back = [Numbered(seq=last + len(undos) + i, decision=Undo(seq=u.seq)) for i, u in enumerate(undos, 1)]
    assert stated(desk.numbered([*made, *undos, *back])) == stated(desk.numbered(made))


@several
@given(data=st.data())
def test_the_same_decisions_give_the_same_worktop(
    desk_named: Callable[[str], Desk], data: st.DataObject
) -> None:
    desk = desk_named("comeback-brakes")
    made = data.draw(decisions_over(desk, most=6))
    shuffled = data.draw(st.permutations(made))
    fresh = type(desk.estimator)(
        lexicon=desk.workshop.lexicon, shop=desk.workshop.shop, market=desk.workshop.market
    )
    assert desk.numbered(made) == desk.numbered(shuffled, estimator=fresh)


@several
@given(data=st.data())
def test_decisions_survive_json(desk_named: Callable[[str], Desk], data: st.DataObject) -> None:
    for item in data.draw(decisions_over(desk_named("comeback-brakes"), most=6)):
        assert parse_decision(decision_json(item.decision)) == item.decision
        assert Numbered.model_validate_json(item.model_dump_json(by_alias=True)) == item


@several
@given(data=st.data())
def test_an_idle_decision_changes_nothing(desk_named: Callable[[str], Desk], data: st.DataObject) -> None:
    desk = desk_named("storyteller-wagon")
    made: Sequence[Numbered] = data.draw(decisions_over(desk))
    last = made[-1]
    before, after = desk.numbered(made[:-1]), desk.numbered(made)
    if last.seq in {i.seq for i in after.idle} and last.decision.kind not in ("say", "add_line"):
        assert stated(after)["draft"] == stated(before)["draft"]
