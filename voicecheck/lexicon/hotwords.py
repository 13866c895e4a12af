"""The short constant list of phrases a recogniser is biased towards."""

from __future__ import annotations

from collections.abc import Callable
from itertools import chain

from voicecheck.lexicon.extras import ShopLexicon
from voicecheck.lexicon.model import Lexicon


def hot_words(lexicon: Lexicon, *, limit_tokens: int, count_tokens: Callable[[str], int]) -> tuple[str, ...]:
    """The phrases to bias a recogniser with, most needed first, cut so that they fit.

    First the components whose owner wrote down how they are misheard (``sounds_like``), then the phrases of
    ``hotwords.csv`` that are said in the lexicon's market, in file order. ``count_tokens`` counts the
    recogniser's tokens of a text; the list joined by ", " has at most ``limit_tokens``. The list depends on
    nothing else, so the same recording is heard the same way every time.
    """
    misheard = (c.name for c in lexicon.components.values() if c.sounds_like)
    hot = lexicon.hot if isinstance(lexicon, ShopLexicon) else ()
    listed = (h.phrase for h in hot if h.market is None or h.market == lexicon.market)
    chosen: list[str] = []
    seen: set[str] = set()
    for phrase in chain(misheard, listed):
        if phrase.lower() in seen:
            continue
        if count_tokens(", ".join((*chosen, phrase))) > limit_tokens:
            break  # a shorter one further down is less needed, and would make the choice hard to foresee
        chosen.append(phrase)
        seen.add(phrase.lower())
    return tuple(chosen)
