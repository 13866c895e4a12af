"""Short ways to say what the language stage made of words."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from voicecheck.language.phrases import PhraseFinder
from voicecheck.language.quantities import QuantityFinder
from voicecheck.language.tokens import tokenise
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.reading import Mark, Reading, Token
from voicecheck.records.transcript import Transcript, Word
from voicecheck.records.vocabulary import Market

Said = tuple[Decimal, str | None]  # value and unit


def typed(text: str) -> Transcript:
    """Words without times."""
    words = tuple(Word(heard=word, read=word) for word in text.split())
    return Transcript(text=text, words=words, source="typed")


def spoken(text: str, *, word_s: float = 0.3) -> Transcript:
    """Words with times; "_" is half a second of silence."""
    words: list[Word] = []
    at = 0.0
    for piece in text.split():
        if piece == "_":
            at += 0.5
            continue
        words.append(Word(heard=piece, read=piece, start=at, end=at + word_s))
        at += word_s
    return Transcript(text=" ".join(w.read for w in words), words=tuple(words))


def words_of(reading: Reading, mark: Mark) -> str:
    return " ".join(token.text for token in reading.tokens[mark.first : mark.last])


def marks_of(reading: Reading, kind: str, *details: str) -> list[Mark]:
    """Marks of one kind over all clauses."""
    return [
        mark
        for clause in reading.clauses
        for mark in clause.marks
        if mark.kind == kind and (not details or mark.detail in details)
    ]


class Numbers:
    """The quantities of a text, before anything competes with them."""

    def __init__(self, lexicon: Lexicon, *, market: Market = "US") -> None:
        self._phrases = PhraseFinder(lexicon.grammar)
        said: dict[str, str] = {}
        for term in lexicon.grammar:
            if term.kind == "unit" and (len(term.said) > 2 or term.value == "%"):
                said.setdefault(term.value, term.said)
        self.units = sorted(said.items())  # each unit and one way to say it
        self._finder = QuantityFinder(
            units={t.said: t.value for t in lexicon.grammar if t.kind == "unit"},  # type: ignore[misc]
            market=market,
        )

    def marks(self, transcript: Transcript, *, tread: bool = False) -> tuple[Sequence[Token], list[Mark]]:
        tokens = tokenise(transcript)
        grammar = self._phrases.find([token.text for token in tokens])
        where = range(len(tokens)) if tread else ()
        return tokens, self._finder.find(tokens, grammar, tread=where)

    def said(self, text: str, *, tread: bool = False) -> list[Said]:
        """Values and units of a typed text, in order; a range as its low end."""
        return [(value(mark), mark.unit) for mark in self.marks(typed(text), tread=tread)[1]]


def value(mark: Mark) -> Decimal:
    assert mark.value is not None
    return mark.value


_ONES_SAID = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
    "seventeen eighteen nineteen"
)
_TENS_SAID = "twenty thirty forty fifty sixty seventy eighty ninety"
_ONES, _TENS = _ONES_SAID.split(), _TENS_SAID.split()


def in_words(number: int, *, british: bool = False) -> str:
    """A whole number below a million as it is read out; ``british`` with "and" before the last two digits."""
    joint = " and " if british else " "
    if number < 20:
        return _ONES[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens - 2] + (f" {_ONES[ones]}" if ones else "")
    if number < 1000:
        hundreds, rest = divmod(number, 100)
        return f"{_ONES[hundreds]} hundred" + (joint + in_words(rest) if rest else "")
    thousands, rest = divmod(number, 1000)
    said = f"{in_words(thousands, british=british)} thousand"
    if not rest:
        return said
    return said + (joint if rest < 100 else " ") + in_words(rest, british=british)
