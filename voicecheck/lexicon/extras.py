"""What the term folder holds besides terms: word forms, hot words, sounds; and the lexicon with them."""

from __future__ import annotations

from voicecheck.lexicon.model import Lexicon
from voicecheck.records.base import Record
from voicecheck.records.vocabulary import Market


class WordForms(Record):
    """Words spelled differently per market (``us``, ``uk``), and contractions (``short``, ``long``)."""

    spellings: tuple[tuple[str, str], ...] = ()
    contractions: tuple[tuple[str, str], ...] = ()


class HotWord(Record):
    """A phrase that recognisers mishear; ``market`` of ``None`` is said in every market."""

    phrase: str
    market: Market | None = None


class SpokenWord(Record):
    """How a word of the trade is spoken: ``like`` are plain words and letters, or phones in capitals."""

    word: str
    like: tuple[str, ...]


class ShopLexicon(Lexicon):
    """A lexicon as ``load_lexicon`` makes it: with word forms, hot words and sounds of the term folder."""

    forms: WordForms = WordForms()
    hot: tuple[HotWord, ...] = ()
    sounds: tuple[SpokenWord, ...] = ()


def forms_of(lexicon: Lexicon) -> WordForms:
    """The word forms that came with a lexicon; none for one made by hand."""
    return lexicon.forms if isinstance(lexicon, ShopLexicon) else WordForms()
