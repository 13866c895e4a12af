"""Sides, numbers and negations are never changed in silence, whatever the sound and the weights say.

``heard_tune.json.gz`` holds what the recogniser heard in the recordings of ``samples_synthetic/tune``, window
by window, with its other hearings (``benchmarks/learn_ear.py --windows``). Here a sound that speaks for every
reading, and weights drawn at random that accept every reading, try to get as much as possible read otherwise.
What counts as a side, a number or a negation is told by ``voicecheck.measure``, which shares no code with the
guard.
"""

from __future__ import annotations

import gzip
import json
import random
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from voicecheck.lexicon import load_lexicon
from voicecheck.measure.ear_words import (
    Tellers,
    negation_marks,
    number_marks,
    side_marks,
    tellers_of,
)
from voicecheck.measure.words import plain_numbers
from voicecheck.records import Market, Word
from voicecheck.records.transcript import joined
from voicecheck.resources import lexicon_dir
from voicecheck.speech import ear
from voicecheck.speech.choices import Choice, Hearing, choice
from voicecheck.speech.ear import LexiconTools, Scorer, mended, told_apart
from voicecheck.speech.repair import Acceptance, acceptance
from voicecheck.speech.timeline import Stretch

KEPT = Path(__file__).with_name("heard_tune.json.gz")
MARKETS: tuple[Market, ...] = ("US", "UK")


class Window(NamedTuple):
    """One window of a recording as it was heard."""

    recording: str
    market: Market
    words: tuple[Word, ...]
    hearings: tuple[Hearing, ...]


class Shop(NamedTuple):
    """The lexicon of one market, and what tells its sides, numbers and negations."""

    tools: LexiconTools
    tellers: Tellers
    hot: tuple[str, ...]


@pytest.fixture(scope="module")
def kept() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(gzip.decompress(KEPT.read_bytes()))
    return found


@pytest.fixture(scope="module")
def shops(kept: dict[str, Any]) -> dict[str, Shop]:
    made: dict[str, Shop] = {}
    for market in MARKETS:
        lexicon = load_lexicon(lexicon_dir(), market=market)
        tools = LexiconTools(lexicon, count_tokens=lambda text: len(text.split()), hot_tokens=100)
        made[market] = Shop(tools, tellers_of(lexicon), tuple(kept["hot"][market]))
    return made


def windows_of(kept: dict[str, Any]) -> Iterator[Window]:
    for name, recording in kept["recordings"].items():
        for window in recording["windows"]:
            words = tuple(
                Word(heard=text, read=text, start=start, end=end, certainty=certainty)
                for text, start, end, certainty in window["words"]
            )
            hearings = tuple(Hearing(text, second) for text, second in window["hearings"])
            yield Window(name, recording["market"], words, hearings)


def speaks_for_all(words: Sequence[Word]) -> Scorer:
    """A sound that fits everything better than what was heard."""
    heard = f" {joined(word.heard for word in words)} "

    def score(text: str, stretch: Stretch) -> float:
        return 0.0 if f" {text} " in heard else 50.0

    return score


def anything(chance: random.Random, monkeypatch: pytest.MonkeyPatch) -> None:
    """Weights that accept whatever comes up, and prefer one reading to another by chance."""
    repairs = Acceptance(
        weights={name: chance.uniform(-3, 3) for name in acceptance().weights},
        least=0.0,
        side_least=0.0,
        figures={},
    )
    choices = Choice(
        weights={name: chance.uniform(-3, 3) for name in choice().weights}, least=0.0, figures={}
    )
    monkeypatch.setattr(ear, "acceptance", lambda: repairs)
    monkeypatch.setattr(ear, "choice", lambda: choices)


def is_part(few: Sequence[str], many: Sequence[str]) -> bool:
    """Whether ``few`` are in ``many`` in the same order."""
    rest = iter(many)
    return all(one in rest for one in few)


def assert_kept(words: Sequence[Word], read: Sequence[Word], tellers: Tellers) -> None:
    """Raises where ``read`` tells other numbers or negations than was heard, or less of a side."""
    texts = joined(word.heard for word in words), joined(word.read for word in read)
    before, after = (plain_numbers(text, units=tellers.units) for text in texts)
    for marks in (number_marks, negation_marks):
        old, new = ([mark for mark in marks(tokens, tellers) if mark] for tokens in (before, after))
        assert old == new, texts
    old, new = ([mark for mark in side_marks(tokens, tellers) if mark] for tokens in (before, after))
    assert is_part(old, new), texts
    if old != new:  # a side was read that was not heard: the words say so, and why
        assert any(word.why for word in read if word.read != word.heard), texts


