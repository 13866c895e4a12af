"""What the lexicon makes of a few words, and of others in their place. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from voicecheck.lexicon import TermMatcher, normalise_phrase
from voicecheck.records import Word

NEAR = 6  # words before and after in which a term may reach into the place
_KINDS = frozenset({"component", "place", "condition", "measure"})


class Evidence(NamedTuple):
    """The terms in a few words, the words that terms cover, the words nobody knows, and the conditions that
    stand beside a component."""

    terms: int
    covered: int
    strange: int
    pairs: int = 0


class Compared(NamedTuple):
    """The evidence for a place and the words around it: as heard, and with another text in the place."""

    heard: Evidence
    other: Evidence

    @property
    def features(self) -> dict[str, float]:
        """What the other text gains."""
        return {
            "terms": float(self.other.terms - self.heard.terms),
            "covered": float(min(_MOST_COVERED, self.other.covered - self.heard.covered)),
            "strange": float(self.heard.strange - self.other.strange),
            "pairs": float(self.other.pairs - self.heard.pairs),
        }


_BETWEEN = 2  # words between a component and its condition: "is", "is really"
_MOST_COVERED = 3  # words that a term newly covers: a longer one is no likelier


def evidence(tokens: Sequence[str], *, matcher: TermMatcher, is_strange: Callable[[str], bool]) -> Evidence:
    """What the lexicon makes of plain words. Of terms within terms the longest count."""
    covered: set[int] = set()
    places: set[tuple[int, int]] = set()
    parts: set[tuple[int, int]] = set()
    states: set[tuple[int, int]] = set()
    for match in matcher.match(list(tokens)):
        if match.kind in _KINDS:
            covered.update(range(match.first, match.last))
            places.add((match.first, match.last))
        if match.kind == "component":
            parts.add((match.first, match.last))
        elif match.kind == "condition":
            states.add((match.first, match.last))
    longest = [
        one
        for one in places
        if not any(other != one and other[0] <= one[0] and one[1] <= other[1] for other in places)
    ]
    pairs = sum(
        any(0 <= first - end <= _BETWEEN or last == begin for begin, end in parts) for first, last in states
    )
    return Evidence(len(longest), len(covered), sum(is_strange(token) for token in tokens), pairs)


def compared(
    words: Sequence[Word],
    first: int,
    last: int,
    text: str,
    *,
    matcher: TermMatcher,
    is_strange: Callable[[str], bool],
) -> Compared:
    """The evidence for words ``first:last`` as heard, and for ``text`` in their place."""
    before, heard, after = (
        [token for word in part for token in normalise_phrase(word.heard)]
        for part in (words[max(0, first - NEAR) : first], words[first:last], words[last : last + NEAR])
    )
    other = normalise_phrase(text)
    return Compared(
        evidence([*before, *heard, *after], matcher=matcher, is_strange=is_strange),
        evidence([*before, *other, *after], matcher=matcher, is_strange=is_strange),
    )
