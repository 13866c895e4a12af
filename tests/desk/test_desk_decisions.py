"""Decisions as values: JSON, and the sentences for what cannot be one."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest

from voicecheck.desk.decisions import (
    KINDS,
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
    decision_json,
    parse_decision,
)
from voicecheck.records import AddedLine, InputError, LineChange

ONE_OF_EACH: tuple[Decision, ...] = (
    Confirm(line="f1:A:labour", content="{}"),
    Unconfirm(line="f1:A:labour"),
    ChangeFinding(finding="f1", positions=("front left",), action="repair", reason="looked again"),
    ChangeLine(change=LineChange(line="f1:A:part1", unit_price=Decimal("84.50")), to_be_priced=True),
    AddLine(line=AddedLine(id="", kind="fee", name="storage", operation="service", unit_price=Decimal("9"))),
    PutAside(target="f1", reason="done last week"),
    BringBack(target="f1"),
    Split(finding="f1", into=(("front left",), ("front right",))),
    Merge(findings=("f1", "f2")),
    Say(text="the horn is dead"),
    Answer(key="f1/unsure/0", choice="yes"),
    SettleUnplaced(first=3, last=5, how="already covered"),
    PlaceWords(first=3, last=5, finding="f1"),
    PutOff(job="f1:A:labour", by="customer"),
    Undo(seq=3),
)


def test_there_is_one_of_each_kind() -> None:
    assert {d.kind for d in ONE_OF_EACH} == set(KINDS)


@pytest.mark.parametrize("decision", ONE_OF_EACH, ids=lambda d: d.kind)
def test_json_gives_the_same_decision(decision: Decision) -> None:
    text = json.dumps(decision_json(decision))
    assert parse_decision(text) == decision
    assert parse_decision(json.loads(text)) == decision
    numbered = Numbered(seq=7, decision=decision, by="Ann")
    assert Numbered.model_validate_json(numbered.model_dump_json(by_alias=True)) == numbered


def test_money_is_a_decimal_string() -> None:
    assert decision_json(ONE_OF_EACH[3])["change"]["unit_price"] == "84.50"


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ({"kind": "approve", "line": "x"}, "“approve” is not a kind of decision."),
        ({"line": "x"}, "This is no decision: it says no kind."),
        ({"kind": "put_aside", "target": "f1", "reason": " "}, "reason: say why it is put aside."),
        ({"kind": "merge", "findings": ["f1", "f1"]}, "a finding cannot be merged with itself."),
        ({"kind": "split", "finding": "f1", "into": [["left"], ["left"]]}, "have the same place."),
        ({"kind": "split", "finding": "f1", "into": [["left"], []]}, "each part of a split needs a place."),
        ({"kind": "answer", "key": "k"}, "an answer needs a choice or some words."),
        ({"kind": "change_line", "change": {"line": "x", "unit_price": "-1"}}, "a price must be between 0"),
        ({"kind": "change_line", "change": {"line": "x", "quantity": "0"}}, "a quantity must be more than 0"),
        ({"kind": "change_line", "change": {"line": "x", "hours": "NaN"}}, "hours"),
        ({"kind": "undo", "seq": 1, "why": "x"}, "why: Extra inputs are not permitted."),
        ("{", "The decision cannot be used"),
    ],
)
def test_what_cannot_be_a_decision_is_said_in_a_sentence(value: Any, sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_decision(value)
    assert sentence in caught.value.message
    assert "merge" in caught.value.hint


def test_a_typed_finding_must_be_of_the_typed_words(desk_saying: Any) -> None:
    said = desk_saying("Left front tire is bald, replace it.").say("right rear shock is leaking replace it")
    assert said.findings
    with pytest.raises(ValueError, match="not those of the typed sentence"):
        Say(text="too short", findings=said.findings)