@pytest.mark.parametrize("step", [4, pytest.param(1, marks=pytest.mark.audio)])
def test_no_reading_changes_a_side_a_number_or_a_negation(
    kept: dict[str, Any], shops: dict[str, Shop], monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    """Every recording that was kept: a quarter of its windows, and with the slow tests all of them."""
    recordings, changed, sides = set(), 0, 0
    for number, window in enumerate(windows_of(kept)):
        if number % step:
            continue
        anything(random.Random(number), monkeypatch)
        shop = shops[window.market]
        read = mended(
            window.words,
            shop.hot,
            shop.tools,
            speaks_for_all(window.words),
            hearings=window.hearings,
        )
        assert [word.heard for word in read] == [word.heard for word in window.words]
        assert all(word.why for word in read if word.read != word.heard)
        assert_kept(window.words, read, shop.tellers)
        recordings.add(window.recording)
        changed += sum(word.read != word.heard for word in read)
        sides += sum(any(side_marks((t,), shop.tellers)) for w in window.words for t in (w.heard.lower(),))
    assert len(recordings) >= 30
    assert changed > 1000 // step  # the attempt is a serious one
    assert sides > 200 // step


def heard(text: str, certainty: float = 0.3, long: float = 0.4) -> list[Word]:
    return [
        Word(heard=w, read=w, start=n / 2, end=n / 2 + long, certainty=certainty)
        for n, w in enumerate(text.split())
    ]


@pytest.mark.parametrize(
    "text",
    [
        "left's worn",
        "the two's leaking",
        "cylinder 2's misfiring",
        "nearside's torn",
        "it isn't leaking",
        "never play",
        "there's no play",
        "don't replace",
        "four thirty seconds",
        "4/32",
    ],
)
def test_each_of_them_is_fixed_with_is_and_without(shops: dict[str, Shop], text: str) -> None:
    index = shops["UK"].tools.index
    assert any(index.is_fixed(token) for token in text.split())


@pytest.mark.parametrize("text", ["the rotor's scored", "worn", "bulb's out"])
def test_other_words_are_not(shops: dict[str, Shop], text: str) -> None:
    assert not any(shops["US"].tools.index.is_fixed(token) for token in text.split())


@pytest.mark.parametrize(
    ("text", "hot"),
    [
        ("pads four four rotors", "pads are four millimeters"),
        ("left left rear", "left rear strut"),
        ("no no play", "no play"),
    ],
)
def test_a_side_a_number_or_a_negation_is_no_echo(shops: dict[str, Shop], text: str, hot: str) -> None:
    words = heard(text, long=0.05)
    index = shops["US"].tools.index

    def left_out_fits(asked: str, stretch: Stretch) -> float:
        return -float(len(asked.split()))

    assert told_apart(words, (hot,), left_out_fits) != words  # without the guard one of the two goes
    assert told_apart(words, (hot,), left_out_fits, is_fixed=index.is_fixed) == words


def test_a_side_is_read_from_its_very_sound_where_the_sound_clearly_fits(shops: dict[str, Shop]) -> None:
    words = heard("the rite rear strut is leaking", certainty=0.999)
    found = [one for one in shops["US"].tools.index.find(words) if one.side and one.cost == 0]
    assert [(one.first, one.last, one.text) for one in found] == [(1, 2, "right")]
    tools = shops["US"].tools

    def fits(gain: float) -> Scorer:
        return lambda asked, stretch: gain if "right" in asked else 0.0 if "rite" in asked else -20.0

    assert [w.read for w in mended(words, (), tools, fits(0.5))] == [w.heard for w in words]
    read = mended(words, (), tools, fits(4.0))
    assert joined(w.read for w in read) == "the right rear strut is leaking"
    assert "sounds like" in read[1].why


@pytest.mark.parametrize("text", ["write it up", "the light is out", "a bright lamp", "lift it"])
def test_words_that_are_not_spoken_exactly_like_a_side_are_none(shops: dict[str, Shop], text: str) -> None:
    assert not any(one.side for one in shops["US"].tools.index.find(heard(text)))
