"""The spaCy adapter: finds lexicon phrases in words. The only module that imports spaCy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from spacy.matcher import PhraseMatcher
from spacy.tokens import Doc
from spacy.vocab import Vocab

from voicecheck.lexicon.model import Lexicon, TermKind, TermMatch, TermMatcher
from voicecheck.lexicon.table import PhraseTable, phrase_table


def compile_matcher(lexicon: Lexicon) -> TermMatcher:
    """A matcher for words as ``normalise_token`` makes them (lower case, no punctuation)."""
    return _SpacyMatcher(phrase_table(lexicon))


class _SpacyMatcher:
    def __init__(self, table: PhraseTable) -> None:
        self._table = table
        # Words are compared as they are: no language, no tokenizer.
        self._vocab = Vocab()
        self._matcher = PhraseMatcher(self._vocab, attr="ORTH")
        self._kinds: dict[int, TermKind] = {}
        hashes = {word: self._vocab.strings.add(word) for word in table.words}
        for kind, phrases in table.phrases.items():
            self._kinds[self._vocab.strings.add(kind)] = kind
            # A phrase may be the hashes of its words, as in a pickled matcher: a Doc for each takes 3 s more.
            said: list[Any] = [tuple(hashes[word] for word in words) for words in phrases]
            self._matcher.add(kind, said)

    def match(self, words: Sequence[str]) -> tuple[TermMatch, ...]:
        if not words:
            return ()
        plain = self._table.plain(words)
        found: dict[TermKind, list[tuple[int, int]]] = {}
        for key, first, last in self._matcher(Doc(self._vocab, words=plain)):
            found.setdefault(self._kinds[key], []).append((first, last))
        return self._table.matches(plain, found)
