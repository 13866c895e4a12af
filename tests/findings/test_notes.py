"""A part's statement in as many sayings as it names places."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from voicecheck.findings.items import Cutter
from voicecheck.findings.notes import Note, Saying, is_state, split_sayings
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import Workshop, transcript_from_text
from voicecheck.records.reading import Mark

Split = Callable[[str], list[Saying]]


@pytest.fixture(scope="module")
def split(workshop: Workshop, lexicon: Lexicon) -> Split:
    """The sayings about the first part of a text."""
    cutter = Cutter(lexicon)

    def of(text: str) -> list[Saying]:
        reading = workshop.reader.read(transcript_from_text(text))
        item = cutter.cut(reading.tokens, reading.clauses[0]).items[0]
        return split_sayings(reading.tokens, item.trail)

    return of


def places(sayings: list[Saying]) -> list[list[str]]:
    """The place words of each saying that judges or measures."""
    return [
        [m.id for m in saying.marks if m.kind == "place"]
        for saying in sayings
        if any(is_state(m) for m in saying.marks)
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("pads are four on the left, five on the right", [["left"], ["right"]]),
        ("pads left four, right five", [["left"], ["right"]]),
        ("struts, left is leaking, right is dry", [["left"], ["right"]]),
        ("strut is leaking on the left, and the right is dry", [["left"], ["right"]]),
        (
            "tires left front five, right front four, left rear six",
            [["front left"], ["front right"], ["rear left"]],
        ),
    ],
)
def test_one_saying_for_each_place(split: Split, text: str, expected: list[list[str]]) -> None:
    assert places(split(text)) == expected


@pytest.mark.parametrize(
    "text",
    [
        "strut is leaking and bent",
        "strut is leaking on the left",
        "strut is leaking on the left, badly",
        "tires are good, ten thirty-seconds all the way round",
        "pads are at four mil, evenly worn",
        "boot is torn, grease is gone, not safe",
    ],
)
def test_one_place_one_saying(split: Split, text: str) -> None:
    assert len(places(split(text))) == 1


def test_advice_for_both_stands_by_itself(split: Split) -> None:
    sayings = split("strut is leaking on the left, replace both")
    assert len(sayings) == 2
    assert [m.id for m in sayings[-1].marks if m.kind == "action"] == ["replace"]


def test_a_note_says_something_when_it_judges_or_advises() -> None:
    assert not Note(component="strut").says_something
    assert Note(component="strut", state="ok").says_something
    assert Note(component="strut", action="replace").says_something


def test_denied_advice_advises_nothing() -> None:
    action = Mark(kind="action", first=0, last=1, id="replace")
    assert Saying([action]).advises
    assert not Saying([action.model_copy(update={"negated": True})]).advises


def test_two_notes_of_the_same_words_are_two() -> None:
    assert Note(component="strut") != Note(component="strut")
