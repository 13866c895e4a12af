"""How written words, of term files and transcripts alike, become the plain words that are compared."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_APOSTROPHES = str.maketrans({"’": "'", "‘": "'", "ʼ": "'", "`": "'", "´": "'", "\u2044": "/", "\u2215": "/"})
_VULGAR = re.compile(r"(?<=\d)(?=[¼-¾⅐-⅞])")  # "3½" is two numbers, and NFKC would make it 31/2
_INITIALS = re.compile(r"(?<![^\W_])([^\W\d_])\.(?=[^\W\d_](?:\.|$))")  # a.c. is ac, not two words
_PIECE = re.compile(
    r"""
    \d{1,3}(?:,\d{3})+(?:\.\d+)?(?![\d/])   # 12,000
    | \d+/\d+                               # a fraction stays one word: 4/32
    | \d*\.\d+                              # a decimal
    | [^\W_]+(?:'[^\W_]+)*                  # letters and digits, apostrophes inside
    | [%°][^\W\d_]?                         # a unit sign on a number: 60%, 40°C
    """,
    re.VERBOSE,
)


@lru_cache(maxsize=1 << 14)  # the same words come again and again, in term files and in speech
def normalise_token(text: str) -> tuple[str, ...]:
    """The plain words (none, one or several) of one word of a transcript.

    Lower case; split at spaces, hyphens and slashes; no punctuation except a straight apostrophe inside a
    word. Decimals ("3.5") and fractions ("4/32") stay one word, thousands lose their comma ("12,000" →
    "12000"), "%" and "°C" become words of their own, initials are joined ("A.C." → "ac").
    """
    plain = unicodedata.normalize("NFKC", _VULGAR.sub(" ", text).translate(_APOSTROPHES))
    plain = plain.translate(_APOSTROPHES).lower()
    plain = _INITIALS.sub(r"\1", plain)
    return tuple(piece.replace(",", "") for piece in _PIECE.findall(plain))


def normalise_phrase(text: str) -> tuple[str, ...]:
    """The plain words of a phrase: ``normalise_token`` of each of its words."""
    return tuple(piece for word in text.split() for piece in normalise_token(word))
