"""Spoken and written numbers with units."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from language_kit import Numbers, in_words, spoken, typed, value
from number_parser import parse_number
from text_to_num import alpha2digit

from voicecheck.language.quantities import depth_talk
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import Workshop
from voicecheck.records.reading import Mark
from voicecheck.records.vocabulary import UNITS, Market

MM, IN, THOU, N32 = "mm", "in", "0.001 in", "1/32 in"


def one(numbers: Numbers, text: str, *, tread: bool = False) -> Mark:
    """The only quantity of a text."""
    found = numbers.marks(typed(text), tread=tread)[1]
    assert len(found) == 1, [(m.value, m.unit) for m in found]
    return found[0]


# --- units ---


@pytest.mark.parametrize(
    ("text", "expected", "unit"),
    [
        ("three millimetres", "3", MM),
        ("three millimeters", "3", MM),
        ("three mil left", "3", MM),
        ("three mils", "3", MM),
        ("six em em", "6", MM),
        ("4mm", "4", MM),
        ("3.5 mm", "3.5", MM),
        ("6mil", "6", MM),
        ("one mil", "1", MM),
        ("twenty five point one mil", "25.1", MM),
        ("twenty five one mil", "25.1", MM),
        ("two thou", "2", THOU),
        ("two thousandths", "2", THOU),
        ("five thousandths of an inch", "5", THOU),
        ("five hundred thousandths", "500", THOU),
        ("four volts", "4", "V"),
        ("12.4V", "12.4", "V"),
        ("650A", "650", "A"),
        ("four hundred and eighty amps", "480", "A"),
        ("thirty two psi", "32", "psi"),
        ("thirty two p s i", "32", "psi"),
        ("thirty two pounds", "32", "psi"),
        ("28psi", "28", "psi"),
        ("one eighty psi", "180", "psi"),
        ("two point two bar", "2.2", "bar"),
        ("sixty percent", "60", "%"),
        ("sixty per cent", "60", "%"),
        ("60%", "60", "%"),
        ("forty five foot pounds", "45", "ft·lb"),
        ("a hundred newton metres", "100", "N·m"),
        ("five litres", "5", "L"),
        ("three years old", "3", "year"),
        ("cranked it for thirty seconds", "30", "s"),
    ],
)
def test_units(numbers: Numbers, text: str, expected: str, unit: str) -> None:
    mark = one(numbers, text)
    assert (mark.value, mark.unit) == (Decimal(expected), unit)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("four thirty-seconds", "4"),
        ("four thirty seconds", "4"),
        ("four thirty second", "4"),
        ("four thirty-seconds of an inch", "4"),
        ("one thirty-second of an inch", "1"),
        ("4/32", "4"),
        ("4/32nds", "4"),
        ("4⁄32", "4"),
        ("4 32nds", "4"),
        ("4-32nds", "4"),
        ("4 32s", "4"),
        ("4:30 seconds", "4"),
        ("4 30 seconds", "4"),
        ("430 seconds", "4"),
        ("1030 seconds", "10"),
        ("432 seconds", "4"),
        ("four over thirty two", "4"),
        ("four over 32", "4"),
        ("four thirty twos", "4"),
        ("eleven thirty-seconds", "11"),
        ("four and a half thirty-seconds", "4.5"),
    ],
)
def test_thirty_seconds(numbers: Numbers, text: str, expected: str) -> None:
    mark = one(numbers, text)
    assert (mark.value, mark.unit) == (Decimal(expected), N32)
    # ... and in a sentence about something else, the same
    mark = one(numbers, f"the left front is at {text} so that one is fine")
    assert (mark.value, mark.unit) == (Decimal(expected), N32)


@pytest.mark.parametrize(
    "text",
    [
        "cranked it for thirty seconds",
        "cranked it for 30 seconds",
        "held it there thirty seconds",
        "let it idle for 30 seconds and it stalled",
        "ran it for thirty two seconds",
        "cranked it twice, thirty seconds each",
        "took it up to four. Thirty seconds later it died",
        "9930 seconds",
    ],
)
def test_seconds_are_no_thirty_seconds(numbers: Numbers, text: str) -> None:
    assert not [mark for mark in numbers.marks(typed(text))[1] if mark.unit == N32]


def test_for_30_seconds_is_a_tread_depth_only_where_tread_is_talked_of(numbers: Numbers) -> None:
    """A recogniser writes "for 30 seconds" for "four thirty-seconds"; by itself it is a time."""
    assert numbers.said("for 30 seconds") == [(Decimal(30), "s")]
    assert numbers.said("left front for 30 seconds", tread=True) == [(Decimal(4), N32)]
    assert numbers.said("left front 4.32", tread=True) == [(Decimal(4), N32)]
    assert numbers.said("left front four thirty-two", tread=True) == [(Decimal(4), N32)]
    assert numbers.said("battery is four thirty-two amps") == [(Decimal(432), "A")]


# --- decimals, halves, fractions ---


@pytest.mark.parametrize(
    ("text", "expected", "unit"),
    [
        ("twelve point four", "12.4", None),
        ("twelve point four volts", "12.4", "V"),
        ("twelve point six five volts", "12.65", "V"),
        ("twelve point sixty five volts", "12.65", "V"),
        ("twelve point oh four", "12.04", None),
        ("point oh oh two", "0.002", None),
        ("point zero zero two inches", "0.002", IN),
        ("point two five", "0.25", None),
        ("oh point five volts", "0.5", "V"),
        ("nought point five millimetres", "0.5", MM),
        ("zero point five of a mil", "0.5", MM),
        ("one point oh two five", "1.025", None),
        ("point 5mm", "0.5", MM),
        (".5 mm", "0.5", MM),
        ("three and a half", "3.5", None),
        ("three and a half mil", "3.5", MM),
        ("two and a quarter inches", "2.25", IN),
        ("two and three quarters", "2.75", None),
        ("3½ mm", "3.5", MM),
        ("3 1/2 mm", "3.5", MM),
        ("half a mil", "0.5", MM),
        ("half a millimetre", "0.5", MM),
        ("half an inch", "0.5", IN),
        ("half inch", "0.5", IN),
        ("a quarter inch", "0.25", IN),
        ("quarter of an inch", "0.25", IN),
        ("three quarters of a mil", "0.75", MM),
        ("three sixteenths", "0.1875", IN),
        ("three sixteenths of an inch", "0.1875", IN),
        ("one eighth", "0.125", IN),
        ("an eighth of an inch", "0.125", IN),
        ("an eighth", "0.125", IN),
        ("3/16", "0.1875", IN),
        ("3/16 inch", "0.1875", IN),
        ("½ inch", "0.5", IN),
        ("six and a half thou", "6.5", THOU),
        ("a mil and a half", "1.5", MM),
        ("two mil and a half", "2.5", MM),
    ],
)
def test_parts_of_one(numbers: Numbers, text: str, expected: str, unit: str | None) -> None:
    mark = one(numbers, text)
    assert (mark.value, mark.unit) == (Decimal(expected), unit)


@pytest.mark.parametrize(
    "text", ["half worn", "three quarters worn", "a quarter turn", "an eighth of a tank"]
)
def test_shares_of_a_thing_measure_nothing(numbers: Numbers, text: str) -> None:
    assert numbers.said(text) == []


@pytest.mark.parametrize(
    ("text", "unit"),
    [("a quart low", "qt"), ("a litre low", "L"), ("an inch of play", IN), ("a mil left", MM)],
)
def test_an_article_before_a_unit_is_one(numbers: Numbers, text: str, unit: str) -> None:
    assert numbers.said(text) == [(Decimal(1), unit)]


def test_half_a_quart_and_a_couple_of_mil(numbers: Numbers) -> None:
    assert numbers.said("half a quart low") == [(Decimal("0.5"), "qt")]
    few = one(numbers, "a couple of mil")
    assert (few.value, few.unit, few.bound) == (Decimal(2), MM, "~")


# --- said in one breath ---


@pytest.mark.parametrize(
    ("text", "expected", "unit"),
    [
        ("twelve four", "12.4", None),
        ("twelve four volts", "12.4", "V"),
        ("12 4 volts", "12.4", "V"),
        ("fourteen two volts", "14.2", "V"),
        ("twelve sixty five volts", "12.65", "V"),
        ("twelve six five volts", "12.65", "V"),
        ("twelve oh four volts", "12.04", "V"),
        ("thirteen nine running", "13.9", None),
        ("six fifty cold crank", "650", "A"),
        ("six fifty cca", "650", "A"),
        ("six fifty amps", "650", "A"),
        ("six oh five amps", "605", "A"),
        ("eighty seven thousand four hundred", "87400", None),
        ("eighty seven thousand four hundred miles", "87400", "mi"),
        ("87 thousand four hundred miles", "87400", "mi"),
        ("eighty-seven four miles", "87400", "mi"),
        ("ninety eight five hundred miles", "98500", "mi"),
        ("one twenty two thousand miles", "122000", "mi"),
        ("one twenty two thousand", "122000", None),
        ("one twenty two thousand four hundred miles", "122400", "mi"),
        ("one oh five thousand miles", "105000", "mi"),
        ("a hundred and twenty two thousand miles", "122000", "mi"),
        ("122,000 miles", "122000", "mi"),
        ("122k miles", "122000", "mi"),
        ("122 k miles", "122000", "mi"),
    ],
)
def test_one_breath(numbers: Numbers, text: str, expected: str, unit: str | None) -> None:
    mark = one(numbers, text)
    assert (mark.value, mark.unit) == (Decimal(expected), unit)


def test_a_reading_out_of_a_rating(numbers: Numbers) -> None:
    assert numbers.said("four eighty out of six fifty") == [(Decimal(480), None), (Decimal(650), None)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("ten nine nine eight", [10, 9, 9, 8]),
        ("ten, nine", [10, 9]),
        ("twelve. Four", [12, 4]),
        ("six five four", [6, 5, 4]),
        ("eighteen twenty psi", [18, 20]),
    ],
)
def test_lists_are_not_joined(numbers: Numbers, text: str, expected: list[int]) -> None:
    assert [found for found, _ in numbers.said(text)] == expected


def test_a_long_pause_keeps_numbers_apart(numbers: Numbers) -> None:
    assert [value(m) for m in numbers.marks(spoken("twelve four volts"))[1]] == [Decimal("12.4")]
    assert [value(m) for m in numbers.marks(spoken("twelve _ _ _ four volts"))[1]] == [12, 4]


# --- ranges and lists ---


@pytest.mark.parametrize(
    ("text", "low", "high", "unit"),
    [
        ("two to three mil", 2, 3, MM),
        ("two or three mil", 2, 3, MM),
        ("2 to 3 mm", 2, 3, MM),
        ("2-3 mm", 2, 3, MM),
        ("between four and five", 4, 5, None),
        ("between four and five mil", 4, 5, MM),
        ("four to five thirty-seconds", 4, 5, N32),
        ("zero to one mil", 0, 1, MM),
        ("twelve to fourteen volts", 12, 14, "V"),
    ],
)
def test_ranges(numbers: Numbers, text: str, low: int, high: int, unit: str | None) -> None:
    mark = one(numbers, text)
    assert (mark.value, mark.high, mark.unit) == (Decimal(low), Decimal(high), unit)


@pytest.mark.parametrize(
    "text",
    [
        "four and five mil",
        "five to four mil",
        "two mil to three volts",
        "two to ninety mil",
        "two, three mil",
    ],
)
def test_no_ranges(numbers: Numbers, text: str) -> None:
    assert [mark.high for mark in numbers.marks(typed(text))[1]] == [None, None]


@pytest.mark.parametrize(
    ("text", "expected", "unit"),
    [
        ("three and four mil", [3, 4], MM),
        ("three, four and five mil", [3, 4, 5], MM),
        ("six, five, four thirty-seconds", [6, 5, 4], N32),
        ("six five four thirty-seconds", [6, 5, 4], N32),
        ("eight and eight thirty-seconds", [8, 8], N32),
        ("thirty and thirty two psi", [30, 32], "psi"),
    ],
)
def test_a_list_shares_its_unit(numbers: Numbers, text: str, expected: list[int], unit: str) -> None:
    assert numbers.said(text) == [(Decimal(n), unit) for n in expected]


def test_no_unit_goes_over_a_stop_or_other_words(numbers: Numbers) -> None:
    assert numbers.said("that makes three. Four mil on the left") == [(Decimal(3), None), (Decimal(4), MM)]
    assert numbers.said("cylinder three leaks and pads are four mil") == [
        (Decimal(3), None),
        (Decimal(4), MM),
    ]


# --- signs, pronouns, names ---


@pytest.mark.parametrize(
    ("text", "expected", "unit"),
    [
        ("minus thirty four", -34, None),
        ("good to minus thirty four", -34, None),
        ("minus thirty four degrees", -34, "°F"),
        ("minus thirty four degrees celsius", -34, "°C"),
        ("negative twenty degrees", -20, "°F"),
        ("minus 34", -34, None),
    ],
)
def test_below_zero(numbers: Numbers, text: str, expected: int, unit: str | None) -> None:
    mark = one(numbers, text)
    assert (mark.value, mark.unit) == (Decimal(expected), unit)


@pytest.mark.parametrize("text", ["the negative terminal is corroded", "negative. Twenty amps"])
def test_negative_without_a_number_is_no_sign(numbers: Numbers, text: str) -> None:
    assert all(found > 0 for found, _ in numbers.said(text))


def test_degrees_follow_the_market(workshop: Workshop) -> None:
    british = Numbers(workshop.lexicon, market="UK")
    assert british.said("minus thirty four degrees") == [(Decimal(-34), "°C")]
    assert british.said("forty degrees fahrenheit") == [(Decimal(40), "°F")]


@pytest.mark.xfail(
    strict=True, reason="the minus sign of a written number is dropped when words become tokens"
)
def test_a_written_minus(numbers: Numbers) -> None:
    assert numbers.said("-34 °C") == [(Decimal(-34), "°C")]


@pytest.mark.parametrize(
    "text",
    [
        "the right one is torn",
        "one of them is loose",
        "one is leaking",
        "another one",
        "the upper ones are dry",
    ],
)
def test_one_the_pronoun_is_no_number(numbers: Numbers, text: str) -> None:
    assert numbers.said(text) == []


@pytest.mark.parametrize("text", ["dot four", "DOT 4", "dot five point one", "code P0301", "the 4wd light"])
def test_names_are_no_numbers(numbers: Numbers, text: str) -> None:
    assert numbers.said(text) == []


def test_an_ordinal_is_no_number(numbers: Numbers) -> None:
    assert numbers.said("the second one from the third cylinder") == []


# --- through the reader: bounds, and who wins over the same words ---


@pytest.mark.parametrize(
    ("text", "bound"),
    [
        ("pads are less than two mil", "<"),
        ("pads are just under two mil", "<"),
        ("pads are about two mil", "~"),
        ("pads are more than two mil", ">"),
        ("pads are two mil", "="),
    ],
)
def test_bounds(workshop: Workshop, text: str, bound: str) -> None:
    marks = [m for c in workshop.reader.read(typed(text)).clauses for m in c.marks if m.kind == "quantity"]
    assert [(m.value, m.unit, m.bound) for m in marks] == [(Decimal(2), MM, bound)]


# --- where depths are talked of ---


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("left front tire is at five", "tire is at five"),
        ("tread left front five. Right rear six", "tread left front five right rear six"),
        ("tire is worn. Battery is dead", "tire is worn"),
        ("battery is dead", ""),
        ("cranked it for 30 seconds", ""),
    ],
)
def test_where_depths_are_talked_of(workshop: Workshop, text: str, expected: str) -> None:
    reading = workshop.reader.read(typed(text))
    marks = [m for clause in reading.clauses for m in clause.marks]
    where = depth_talk(reading.tokens, marks, workshop.lexicon)
    assert " ".join(token.text for at, token in enumerate(reading.tokens) if at in where) == expected


def test_a_misheard_depth_through_the_reader(workshop: Workshop) -> None:
    reading = workshop.reader.read(typed("tires are at for 30 seconds on the left front"))
    found = [m for clause in reading.clauses for m in clause.marks if m.kind == "quantity"]
    assert [(m.value, m.unit) for m in found] == [(Decimal(4), N32)]


def test_degrees_through_the_british_reader(workshop_of: Callable[[Market], Workshop]) -> None:
    reading = workshop_of("UK").reader.read(typed("good to minus thirty four degrees"))
    found = [m for clause in reading.clauses for m in clause.marks if m.kind == "quantity"]
    assert [(m.value, m.unit) for m in found] == [(Decimal(-34), "°C")]


# --- properties ---


def test_every_unit_of_the_grammar_is_one_of_ours(lexicon: Lexicon) -> None:
    values = {term.value for term in lexicon.grammar if term.kind in ("unit", "unit_uk")}
    assert values <= set(UNITS)
    assert values >= {MM, IN, THOU, "V", "A", "psi", "mi", "km", "%", "°C", "°F", "L", "qt"}


@settings(max_examples=250, deadline=None)
@given(number=st.integers(0, 999_999), british=st.booleans(), pick=st.integers(0))
@example(number=100_000, british=False, pick=0)
def test_any_whole_number_comes_back_with_any_unit(
    numbers: Numbers, number: int, british: bool, pick: int
) -> None:
    unit, said = numbers.units[pick % len(numbers.units)]
    assert numbers.said(f"{in_words(number, british=british)} {said}") == [(Decimal(number), unit)]
    # "430 seconds" written is how a recogniser writes four thirty-seconds
    assume(unit != "s" or not re.fullmatch(r"\d{1,2}3[02]", str(number)))
    assert numbers.said(f"it is {number} {said} there") == [(Decimal(number), unit)]


@settings(deadline=None)
@given(number=st.integers(1, 32), british=st.booleans())
def test_any_depth_comes_back_in_thirty_seconds(numbers: Numbers, number: int, british: bool) -> None:
    assert numbers.said(f"{in_words(number, british=british)} thirty-seconds") == [(Decimal(number), N32)]
    assert numbers.said(f"{number}/32") == [(Decimal(number), N32)]
    assert numbers.said(f"{number}30 seconds") == [(Decimal(number), N32)]


@settings(max_examples=150, deadline=None)
@given(whole=st.integers(0, 999), part=st.lists(st.integers(0, 9), min_size=1, max_size=4))
def test_any_decimal_comes_back(numbers: Numbers, whole: int, part: list[int]) -> None:
    digits = " ".join(in_words(digit) for digit in part)
    written = "".join(str(digit) for digit in part)
    assert numbers.said(f"{in_words(whole)} point {digits} volts") == [(Decimal(f"{whole}.{written}"), "V")]
    assert numbers.said(f"{whole}.{written} volts") == [(Decimal(f"{whole}.{written}"), "V")]


_BITS = (
    "one two ten twelve twenty thirty thirty-seconds fifty hundred thousand million zero oh nought point "
    "dot and a half an eighth quarter mil volts amps of over to or between minus negative couple for seconds "
    "32 430 4/32 "
    "1/0 0/0 .5 12.4 122k 3½ -34 °c , . ? … second third thousandths P0301 ¤ - ' 9999999999999999999999"
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.one_of(st.lists(st.sampled_from(_BITS.split()), max_size=14).map(" ".join), st.text(max_size=40)),
    st.booleans(),
)
def test_any_text_is_taken_and_marks_stay_inside_and_apart(numbers: Numbers, text: str, tread: bool) -> None:
    tokens, marks = numbers.marks(typed(text), tread=tread)
    last = 0
    for mark in marks:
        assert mark.kind == "quantity"
        assert 0 <= mark.first < mark.last <= len(tokens)
        assert mark.first >= last, "two quantities over one word"
        last = mark.last
        assert mark.value is not None
        assert mark.value.is_finite()
        assert mark.high is None or mark.high > mark.value


# --- other people's number readers ---


@pytest.mark.external
@settings(max_examples=200, deadline=None)
@given(number=st.integers(0, 100_000), british=st.booleans())
def test_whole_numbers_agree_with_number_parser(numbers: Numbers, number: int, british: bool) -> None:
    """number_parser 0.3.2 (PyPI, BSD licence): ``parse_number`` on cardinals 0–100000 in words.

    Left out, because it does not claim them: decimals ("twelve point four" is no number to it), numbers said
    in pairs ("six fifty"), fractions and units.
    """
    said = in_words(number, british=british)
    theirs = parse_number(said)
    assert theirs == number, "the reference is wrong about its own ground"
    assert numbers.said(f"{said} volts") == [(Decimal(theirs), "V")]


@pytest.mark.external
@settings(max_examples=200, deadline=None)
@given(number=st.integers(0, 999_999), british=st.booleans())
def test_whole_numbers_agree_with_alpha2digit(numbers: Numbers, number: int, british: bool) -> None:
    """text2num 3.1.0 (PyPI, MIT licence): ``alpha2digit`` writes the same sentence with digits.

    We call another function of that library; this holds our own additions (joins, thirty-seconds, halves)
    against its plain answer.
    """
    sentence = f"it reads {in_words(number, british=british)} miles on the clock"
    theirs = alpha2digit(sentence, "en", threshold=0)
    assert theirs == f"it reads {number} miles on the clock"
    assert numbers.said(sentence) == numbers.said(theirs) == [(Decimal(number), "mi")]


@pytest.mark.external
@settings(max_examples=100, deadline=None)
@given(whole=st.integers(0, 99), part=st.integers(0, 9))
def test_decimals_agree_with_alpha2digit(numbers: Numbers, whole: int, part: int) -> None:
    """text2num 3.1.0 (PyPI, MIT licence): decimals of one digit after "point"."""
    sentence = f"{in_words(whole)} point {in_words(part)}"
    theirs = alpha2digit(sentence, "en", threshold=0)
    assert numbers.said(f"{sentence} volts") == [(Decimal(theirs), "V")]
