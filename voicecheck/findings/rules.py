"""What stays the same from one reading to the next, made once per lexicon."""

from __future__ import annotations

from typing import NamedTuple

from voicecheck.findings.items import Cutter
from voicecheck.findings.parts import PartTree
from voicecheck.findings.readings import Gauge
from voicecheck.findings.words import Words
from voicecheck.lexicon.model import Lexicon


class Rules(NamedTuple):
    """The vocabulary, and what is worked out of it beforehand."""

    lexicon: Lexicon
    tree: PartTree
    cutter: Cutter
    gauge: Gauge
    words: Words

    @classmethod
    def of(cls, lexicon: Lexicon, *, tree: PartTree | None = None) -> Rules:
        """All of it from a lexicon; ``tree`` spares walking the same lexicon twice."""
        tree = tree or PartTree(lexicon)
        words = Words.of(lexicon)
        return cls(lexicon, tree, Cutter(lexicon, tree=tree), Gauge(lexicon, words=words), words)
