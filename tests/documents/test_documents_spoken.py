"""Speech is tidied of hesitations and of nothing else."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from papers_kit import words_of

from voicecheck.documents.spoken import tidied
from voicecheck.records.papers import PlainWords
from voicecheck.records.vocabulary import UNITS

WORDS = words_of("US")


@pytest.mark.parametrize(
    ("said", "printed"),
    [
        ("Um, front pads are at uh three millimeters.", "front pads are at three millimeters."),
        ("Okay so, the the boot is torn", "the boot is torn"),
        ("okay", "okay"),
        ("It's leaking, um.", "It's leaking."),
        ("It's leaking um.", "It's leaking."),
        ("3 mm and 4 mm", "3 mm and 4 mm"),
        ("No, no, the right one", "No, no, the right one"),
        ("Right outer tie rod end", "Right outer tie rod end"),
        ("two two nine", "two two nine"),
        ("Looks like a leak, you know", "Looks like a leak, you know"),
        ("Front discs are lipped and pitted, and", "Front discs are lipped and pitted"),
        ("and", "and"),
        ("um", "um"),
        ("", ""),
        ("It is what it is. It is worn", "It is what it is. It is worn"),
    ],
)
def test_tidied(said: str, printed: str) -> None:
    assert tidied(said, WORDS) == printed


def test_no_unit_is_taken_for_a_hesitation() -> None:
    """ "mm" is a unit, not a hum."""
    assert not {*WORDS.fillers} & {word for unit in UNITS for word in unit.lower().split()}


@given(st.text())
def test_every_word_that_is_no_filler_stays_in_order(text: str) -> None:
    plain_words = PlainWords(components={}, fillers=WORDS.fillers)
    kept = [w.strip(".,;:?!…-–—").casefold() for w in tidied(text, plain_words).split()]
    said = [w.strip(".,;:?!…-–—").casefold() for w in text.split()]
    wanted = [w for w in said if w not in WORDS.fillers] or said
    assert [w for w in kept if w] == [w for w in wanted if w]
