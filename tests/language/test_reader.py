"""Clauses over the whole transcript."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from language_kit import marks_of, spoken, typed, words_of

from voicecheck.language import Reader
from voicecheck.language.reader import ReaderSettings
from voicecheck.lexicon.model import TermMatch
from voicecheck.pipeline import Workshop
from voicecheck.records.reading import Reading
from voicecheck.records.transcript import Transcript

Read = Callable[[str], Reading]


def clauses(reading: Reading) -> list[tuple[str, str]]:
    """What opened each clause, and its words."""
    return [
        (clause.opened_by, " ".join(t.text for t in reading.tokens[clause.first : clause.last]))
        for clause in reading.clauses
    ]


def components(reading: Reading) -> list[str]:
    return [m.id for m in marks_of(reading, "component")]


def test_stops_open_clauses(read: Read) -> None:
    assert clauses(read("Boot is torn. Pads are good")) == [
        ("start", "boot is torn"),
        ("stop", "pads are good"),
    ]


def test_commas_open_none(read: Read) -> None:
    assert len(read("boot is torn, pads are good").clauses) == 1


def test_a_long_pause_opens_a_clause(reader: Reader) -> None:
    assert clauses(reader.read(spoken("boot is torn _ _ pads are good"))) == [
        ("start", "boot is torn"),
        ("pause", "pads are good"),
    ]
    assert len(reader.read(spoken("boot is torn _ pads are good")).clauses) == 1


class Deaf:
    """A matcher that knows no phrase."""

    def match(self, words: Sequence[str]) -> tuple[TermMatch, ...]:
        return ()


def test_how_long_a_pause_must_be_is_a_setting(workshop: Workshop) -> None:
    reader = Reader(workshop.lexicon, Deaf(), settings=ReaderSettings(pause_s=0.4))
    assert len(reader.read(spoken("boot is torn _ pads are good")).clauses) == 2


def test_cue_phrases_open_clauses(read: Read) -> None:
    found = clauses(read("boot is torn moving on to the brakes pads are good"))
    assert [opened for opened, _ in found] == ["start", "cue"]
    assert found[1][1].startswith("moving on")


def test_no_name_runs_over_a_stop(read: Read) -> None:
    assert components(read("the wheel bearing is dry")) == ["wheel_bearing"]
    assert "wheel_bearing" not in components(read("that was the wheel. Bearing is dry"))
    assert "oil_pan_gasket" not in components(read("that's the oil pan. Gasket looks dry"))


def test_no_name_runs_over_a_comma_or_a_rest(read: Read, reader: Reader) -> None:
    assert "oil_pan_gasket" not in components(read("oil pan, gasket"))
    assert "oil_pan_gasket" in components(reader.read(spoken("oil pan _ gasket")))
    assert "oil_pan_gasket" not in components(reader.read(spoken("oil pan _ _ _ gasket")))


def test_a_correction_runs_over_its_comma(read: Read) -> None:
    assert marks_of(read("left front, no, sorry, the right front"), "cue", "correction")


def test_an_article_after_a_cue_is_not_part_of_it(read: Read) -> None:
    reading = read("the lower one, I mean the upper one")
    assert [words_of(reading, m) for m in marks_of(reading, "cue", "correction")] == ["i mean"]


@pytest.mark.parametrize(
    ("text", "sides"),
    [
        ("the right strut leaks", ["right"]),
        ("right now it leaks", []),
        ("not much material left", []),
        ("there's nothing left", []),
        ("it's right there", []),
        ("bring it back", []),
        ("it will come back in a month", []),
        ("all right, the left strut leaks", ["left"]),
        ("right, so the left strut leaks", ["left"]),
    ],
)
def test_words_that_are_no_side(read: Read, text: str, sides: list[str]) -> None:
    found = [m.id for m in marks_of(read(text), "place", "side", "axle", "position")]
    assert found == sides


def test_an_occasion_is_no_part_and_no_advice(read: Read) -> None:
    reading = read("at the last oil change it was fine")
    assert marks_of(reading, "component") == []
    assert marks_of(reading, "action") == []


def test_market_settles_a_side(workshop_of: Callable[[str], Workshop]) -> None:
    def side(market: str, text: str) -> list[str]:
        return sorted({m.id for m in marks_of(workshop_of(market).reader.read(typed(text)), "place")})

    assert side("US", "driver side strut leaks") == ["left"]
    assert side("UK", "driver side strut leaks") == ["right"]
    assert side("UK", "offside strut leaks") == ["right"]
    assert side("UK", "nearside strut leaks") == ["left"]


def test_no_words_no_clauses(reader: Reader) -> None:
    assert reader.read(Transcript(text="", words=())) == Reading(tokens=(), clauses=())
    assert reader.read(typed("... , -")) == Reading(tokens=(), clauses=())


def test_a_reader_keeps_nothing_between_calls(reader: Reader) -> None:
    first = reader.read(typed("left front boot is torn"))
    reader.read(typed("no, sorry, the right one. Customer says it squeals"))
    assert reader.read(typed("left front boot is torn")) == first


_WORDS = (
    "the left right front rear boot strut pads oil pan gasket is not torn leaking worn if customer says no "
    "sorry , . ? replace both might be moving on four mil thirty-seconds right? last oil change next up but"
)


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.one_of(st.lists(st.sampled_from(_WORDS.split()), max_size=25).map(" ".join), st.text(max_size=40)))
def test_clauses_cover_all_tokens_once_and_marks_stay_inside(reader: Reader, text: str) -> None:
    reading = reader.read(typed(text))
    if not reading.tokens:
        assert reading.clauses == ()
        return
    assert reading.clauses[0].first == 0
    assert reading.clauses[-1].last == len(reading.tokens)
    assert all(a.last == b.first for a, b in pairwise(reading.clauses))
    for clause in reading.clauses:
        assert clause.first < clause.last
        for mark in clause.marks:
            assert clause.first <= mark.first < mark.last <= clause.last
