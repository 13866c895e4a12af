"""Vehicle numbers, spelled or written: the adapter to vininfo, and the reading of letters and digits.

Letters said by name ("bee", "double u") or by word ("bravo", "b as in boy"), and digits said one by one or in
pairs ("forty two"), are ``lexicon/grammar.csv``: kinds ``letter``, ``letter_like``, ``digit``, ``repeat``.
They are read only here, after a cue: nowhere else are "are", "for" and "to" letters and digits.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from typing import NamedTuple

from vininfo import ValidationError, Vin

from voicecheck.language.phrases import PhraseFinder
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import Market

VIN_LENGTH = 17
_PIECE = re.compile(r"^[a-z0-9]+$", re.ASCII)
_HEARD_IN_A_VIN = str.maketrans({"I": "1", "O": "0"})  # neither letter is ever used in one
_NO_VOWEL = re.compile(r"^[b-df-hj-np-tv-xz]{2,5}$")  # "gdm": part of a number, and no word
_KINDS = ("letter", "letter_like", "digit", "repeat")
_LONGEST = 40  # tokens looked at after a cue


class Spelled(NamedTuple):
    """Characters spelled by tokens ``first:last``."""

    text: str
    first: int
    last: int


class Speller:
    """Reads letters and digits; made once per lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._phrases = PhraseFinder([term for term in lexicon.grammar if term.kind in _KINDS])

    def pieces(
        self, tokens: Sequence[Token], *, first: int, idle: Collection[int] = (), chunk: int = 0
    ) -> list[Spelled]:
        """The characters from token ``first`` on, piece by piece, up to the first word that spells nothing.

        ``idle`` tokens are passed over; written letters without digits count up to ``chunk`` of them.
        """
        last = min(len(tokens), first + _LONGEST)
        texts = [token.text for token in tokens[first:last]]
        marks: dict[tuple[str, int], Mark] = {(m.detail, m.first): m for m in self._phrases.find(texts)}
        found: list[Spelled] = []
        at, times = 0, 1
        while at < len(texts):
            like = marks.get(("letter_like", at))
            if (
                like is not None
                and found
                and texts[like.last : like.last + 1]
                and _meant(found[-1], texts[like.last])
            ):
                at = like.last + 1  # "b as in boy"
                continue
            letter, repeat = marks.get(("letter", at)), marks.get(("repeat", at))
            if letter is not None and (repeat is None or letter.last > repeat.last):
                text, end = letter.id, letter.last
            elif repeat is not None:
                times, at = int(repeat.id), repeat.last
                continue
            else:
                said = _digits(marks, at) or _written(texts[at], chunk=chunk)
                if said is None:
                    if first + at in idle:
                        at += 1
                        continue
                    break
                text, end = said[0], at + said[1]
            found.append(Spelled(text * times if len(text) == 1 else text, first + at, first + end))
            at, times = end, 1
        return found


def _meant(piece: Spelled, word: str) -> bool:
    return word[:1].upper() == piece.text[-1:]


def _digits(marks: dict[tuple[str, int], Mark], at: int) -> tuple[str, int] | None:
    """Digits said at token ``at`` and how many tokens they take: "seven", "forty", "forty two"."""
    here = marks.get(("digit", at))
    if here is None:
        return None
    after = marks.get(("digit", at + 1))
    tens = len(here.id) == 2 and here.id[1] == "0" and here.id != "10"
    if tens and after is not None and len(after.id) == 1 and after.id != "0":
        return here.id[0] + after.id, 2
    return here.id, 1


def _written(text: str, *, chunk: int) -> tuple[str, int] | None:
    if not _PIECE.match(text):
        return None
    digits = any(letter.isdigit() for letter in text)
    if digits or len(text) == 1 or len(text) <= chunk or _NO_VOWEL.match(text):
        return text.upper(), 1
    return None


def joined(pieces: Sequence[Spelled], fits: Callable[[str], bool]) -> Spelled | None:
    """The longest run of pieces from the first on whose characters ``fits`` accepts."""
    for count in range(len(pieces), 0, -1):
        text = "".join(piece.text for piece in pieces[:count])
        if fits(text):
            return Spelled(text, pieces[0].first, pieces[count - 1].last)
    return None


def checked_vin(text: str, *, market: Market) -> str | None:
    """``text`` as a vehicle identification number, or ``None`` where it cannot be one.

    17 characters, "I" and "O" read as 1 and 0, no "Q". In the US the check digit must be right (49 CFR
    565.15); elsewhere it is optional, and a number is taken as said.
    """
    plain = text.upper().translate(_HEARD_IN_A_VIN)
    try:
        number = Vin(plain)
    except ValidationError:
        return None
    if market == "US" and not number.verify_checksum():
        return None
    return str(number.num)


def read_vin(
    tokens: Sequence[Token], speller: Speller, *, first: int, market: Market, idle: Collection[int] = ()
) -> Spelled | None:
    """The vehicle identification number spelled from token ``first`` on, or ``None``.

    ``idle`` are tokens that may stand between ("is", "um", "dash").
    """
    found = joined(
        speller.pieces(tokens, first=first, idle=idle),
        lambda text: checked_vin(text, market=market) is not None,
    )
    if found is None:
        return None
    vin = checked_vin(found.text, market=market)
    return Spelled(vin, found.first, found.last) if vin is not None else None


def written_vin(tokens: Sequence[Token], *, market: Market) -> Spelled | None:
    """A vehicle identification number written as one word, wherever it stands."""
    for at, token in enumerate(tokens):
        mixed = any(c.isdigit() for c in token.text) and any(c.isalpha() for c in token.text)
        if len(token.text) == VIN_LENGTH and mixed:
            vin = checked_vin(token.text, market=market)
            if vin is not None:
                return Spelled(vin, at, at + 1)
    return None
