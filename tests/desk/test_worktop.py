"""What single decisions do to a draft, and what keeps it from being issued."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from desk_kit import Desk, desk_of, priced, tune_desk

from voicecheck.desk.decisions import (
    AddLine,
    Answer,
    BringBack,
    ChangeFinding,
    ChangeLine,
    Confirm,
    Decision,
    Merge,
    Numbered,
    PlaceWords,
    PutAside,
    PutOff,
    Say,
    SettleUnplaced,
    Split,
    Unconfirm,
    Undo,
)
from voicecheck.desk.worktop import Estimator, Worktop, check, worktop
from voicecheck.documents import to_html
from voicecheck.pipeline import Workshop
from voicecheck.records import AddedLine, Ask, Finding, LineChange, RefusedError

Saying = Callable[..., Desk]

TIE_ROD = "Left front outer tie rod end is loose, replace it."
NO_SIDE = "The outer tie rod end is loose, replace it."
TWO_LEAKS = "Water pump is leaking, replace it. Radiator is leaking, replace it."
BEARINGS = "The left front wheel bearing is noisy, replace it. The cabin air filter is dirty, replace it."


def answer(top: Worktop, code: str, choice: str = "", text: str = "") -> Answer:
    """An answer to the first open question with a code."""
    ask = next(a for a in top.asks if a.ask.code == code and a.state == "open")
    assert not choice or choice in ask.choices
    return Answer(key=ask.key, choice=choice, text=text)


def open_codes(top: Worktop) -> list[str]:
    return [a.ask.code for a in top.asks if a.state == "open"]


def confirm_all(top: Worktop) -> list[Decision]:
    return [Confirm(line=x.id, content=x.content) for x in top.lines]


# --- issuing


def test_a_draft_can_be_issued_once_everything_is_confirmed_and_answered(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD)
    start = desk.top()
    assert {h.kind for h in start.hindrances} == {"ask", "line"}
    decisions: list[Decision] = [answer(start, "follow_on", "Leave it off"), *confirm_all(start)]
    done = desk.top(*decisions)
    assert done.hindrances == ()
    assert done.summary.open_asks == done.summary.unconfirmed == done.summary.hindrances == 0
    assert done.draft.estimate.totals.total == start.draft.estimate.totals.total == done.summary.total
    assert done.draft.findings[0].asks == ()
    for n in range(len(decisions)):  # each of them was needed
        assert len(desk.top(*decisions[:n], *decisions[n + 1 :]).hindrances) == 1


def test_every_hindrance_is_one_sentence_with_its_target(desk_named: Callable[[str], Desk]) -> None:
    top = desk_named("scratch-that-hatch").top()
    kinds = {h.kind for h in top.hindrances}
    assert {"ask", "line", "unplaced"} <= kinds
    for hindrance in top.hindrances:
        assert hindrance.target
        assert hindrance.text[-1] in ".?"


def test_what_is_fine_needs_no_confirmation_and_is_listed(desk_saying: Saying) -> None:
    top = desk_saying("Brake lines are fine. Keep an eye on the fan belt. Didn't get to the spare.").top()
    assert [f.stands for f in top.findings] == ["noted"] * len(top.findings)
    assert len(top.findings) >= 2
    assert top.hindrances == ()


# --- confirmations


def test_a_confirmation_lapses_when_the_line_changes_and_says_why(desk_saying: Saying) -> None:
    desk = desk_saying(BEARINGS)
    line = desk.top().lines[0]
    change = ChangeLine(change=LineChange(line=line.id, hours=Decimal("2.5"), reason="rusted"))
    top = desk.top(Confirm(line=line.id), change)
    state = top.line(line.id)
    assert state is not None
    assert state.confirmed is None
    assert "hours 1.9, now 2.5" in state.lapsed
    assert "amount 256.50, now 337.50" in state.lapsed
    assert state.changed == ("hours", "amount")
    assert state.machine == line.line
    assert "rusted" in state.why
    assert "Ann" in state.why
    assert any(h.kind == "line" and h.target == line.id and "1.9" in h.text for h in top.hindrances)
    again = desk.top(Confirm(line=line.id), change, Confirm(line=line.id)).line(line.id)
    assert again is not None
    assert (again.confirmed, again.lapsed) == (3, "")
    back = desk.top(Confirm(line=line.id), change, Undo(seq=2)).line(line.id)
    assert back is not None
    assert (back.confirmed, back.lapsed) == (1, "")


def test_a_confirmation_of_what_was_on_another_screen_does_not_hold(desk_saying: Saying) -> None:
    desk = desk_saying(BEARINGS)
    line = desk.top().lines[0]
    change = ChangeLine(change=LineChange(line=line.id, hours=Decimal("2.5")))
    stale = desk.top(change, Confirm(line=line.id, content=line.content)).line(line.id)
    assert stale is not None
    assert stale.confirmed is None
    assert "hours 1.9, now 2.5" in stale.lapsed


def test_a_confirmation_lapses_when_another_line_takes_over_its_hours(desk_saying: Saying) -> None:
    """Shared labour moves to the line that stays, so what was confirmed is not what is asked."""
    desk = desk_saying(
        "Left front wheel bearing is noisy, replace it. Left front outer tie rod end is loose, replace it. "
        "Left front ball joint is loose, replace it."
    )
    start = desk.top()
    for finding in start.findings:
        top = desk.top(*confirm_all(start), PutAside(target=finding.id, reason="x"))
        moved = [x for x in top.lines if x.machine is not None and x.machine.hours != x.line.hours]
        for line in moved:
            assert line.confirmed is None
            assert "hours" in line.lapsed
        if moved:
            return
    pytest.fail("no labour is shared here: choose other work")


def test_unconfirm(desk_saying: Saying) -> None:
    desk = desk_saying(BEARINGS)
    line = desk.top().lines[0].id
    top = desk.top(Confirm(line=line), Unconfirm(line=line), Unconfirm(line=line))
    assert top.lines[0].confirmed is None
    assert [i.seq for i in top.idle] == [3]


def test_a_part_whose_labour_is_put_aside_has_to_be_confirmed_again(desk_saying: Saying) -> None:
    desk = desk_saying(BEARINGS)
    start = desk.top()
    labour, part = start.lines[0], start.lines[1]
    assert (labour.line.kind, part.line.kind) == ("labour", "part")
    decisions = [*confirm_all(start), PutAside(target=labour.id, reason="customer fits it")]
    state = desk.top(*decisions).line(part.id)
    assert state is not None
    assert state.confirmed is None
    assert "put aside since" in state.lapsed
    meant = desk.top(*decisions, Confirm(line=part.id, content=part.content)).line(part.id)
    assert meant is not None
    assert meant.confirmed is not None


# --- questions


def test_the_side_in_an_answer_goes_to_the_finding(desk_saying: Saying) -> None:
    desk = desk_saying(NO_SIDE)
    start = desk.top()
    top = desk.top(answer(start, "side_not_said", "front right"))
    assert top.findings[0].finding.positions == ("front right",)
    assert top.findings[0].changed == ("positions",)
    assert top.findings[0].machine[0].positions == ()
    assert [x.id for x in top.lines] == [x.id for x in start.lines]
    assert top.lines[0].line.positions == ("front right",)
    assert top.lines[0].changed == ("positions",)
    assert "side_not_said" not in open_codes(top)
    typed = desk.top(answer(start, "side_not_said", text="it's the right front one"))
    assert typed.findings[0].finding.positions == ("front right",)
    both = desk.top(answer(start, "side_not_said", "both front"))
    assert both.lines[0].line.quantity == 2


def test_a_side_in_words_that_name_none_closes_with_the_words_kept(desk_saying: Saying) -> None:
    desk = desk_saying(NO_SIDE)
    top = desk.top(answer(desk.top(), "side_not_said", text="not the left one"))
    assert top.findings[0].finding.positions == ()
    state = next(a for a in top.asks if a.ask.code == "side_not_said")
    assert (state.state, state.answer) == ("answered", "not the left one")


def test_a_change_answers_a_question_by_itself(desk_saying: Saying) -> None:
    desk = desk_saying(NO_SIDE)
    key = next(a.key for a in desk.top().asks if a.ask.code == "side_not_said")
    change = ChangeFinding(finding="f1", positions=("front left",))
    state = desk.top(change).ask(key)
    assert state is not None
    assert (state.state, state.how, state.seq) == ("answered", "change", 1)
    # taken away again by another change, it is asked again
    reopened = desk.top(change, ChangeFinding(finding="f1", positions=())).ask(key)
    assert reopened is not None
    assert reopened.state == "open"


def test_an_answer_overtaken_by_a_change_is_open_again(desk_saying: Saying) -> None:
    desk = desk_saying(NO_SIDE)
    given = answer(desk.top(), "side_not_said", "front right")
    top = desk.top(given, ChangeFinding(finding="f1", positions=()))
    assert "side_not_said" in open_codes(top)


def test_what_follows_is_added_with_hours_by_the_shops_rules(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD)
    start = desk.top()
    add = answer(start, "follow_on", "Add it")
    top = desk.top(add)
    new = [x for x in top.lines if x.machine is None]
    assert [(x.line.catalogue, x.line.hours, x.line.amount) for x in new] == [
        ("WHL-047", Decimal("1.0"), Decimal("135.00"))
    ]
    assert new[0].line.asked_by == "advisor"
    assert new[0].job == top.lines[0].job
    assert new[0].confirmed is None
    assert "follow_on" not in open_codes(top)
    off = desk.top(answer(start, "follow_on", "Leave it off"))
    assert [x.id for x in off.lines] == [x.id for x in start.lines]
    assert "follow_on" not in open_codes(off)
    # it goes with what it follows, and that is told
    gone = desk.top(add, PutAside(target="f1", reason="sold the car"))
    assert gone.lines == ()
    assert [i.seq for i in gone.idle] == [1]


def test_fluid_filled_once(desk_saying: Saying) -> None:
    desk = desk_saying(TWO_LEAKS)
    start = desk.top()
    top = desk.top(answer(start, "fluid_twice", "Once, leave this line off"))
    assert [a.target for a in top.aside] == ["f2:COO-009:fluid1"]
    assert top.aside[0].line is not None
    assert priced(start) - priced(top) == top.aside[0].line.amount
    both = desk.top(answer(start, "fluid_twice", "No, both are needed"))
    assert priced(both) == priced(start)
    assert "fluid_twice" not in open_codes(both)


def test_an_open_price_is_typed_or_left_open_on_purpose(desk_saying: Saying) -> None:
    desk = desk_saying("Windshield is cracked, replace it.")
    start = desk.top()
    sublet = start.lines[0].id
    key = next(a.key for a in start.asks if a.about == sublet)
    typed = desk.top(Answer(key=key, text="$412.50")).line(sublet)
    assert typed is not None
    assert typed.line.amount == Decimal("412.50")
    assert not [h for h in desk.top(Answer(key=key, text="412.50")).hindrances if h.target in (sublet, key)
                and h.kind != "line"]  # fmt: skip

    unread = desk.top(Answer(key=key, text="about four hundred"))
    state = unread.ask(key)
    assert state is not None
    assert (state.state, state.answer) == ("open", "about four hundred")
    assert "as a number" in state.todo

    purpose = desk.top(Answer(key=key, choice="To be priced"))
    line = purpose.line(sublet)
    assert line is not None
    assert line.to_be_priced
    assert {h.kind for h in purpose.hindrances if h.target == sublet} == {"line"}
    assert {h.kind for h in start.hindrances if h.target == sublet} == {"line", "price"}
    changed = desk.top(ChangeLine(change=LineChange(line=sublet), to_be_priced=True))
    assert {h.kind for h in changed.hindrances if h.target in (sublet, key)} == {"line"}


def test_work_that_the_catalogue_lacks(desk_saying: Saying) -> None:
    desk = desk_saying("Rear wheel cylinders are leaking, resurface the wheel cylinders.")
    start = desk.top()
    state = next(a for a in start.asks if a.ask.code == "not_in_catalogue")
    hand = desk.top(Answer(key=state.key, text="180"))
    assert [(x.line.kind, x.line.amount) for x in hand.lines] == [("labour", Decimal("180.00"))]
    assert [a.target for a in hand.aside] == [state.about]
    timed = desk.top(Answer(key=state.key, text="1.5 h")).line(state.about)
    assert timed is not None
    assert timed.line.hours == Decimal("1.5")
    assert timed.line.amount is not None
    other = desk.top(Answer(key=state.key, choice=state.ask.choices[0]))
    assert [x.line.name for x in other.lines if x.line.kind == "labour"] == [state.ask.choices[0]]
    assert all(x.line.amount for x in other.lines)
    assert "not_in_catalogue" not in open_codes(other)


def test_what_is_only_possible(desk_saying: Saying) -> None:
    desk = desk_saying("The left front ball joint might be loose, replace it.")
    start = desk.top()
    assert start.lines == ()
    look = desk.top(answer(start, "possible_only", "Check first"))
    assert {x.line.operation for x in look.lines} == {"diagnose"}
    price = desk.top(answer(start, "possible_only", "Price it"))
    assert price.findings[0].finding.state == "suspect"  # what was said stays as it was said
    assert {x.line.operation for x in price.lines} == {"replace"}
    assert len(price.lines) > 1
    assert len({x.job for x in price.lines}) == 1
    assert all(x.line.amount for x in price.lines)
    left = desk.top(answer(start, "possible_only", "Leave it"))
    assert left.lines == ()
    assert left.hindrances == ()


def test_advice_on_what_is_fine_is_priced_without_calling_it_defective(desk_saying: Saying) -> None:
    desk = desk_saying("Brake fluid is fine but flush the brake fluid.")
    top = desk.top(answer(desk.top(), "advice_without_defect", "Service brake fluid"))
    assert top.findings[0].finding.state == "ok"
    assert top.findings[0].stands == "work"
    assert {x.line.operation for x in top.lines} == {"service"}
    gone = desk.top(answer(desk.top(), "advice_without_defect", "Service brake fluid"),
                    PutAside(target="f1", reason="done in May"))  # fmt: skip
    assert gone.lines == ()
    assert [i.seq for i in gone.idle] == [1]


def test_work_for_which_no_fault_was_said(workshop: Workshop) -> None:
    desk = desk_of(workshop, "Replace the left front shock.")
    bare = desk.base.findings[0].model_copy(update={"asks": ()})  # no other doubt about it
    desk.base = desk.base.model_copy(update={"findings": (bare,)})
    start = desk.top()
    assert "no_fault_said" in open_codes(start)
    assert priced(desk.top(answer(start, "no_fault_said", "Price it"))) == priced(start)
    wrong = desk.top(answer(start, "no_fault_said", "Say what is wrong", "leaking"))
    assert [c.id for c in wrong.findings[0].finding.conditions] == ["leaking"]
    todo = desk.top(answer(start, "no_fault_said", "Say what is wrong"))
    assert "no_fault_said" in open_codes(todo)
    told = desk.top(answer(start, "no_fault_said", "Say what is wrong"),
                    ChangeFinding(finding="f1", conditions=("leaking",)))  # fmt: skip
    assert "no_fault_said" not in open_codes(told)
    left = desk.top(answer(start, "no_fault_said", "Leave it"))
    assert (left.lines, left.hindrances) == ((), ())


def test_advice_is_given_by_an_answer(desk_saying: Saying) -> None:
    desk = desk_saying("Battery is weak.")
    start = desk.top()
    assert start.findings[0].stands == "open"
    assert {x.line.operation for x in desk.top(answer(start, "no_advice", "Replace")).lines} == {"replace"}
    for choice in ("Watch", "Leave it"):
        top = desk.top(answer(start, "no_advice", choice))
        assert top.findings[0].stands == "noted"
        assert top.hindrances == ()
    # a later change takes "leave it" away
    again = desk.top(answer(start, "no_advice", "Leave it"), ChangeFinding(finding="f1", action="replace"),
                     ChangeFinding(finding="f1", action="none"))  # fmt: skip
    assert open_codes(again) == ["no_advice"]


def test_a_reading_against_its_limit(desk_saying: Saying) -> None:
    desk = desk_saying("Rear brake pads are at 1 millimeter, they're fine.")
    start = desk.top()
    price = desk.top(answer(start, "limit_vs_advice", "Price the work"))
    assert (price.findings[0].finding.state, price.findings[0].finding.action) == ("defect", "replace")
    assert price.lines
    assert desk.top(answer(start, "limit_vs_advice", "Leave it as said")).hindrances == ()
    thick = desk_saying("Rear brake pads are at 9 millimeters, replace them.")
    keep = thick.top(answer(thick.top(), "limit_vs_advice", "Keep an eye on it"))
    assert keep.findings[0].finding.action == "monitor"
    assert keep.lines == ()
    off = thick.top(answer(thick.top(), "limit_vs_advice", "Leave it off"))
    assert (off.lines, off.hindrances) == ((), ())


def test_the_other_side_and_one_side_only(desk_saying: Saying) -> None:
    desk = desk_saying("The left front strut is leaking, replace it.")
    add = desk.top(answer(desk.top(), "pair_policy", "Add front right"))
    finding = add.findings[0].finding
    assert (finding.positions, set(finding.action_positions)) == (
        ("front left",),
        {"front left", "front right"},
    )
    assert add.lines[0].line.quantity == 2
    pads = desk_saying("Left front brake pads are worn out, replace them.")
    start = pads.top()
    one = answer(start, "axle_set", "No, one side only")
    waiting = pads.top(one).ask(one.key)
    assert waiting is not None
    assert waiting.state == "open"
    assert "one side" in waiting.todo
    line = next(x for x in start.lines if x.line.kind == "labour")
    done = pads.top(one, ChangeLine(change=LineChange(line=line.id, hours=Decimal("0.6")))).ask(one.key)
    assert done is not None
    assert (done.state, done.how, done.answer) == ("answered", "change", "No, one side only")


def test_one_of_two_actions(desk_saying: Saying) -> None:
    desk = desk_saying("Front brake rotors are scored, resurface them.")
    said = desk.say("left front brake rotor is cracked replace it")
    start = desk.top(said)
    assert {x.line.operation for x in start.lines if x.line.kind == "labour"} == {"resurface", "replace"}
    new = desk.top(said, answer(start, "two_actions", "Replace"))
    assert {x.line.operation for x in new.lines if x.line.kind == "labour"} == {"replace"}
    assert {i for x in new.lines for i in x.line.findings} == {"f1", "s1-1"}  # all evidence is behind it
    old = desk.top(said, answer(start, "two_actions", "Resurface"))
    assert {x.line.operation for x in old.lines} == {"resurface"}
    both = desk.top(said, answer(start, "two_actions", "Both"))
    assert priced(both) == priced(start)
    for top in (new, old, both):
        assert "two_actions" not in open_codes(top)


def test_the_nearest_entry_or_a_price_by_hand(desk_named: Callable[[str], Desk]) -> None:
    desk = desk_named("comeback-brakes")
    start = desk.top()
    ask = next(a for a in start.asks if a.ask.code == "catalogue_match")
    used = desk.top(Answer(key=ask.key, choice=ask.ask.choices[0]))
    assert priced(used) == priced(start)
    waiting = desk.top(Answer(key=ask.key, choice="Price it by hand"))
    state = waiting.ask(ask.key)
    assert state is not None
    assert (state.state, state.todo) == ("open", "Type its price, or put the price and time on the line.")
    hand = desk.top(Answer(key=ask.key, choice="Price it by hand", text="95.50"))
    new = [x for x in hand.lines if x.machine is None]
    assert [x.line.amount for x in new] == [Decimal("95.50")]
    assert ask.about in {a.target for a in hand.aside}
    line = ChangeLine(change=LineChange(line=ask.about, hours=Decimal(1)))
    done = desk.top(Answer(key=ask.key, choice="Price it by hand"), line).ask(ask.key)
    assert done is not None
    assert (done.state, done.how, done.seq) == ("answered", "change", 2)


def test_no_such_work_puts_the_finding_aside_and_it_comes_back(desk_named: Callable[[str], Desk]) -> None:
    desk = desk_named("without-a-breath")
    start = desk.top()
    given = answer(start, "unsure", "no such work")
    top = desk.top(given)
    aside = top.aside[0]
    assert aside.kind == "finding"
    assert aside.finding is not None
    assert aside.finding.heard
    assert desk.top(given, BringBack(target=aside.target)).draft.estimate == start.draft.estimate


def test_an_answer_to_a_question_that_is_gone_changes_nothing(desk_saying: Saying) -> None:
    desk = desk_saying(NO_SIDE)
    given = answer(desk.top(), "side_not_said", "front right")
    top = desk.top(PutAside(target="f1", reason="x"), given)
    assert [i.seq for i in top.idle] == [2]
    assert top.draft == desk.top(PutAside(target="f1", reason="x")).draft


# --- findings


def test_another_part_brings_other_lines(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD)
    top = desk.top(ChangeFinding(finding="f1", component="ball_joint", reason="listened again"))
    assert top.findings[0].finding.component.name == "ball joint"
    assert "listened again" in top.findings[0].why
    assert {x.line.component.id for x in top.lines if x.line.component} == {"ball_joint"}
    assert all(x.machine is None for x in top.lines)


def test_a_change_to_what_it_is_already_is_refused(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD)
    before = desk.top()
    after = desk.top(ChangeFinding(finding="f1", action="replace"))
    with pytest.raises(RefusedError, match="these values already"):
        check(before, after)
    check(before, desk.top(ChangeFinding(finding="f1", action="repair")))


def test_split_keeps_everything_and_merge_is_its_opposite(desk_saying: Saying) -> None:
    desk = desk_saying("Front brake pads are at 3 millimeters, replace them.")
    start = desk.top()
    assert [f.finding.positions for f in start.findings] == [("front",)]
    whole = start.findings[0].finding
    assert whole.measures
    parted = desk.top(Split(finding="f1", into=(("front left",), ("front right",))))
    left, right = (f.finding for f in parted.findings)
    assert (left.id, right.id) == ("f1a", "f1b")
    assert left.heard == right.heard == whole.heard
    assert {m for f in (left, right) for m in f.measures} == set(whole.measures)
    assert left.conditions == right.conditions == whole.conditions
    assert {o for f in parted.findings for o in f.origins} == {"f1"}
    assert {e.findings for e in parted.draft.ledger.entries if e.kind == "evidence"} == {("f1a", "f1b")}
    assert priced(parted) == priced(start)  # one axle set, as before
    joined = desk.top(Split(finding="f1", into=(("front left",), ("front right",))),
                      Merge(findings=("f1b", "f1a")))  # fmt: skip
    one = joined.findings[0]
    assert (one.id, one.made, one.origins) == ("f1a", "merged", ("f1",))
    assert one.finding.heard == whole.heard
    assert {m.value for m in one.finding.measures} == {m.value for m in whole.measures}
    assert priced(joined) == priced(start)


def test_a_split_that_loses_a_side_is_refused(desk_saying: Saying) -> None:
    desk = desk_saying("Front struts are leaking, replace them.")
    top = desk.top(Split(finding="f1", into=(("rear left",), ("front left",))))
    assert "would be lost" in top.idle[0].text
    assert top.draft == desk.top().draft


def test_merging_keeps_all_evidence_under_the_smallest_id(desk_saying: Saying) -> None:
    desk = desk_saying("Left front ball joint is loose, replace it. Horn is fine.")
    said = desk.say("right front ball joint is worn replace it soon")
    before = desk.top(said)
    top = desk.top(said, Merge(findings=("s1-1", "f1")))
    one = top.finding("f1")
    assert one is not None
    assert (one.made, one.origins) == ("merged", ("f1", "s1-1"))
    assert one.finding.positions == ("front left", "front right")
    both = [_finding(before, "f1"), _finding(before, "s1-1")]
    assert {s for f in both for s in f.heard} == set(one.finding.heard)
    assert {c.id for f in both for c in f.conditions} == {c.id for c in one.finding.conditions}
    assert one.finding.urgency == "soon"
    assert top.finding("s1-1") is None
    (line,) = [x.line for x in top.lines if x.line.kind == "labour"]
    assert line.positions == ("front left", "front right")
    assert line.quantity == 2
    assert {i for e in top.draft.ledger.entries for i in e.findings} == {"f1", "f2"}
    after = desk.top(said, Merge(findings=("s1-1", "f1")), ChangeFinding(finding="s1-1", urgency="now"))
    assert "is now f1" in after.idle[0].text


def test_what_contradicts_itself_is_not_merged(desk_saying: Saying) -> None:
    desk = desk_saying("Left front tire is bald, replace it. Right front tire is fine.")
    top = desk.top(Merge(findings=("f1", "f2")))
    assert "defective and another is not" in top.idle[0].text
    assert top.draft == desk.top().draft


def test_what_was_answered_stays_answered_after_a_split(desk_named: Callable[[str], Desk]) -> None:
    desk = desk_named("without-a-breath")
    start = desk.top()
    ask = next(
        a for a in start.asks if a.ask.code == "unsure" and len(_finding(start, a.about).positions) == 2
    )
    parts = tuple((p,) for p in _finding(start, ask.about).positions)
    split = Split(finding=ask.about, into=parts)
    asked = [a for a in desk.top(split).asks if a.ask == ask.ask and a.state == "open"]
    assert len(asked) == 2
    given = desk.top(Answer(key=ask.key, choice="yes"), split)
    assert not [a for a in given.asks if a.ask == ask.ask and a.state == "open"]


def _finding(top: Worktop, id_: str) -> Finding:
    state = top.finding(id_)
    assert state is not None
    return state.finding


def test_the_part_of_a_whole_that_is_put_aside_is_left_without_work(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD + " Left front tie rod end boot is torn.")
    start = desk.top()
    assert [f.stands for f in start.findings] == ["work", "covered"]
    lines = [PutAside(target=x.id, reason="not today") for x in start.lines]
    top = desk.top(*lines)
    assert [f.stands for f in top.findings] == ["work", "open"]
    assert any(h.kind == "finding" and h.target == "f2" for h in top.hindrances)
    whole = desk.top(PutAside(target="f1", reason="not today"))
    assert open_codes(whole) == ["no_advice"]


def test_put_aside_takes_words_and_money_out_and_back(desk_saying: Saying) -> None:
    desk = desk_saying(BEARINGS)
    start = desk.top()
    top = desk.top(PutAside(target="f2", reason="new last month"))
    assert [f.id for f in top.findings] == ["f1"]
    assert top.aside[0].reason == "new last month"
    assert priced(top) < priced(start)
    assert all("f2" not in e.findings for e in top.draft.ledger.entries)
    assert any("new last month" in e.why for e in top.draft.ledger.entries)
    back = desk.top(PutAside(target="f2", reason="x"), BringBack(target="f2"))
    assert back.draft == start.draft
    line = start.lines[0].id
    again = desk.top(PutAside(target=line, reason="x"), BringBack(target=line))
    assert again.draft == start.draft


# --- lines, jobs, words


def test_an_added_line_counts_and_needs_a_confirmation(desk_saying: Saying) -> None:
    desk = desk_saying(BEARINGS)
    start = desk.top()
    line = AddedLine(id="", kind="fee", name="disposal", operation="service", unit_price=Decimal("12.5"))
    top = desk.top(AddLine(line=line))
    assert top.line("a1") is not None
    assert priced(top) - priced(start) == Decimal("12.50")
    assert any(h.target == "a1" for h in top.hindrances)
    inside = desk.top(AddLine(line=line.model_copy(update={"job": start.lines[0].job})))
    state = inside.line("a1")
    assert state is not None
    assert state.job == start.lines[0].job
    dearer = desk.top(AddLine(line=line), ChangeLine(change=LineChange(line="a1", unit_price=Decimal(20))))
    assert priced(dearer) - priced(start) == 20
    off = desk.top(AddLine(line=line), PutAside(target="a1", reason="not ours"))
    assert priced(off) == priced(start)
    assert [a.target for a in off.aside] == ["a1"]


def test_an_added_line_without_a_price_is_asked_about(desk_saying: Saying) -> None:
    desk = desk_saying(BEARINGS)
    add = AddLine(line=AddedLine(id="", kind="part", name="hub cap", operation="replace"))
    top = desk.top(add)
    key = next(a.key for a in top.asks if a.about == "a1")
    assert {h.kind for h in top.hindrances if h.target == "a1"} == {"line", "price"}
    done = desk.top(add, Answer(key=key, text="18"))
    state = done.line("a1")
    assert state is not None
    assert state.line.amount == Decimal("18.00")
    assert not [a for a in done.asks if a.state == "open" and a.about == "a1"]


def test_a_job_put_off_is_in_no_total(desk_saying: Saying) -> None:
    desk = desk_saying(
        "Left front wheel bearing is noisy, replace it now. Cabin air filter is dirty, replace it some time."
    )
    start = desk.top()
    jobs = list(dict.fromkeys(x.job for x in start.lines))
    assert len(jobs) == 2
    top = desk.top(PutOff(job=jobs[1], by="customer"))
    assert [x.put_off for x in top.lines] == [x.job == jobs[1] for x in top.lines]
    assert priced(top) < priced(start)
    gone = desk.top(PutOff(job=jobs[1], by="customer"), PutAside(target="f2", reason="x"))
    assert [i.seq for i in gone.idle] == [1]
    assert desk.top(PutOff(job="no such job")).idle


def test_a_line_that_is_gone_is_told(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD)
    line = desk.top().lines[0].id
    change = ChangeLine(change=LineChange(line=line, hours=Decimal(2)))
    top = desk.top(change, Confirm(line=line), ChangeFinding(finding="f1", component="ball_joint"))
    assert [i.seq for i in top.idle] == [1, 2]
    assert all("not on the draft any more" in i.text for i in top.idle)
    assert all(x.line.hours != 2 for x in top.lines)


def test_a_typed_sentence_adds_findings_and_words(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD, spoken=True)
    start = desk.top()
    top = desk.top(desk.say("right rear shock is leaking replace it"))
    new = top.findings[-1]
    assert (new.id, new.made) == ("s1-1", "typed")
    assert new.finding.heard[0].read.startswith("right rear shock")
    span = new.finding.heard[0]
    words = top.draft.transcript.words
    assert " ".join(w.read for w in words[span.first : span.last]) == span.read
    assert words[: len(start.draft.transcript.words)] == start.draft.transcript.words
    assert priced(top) > priced(start)
    assert top.typed[0].findings == ("s1-1",)
    assert "right rear shock" in to_html(top.draft)  # the papers can show such words
    again = desk.top(desk.say("right rear shock is leaking replace it"), desk.say("horn is dead replace it"),
                     Undo(seq=1))  # fmt: skip
    horn = again.findings[-1].finding
    words = again.draft.transcript.words
    assert " ".join(w.read for w in words[horn.heard[0].first : horn.heard[0].last]) == horn.heard[0].read


def test_typed_words_that_give_nothing_are_kept(desk_saying: Saying) -> None:
    top = desk_saying(TIE_ROD).top(Say(text="the whatsit is knackered"))
    assert top.typed[0].findings == ()
    assert "whatsit" in top.draft.transcript.text


def test_unheard_speech_is_answered_by_typing_it(workshop: Workshop) -> None:
    desk = tune_desk(workshop, "two-voices-sedan")
    unheard = Ask(code="unheard", field="transcript", message="Between 0:10 and 0:12 someone speaks. What?",
                  choices=("nothing about the vehicle", "type what was said"))  # fmt: skip
    desk.base = desk.base.model_copy(update={"asks": (unheard,)})
    key = next(a.key for a in desk.top().asks if a.about == "recording")
    waiting = desk.top(Answer(key=key, choice="type what was said")).ask(key)
    assert waiting is not None
    assert waiting.state == "open"
    typed = desk.say("horn is dead replace it").model_copy(update={"answers": key})
    done = desk.top(Answer(key=key, choice="type what was said"), typed).ask(key)
    assert done is not None
    assert (done.state, done.seq) == ("answered", 2)
    assert desk.top(Answer(key=key, choice="nothing about the vehicle")).draft.asks == ()


def test_words_without_a_place_are_settled_or_placed(desk_named: Callable[[str], Desk]) -> None:
    desk = desk_named("scratch-that-hatch")
    start = desk.top()
    words, other = start.unplaced[0], start.unplaced[1]
    chat = SettleUnplaced(first=words.first, last=words.last, how="not about the vehicle")
    finding = start.findings[0].id
    place = PlaceWords(first=other.first, last=other.last, finding=finding)
    top = desk.top(chat, place)
    assert [u.state for u in top.unplaced[:2]] == ["settled", "settled"]
    assert len(top.draft.unplaced) == len(start.draft.unplaced) - 2
    assert any((s.first, s.last) == (other.first, other.last) for s in _finding(top, finding).heard)
    entry = next(e for e in top.draft.ledger.entries if e.first == other.first)
    assert (entry.kind, entry.findings) == ("evidence", (finding,))
    assert top.summary.unplaced == start.summary.unplaced - 2
    assert desk.top(SettleUnplaced(first=0, last=1, how="added")).idle


# --- replay


def test_decisions_go_by_their_numbers(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD)
    items = [
        Numbered(seq=9, decision=BringBack(target="f1")),
        Numbered(seq=4, decision=PutAside(target="f1", reason="x")),
    ]
    assert desk.numbered(items).idle == ()
    with pytest.raises(ValueError, match="same number"):
        desk.numbered([items[0], items[0]])


def test_undo_of_undo_and_undo_of_nothing(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD)
    aside = PutAside(target="f1", reason="x")
    assert desk.top(aside, Undo(seq=1)).lines
    assert not desk.top(aside, Undo(seq=1), Undo(seq=2)).lines
    twice = desk.top(aside, Undo(seq=1), Undo(seq=1))
    assert twice.lines
    assert "taken back already" in twice.idle[0].text
    assert "no earlier decision" in desk.top(Undo(seq=1)).idle[0].text
    assert twice.undone == (1,)


def test_an_estimator_is_an_option(desk_saying: Saying) -> None:
    desk = desk_saying(TIE_ROD)
    shop = desk.workshop
    plain = worktop(desk.base, (), lexicon=shop.lexicon, shop=shop.shop, market=shop.market)
    assert plain == desk.top()
    counted = Estimator(lexicon=shop.lexicon, shop=shop.shop, market=shop.market)
    desk.top(estimator=counted)
    once = counted.made
    desk.top(estimator=counted)
    assert counted.made == once == 1
