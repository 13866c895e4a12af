"""Words that sound the same and are written otherwise: plurals of places taken for "is", sides. Pure.

A recogniser writes "the rear's are worn" for "the rears are worn", and "rite rear" for "right rear": no sound
tells them apart, the words around them do.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from voicecheck.lexicon import normalise_phrase
from voicecheck.records import Word
from voicecheck.speech.phones import Phones
from voicecheck.speech.pronounce import Pronouncer

_HAS = "'s"
_PLURAL_VERBS = frozenset({"are", "were"})
_SEVERAL = frozenset({"both", "two", "pair", "all"})
PLURAL_WHY = "“{heard}” is spoken like “{read}”, and the words beside it want the plural"


class Plural(NamedTuple):
    """The word ``at`` is the plural ``text``: "rears" for "rear's"."""

    at: int
    text: str


def plurals(words: Sequence[Word], places: Iterable[str]) -> list[Plural]:
    """Where a plural of ``places`` was written as "is" or "has" run together, in order.

    Only where the words beside it leave no doubt: a plural verb follows, or the words before make a longer
    place of it ("both of the rears").
    """
    known = {normalise_phrase(place) for place in places}
    longest = max((len(place) for place in known), default=0)
    tokens = [normalise_phrase(word.heard) for word in words]
    found = []
    for at, parts in enumerate(tokens):
        if len(parts) != 1 or not parts[0].endswith(_HAS):
            continue
        text = parts[0].removesuffix(_HAS) + "s"
        if (text,) not in known:
            continue
        before = [token for one in tokens[max(0, at - longest) : at] for token in one]
        longer = any(
            (*before[-count:], text) in known and _SEVERAL & set(before[-count:])
            for count in range(1, min(longest, len(before) + 1))
        )
        after = tokens[at + 1] if at + 1 < len(words) else ()
        clause_ends = words[at].heard.endswith((".", "?", "!"))
        if longer or (not clause_ends and after[:1] and after[0] in _PLURAL_VERBS):
            found.append(Plural(at, text))
    return found


def sides_by_sound(sides: Iterable[str], pronouncer: Pronouncer) -> Mapping[Phones, str]:
    """Side words by their sounds; those that two of them share are left out."""
    found: dict[Phones, str] = {}
    twice: set[Phones] = set()
    for side in sorted(sides):
        for sounds in pronouncer.word(side):
            if found.setdefault(sounds, side) != side:
                twice.add(sounds)
    return {sounds: side for sounds, side in found.items() if sounds not in twice}
