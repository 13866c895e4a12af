"""Reads, checks and compiles the term files; the spaCy adapter.

``matcher`` is not imported here: it loads spaCy, and most of the program does not need it.
"""

from voicecheck.lexicon.check import check_lexicon
from voicecheck.lexicon.double import SimpleMatcher
from voicecheck.lexicon.extras import HotWord, ShopLexicon, SpokenWord, WordForms
from voicecheck.lexicon.hotwords import hot_words
from voicecheck.lexicon.load import load_lexicon
from voicecheck.lexicon.model import Lexicon, TermMatch, TermMatcher
from voicecheck.lexicon.normal import normalise_phrase, normalise_token

__all__ = [
    "HotWord",
    "Lexicon",
    "ShopLexicon",
    "SimpleMatcher",
    "SpokenWord",
    "TermMatch",
    "TermMatcher",
    "WordForms",
    "check_lexicon",
    "hot_words",
    "load_lexicon",
    "normalise_phrase",
    "normalise_token",
]
