"""How a written word is spoken: own table, dictionary, inflections, compounds, letter names, letter rules."""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from importlib import resources

from voicecheck.lexicon import normalise_phrase
from voicecheck.speech.phones import Phones, phone_table, table_rows

_VOWEL_LETTERS = frozenset("aeiouy")
_SOFTENING = frozenset("eiy")
_SPOKEN_LETTERS = 4  # a longer word without a vowel is no abbreviation
_PART = 3  # letters of the shortest part of a compound
_VARIANTS = 3  # pronunciations of one word that are looked at
_SIBILANTS = ("S", "Z", "SH", "ZH", "CH", "JH")
_VOICELESS = ("P", "T", "K", "F", "TH", "S", "SH", "CH")
_WORD = re.compile(r"[a-z]+")


class Pronouncer:
    """Pronunciations of words as ``normalise_token`` makes them.

    ``own`` are pronunciations that go before the dictionary (``lexicon/sounds.csv``): words to what they
    sound like, several where a word is spoken in several ways. That is phones by name in capitals
    ("B UH SH IH NG") or plain words and letters ("e g r", "zurk").
    """

    def __init__(self, own: Mapping[str, Sequence[str]] | None = None) -> None:
        self._own: dict[str, tuple[Phones, ...]] = {}
        self._known: dict[str, tuple[Phones, ...]] = {}
        self._own = {
            word: tuple(self.like(text) for text in several) for word, several in (own or {}).items()
        }
        self._known.clear()

    def like(self, text: str) -> Phones:
        """The sounds of a description: phones by name in capitals, or plain words and single letters."""
        table = phone_table()
        parts = text.split()
        if text.isupper() and all(part.rstrip("012") in table.names for part in parts):
            return table.numbers(parts)
        names = _spelled()
        found: list[int] = []
        for part in normalise_phrase(text):
            found.extend(names[part] if part in names else self.phrase((part,)))
        return tuple(found)

    def word(self, word: str) -> tuple[Phones, ...]:
        """The ways to say a word, the usual one first; none for what has no letter or digit."""
        known = self._known.get(word)
        if known is None:
            known = self._known[word] = self._find(word)
        return known

    def phrase(self, words: Iterable[str]) -> Phones:
        """The usual way to say words one after the other."""
        return tuple(phone for word in words for ways in self.word(word)[:1] for phone in ways)

    def is_guess(self, word: str) -> bool:
        """Whether the word's sounds come from letter rules or spelling alone."""
        return not self._certain(word)

    def _find(self, word: str) -> tuple[Phones, ...]:
        return self._certain(word) or self._guess(word)

    def _certain(self, word: str) -> tuple[Phones, ...]:
        own = self._own.get(word)
        if own:
            return own
        found = _dictionary_entry(word)
        if found:
            return found
        return self._inflected(word) or self._compound(word)

    def _lookup(self, word: str) -> tuple[Phones, ...]:
        return self._own.get(word) or _dictionary_entry(word)

    def _inflected(self, word: str) -> tuple[Phones, ...]:
        table = phone_table()
        for ending in ("'s", "s", "es", "ed", "d", "ing", "er", "y"):
            stem = word.removesuffix(ending)
            if stem == word or len(stem) < _PART:
                continue
            for base in dict.fromkeys((stem, stem + "e", stem[:-1] if stem[-1] == stem[-2:-1] else stem)):
                said = self._lookup(base)
                if said:
                    last = table.names[said[0][-1]]
                    return tuple(s + table.numbers(_ending(ending, last)) for s in said[:1])
        return ()

    def _compound(self, word: str) -> tuple[Phones, ...]:
        if not _WORD.fullmatch(word):
            return ()
        cuts = range(_PART, len(word) - _PART + 1)  # the evenest first: drive|shaft, not drives|haft
        for cut in sorted(cuts, key=lambda at: (-min(at, len(word) - at), at)):
            first, second = self._lookup(word[:cut]), self._lookup(word[cut:])
            if first and second:
                return (first[0] + second[0],)
        return ()

    def _guess(self, word: str) -> tuple[Phones, ...]:
        bare = "".join(letter for letter in word.lower() if letter.isascii() and letter.isalnum())
        if not bare:
            return ()
        digits = any(letter.isdigit() for letter in bare)
        if digits or (len(bare) <= _SPOKEN_LETTERS and not _VOWEL_LETTERS & set(bare)):
            names = _spelled()
            return (tuple(phone for letter in bare for phone in names[letter]),)
        return (by_letters(bare),)


def by_letters(word: str) -> Phones:
    """A guess at the sounds of a word of small letters, by the rules of ``sounds/letters.csv``."""
    rules = _letter_rules()
    found: list[int] = []
    at = 0
    while at < len(word):
        for letters, before, after, phones in rules.get(word[at], ()):
            end = at + len(letters)
            if (
                word.startswith(letters, at)
                and _stands(before, word[at - 1] if at else "")
                and _stands(after, word[end] if end < len(word) else "")
            ):
                found.extend(phones)
                at = end
                break
        else:
            at += 1
    return tuple(found)


def _stands(wanted: str, letter: str) -> bool:
    if not wanted:
        return True
    if wanted in "^$":
        return not letter
    if not letter:
        return False
    if wanted == "V":
        return letter in _VOWEL_LETTERS
    if wanted == "C":
        return letter not in _VOWEL_LETTERS
    if wanted == "E":
        return letter in _SOFTENING
    return letter == wanted


def _ending(ending: str, last: str) -> tuple[str, ...]:
    if ending in ("s", "es", "'s"):
        if last in _SIBILANTS:
            return ("IH", "Z")
        return ("S",) if last in _VOICELESS else ("Z",)
    if ending in ("ed", "d"):
        if last in ("T", "D"):
            return ("IH", "D")
        return ("T",) if last in _VOICELESS else ("D",)
    return {"ing": ("IH", "NG"), "er": ("ER",), "y": ("IY",)}[ending]


@lru_cache(maxsize=1)
def _dictionary() -> dict[str, tuple[str, ...]]:
    """Words to the lines of their pronunciations; phones are numbered when a word is asked for."""
    packed = resources.files("voicecheck.speech").joinpath("sounds", "pronunciations.dict.gz").read_bytes()
    found: dict[str, list[str]] = {}
    for line in gzip.decompress(packed).decode("utf-8").splitlines():
        word, _, phones = line.partition(" ")
        found.setdefault(word.partition("(")[0], []).append(phones)
    return {word: tuple(lines) for word, lines in found.items()}


@lru_cache(maxsize=1 << 14)
def _dictionary_entry(word: str) -> tuple[Phones, ...]:
    table = phone_table()
    lines = _dictionary().get(word, ())[:_VARIANTS]
    return tuple(dict.fromkeys(table.numbers(line.split()) for line in lines))


@lru_cache(maxsize=1)
def _letter_rules() -> dict[str, list[tuple[str, str, str, Phones]]]:
    table = phone_table()
    rules: dict[str, list[tuple[str, str, str, Phones]]] = {}
    for row in table_rows("letters.csv"):
        rule = (row["letters"], row["before"], row["after"], table.numbers(row["phones"].split()))
        rules.setdefault(row["letters"][0], []).append(rule)
    return rules


@lru_cache(maxsize=1)
def _spelled() -> dict[str, Phones]:
    table = phone_table()
    return {row["letter"]: table.numbers(row["phones"].split()) for row in table_rows("spelled.csv")}
