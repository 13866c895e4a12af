"""Finds the closed-class phrases of ``lexicon/grammar.csv`` in tokens."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from voicecheck.lexicon.model import LOOKED_UP, GrammarTerm
from voicecheck.lexicon.normal import normalise_phrase
from voicecheck.records.reading import Mark


def phrases_of(terms: Iterable[GrammarTerm], kind: str) -> frozenset[str]:
    """The normalised wordings of one kind of closed-class words, tokens joined by single spaces."""
    return frozenset(" ".join(normalise_phrase(term.said)) for term in terms if term.kind == kind)


class PhraseFinder:
    """Every match of every kind; within one kind the longest, leftmost first.

    Terms of ``LOOKED_UP`` kinds are left out: rules ask for those words by themselves.
    """

    def __init__(self, terms: Iterable[GrammarTerm]) -> None:
        table: dict[str, list[tuple[tuple[str, ...], GrammarTerm]]] = defaultdict(list)
        for term in terms:
            phrase = normalise_phrase(term.said)
            if phrase and term.kind not in LOOKED_UP:
                table[phrase[0]].append((phrase, term))
        self._by_first = {
            first: sorted(entries, key=lambda entry: -len(entry[0])) for first, entries in table.items()
        }

    def find(self, words: Sequence[str]) -> list[Mark]:
        """Marks of kind "grammar": ``detail`` is the term's kind, ``id`` its value or its wording."""
        marks: list[Mark] = []
        covered: dict[str, int] = defaultdict(int)  # kind -> first token not covered yet
        for at, word in enumerate(words):
            for phrase, term in self._by_first.get(word, ()):
                if covered[term.kind] > at:
                    continue
                last = at + len(phrase)
                if tuple(words[at:last]) == phrase:
                    covered[term.kind] = last
                    marks.append(
                        Mark(
                            kind="grammar",
                            first=at,
                            last=last,
                            id=term.value or term.said,
                            detail=term.kind,
                        )
                    )
        return marks
