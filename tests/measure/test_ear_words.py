"""Sides, numbers, negations, repairs and certainty, counted against the text."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from voicecheck.lexicon.extras import ShopLexicon, WordForms
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.lexicon.model import Cue, PlaceTerm
from voicecheck.measure.ear_words import (
    BINS,
    EarCounts,
    heard_rightly,
    judge_repairs,
    negation_marks,
    number_marks,
    repaired_stretches,
    score_ear,
    side_marks,
    tellers_of,
)
from voicecheck.measure.words import alignment, plain_numbers
from voicecheck.records import Market, Transcript, Unheard, Word

SIDES = (
    ("left", "left", None),
    ("right", "right", None),
    ("left side", "left", None),
    ("right one", "right", None),
    ("nearside", "left", "UK"),
    ("near side", "left", "UK"),
    ("driver side", "left", "US"),
    ("driver side", "right", "UK"),
    ("driver's", "left", "US"),
)
NEGATIONS = ("no", "not", "isn't", "is not", "without", "free of")


@pytest.fixture
def shop(lexicon: ShopLexicon) -> ShopLexicon:
    return with_sides(lexicon, "US")


def with_sides(lexicon: ShopLexicon, market: Market) -> ShopLexicon:
    places = [
        PlaceTerm.model_validate({"said": s, "kind": "side", "value": v, "market": m}) for s, v, m in SIDES
    ]
    cues = tuple(Cue(kind="negation", said=said, value="before") for said in NEGATIONS)
    forms = WordForms(contractions=(("couldn't", "could not"), ("it's", "it is")))
    return lexicon.model_copy(
        update={"market": market, "places": (*lexicon.places, *places), "cues": cues, "forms": forms}
    )


def heard(*words: str | tuple[str, str], certainty: float = 0.9) -> tuple[Word, ...]:
    """Words; a pair is heard and read."""
    pairs = [(word, word) if isinstance(word, str) else word for word in words]
    return tuple(Word(heard=one, read=two, certainty=certainty) for one, two in pairs)


def transcript(words: Sequence[Word], unheard: Sequence[Unheard] = ()) -> Transcript:
    text = " ".join(word.read for word in words if word.read)
    return Transcript(text=text, words=tuple(words), unheard=tuple(unheard))


def counts(shop: ShopLexicon, text: str, said: str | Transcript) -> EarCounts:
    made = transcript(heard(*said.split())) if isinstance(said, str) else said
    return score_ear(text, made, lexicon=shop, matcher=compile_matcher(shop), tellers=tellers_of(shop))


def test_side_words_come_from_the_lexicon_and_its_market(shop: ShopLexicon) -> None:
    us, uk = tellers_of(shop), tellers_of(with_sides(shop, "UK"))
    words = ["the", "driver", "side", "and", "the", "left", "side", "near", "side", "a", "near", "miss"]
    assert side_marks(words, us) == ["", "left", "", "", "", "left", "", "", "", "", "", ""]
    assert side_marks(words, uk) == ["", "right", "", "", "", "left", "", "left", "", "", "", ""]


def test_negations_are_single_words_and_contractions(shop: ShopLexicon) -> None:
    tellers = tellers_of(shop)
    words = ["it", "isn't", "loose", "couldn't", "see", "it's", "not", "free", "of", "rust"]
    assert [w for w, m in zip(words, negation_marks(words, tellers), strict=True) if m] == [
        "isn't", "couldn't", "not",
    ]  # fmt: skip


def test_a_bare_one_is_a_number_only_before_a_unit(shop: ShopLexicon) -> None:
    tellers = tellers_of(shop)
    words = plain_numbers(
        "the right one has one millimeter, the other three and 4/32nds", units=tellers.units
    )
    assert [mark for mark in number_marks(words, tellers) if mark] == ["3", "4/32"]
    mm = plain_numbers("the right one has one millimeters", units=tellers.units)
    assert [mark for mark in number_marks(mm, tellers) if mark] == ["1"]


def test_a_side_turned_missing_and_added(shop: ShopLexicon) -> None:
    text = "left front tie rod end loose then right rear worn then left again"
    same = counts(shop, text, text).sides
    assert (same.total, same.errors) == (3, 0)
    turned = counts(shop, text, text.replace("right", "left")).sides
    assert (turned.turned, turned.missing, turned.added) == (1, 0, 0)
    missing = counts(shop, text, text.replace("right", "bright")).sides
    assert (missing.turned, missing.missing, missing.added) == (0, 1, 0)
    added = counts(shop, text, text.replace("worn", "left worn")).sides
    assert (added.turned, added.missing, added.added) == (0, 0, 1)


def test_numbers_in_words_and_digits_are_the_same(shop: ShopLexicon) -> None:
    text = "front pads at three millimeters and four thirty seconds on the tire"
    said = "front pads at 3 mm and 4/32 on the tire"
    assert counts(shop, text, said).numbers.errors == 0
    assert counts(shop, text, said).numbers.total == 2
    assert counts(shop, text, said.replace("3 mm", "8 mm")).numbers.turned == 1
    assert counts(shop, text, said.replace("3 mm", "free mm")).numbers.missing == 1


def test_is_not_for_isnt_is_no_error_but_a_lost_not_is_one(shop: ShopLexicon) -> None:
    text = "the strut isn't leaking and no play"
    assert counts(shop, text, "the strut is not leaking and no play").negations.errors == 0
    assert counts(shop, text, "the strut is leaking and no play").negations.missing == 1
    assert counts(shop, text, "the strut isn't leaking and not no play").negations.added == 1


def test_repairs_are_right_false_or_idle(shop: ShopLexicon) -> None:
    text = "the right outer tie rod end is loose on the left"
    tellers = tellers_of(shop)
    wanted = plain_numbers(text)
    words = heard(
        "the", ("ride", "right"), ("out", "outer"), ("or", "tie"), ("tight", "rod"), ("rodent", "end"),
        "is", ("loose", "worn"), "on", ("a", "an"), "left",
    )  # fmt: skip
    assert repaired_stretches(words) == [(1, 6), (7, 8), (9, 10)]
    found = judge_repairs(wanted, words, tellers)
    assert (found.made, found.right, found.false, found.idle) == (3, 1, 1, 1)
    # the first one brought a side back: changed, rightly
    assert (found.sides_numbers, found.silent) == (1, 0)


def test_a_side_or_number_read_wrongly_is_silent(shop: ShopLexicon) -> None:
    tellers = tellers_of(shop)
    wanted = plain_numbers("left tire four millimeters", units=tellers.units)
    words = heard(("left", "right"), "tire", ("four", "fourteen"), "millimeters")
    found = judge_repairs(wanted, words, tellers)
    assert (found.made, found.false, found.sides_numbers, found.silent) == (2, 2, 2, 2)


def test_taking_away_a_heard_side_is_silent_even_where_it_was_right_to(shop: ShopLexicon) -> None:
    tellers = tellers_of(shop)
    found = judge_repairs(("bright", "lamp"), heard(("right", "bright"), "lamp"), tellers)
    assert (found.right, found.sides_numbers, found.silent) == (1, 1, 1)
    brought = judge_repairs(("bright", "lamp"), heard(("bright", "right"), "lamp"), tellers)
    assert (brought.false, brought.sides_numbers, brought.silent) == (1, 1, 1)


def test_an_echo_taken_out_is_a_repair_and_punctuation_is_none(shop: ShopLexicon) -> None:
    tellers = tellers_of(shop)
    words = heard("slide", ("slide", ""), "pins", ("stick.", "Stick"))
    assert repaired_stretches(words) == [(1, 2)]
    found = judge_repairs(("slide", "pins", "stick"), words, tellers)
    assert (found.right, found.false) == (1, 0)


def test_another_form_of_the_same_number_changes_none(shop: ShopLexicon) -> None:
    tellers = tellers_of(shop)
    words = heard("tire", ("430", "4/32"), ("seconds", ""))
    found = judge_repairs(("tire", "4/32"), words, tellers)
    assert (found.made, found.sides_numbers) == (1, 0)


def test_certainty_goes_into_its_range_with_what_was_right(shop: ShopLexicon) -> None:
    words = (
        Word(heard="left", read="left", certainty=0.99),
        Word(heard="strut", read="strut", certainty=0.6),
        Word(heard="three", read="three", certainty=0.85),
        Word(heard="mm", read="mm", certainty=0.2),
    )
    found = counts(shop, "right strut 3 millimeters", transcript(words))
    at = {low: number for number, low in enumerate(BINS)}
    word_bins = found.words_certain.bins
    assert found.words_certain.words == 4
    assert (word_bins[at[0.98]].words, word_bins[at[0.98]].right) == (1, 0)
    assert (word_bins[at[0.5]].words, word_bins[at[0.5]].right) == (1, 1)
    assert (word_bins[at[0.0]].words, word_bins[at[0.0]].right) == (1, 1)
    assert (found.sides_certain.words, found.sides_certain.bins[at[0.98]].right) == (1, 0)
    assert (found.numbers_certain.words, found.numbers_certain.bins[at[0.8]].right) == (1, 1)
    assert found.words_certain.expected_error == pytest.approx((0.99 + 0.4 + 0.15 + 0.8) / 4)


def test_alignment_covers_both_rows_where_a_unit_has_two_words_and_where_one_is_empty() -> None:
    assert alignment(("30", "lb ft", "on"), ("30", "lb ft", "of", "on")) == (
        (0, 2, 0, 2), (2, 2, 2, 3), (2, 3, 3, 4),
    )  # fmt: skip
    assert alignment(("a", "b"), ()) == ((0, 2, 0, 0),)
    assert alignment((), ("a",)) == ((0, 0, 0, 1),)
    assert alignment((), ()) == ()
    assert alignment(("a", "b", "c"), ("x", "c")) == ((0, 2, 0, 1), (2, 3, 1, 2))


@pytest.mark.parametrize(
    ("text", "heard", "right"),
    [
        ("tread is twenty two millimeters", "tread is twenty two millimeters", "yyyyy"),
        ("tread is twenty two millimeters", "tread is 22 millimeters", "yyyy"),
        ("tread is twenty two millimeters", "tread is twenty three millimeters", "yynnn"),
        ("four thirty seconds left", "four thirty-seconds left", "yyy"),
        ("pads are four and a half", "pads are five and a half", "yynnnn"),
        ("the left one, not the right", "the left one, not a right", "yyyyny"),
        ("nothing", "", ""),
    ],
)
def test_the_words_of_a_number_are_judged_together(
    shop: ShopLexicon, text: str, heard: str, right: str
) -> None:
    judged = heard_rightly(text, heard.split(), tellers_of(shop))
    assert "".join("y" if one else "n" for one in judged) == right


def test_a_split_side_word_is_right(shop: ShopLexicon) -> None:
    uk = with_sides(shop, "UK")
    found = counts(uk, "nearside strut leaking", "near side strut leaking")
    assert found.sides.errors == 0
    assert sum(b.right for b in found.words_certain.bins) == 4


def test_counts_add_up_and_unheard_is_summed(shop: ShopLexicon) -> None:
    lost = Unheard(start=2.0, end=5.5, why="speech")
    one = counts(shop, "left strut", transcript(heard("left", "strut"), [lost]))
    total = one + counts(shop, "left strut", "right strut")
    assert total.recordings == 2
    assert total.unheard_s == 3.5
    assert (total.sides.total, total.sides.turned) == (2, 1)
    assert total.hearing.words == 4
    assert total.false_repairs_per_1000 == 0.0
    assert EarCounts().false_repairs_per_1000 is None
