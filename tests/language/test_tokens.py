"""Words to tokens: what hangs on a word is kept beside it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from language_kit import spoken, typed

from voicecheck.language.tokens import tokenise
from voicecheck.records.transcript import Transcript, Word


def texts(text: str) -> list[str]:
    return [token.text for token in tokenise(typed(text))]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Left-front TIRE's low.", ["left", "front", "tire's", "low"]),
        ("thirty-seconds", ["thirty", "seconds"]),
        ("4/32nds", ["4/32", "nds"]),
        ("12.4V", ["12.4", "v"]),
        ("60%", ["60", "%"]),
        ("A.C. is dead", ["ac", "is", "dead"]),
        ("122,000 miles", ["122000", "miles"]),
        ("3½ mm", ["3", "1/2", "mm"]),
        ("it’s “gone”", ["it's", "gone"]),
    ],
)
def test_words_are_plain(text: str, expected: list[str]) -> None:
    assert texts(text) == expected


def test_every_token_remembers_its_word() -> None:
    tokens = tokenise(typed("the left-front tire"))
    assert [(t.text, t.word) for t in tokens] == [("the", 0), ("left", 1), ("front", 1), ("tire", 2)]


@pytest.mark.parametrize("text", ["worn. next", "worn! next", "worn? next", "worn; next", "worn.” next"])
def test_stops(text: str) -> None:
    first, second = tokenise(typed(text))
    assert first.stop
    assert not first.comma
    assert not second.stop


@pytest.mark.parametrize("text", ["worn, next", "worn: next", "worn - next", "worn – next", "worn— next"])
def test_commas_and_dashes(text: str) -> None:
    first, second = tokenise(typed(text))
    assert first.comma
    assert not first.stop
    assert not second.comma


def test_a_hyphen_inside_a_word_is_no_comma() -> None:
    assert not any(t.comma or t.stop for t in tokenise(typed("a thirty-second gap")))


def test_marks_hang_on_the_last_token_of_a_word() -> None:
    left, front, _ = tokenise(typed("left-front, worn"))
    assert (left.comma, front.comma) == (False, True)


def test_a_decimal_point_is_no_stop() -> None:
    assert not any(t.stop for t in tokenise(typed("12.4 volts")))


def test_a_word_of_marks_alone_lends_them_to_the_word_before() -> None:
    tokens = tokenise(typed("worn ... next"))
    assert [(t.text, t.stop) for t in tokens] == [("worn", True), ("next", False)]
    assert tokens[1].word == 2


def test_pauses_are_measured_to_the_next_word() -> None:
    tokens = tokenise(spoken("pads _ _ worn"))
    assert tokens[0].pause_s == pytest.approx(1.0)
    assert tokens[1].pause_s == 0.0


def test_overlapping_times_make_no_negative_pause() -> None:
    words = (
        Word(heard="a", read="a", start=0.0, end=1.0),
        Word(heard="b", read="b", start=0.5, end=1.5),
    )
    assert [t.pause_s for t in tokenise(Transcript(text="a b", words=words))] == [0.0, 0.0]


def test_what_was_read_counts_not_what_was_heard() -> None:
    words = (Word(heard="rodent", read="rod end"),)
    assert [t.text for t in tokenise(Transcript(text="rod end", words=words))] == ["rod", "end"]


def test_no_words_no_tokens() -> None:
    assert tokenise(Transcript(text="", words=())) == ()
    assert tokenise(typed("... , !")) == ()


@given(st.text(max_size=60))
def test_any_text_gives_ordered_tokens_within_its_words(text: str) -> None:
    transcript = typed(text)
    tokens = tokenise(transcript)
    places = [t.word for t in tokens]
    assert places == sorted(places)
    assert all(0 <= at < len(transcript.words) for at in places)
    assert all(t.text and t.text == t.text.strip() and " " not in t.text for t in tokens)
