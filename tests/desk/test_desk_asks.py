"""Questions and their answers: every code has a row, every ready answer an effect."""

from __future__ import annotations

import ast
from collections.abc import Callable
from decimal import Decimal
from functools import cache
from pathlib import Path

import pytest
from desk_kit import Desk, desk_of

from voicecheck.desk.answers import Answering
from voicecheck.desk.asks import (
    RULES,
    amount_in,
    ask_key,
    hours_in,
    offered,
    outcome_of,
    part_in,
    places_in,
)
from voicecheck.desk.decisions import Answer
from voicecheck.pipeline import Workshop
from voicecheck.records import Ask

PACKAGE = Path(__file__).resolve().parent.parent.parent / "voicecheck"


@cache
def codes_in_the_source() -> dict[str, str]:
    """Every code that an ``Ask`` is made with, and the file where."""
    found: dict[str, str] = {}
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Ask":
                for keyword in node.keywords:
                    if keyword.arg == "code":
                        for part in ast.walk(keyword.value):
                            if isinstance(part, ast.Constant) and isinstance(part.value, str):
                                found[part.value] = str(path.relative_to(PACKAGE))
    return found


def test_every_code_has_a_row_and_every_row_a_code() -> None:
    codes = codes_in_the_source()
    assert len(codes) > 20
    assert codes.keys() - RULES.keys() == set()
    assert RULES.keys() - codes.keys() == set()


def test_rows_say_rightly_which_stage_asks() -> None:
    stages = {"findings": "findings", "estimate": "estimate", "pipeline.py": "recording"}
    for code, path in codes_in_the_source().items():
        assert RULES[code].made_by == stages[path.split("/")[0]], code


def test_every_effect_is_carried_out_somewhere() -> None:
    effects = {c.effect for rule in RULES.values() for c in rule.choices} | {r.typed for r in RULES.values()}
    assert [e for e in effects if not callable(getattr(Answering, f"_{e}", None))] == []


def test_every_extra_answer_has_a_row() -> None:
    for rule in RULES.values():
        for extra in rule.extra:
            assert any(c.said in (extra.casefold(), "*") for c in rule.choices), (rule.code, extra)


# between them they have most codes; the others are in test_worktop
ANSWERED = ("comeback-brakes", "storyteller-wagon", "uk-ramp-saloon")


@pytest.mark.parametrize("name", ANSWERED)
def test_every_ready_answer_of_a_real_draft_does_something(
    desk_named: Callable[[str], Desk], name: str
) -> None:
    desk = desk_named(name)
    top = desk.top()
    for state in {(a.ask.code, len(a.choices)): a for a in top.asks}.values():  # one of each
        for choice in state.choices:
            after = desk.top(Answer(key=state.key, choice=choice))
            assert after.idle == (), (state.ask.code, choice)
            answered = after.ask(state.key)
            assert answered is not None
            assert answered.answer == choice
            if answered.state == "open":
                assert answered.todo, (state.ask.code, choice)
            else:
                assert (answered.how, answered.seq) == ("answer", 1)


def test_a_key_is_of_the_wording() -> None:
    ask = Ask(code="unsure", message="Is that right?", choices=("yes",))
    assert ask_key("f1", ask) == ask_key("f1", ask.model_copy())
    others = [
        ask_key("f2", ask),
        ask_key("f1", ask.model_copy(update={"message": "Is this right?"})),
        ask_key("f1", ask.model_copy(update={"choices": ("yes", "no")})),
    ]
    assert len({ask_key("f1", ask), *others}) == 4


def test_an_unknown_code_is_closed_by_its_answer() -> None:
    assert outcome_of(Ask(code="brand_new", message="?"), choice="", text="looked").effect == "close"
    assert offered(Ask(code="brand_new", message="?", choices=("a",))) == ("a",)


