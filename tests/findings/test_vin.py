"""Vehicle numbers spelled and written."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from voicecheck.findings.vin import Speller, checked_vin, joined, read_vin, written_vin
from voicecheck.language.tokens import tokenise
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import transcript_from_text
from voicecheck.records.reading import Token
from voicecheck.records.vocabulary import Market

# Published examples and the digit each must have in position 9.
PUBLISHED = [
    "1G4AH59H45G118341",
    "1J9RP1A36A1644345",
    "JH2RC3605MM101581",
    "1M8GDM9AXKP042788",
    "11111111111111111",
]


def tokens(text: str) -> tuple[Token, ...]:
    return tokenise(transcript_from_text(text))


@pytest.fixture(scope="module")
def speller(lexicon: Lexicon) -> Speller:
    return Speller(lexicon)


@pytest.fixture(scope="module")
def heard(speller: Speller) -> Callable[..., str | None]:
    def of(text: str, *, market: Market = "US") -> str | None:
        found = read_vin(tokens(text), speller, first=0, market=market)
        return found.text if found is not None else None

    return of


@pytest.mark.external
@pytest.mark.parametrize("vin", PUBLISHED)
def test_published_numbers_pass(vin: str) -> None:
    """1G4AH59H45G118341: sample of 49 CFR part 565. 1J9RP1A36A1644345: NHTSA outline for new manufacturers,
    p. 18. JH2RC3605MM101581: vsource.org, VIN decoding page. The last two are widely published examples. Each
    was recomputed by hand from tables III and IV of 49 CFR 565.15(c).
    """
    assert checked_vin(vin, market="US") == vin


@pytest.mark.external
def test_a_wrong_check_digit_fails_in_the_us_only() -> None:
    """49 CFR 565.15(c): weighted sum 351, remainder 10, so position 9 must be X and 0 is wrong. Outside North
    America the check digit is optional (ISO 3779; from memory).
    """
    assert checked_vin("1M8GDM9A0KP042788", market="US") is None
    assert checked_vin("1M8GDM9A0KP042788", market="UK") == "1M8GDM9A0KP042788"


@pytest.mark.external
@pytest.mark.parametrize(
    "vin", ["1M8GDM9AXKP04278", "1M8GDM9AXKP0427888", "1M8GDQ9AXKP042788", "", "1M8GDM-AXKP042788"]
)
def test_what_no_number_can_be(vin: str) -> None:
    """49 CFR 565.15: 17 characters; I, O and Q are never used (49 CFR 565.13)."""
    assert checked_vin(vin, market="US") is None
    assert checked_vin(vin, market="UK") is None


@given(
    st.sampled_from(PUBLISHED[:4]), st.integers(0, 16), st.sampled_from("0123456789ABCDEFGHJKLMNPRSTUVWXYZ")
)
def test_one_digit_misheard_is_always_noticed(vin: str, at: int, sign: str) -> None:
    """The weights are prime to 11, so one digit taken for another changes the remainder."""
    both_digits = sign.isdigit() and vin[at].isdigit() and at != 8
    changed = vin[:at] + sign + vin[at + 1 :]
    if both_digits and sign != vin[at]:
        assert checked_vin(changed, market="US") is None
    assert checked_vin(changed, market="US") in (None, changed)


@pytest.mark.parametrize(
    "text",
    [
        "1M8GDM9AXKP042788",
        "1m8gdm9axkp042788",
        "1 M 8 G D M 9 A X K P 0 4 2 7 8 8",
        "1M8 GDM 9AX KP 042788",
        "1-M-8, G-D-M, 9-A-X-K-P, 0-4-2-7-8-8",
        "one m eight gee dee em nine a ex kay pee oh four two seven eight eight",
        "one m eight g d m nine a x k p zero forty two seven eighty eight",
        "one Mike eight golf delta Mike nine alpha x-ray kilo papa zero four two seven double eight",
        "one m as in Mary eight g as in golf d m nine a x k p zero four two seven eight eight",
        "one m eight g d m nine a x k p oh for to seven ate eight",
        "1M8GDM9AXKPO42788",
        "1M8GDM9AXKP042788 and the left strut leaks",
    ],
)
def test_ways_to_spell_one_number(heard: Callable[..., str | None], text: str) -> None:
    assert heard(text) == "1M8GDM9AXKP042788"


def test_double_u(heard: Callable[..., str | None]) -> None:
    assert heard(
        "double u vee ess one two three four five six seven eight nine oh one two three four", market="UK"
    ) == ("WVS12345678901234")


@pytest.mark.parametrize(
    "text",
    [
        "the left strut leaks",
        "K P zero four two seven eight eight",
        "one m eight g d m nine a zero k p oh four two seven eight eight",
        "one m eight g d m left nine a x k p oh four two seven eight eight",
    ],
)
def test_too_few_or_wrong_is_no_number(heard: Callable[..., str | None], text: str) -> None:
    assert heard(text) is None


def test_passing_over_idle_words(speller: Speller) -> None:
    said = tokens("um one m eight g d m uh nine a x k p oh four two seven eight eight")
    assert read_vin(said, speller, first=0, market="US") is None
    found = read_vin(said, speller, first=0, market="US", idle={0, 7})
    assert found is not None
    assert found.text == "1M8GDM9AXKP042788"
    assert (found.first, found.last) == (1, len(said))


def test_a_written_number_is_found_anywhere() -> None:
    found = written_vin(tokens("this one, 1M8GDM9AXKP042788, has a leak"), market="US")
    assert found is not None
    assert found == ("1M8GDM9AXKP042788", 2, 3)
    assert written_vin(tokens("99999999999999999 is no number"), market="UK") is None
    assert written_vin(tokens("abcdefghijklmnopq"), market="UK") is None


def test_the_longest_run_that_fits(speller: Speller) -> None:
    pieces = speller.pieces(tokens("a b one two c d"), first=0)
    found = joined(pieces, lambda text: len(text) == 4)
    assert found is not None
    assert (found.text, found.last) == ("AB12", 4)
    assert joined(pieces, lambda text: len(text) == 40) is None
    assert joined([], lambda text: True) is None


@given(st.text(max_size=40), st.sampled_from(["US", "UK"]))
def test_any_text_gives_a_good_number_or_none(speller: Speller, text: str, market: Market) -> None:
    if not any(letter.isalnum() for letter in text):
        return
    found = read_vin(tokens(text), speller, first=0, market=market)
    assert found is None or checked_vin(found.text, market=market) == found.text


@given(st.text(alphabet="0123456789ABCDEFGHJKLMNPRSTUVWXYZ", min_size=17, max_size=17), st.booleans())
def test_any_characters_spelled_one_by_one_come_back(speller: Speller, vin: str, spaced: bool) -> None:
    assume(spaced or any(sign.isdigit() for sign in vin))  # a word of letters alone is taken for a word
    said = " ".join(vin) if spaced else vin
    found = read_vin(tokens(said), speller, first=0, market="UK")
    assert found is not None
    assert found.text == vin
