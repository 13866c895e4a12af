"""Closed-class phrases in tokens."""

from __future__ import annotations

from voicecheck.language.phrases import PhraseFinder
from voicecheck.lexicon.model import GrammarTerm

TERMS = (
    GrammarTerm(kind="list", said="and"),
    GrammarTerm(kind="list", said="as well as"),
    GrammarTerm(kind="copula", said="has"),
    GrammarTerm(kind="copula", said="has got"),
    GrammarTerm(kind="conjunction", said="and"),
    GrammarTerm(kind="unit", said="mil", value="mm"),
    GrammarTerm(kind="unit", said="thousandths of an inch", value="0.001 in"),
    GrammarTerm(kind="unit", said="inch", value="in"),
    GrammarTerm(kind="thirty_seconds", said="thirty-seconds"),
)


def found(text: str) -> list[tuple[str, str, int, int]]:
    return [(m.detail, m.id, m.first, m.last) for m in PhraseFinder(TERMS).find(text.split())]


def test_the_longest_of_a_kind_stands_alone() -> None:
    assert found("it has got play") == [("copula", "has got", 1, 3)]
    assert found("two thousandths of an inch") == [("unit", "0.001 in", 1, 5)]


def test_kinds_do_not_compete() -> None:
    assert sorted(found("pads and rotors")) == [("conjunction", "and", 1, 2), ("list", "and", 1, 2)]


def test_the_value_is_the_id_and_the_wording_where_there_is_none() -> None:
    assert found("three mil as well as") == [("unit", "mm", 1, 2), ("list", "as well as", 2, 5)]


def test_said_with_a_hyphen_is_found_in_tokens() -> None:
    assert found("four thirty seconds") == [("thirty_seconds", "thirty-seconds", 1, 3)]


def test_half_a_phrase_is_none() -> None:
    assert found("as well") == []
    assert found("thousandths of an") == []
    assert found("") == []


def test_the_same_phrase_again_is_found_again() -> None:
    assert [m[2] for m in found("mil mil mil")] == [0, 1, 2]


def test_a_term_without_words_is_harmless() -> None:
    assert PhraseFinder((GrammarTerm(kind="list", said="…"),)).find(["and"]) == []
