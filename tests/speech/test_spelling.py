"""Words that sound the same and are written otherwise."""

from __future__ import annotations

import pytest

from voicecheck.records import Word
from voicecheck.speech.pronounce import Pronouncer
from voicecheck.speech.spelling import Plural, plurals, sides_by_sound

PLACES = ("rears", "fronts", "the rears", "both of the rears", "both fronts")


def heard(text: str) -> list[Word]:
    return [Word(heard=w, read=w, start=n / 2, end=n / 2 + 0.4) for n, w in enumerate(text.split())]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("the rear's are worn", [Plural(1, "rears")]),
        ("the front's were at three, the rear's are fine", [Plural(1, "fronts"), Plural(6, "rears")]),
        ("replace both of the rear's, the left too", [Plural(4, "rears")]),
        ("Both front's need doing", [Plural(1, "fronts")]),
        ("the rear's worn", []),  # the rear is worn
        ("the rear's eight", []),
        ("that's the rear's. Are they worn", []),
        ("the strut's are worn", []),  # no place: its forms are one to the lexicon anyway
        ("the rear's", []),
        ("", []),
    ],
)
def test_a_plural_of_places_is_read_only_where_the_words_beside_it_want_it(
    text: str, found: list[Plural]
) -> None:
    assert plurals(heard(text), PLACES) == found


def test_sides_are_told_by_their_sounds_and_two_of_one_sound_are_not() -> None:
    pronouncer = Pronouncer({"wright": ("R AY T",)})
    by_sound = sides_by_sound(("left", "right"), pronouncer)
    assert by_sound[pronouncer.phrase(("wright",))] == "right"
    assert by_sound[pronouncer.phrase(("left",))] == "left"
    assert pronouncer.phrase(("light",)) not in by_sound
    assert pronouncer.phrase(("wright",)) not in sides_by_sound(("right", "wright"), pronouncer)
