"""Reading another phrase than was heard: what is scored, what is accepted, how it is written down."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from typing import NamedTuple

from voicecheck.lexicon import normalise_phrase
from voicecheck.records import Record, Word
from voicecheck.records.odds import logistic
from voicecheck.speech.evidence import Compared
from voicecheck.speech.search import Candidate

DATA = "repair.json"
LEAST_GAIN, _MOST_GAIN = -4.0, 4.0  # below, the sound speaks against it; above, it makes no difference
SIDE_GAIN = 1.0  # a side is read only where the sound clearly fits better: a wrong one is dear
SAME_SOUND_GAIN = 2.0  # … one that sounds exactly like what was heard ("rite"), by this alone
_MANY_SOUNDS = 12
_MARKS = re.compile(r"^([\W_]*)(.*?)([\W_]*)$", re.DOTALL)


class Acceptance(Record):
    """What tells a right candidate from a wrong one, learned on labelled recordings (``figures`` says from
    which, and how well).

    ``weights`` are those of the features of ``features_of`` in a logistic model, ``least`` the probability
    from which a candidate is read, ``side_least`` the same for one that brings in a side, ``least_logprob``
    the mean log probability of a window below which none is read.
    """

    weights: dict[str, float]
    least: float
    side_least: float
    least_logprob: float = -9.0
    figures: dict[str, float | int | str]


@lru_cache(maxsize=1)
def acceptance() -> Acceptance:
    """What was learned, as it ships with the package."""
    text = resources.files("voicecheck.speech").joinpath(DATA).read_text(encoding="utf-8")
    return Acceptance.model_validate(json.loads(text))


class Seen(NamedTuple):
    """A candidate and what is known of it by sight (``features_of``)."""

    candidate: Candidate
    features: dict[str, float]


def features_of(candidate: Candidate, lexicon: Compared) -> dict[str, float]:
    """What is known of a candidate without asking the sound; ``lexicon`` is what the lexicon makes of the
    place."""
    words = normalise_phrase(candidate.text)
    gained = lexicon.features
    return {
        "one": 1.0,
        "cost": candidate.cost,
        "changed_cost": candidate.changed_cost,
        "certainty": candidate.certainty,
        "unknown": float(candidate.unknown),
        "anchored": float(len(normalise_phrase(candidate.phrase)) > len(words)),
        "sounds": min(_MANY_SOUNDS, candidate.sounds) / _MANY_SOUNDS,
        "longer": float(len(words) - (candidate.last - candidate.first)),
        **{name: max(0.0, gained[name]) for name in ("terms", "covered", "strange", "pairs")},
    }


def clipped(gain: float) -> float:
    """A gain of log probability, less what is further out and makes no difference. Nothing is read for which
    it is below the lower bound."""
    return min(_MOST_GAIN, max(LEAST_GAIN, gain))


def support(features: dict[str, float], gain: float, learned: Acceptance) -> float:
    """The probability, 0 to 1, that a candidate was said. ``gain`` is its log probability less that of what
    was heard, for one sound."""
    known = {**features, "gain": clipped(gain)}
    return logistic(sum(weight * known[name] for name, weight in learned.weights.items()))


def least_for(candidate: Candidate, learned: Acceptance) -> float:
    """The support from which a candidate is read. What sounds exactly like a side needs none: of sounds that
    are the same the distance tells nothing, and its low certainty makes it a question."""
    if candidate.side and candidate.cost == 0:
        return 0.0
    return learned.side_least if candidate.side else learned.least


def least_gain(candidate: Candidate) -> float:
    """The gain from which a candidate is read."""
    if candidate.side:
        return SAME_SOUND_GAIN if candidate.cost == 0 else SIDE_GAIN
    return LEAST_GAIN


def with_text(words: Sequence[Word], first: int, last: int, text: str) -> list[str]:
    """What was heard with ``text`` in the place of ``first:last``, marks and capitals kept as they stood."""
    return [word.heard for word in words[:first]] + [
        dressed(words, first, last, text),
        *(word.heard for word in words[last:]),
    ]


def dressed(words: Sequence[Word], first: int, last: int, text: str) -> str:
    """``text`` with the opening marks of the first and the closing marks of the last word, and a capital."""
    opening, body, _ = _parts(words[first].heard)
    closing = _parts(words[last - 1].heard)[2]
    begins_sentence = first == 0 or words[first - 1].heard.endswith((".", "?", "!"))
    if begins_sentence and body[:1].isupper():
        text = text[:1].upper() + text[1:]
    return f"{opening}{text}{closing}"


class Asked(NamedTuple):
    """A candidate with its gain and the probability that it was said."""

    candidate: Candidate
    gain: float
    support: float


def read_as(words: Sequence[Word], asked: Asked) -> list[Word]:
    """The words ``first:last`` with the candidate as what is read, its words dealt out over them in order.

    The last word always has a share of it, so that its mark and the silence after it are kept. Their
    certainty is that of the reading.
    """
    candidate, gain, certainty = asked
    heard = " ".join(word.heard for word in words[candidate.first : candidate.last])
    why = (
        f"“{heard}” sounds like “{candidate.phrase}”"
        f" (distance {candidate.cost:.2f}), and the sound fits that {fit_of(gain)}"
    )
    return dealt(words, candidate.first, candidate.last, candidate.text, why=why, certainty=certainty)


def dealt(
    words: Sequence[Word], first: int, last: int, text: str, *, why: str, certainty: float
) -> list[Word]:
    """The words ``first:last`` with ``text`` as what is read, dealt out over them as ``read_as`` says."""
    part = words[first:last]
    spoken = dressed(words, first, last, text).split()
    shares = [
        " ".join(spoken[at * len(spoken) // len(part) : (at + 1) * len(spoken) // len(part)])
        for at in range(len(part))
    ]
    return [
        word.model_copy(update={"read": share, "why": why, "certainty": certainty})
        for word, share in zip(part, shares, strict=True)
    ]


def fit_of(gain: float) -> str:
    """How well the sound fits a reading, in words, by its gain over what was heard."""
    if gain > 0.5:
        return "better"
    return "as well" if gain > -1.0 else "nearly as well"


def silenced(word: Word, why: str) -> Word:
    """A word that nobody spoke: it stays as heard and is read as nothing."""
    return word.model_copy(update={"read": "", "why": why})


def _parts(text: str) -> tuple[str, str, str]:
    match = _MARKS.match(text)
    assert match is not None  # the pattern fits every text
    return match.group(1), match.group(2), match.group(3)


def chosen(asked: Sequence[Asked], learned: Acceptance) -> list[Asked]:
    """The accepted ones of a group that do not overlap, in order; the best supported are kept."""
    taken: list[Asked] = []
    for one in sorted(asked, key=lambda a: (-a.support, -a.candidate.sounds, a.candidate.text)):
        if one.gain < least_gain(one.candidate) or one.support < least_for(one.candidate, learned):
            continue
        if all(
            one.candidate.last <= other.candidate.first or one.candidate.first >= other.candidate.last
            for other in taken
        ):
            taken.append(one)
    return sorted(taken, key=lambda a: a.candidate.first)
