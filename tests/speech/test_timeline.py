"""Stretches of time and the joining of words: no sound, no weights."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.records import Word
from voicecheck.speech.timeline import (
    Piece,
    Splice,
    Stretch,
    crammed,
    echoes,
    joined,
    loops,
    overlap,
    portions,
    uncovered,
    words_from,
)


def heard(*texts: str) -> list[str]:
    return [w.heard for w in words_from([Piece(t, n, n + 1.0, 0.9) for n, t in enumerate(texts)])]


@pytest.mark.parametrize(
    ("pieces", "words"),
    [
        ((" 12", ".4", " volts."), ["12.4", "volts."]),
        ((" 4", "/32", " left"), ["4/32", "left"]),
        ((" 5", "-mm", ","), ["5-mm,"]),
        ((" 98", ",500", " miles"), ["98,500", "miles"]),
        ((" tie", "-rod", " end"), ["tie-rod", "end"]),
        ((" good", " -", " left"), ["good-", "left"]),
        ((" 50", "%", " worn"), ["50%", "worn"]),
        (("Left", " front"), ["Left", "front"]),
        ((" ", " ...", " so"), ["so"]),
        ((), []),
    ],
)
def test_pieces_become_words(pieces: tuple[str, ...], words: list[str]) -> None:
    assert heard(*pieces) == words


def test_joined_word_has_the_time_of_all_and_the_least_certainty() -> None:
    (word,) = words_from([Piece(" 12", 1.0, 1.5, 0.9), Piece(".4", 1.5, 2.0, 0.4), Piece(",", 2.0, 9.0, 0.1)])
    assert (word.heard, word.read, word.start, word.end, word.certainty) == ("12.4,", "12.4,", 1.0, 2.0, 0.4)


def test_certainty_and_time_are_kept_in_range() -> None:
    (word,) = words_from([Piece(" a", 2.0, 1.0, 1.2)])
    assert (word.start, word.end, word.certainty) == (2.0, 2.0, 1.0)


def test_near_stretches_are_joined_and_padding_never_overlaps() -> None:
    speech = [Stretch(0.1, 2.0), Stretch(3.0, 4.0), Stretch(6.5, 8.0)]
    assert joined(speech, gap=2.0, pad=0.4, seconds=8.2) == [
        Stretch(0.0, 4.4),
        Stretch(6.1, 8.2),
    ]
    assert joined(speech, gap=0.5, pad=0.9, seconds=9.0)[:2] == [Stretch(0.0, 2.5), Stretch(2.5, 4.9)]


def test_portions_divide_between_stretches() -> None:
    speech = [Stretch(0, 4), Stretch(5, 9), Stretch(10, 13)]
    assert portions(speech, longest=8) == [speech[:2], speech[2:]]
    assert portions([Stretch(0, 25)], longest=10) == [
        [Stretch(0, 25 / 3)],
        [Stretch(25 / 3, 50 / 3)],
        [Stretch(50 / 3, 25)],
    ]


def test_splice_finds_the_way_back() -> None:
    splice = Splice([Stretch(10, 12), Stretch(20, 23)])
    assert splice.seconds == 5
    assert splice.original(0.5, 1.0) == Stretch(10.5, 11.0)
    assert splice.original(2.5, 3.0) == Stretch(20.5, 21.0)
    assert splice.original(1.8, 2.4) == Stretch(20.0, 20.4)  # across the joint: where its middle is
    assert splice.original(4.5, 9.0) == Stretch(22.5, 23.0)


@given(st.lists(st.tuples(st.floats(0, 500), st.floats(0.2, 50)), min_size=1, max_size=12), st.floats(0, 1))
def test_every_time_of_a_splice_lies_in_its_stretches(raw: list[tuple[float, float]], share: float) -> None:
    kept = joined([Stretch(a, a + b) for a, b in raw], gap=2.0, pad=0.4, seconds=600.0)
    for portion in portions(kept, longest=30.0):
        splice = Splice(portion)
        at = splice.original(share * splice.seconds, share * splice.seconds + 0.2)
        assert any(s.start - 1e-6 <= at.start <= at.end <= s.end + 1e-6 for s in portion)
    dealt = sum(s.seconds for portion in portions(kept, longest=30.0) for s in portion)
    assert dealt == pytest.approx(sum(s.seconds for s in kept))


def test_speech_without_words_is_found() -> None:
    speech = [Stretch(0, 10), Stretch(15, 30)]
    covers = [(0.0, 0.5), (0.6, 5.0), (8.0, 9.9), (15.2, 16.0)]
    assert uncovered(speech, covers, shoulder=0.25, least=1.0) == [Stretch(5.25, 7.75), Stretch(16.25, 30)]
    assert uncovered(speech, [(0, 10), (15, 30)], shoulder=0.0, least=0.5) == []
    assert uncovered(speech, [], shoulder=0.3, least=1.0) == speech
    assert uncovered([], covers, shoulder=0.3, least=1.0) == []


def test_overlap() -> None:
    assert overlap(Stretch(1, 5), [Stretch(0, 2), Stretch(4, 9), Stretch(20, 30)]) == 2


def test_loops() -> None:
    assert loops("the rotor is worn, " * 12, ratio=2.4)
    assert not loops("right outer tie rod end has play, the boot is torn and grease is slung", ratio=2.4)
    assert not loops("no no no no", ratio=2.4)  # people do say that


def test_words_piled_up_at_one_moment() -> None:
    def laid_out(*seconds: float) -> list[Word]:
        return [Word(heard="end", read="end", start=1.0, end=1.0 + s) for s in seconds]

    assert crammed(laid_out(0.8, 0.0, 0.0, 0.02), shortest=0.03)
    assert not crammed(laid_out(0.8, 0.0, 0.0, 0.2), shortest=0.03)  # half is not most
    assert not crammed(laid_out(0.0, 0.0), shortest=0.03)  # two words are too few to tell


def test_echo_of_the_list() -> None:
    hot = ["outer tie rod end", "idler pulley", "lower ball joint", "sway bar link"]
    assert echoes("Outer tie-rod end, idler pulley, lower ball joint.", hot, run=3)
    assert not echoes("Outer tie rod end has play, idler pulley is noisy, lower ball joint fine", hot, run=3)
    assert not echoes("lower ball joint, idler pulley, outer tie rod end", hot, run=3)
    assert not echoes("outer tie rod end", hot[:1], run=3)
