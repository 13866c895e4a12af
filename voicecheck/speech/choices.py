"""Choosing between several hearings of the same sound, place by place.

A recogniser that searches wide has more than its best hearing to give, and hears otherwise with and without
hot words. Where such hearings differ, the sound and the lexicon are asked which words were said. Pure: texts
in, alternatives out; the sound is asked elsewhere (``voicecheck.speech.ear``).
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Sequence
from difflib import SequenceMatcher
from functools import lru_cache
from importlib import resources
from typing import NamedTuple

from voicecheck.lexicon import normalise_phrase
from voicecheck.records import Record, Word
from voicecheck.records.odds import logistic
from voicecheck.speech.evidence import Compared
from voicecheck.speech.repair import dealt, fit_of

DATA = "choice.json"
LONGEST = 6  # words of a place in which hearings differ; more is another hearing altogether
LEAST_GAIN, _MOST_GAIN = -5.0, 4.0  # below, the sound speaks against it; above, it makes no difference
_EDGES = re.compile(r"^[\W_]+|[\W_]+$")


class Hearing(NamedTuple):
    """What a window may have held: the whole text, and whether it is that of the second hearing, which had
    other hot words than the first."""

    text: str
    second: bool = False


class Alternative(NamedTuple):
    """``text`` instead of words ``first:last``: in ``votes`` of the other texts of the first hearing, and,
    if ``second``, in that of the second."""

    first: int
    last: int
    text: str
    votes: int
    second: bool


class Choice(Record):
    """What tells a better hearing from a worse one, learned on labelled recordings (``figures`` says from
    which, and how well).

    ``weights`` are those of the features of ``features_of`` in a logistic model, ``least`` the probability
    from which an alternative is read, ``least_logprob`` the mean log probability of a window below which no
    alternative is read: where little was understood the lexicon makes something of anything.
    """

    weights: dict[str, float]
    least: float
    least_logprob: float = -9.0
    figures: dict[str, float | int | str]


@lru_cache(maxsize=1)
def choice() -> Choice:
    """What was learned, as it ships with the package."""
    text = resources.files("voicecheck.speech").joinpath(DATA).read_text(encoding="utf-8")
    return Choice.model_validate(json.loads(text))


def alternatives(
    words: Sequence[Word],
    hearings: Sequence[Hearing],
    *,
    is_fixed: Callable[[str], bool],
    is_number: Callable[[str], bool],
) -> list[Alternative]:
    """Where ``hearings`` differ from ``words``, in order of place; each place and text once.

    Fixed words (numbers, sides, negations) are never changed by a choice: an alternative has the same ones in
    the same order as what was heard, and no number in it or right before it: what follows a number says what
    it counts, and may be a part of it ("30 seconds"). Marks and capitals are no difference.
    """
    plain = [" ".join(normalise_phrase(word.heard)) for word in words]
    votes: dict[tuple[int, int, str], tuple[str, int, bool]] = {}
    for hearing in hearings:
        spoken = [word for word in hearing.text.split() if normalise_phrase(word)]
        other = [" ".join(normalise_phrase(word)) for word in spoken]
        for first, last, begin, end in _differences(plain, other):
            old = _tokens(plain[first:last])
            new = _tokens(other[begin:end])
            if any(is_number(word) for word in _tokens(plain[max(0, first - 1) : last])):
                continue
            if old == new or [w for w in old if is_fixed(w)] != [w for w in new if is_fixed(w)]:
                continue
            key = (first, last, " ".join(new))
            text, count, again = votes.get(key, (" ".join(spoken[begin:end]), 0, False))
            votes[key] = (text, count + (not hearing.second), again or hearing.second)
    found = (Alternative(key[0], key[1], *value) for key, value in votes.items())
    return sorted(found, key=lambda one: (one.first, one.last, one.text))


def _differences(ours: Sequence[str], other: Sequence[str]) -> Iterator[tuple[int, int, int, int]]:
    """Half-open ranges of both where they differ, each with at least one word in both.

    Words put in or left out are taken together with the word before, or the one after at the beginning. What
    another hearing has more at either end is no difference: it may belong to the window before or after.
    """
    for kind, a, b, c, d in SequenceMatcher(None, ours, other, autojunk=False).get_opcodes():
        if kind == "equal":
            continue
        if (a == 0 or b == len(ours)) and d - c > b - a:
            continue
        if a == b or c == d:
            if a and c:
                a, c = a - 1, c - 1
            elif b < len(ours) and d < len(other):
                b, d = b + 1, d + 1
            else:
                continue
        if b - a <= LONGEST and d - c <= LONGEST:
            yield a, b, c, d


def _tokens(parts: Sequence[str]) -> list[str]:
    return [token for part in parts for token in part.split()]


def features_of(words: Sequence[Word], one: Alternative, gain: float, lexicon: Compared) -> dict[str, float]:
    """What is known of an alternative. ``gain`` is its log probability less that of what was heard, for one
    sound and neither with hot words; ``lexicon`` what the lexicon makes of both."""
    part = words[one.first : one.last]
    return {
        "one": 1.0,
        "gain": min(_MOST_GAIN, max(LEAST_GAIN, gain)),
        "certainty": min(word.certainty for word in part),
        **lexicon.features,
        "votes": float(min(4, one.votes)) / 4,
        "second": float(one.second),
        "shorter": float(len(part) - len(normalise_phrase(one.text))),
    }


def better(features: dict[str, float], learned: Choice) -> float:
    """The probability, 0 to 1, that the alternative is nearer to what was said."""
    return logistic(sum(weight * features[name] for name, weight in learned.weights.items()))


class Weighed(NamedTuple):
    """An alternative with its gain and the probability that it is the better hearing."""

    alternative: Alternative
    gain: float
    support: float


def could_be_better(features: dict[str, float], learned: Choice) -> bool:
    """Whether an alternative could be read at all, whatever the sound says: others are not asked about.

    The lexicon must make more of it: of hearings that say the same to the trade the first is as good.
    """
    if features["covered"] <= 0 or features["terms"] < 0:
        return False
    return better({**features, "gain": _MOST_GAIN}, learned) >= learned.least


def read_so(words: Sequence[Word], weighed: Weighed) -> list[Word]:
    """The words of the place with the alternative as what is read; see ``repair.read_as``."""
    one = weighed.alternative
    heard = " ".join(word.heard for word in words[one.first : one.last])
    text = _EDGES.sub("", one.text)
    why = f"“{heard}” was also heard as “{text}”, and the sound fits that {fit_of(weighed.gain)}"
    return dealt(words, one.first, one.last, text, why=why, certainty=weighed.support)


def chosen_of(weighed: Sequence[Weighed], *, least: float) -> list[Weighed]:
    """Those with at least ``least`` support that do not overlap, the best supported kept; in order."""
    taken: list[Weighed] = []
    for one in sorted(weighed, key=lambda w: (-w.support, w.alternative)):
        if one.support < least or one.gain < LEAST_GAIN:
            continue
        a = one.alternative
        if all(a.last <= o.alternative.first or a.first >= o.alternative.last for o in taken):
            taken.append(one)
    return sorted(taken, key=lambda w: w.alternative.first)
