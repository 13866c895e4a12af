"""Statements, questions, suppositions, general remarks and what others say."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from language_kit import marks_of

from voicecheck.records.reading import Reading

Read = Callable[[str], Reading]


def stretches(reading: Reading) -> list[tuple[str, str]]:
    """Mood and words of each clause."""
    return [(c.mood, " ".join(t.text for t in reading.tokens[c.first : c.last])) for c in reading.clauses]


def moods_of(reading: Reading) -> list[str]:
    return [c.mood for c in reading.clauses]


@pytest.mark.parametrize(
    "text",
    [
        "Is the left front leaking?",
        "Did you check the brakes?",
        "What's the tread on that one?",
        "Have you got the spare?",
        "Okay, is that boot torn?",
        "Do you want the wipers done?",
        "Should I replace the pads?",
    ],
)
def test_questions(read: Read, text: str) -> None:
    assert set(moods_of(read(text))) == {"question"}


@pytest.mark.parametrize(
    "text",
    [
        "The pads are good, right?",
        "Rotors are scored, yeah?",
        "That boot's torn, isn't it?",
        "Those are worn, aren't they?",
        "The boot is torn?",
    ],
)
def test_a_tag_asks_nothing(read: Read, text: str) -> None:
    assert moods_of(read(text)) == ["said"]


def test_the_tag_right_is_no_side(read: Read) -> None:
    assert marks_of(read("The pads are good, right?"), "place") == []
    (side,) = marks_of(read("The left one's torn, right?"), "place")
    assert side.id == "left"


def test_a_question_does_not_colour_the_answer(read: Read) -> None:
    assert moods_of(read("Why is that leaking? The boot is torn.")) == ["question", "said"]


@pytest.mark.parametrize("text", ["Can you replace the wipers?", "Could somebody look into the noise?"])
def test_a_request_for_work_is_said(read: Read, text: str) -> None:
    assert moods_of(read(text)) == ["said"]


@pytest.mark.parametrize(
    "text",
    [
        "If the rotors were below minimum we would replace them.",
        "If the mount was broken you'd feel it.",
        "A bad one would clunk",
    ],
)
def test_suppositions(read: Read, text: str) -> None:
    assert moods_of(read(text)) == ["hypothetical"]


def test_a_supposition_ends_at_but(read: Read) -> None:
    assert stretches(read("A bad one would clunk, but this one is tight")) == [
        ("hypothetical", "a bad one would clunk"),
        ("said", "but this one is tight"),
    ]


def test_a_condition_behind_advice_is_no_supposition(read: Read) -> None:
    assert moods_of(read("Replace the sensor if it comes back")) == ["said"]


@pytest.mark.parametrize("text", ["These always leak", "they all do that"])
def test_general_remarks(read: Read, text: str) -> None:
    assert moods_of(read(text)) == ["general"]


def test_a_general_remark_ends_at_the_comma(read: Read) -> None:
    assert stretches(read("These always leak, this one is dry")) == [
        ("general", "these always leak"),
        ("said", "this one is dry"),
    ]


@pytest.mark.parametrize(
    ("text", "reported"),
    [
        ("customer says the brakes squeal, pads are at four mil", "customer says the brakes squeal"),
        ("he reckons the battery is dead, it tests fine", "he reckons the battery is dead"),
        ("She said it pulls left, tie rod end is loose", "she said it pulls left"),
    ],
)
def test_what_others_say_ends_at_the_comma(read: Read, text: str, reported: str) -> None:
    found = stretches(read(text))
    assert found[0] == ("reported", reported)
    assert found[1][0] == "said"


def test_what_others_say_ends_at_the_stop(read: Read) -> None:
    found = moods_of(read("customer states a noise at the left front. Left front hub is rough."))
    assert found == ["reported", "said"]


@pytest.mark.parametrize(
    "text",
    [
        "The boot is torn.",
        "Replace both.",
        "Left front tire is at four.",
        "What a mess. ",
        "It is leaking at the pump",
    ],
)
def test_plain_statements(read: Read, text: str) -> None:
    assert moods_of(read(text)) == ["said"]


def test_every_stretch_of_a_clause_is_kept(read: Read) -> None:
    reading = read("customer says it squeals, pads are worn, these always do, but rotors are fine")
    assert reading.clauses[0].first == 0
    assert all(a.last == b.first for a, b in zip(reading.clauses, reading.clauses[1:], strict=False))
    assert reading.clauses[-1].last == len(reading.tokens)


@pytest.mark.parametrize(
    "text", ["If they keep the car, do the struts", "If it comes back, replace the sensor"]
)
def test_advice_under_a_condition_is_said(read: Read, text: str) -> None:
    assert "said" in moods_of(read(text))


def test_if_it_was_mine_is_a_recommendation(read: Read) -> None:
    assert moods_of(read("If it was mine I'd replace both")) == ["said"]


def test_what_they_usually_do(read: Read) -> None:
    assert moods_of(read("these things usually crack at the flange")) == ["general"]


@pytest.mark.xfail(strict=True, reason="“unless” supposes nothing yet, so its part counts as seen faulty")
def test_unless(read: Read) -> None:
    assert moods_of(read("unless the bearing is noisy it stays"))[0] == "hypothetical"


def test_last_time(read: Read) -> None:
    assert moods_of(read("last time the pads were worn"))[0] != "said"
