"""Talk without rests is broken where statements begin."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from language_kit import typed

from voicecheck.language import Reader
from voicecheck.records.reading import Reading

Read = Callable[[str], Reading]

WORDS = ["the", "strut", "is", "leaking", "battery", "weak", "and", "replace", "it", "left", "pads", "good"]
LEAD = "okay so this is the old blue hatchback that came in this morning with a lot of miles on it and "


def pieces(reading: Reading) -> list[str]:
    """The stretches between stops."""
    text = " ".join(t.text + ("|" if t.stop else "") for t in reading.tokens)
    return [piece.strip() for piece in text.split("|") if piece.strip()]


@pytest.mark.parametrize(
    ("text", "second"),
    [
        ("the left front strut is leaking the battery is weak", "the battery is weak"),
        ("the left front strut is leaking and the battery's weak", "the battery's weak"),
        ("rear shocks are okay exhaust is solid", "exhaust is solid"),
        ("coolant is dirty flush it battery's weak", "battery's weak"),
        ("rear tires are bald fronts are seven", "fronts are seven"),
    ],
)
def test_a_part_with_its_own_verb_begins_a_statement(read: Read, text: str, second: str) -> None:
    assert pieces(read(LEAD + text))[-1] == second


@pytest.mark.parametrize(
    "text",
    [
        "the strut is leaking so replace the strut",
        "the hose is leaking onto the exhaust",
        "the pads and rotors are worn",
        "the boot is torn because of the axle",
        "the gasket is weeping so keep an eye on the gasket",
    ],
)
def test_a_part_that_belongs_to_the_statement_does_not(read: Read, text: str) -> None:
    assert pieces(read(LEAD + text))[-1].endswith(text)


def test_short_sentences_are_left_alone(read: Read) -> None:
    assert pieces(read("The left front strut is leaking the battery is weak")) == [
        "the left front strut is leaking the battery is weak"
    ]


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.sampled_from(
            [
                "the",
                "strut",
                "is",
                "leaking",
                "battery",
                "weak",
                "and",
                "replace",
                "it",
                "left",
                "pads",
                "good",
            ]
        ),
        max_size=80,
    )
)
def test_no_word_is_lost(reader: Reader, words: list[str]) -> None:
    reading = reader.read(typed(" ".join(words)))
    assert [t.text for t in reading.tokens] == words
