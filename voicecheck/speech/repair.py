"""Reading another phrase than was heard: what is scored, what is accepted, how it is written down."""

from __future__ import annotations

import json
import re
from collections.abc import Container, Sequence
from functools import lru_cache
from importlib import resources
from typing import NamedTuple

from voicecheck.lexicon import normalise_phrase
from voicecheck.records import Record, Word
from voicecheck.speech.certainty import logistic
from voicecheck.speech.search import Candidate

DATA = "repair.json"
_LEAST_GAIN, _MOST_GAIN = -12.0, 3.0  # further out it makes no difference
_MANY_SOUNDS = 12
_MARKS = re.compile(r"^([\W_]*)(.*?)([\W_]*)$", re.DOTALL)


class Acceptance(Record):
    """What tells a right candidate from a wrong one, learned on labelled recordings (``figures`` says from
    which, and how well).

    ``weights`` are those of the features of ``features_of`` in a logistic model, ``least`` the probability
    from which a candidate is read, ``side_least`` the same for one that brings in a side.
    """

    weights: dict[str, float]
    least: float
    side_least: float
    figures: dict[str, float | int | str]


@lru_cache(maxsize=1)
def acceptance() -> Acceptance:
    """What was learned, as it ships with the package."""
    text = resources.files("voicecheck.speech").joinpath(DATA).read_text(encoding="utf-8")
    return Acceptance.model_validate(json.loads(text))


def features_of(candidate: Candidate, gain: float, familiar: Container[str]) -> dict[str, float]:
    """What is known of a candidate. ``gain`` is its log probability less that of what was heard, for one
    sound; ``familiar`` are plain words that were expected, or heard with certainty elsewhere.
    """
    words = normalise_phrase(candidate.text)
    return {
        "one": 1.0,
        "gain": min(_MOST_GAIN, max(_LEAST_GAIN, gain)),
        "cost": candidate.cost,
        "changed_cost": candidate.changed_cost,
        "certainty": candidate.certainty,
        "unknown": float(candidate.unknown),
        "familiar": sum(word in familiar for word in words) / max(1, len(words)),
        "fewer": float(max(0, candidate.last - candidate.first - len(words))),
        "sounds": min(_MANY_SOUNDS, candidate.sounds) / _MANY_SOUNDS,
    }


def support(candidate: Candidate, gain: float, learned: Acceptance, familiar: Container[str] = ()) -> float:
    """The probability, 0 to 1, that the candidate was said."""
    features = features_of(candidate, gain, familiar)
    return logistic(sum(weight * features[name] for name, weight in learned.weights.items()))


def least_for(candidate: Candidate, learned: Acceptance) -> float:
    """The support from which a candidate is read."""
    return learned.side_least if candidate.side else learned.least


def hopeful(candidate: Candidate, learned: Acceptance, familiar: Container[str] = ()) -> bool:
    """Whether the candidate could be read at all, whatever the sound says: others are not asked about."""
    return support(candidate, _MOST_GAIN, learned, familiar) >= least_for(candidate, learned)


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
    part = words[candidate.first : candidate.last]
    spoken = dressed(words, candidate.first, candidate.last, candidate.text).split()
    heard = " ".join(word.heard for word in part)
    why = (
        f"“{heard}” sounds like “{candidate.phrase}”"
        f" (distance {candidate.cost:.2f}), and the sound fits that {_fit(gain)}"
    )
    shares = [
        " ".join(spoken[at * len(spoken) // len(part) : (at + 1) * len(spoken) // len(part)])
        for at in range(len(part))
    ]
    return [
        word.model_copy(update={"read": share, "why": why, "certainty": certainty})
        for word, share in zip(part, shares, strict=True)
    ]


def _fit(gain: float) -> str:
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
        if one.support < least_for(one.candidate, learned):
            continue
        if all(
            one.candidate.last <= other.candidate.first or one.candidate.first >= other.candidate.last
            for other in taken
        ):
            taken.append(one)
    return sorted(taken, key=lambda a: a.candidate.first)
