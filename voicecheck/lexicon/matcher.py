"""The spaCy adapter: finds lexicon phrases in words. The only module that imports spaCy."""

from __future__ import annotations

from collections.abc import Sequence

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
        # Docs are made from words and compared as they are: no language, no tokenizer.
        self._vocab = Vocab()
        self._matcher = PhraseMatcher(self._vocab, attr="ORTH")
        self._kinds: dict[int, TermKind] = {}
        for kind, phrases in table.phrases.items():
            self._kinds[self._vocab.strings.add(kind)] = kind
            self._matcher.add(kind, [Doc(self._vocab, words=list(words)) for words in phrases])

    def match(self, words: Sequence[str]) -> tuple[TermMatch, ...]:
        if not words:
            return ()
        plain = self._table.plain(words)
        found: dict[TermKind, list[tuple[int, int]]] = {}
        for key, first, last in self._matcher(Doc(self._vocab, words=plain)):
            found.setdefault(self._kinds[key], []).append((first, last))
        return self._table.matches(plain, found)
