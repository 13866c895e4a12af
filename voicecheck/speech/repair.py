"""Reading another phrase than was heard: what is scored, what is accepted, how it is written down."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources

from voicecheck.records import Record, Word
from voicecheck.speech.search import Candidate

DATA = "repair.json"
_MARKS = re.compile(r"^([\W_]*)(.*?)([\W_]*)$", re.DOTALL)


class Acceptance(Record):
    """When a candidate is read, learned on labelled recordings (``figures`` says from which and how well).

    ``gain`` is the log probability of the candidate less that of what was heard, both given the same sound. A
    candidate is accepted from ``gain_least`` on; one that stands on a whole word or more of no sense to the
    lexicon from ``unknown_gain_least`` on, one that brings in a side from ``side_gain_least`` on. What costs more
    than ``free_cost`` in sound needs ``gain_per_cost`` more for each unit.
    """

    gain_least: float
    unknown_gain_least: float
    side_gain_least: float
    free_cost: float
    gain_per_cost: float
    figures: dict[str, float | int | str]


@lru_cache(maxsize=1)
def acceptance() -> Acceptance:
    """What was learned, as it ships with the package."""
    text = resources.files("voicecheck.speech").joinpath(DATA).read_text(encoding="utf-8")
    return Acceptance.model_validate(json.loads(text))


def accepts(candidate: Candidate, gain: float, learned: Acceptance) -> bool:
    """Whether the sound speaks for the candidate."""
    least = learned.unknown_gain_least if candidate.unknown else learned.gain_least
    if candidate.side:
        least = max(least, learned.side_gain_least)
    least += learned.gain_per_cost * max(0.0, candidate.changed_cost - learned.free_cost)
    return gain >= least


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


def read_as(words: Sequence[Word], candidate: Candidate, gain: float) -> list[Word]:
    """The words ``first:last`` with the candidate as what is read, its words dealt out over them in order.

    The last word always has a share of it, so that its mark and the silence after it are kept.
    """
    part = words[candidate.first : candidate.last]
    spoken = dressed(words, candidate.first, candidate.last, candidate.text).split()
    heard = " ".join(word.heard for word in part)
    why = (
        f"“{heard}” sounds like “{candidate.phrase}”"
        f" (distance {candidate.cost:.2f}), and the sound fits that {_fit(gain)}"
    )
    certainty = sum(word.certainty for word in part) / len(part)
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


def chosen(
    group: Sequence[Candidate], gains: Sequence[float], learned: Acceptance
) -> list[tuple[Candidate, float]]:
    """The accepted candidates of a group that do not overlap, in order; the best supported are kept."""
    taken: list[tuple[Candidate, float]] = []
    ranked = sorted(zip(group, gains, strict=True), key=lambda pair: (-_weight(*pair), pair[0].text))
    for candidate, gain in ranked:
        if not accepts(candidate, gain, learned):
            continue
        if all(candidate.last <= other.first or candidate.first >= other.last for other, _ in taken):
            taken.append((candidate, gain))
    return sorted(taken, key=lambda pair: pair[0].first)


def _weight(candidate: Candidate, gain: float) -> float:
    return gain - 10.0 * candidate.cost
