"""Word errors against jiwer itself, numbers in one form, and trade terms."""

from __future__ import annotations

import jiwer
import pytest

from voicecheck.lexicon import Lexicon, SimpleMatcher, normalise_phrase
from voicecheck.measure.counts import Hearing
from voicecheck.measure.words import missed_terms, plain_numbers, score_hearing, terms_of, word_errors
from voicecheck.records import Transcript, Word

MM: dict[tuple[str, ...], str] = {
    ("millimeters",): "mm",
    ("mm",): "mm",
    ("mil",): "mm",
    ("percent",): "%",
    ("%",): "%",
}
PLAIN = jiwer.Compose(
    [
        jiwer.ToLowerCase(),
        jiwer.RemovePunctuation(),  # type: ignore[no-untyped-call]
        jiwer.RemoveMultipleSpaces(),
        jiwer.Strip(),
        jiwer.ReduceToListOfListOfWords(),
    ]
)


def heard(read: str, before: str | None = None) -> Transcript:
    """A transcript with the words of ``read``, and as many of ``before`` as heard."""
    said = read.split()
    words = tuple(Word(heard=h, read=r) for h, r in zip((before or read).split(), said, strict=True))
    return Transcript(text=read, words=words)


@pytest.mark.external
@pytest.mark.parametrize(
    ("text", "got"),
    [
        ("Right outer tie rod end has play.", "Ride out or tight rodent has play"),
        ("The pads are low, replace them.", "the pads are low replace them"),
        ("Left one, tight. Right one, loose.", "left one right one loose and more"),
        ("Tires good.", ""),
    ],
)
def test_word_error_rate_is_jiwers(lexicon: Lexicon, text: str, got: str) -> None:
    """Source: jiwer.wer with jiwer's own transforms, on texts where both ways to drop punctuation agree."""
    score = score_hearing(text, heard(got), lexicon=lexicon, matcher=SimpleMatcher(lexicon))
    expected = jiwer.wer(text, got, reference_transform=PLAIN, hypothesis_transform=PLAIN)
    assert score.plain_word_error_rate == pytest.approx(expected)


def test_substitution_deletion_insertion() -> None:
    assert word_errors(("a", "b", "c", "d"), ("a", "x", "c", "d", "e")) == 2
    assert word_errors(("a", "b"), ()) == 2


def test_nothing_to_hear_is_refused(lexicon: Lexicon) -> None:
    with pytest.raises(ValueError, match="empty"):
        score_hearing("…", heard("words"), lexicon=lexicon, matcher=SimpleMatcher(lexicon))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Tire four thirty-seconds, worn.", "tire 4/32 worn"),
        ("Tire four thirty-seconds, worn.", "Tire 4 30 seconds worn"),
        ("Tire four thirty-seconds.", "Tire 430 seconds"),
        ("Tire four thirty-seconds.", "Tire 4/32nds."),
        ("ten thirty seconds", "10/32"),
        ("Pads three millimeters", "pads 3 mm"),
        ("Pads three millimeters", "pads 3mm"),
        ("three mil", "3 millimeters"),
        ("two and a half millimeters", "2.5 mm"),
        ("two and a half millimeters", "2½ mm"),
        ("twenty-seven point five", "27.5"),
        ("ninety eight thousand five hundred", "98,500"),
        ("sixty percent", "60%"),
        ("the second one", "the 2nd one"),
        ("six and six", "6 and 6"),
    ],
)
def test_two_spellings_of_a_number_are_one(one: str, other: str) -> None:
    assert plain_numbers(one, units=MM) == plain_numbers(other, units=MM)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("four thirty-seconds", "five thirty-seconds"),
        ("four thirty-seconds", "4/16"),
        ("three millimeters", "four millimeters"),
        ("cranked it for thirty seconds", "cranked it 4/32"),
        ("three point five", "three five"),
        ("the mil", "the millimeters"),  # only after a number is a unit compared by meaning
    ],
)
def test_different_numbers_stay_different(one: str, other: str) -> None:
    assert plain_numbers(one, units=MM) != plain_numbers(other, units=MM)


def test_numbers_are_counted_as_written_too(lexicon: Lexicon) -> None:
    score = score_hearing(
        "tire four thirty seconds", heard("tire 4/32"), lexicon=lexicon, matcher=SimpleMatcher(lexicon)
    )
    assert (score.errors, score.words) == (0, 2)
    assert (score.plain_errors, score.plain_words) == (3, 4)


@pytest.mark.parametrize(
    ("got", "missed"),
    [
        ("left front tie rod end loose, right front tie rod end weeping", 0),
        ("Left front tie-rod ends loose. Right front tie rod end weeping!", 0),
        ("left front tight rodent loose right front tie rod end weeping", 1),
        ("left front tie rod end loose left front tie rod end weeping", 1),  # the wrong side
        ("right front tie rod end weeping left front tie rod end loose", 3),  # the wrong order
        ("loose loose loose", 5),
        ("", 6),
        ("left front tie rod end leaks loose right front tie rod end leaks", 0),  # another word for it
    ],
)
def test_trade_terms_missed(lexicon: Lexicon, got: str, missed: int) -> None:
    text = "Left front tie rod end loose. Right front tie rod end weeping."
    score = score_hearing(text, heard(got), lexicon=lexicon, matcher=SimpleMatcher(lexicon))
    assert (score.terms, score.terms_missed) == (6, missed)


def test_the_longest_term_counts(lexicon: Lexicon) -> None:
    terms = terms_of("outer tie rod end, inner one", SimpleMatcher(lexicon))
    assert [sorted(t)[0][:2] for t in terms] == [("component", "tie_rod_end_outer"), ("place", "inner")]


def test_terms_before_and_after_repair(lexicon: Lexicon) -> None:
    transcript = heard("left front tie rod end loose", "left front tight rod end loose")
    score = score_hearing(
        "left front tie rod end loose", transcript, lexicon=lexicon, matcher=SimpleMatcher(lexicon)
    )
    assert (score.terms_missed, score.heard_missed) == (0, 1)
    assert (score.errors, score.heard_errors) == (0, 1)


def test_hearing_adds_up() -> None:
    whole = Hearing(words=4, errors=1, terms=2, terms_missed=1) + Hearing(words=6, errors=2, terms=2)
    assert whole.word_error_rate == pytest.approx(0.3)
    assert whole.term_error_rate == pytest.approx(0.25)
    assert Hearing().word_error_rate is None


def test_missed_terms_is_what_is_not_in_the_longest_common_row() -> None:
    a, b, c = (frozenset({(x, x, "")}) for x in "abc")
    assert missed_terms([a, b, c], [a, c]) == 1
    assert missed_terms([a, b, c], [c, b, a]) == 2
    assert missed_terms([], [a]) == 0


def test_the_words_compared_are_those_of_the_lexicon() -> None:
    assert plain_numbers("Driver's side, U-joint") == normalise_phrase("Driver's side, U-joint")
