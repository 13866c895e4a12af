"""A matcher without an engine and with the contract of the spaCy adapter: for tests, and to check it."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.lexicon.model import Lexicon, TermKind, TermMatch
from voicecheck.lexicon.table import phrase_table


class _Node:
    __slots__ = ("ends", "next")

    def __init__(self) -> None:
        self.next: dict[str, _Node] = {}
        self.ends: list[TermKind] = []


class SimpleMatcher:
    """Walks a tree of words from every position."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._table = phrase_table(lexicon)
        self._root = _Node()
        for kind, phrases in self._table.phrases.items():
            for words in phrases:
                node = self._root
                for word in words:
                    node = node.next.setdefault(word, _Node())
                node.ends.append(kind)

    def match(self, words: Sequence[str]) -> tuple[TermMatch, ...]:
        """See ``TermMatcher``."""
        plain = self._table.plain(words)
        found: dict[TermKind, list[tuple[int, int]]] = {}
        for first in range(len(plain)):
            node: _Node | None = self._root
            last = first
            while node is not None and last < len(plain):
                node = node.next.get(plain[last])
                last += 1
                if node is not None:
                    for kind in node.ends:
                        found.setdefault(kind, []).append((first, last))
        return self._table.matches(plain, found)
