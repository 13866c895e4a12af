"""Choosing between hearings of one sound: where they differ, what is never changed, what is kept."""

from __future__ import annotations

import pytest

from voicecheck.lexicon import load_lexicon
from voicecheck.records import Word
from voicecheck.records.transcript import joined
from voicecheck.resources import lexicon_dir
from voicecheck.speech.choices import (
    Alternative,
    Hearing,
    Weighed,
    alternatives,
    better,
    choice,
    chosen_of,
    could_be_better,
    features_of,
    read_so,
)
from voicecheck.speech.ear import LexiconTools, chosen_between, mended
from voicecheck.speech.evidence import Compared, Evidence
from voicecheck.speech.timeline import Stretch


@pytest.fixture(scope="module")
def tools() -> LexiconTools:
    return LexiconTools(
        load_lexicon(lexicon_dir()), count_tokens=lambda text: len(text.split()), hot_tokens=100
    )


def heard(text: str, certainty: float = 0.4) -> list[Word]:
    return [
        Word(heard=w, read=w, start=n / 2, end=n / 2 + 0.4, certainty=certainty)
        for n, w in enumerate(text.split())
    ]


def fixed(word: str) -> bool:
    return word in {"left", "right", "four", "not", "4"}


def number(word: str) -> bool:
    return word in {"four", "thirty", "4"}


def differing(ours: str, *others: str) -> list[tuple[int, int, str]]:
    found = alternatives(heard(ours), [Hearing(text) for text in others], is_fixed=fixed, is_number=number)
    return [(one.first, one.last, one.text) for one in found]


def test_each_place_and_text_once_with_its_votes() -> None:
    found = alternatives(
        heard("the placed belt is fine"),
        [
            Hearing("the glazed belt is fine"),
            Hearing("The glazed belt, is fine."),
            Hearing("the glazed belt was fine", second=True),
        ],
        is_fixed=fixed,
        is_number=number,
    )
    assert found == [Alternative(1, 2, "glazed", 2, True), Alternative(3, 4, "was", 0, True)]


def test_marks_and_capitals_are_no_difference() -> None:
    assert differing("The belt, is fine", "the belt is fine.") == []


def test_words_put_in_or_left_out_stand_with_a_neighbour() -> None:
    assert differing("oil cooler is dry", "oil cooler line is dry") == [(1, 2, "cooler line")]
    assert differing("disc spark plugs", "spark plugs") == [(0, 2, "spark")]
    assert differing("dry", "") == []


@pytest.mark.parametrize(
    "other",
    ["that boot is torn and", "that boot is torn, replace it", "so that boot is torn", "that boot is"],
)
def test_what_another_hearing_has_more_at_an_end_may_be_of_the_next_window(other: str) -> None:
    assert all(
        len(text.split()) <= last - first for first, last, text in differing("that boot is torn", other)
    )


@pytest.mark.parametrize(
    ("ours", "other"),
    [
        ("the left boot", "the right boot"),
        ("left boot torn", "boot torn"),
        ("at four on it", "at for on it"),
        ("it is leaking", "it is not leaking"),
        ("four thirty seconds left", "four thirty reckons left"),
        ("at four bank", "at four band"),
    ],
)
def test_sides_numbers_and_negations_are_never_another_hearings(ours: str, other: str) -> None:
    assert differing(ours, other) == []


def test_another_hearing_altogether_is_no_alternative() -> None:
    assert differing("a b c d e f g h", "i j k l m n o p") == []


def features(gain: float, terms: int = 0, strange: int = 0) -> dict[str, float]:
    lexicon = Compared(Evidence(1, 1, strange), Evidence(1 + terms, 1 + terms, 0))
    return features_of(heard("the placed belt"), Alternative(1, 2, "glazed", 1, False), gain, lexicon)


def test_the_sound_and_the_lexicon_speak_for_a_hearing() -> None:
    learned = choice()
    assert learned.figures["recordings"]
    assert set(learned.weights) == set(features(0.0))
    assert better(features(3.0, terms=1), learned) > better(features(-3.0, terms=1), learned)
    assert better(features(0.0, terms=1), learned) > better(features(0.0), learned)
    assert better(features(6.0, terms=1), learned) >= learned.least
    assert could_be_better(features(-9.0, terms=1), learned)
    assert better(features(-12.0), learned) < learned.least


def test_of_those_that_overlap_the_better_supported() -> None:
    one = Weighed(Alternative(1, 3, "a", 1, False), 1.0, 0.7)
    two = Weighed(Alternative(2, 4, "b", 1, False), 1.0, 0.9)
    three = Weighed(Alternative(5, 6, "c", 1, False), 1.0, 0.4)
    assert chosen_of([one, two, three], least=0.5) == [two]
    assert chosen_of([three, one], least=0.3) == [one, three]


def test_what_is_read_keeps_the_marks_of_what_was_heard_and_says_why() -> None:
    words = heard("the placed, belt")
    read = read_so(words, Weighed(Alternative(1, 2, "glazed.", 1, False), 0.6, 0.8))
    assert [(w.heard, w.read, w.certainty) for w in read] == [("placed,", "glazed,", 0.8)]
    assert "also heard as “glazed”" in read[0].why


def test_a_hearing_that_the_sound_speaks_for_is_read(tools: LexiconTools) -> None:
    def score(text: str, stretch: Stretch) -> float:
        return (9.0 if "seeping" in text else 0.0) - 9.0 * ("zerk" in text)

    words = heard("and the lower hose deceiving at the fitting", 0.3)
    hearings = [Hearing("and the lower hose is seeping at the fitting")]
    assert [w.alternative.text for w in chosen_between(words, hearings, tools, score)] == ["is seeping"]
    assert chosen_between(words, hearings, tools, lambda text, stretch: -score(text, stretch)) == []
    result = mended(words, (), tools, score, hearings=hearings)
    assert joined(w.read for w in result) == "and the lower hose is seeping at the fitting"
    assert [w.heard for w in result] == [w.heard for w in words]