@pytest.mark.parametrize(
    ("code", "choice", "text", "effect"),
    [
        ("heard_unclearly", "yes", "", "close"),
        ("heard_unclearly", "", "Yes.", "close"),
        ("heard_unclearly", "", "the control arm", "other_part"),
        ("price_open", "", "84.50", "price"),
        ("price_open", "", "to be priced", "to_be_priced"),
        ("charge_again", "", "no", "leave_off"),
        ("follow_on", "Add it", "", "add_follow_on"),
    ],
)
def test_outcomes(code: str, choice: str, text: str, effect: str) -> None:
    assert (
        outcome_of(Ask(code=code, message="?", choices=("Add it",)), choice=choice, text=text).effect
        == effect
    )


@pytest.mark.parametrize(
    ("text", "amount"),
    [("84.50", "84.50"), ("$1,250", "1250"), ("£ 12", "12"), ("90 each", "90"), ("84,50", None), ("", None),
     ("about 90", None), ("12-14", None), ("1e5", None), ("99999999", None)],
)  # fmt: skip
def test_amounts(text: str, amount: str | None) -> None:
    assert amount_in(text) == (None if amount is None else Decimal(amount))


@pytest.mark.parametrize(
    ("text", "hours"), [("1.5", "1.5"), ("2 h", "2"), ("2 hours", "2"), ("an hour", None), ("5000", None)]
)
def test_hours(text: str, hours: str | None) -> None:
    assert hours_in(text) == (None if hours is None else Decimal(hours))


def test_hours_beside_amounts_need_their_unit() -> None:
    assert hours_in("2", unit_needed=True) is None
    assert hours_in("2 h", unit_needed=True) == 2


FRONT = ("front left", "front right")


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("front left", ("front left",)),
        ("the left front one", ("front left",)),
        ("It's the right rear.", ("rear right",)),
        ("front left and rear right", ("front left", "rear right")),
        ("both front", FRONT),
        ("both", FRONT),
        ("left", ("left",)),
        ("rear", ("rear",)),
        ("not the left one", ()),
        ("left, I think, or right", ()),
        ("the one by the battery", ()),
        ("", ()),
    ],
)
def test_places_in_words(workshop: Workshop, text: str, places: tuple[str, ...]) -> None:
    found = places_in(text, workshop.lexicon, FRONT)
    assert found == places or (places == FRONT and found == ("front",))


def test_sides_by_the_market(rules_of: Callable[..., Workshop]) -> None:
    assert places_in("nearside front", rules_of("UK").lexicon) == ("front left",)
    assert places_in("driver side front", rules_of("US").lexicon) == ("front left",)


def test_parts_by_their_names(workshop: Workshop) -> None:
    assert part_in("Outer tie rod end", workshop.lexicon) == "tie_rod_end_outer"
    assert part_in("the water pump", workshop.lexicon) == "water_pump"
    assert part_in("gizmo", workshop.lexicon) == ""


@pytest.mark.parametrize(
    ("choice", "state", "priced"), [("fine", "ok", False), ("faulty, price the work", "defect", True)]
)
def test_what_may_be_fine_or_faulty_is_settled_by_a_person(
    workshop: Workshop, choice: str, state: str, priced: bool
) -> None:
    desk = desk_of(workshop, "The front pads are fine. The horn is fine.")
    ask = Ask(
        code="fine_or_fault", field="state", message="Is it fine?", choices=("fine", "faulty, price the work")
    )
    pads, horn = desk.base.findings
    desk.base = desk.base.model_copy(update={"findings": (pads.model_copy(update={"asks": (ask,)}), horn)})
    key = next(a.key for a in desk.top().asks if a.ask == ask)
    after = desk.top(Answer(key=key, choice=choice))
    answered = after.ask(key)
    assert answered is not None
    assert answered.state != "open"
    assert next(f for f in after.draft.findings if f.id == pads.id).state == state
    assert any(pads.id in line.findings for job in after.draft.estimate.jobs for line in job.lines) == priced
