"""The term files that come with the program."""

from __future__ import annotations

from collections import Counter
from typing import get_args

import pytest

from voicecheck import resources
from voicecheck.lexicon import Lexicon, SimpleMatcher, TermMatcher, check_lexicon, hot_words, load_lexicon
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.lexicon.model import LOOKED_UP, GrammarKind
from voicecheck.lexicon.normal import normalise_phrase
from voicecheck.lexicon.parse import SYSTEMS
from voicecheck.lexicon.table import THIS_MARKET, ancestors, market_of_name, phrase_table
from voicecheck.records.vocabulary import ACTIONS, Market

MARKETS: tuple[Market, ...] = ("US", "UK")


@pytest.fixture(scope="module", params=MARKETS)
def market(request: pytest.FixtureRequest) -> Market:
    found: Market = request.param
    return found


@pytest.fixture(scope="module")
def lexicon(market: Market) -> Lexicon:
    return load_lexicon(resources.lexicon_dir(), market=market)


@pytest.fixture(scope="module")
def matcher(lexicon: Lexicon) -> TermMatcher:
    return compile_matcher(lexicon)


def test_no_errors() -> None:
    assert [str(p) for p in check_lexicon(resources.lexicon_dir()) if p.severity == "error"] == []


def test_it_is_large_enough_to_start_with(lexicon: Lexicon) -> None:
    systems = Counter(c.system for c in lexicon.components.values())
    assert set(systems) == set(SYSTEMS)
    assert len(lexicon.components) >= 220
    assert len(lexicon.conditions) >= 110
    assert {a.action for a in lexicon.actions} == set(ACTIONS)


def test_every_name_is_found_whole_and_is_its_own(lexicon: Lexicon, matcher: TermMatcher) -> None:
    """A name of the market leads to its component, or to a more general one that owns it."""
    for component in lexicon.components.values():
        for name in component.names:
            words = normalise_phrase(name)
            span = ("component", 0, len(words))
            whole = [m.id for m in matcher.match(words) if (m.kind, m.first, m.last) == span]
            assert len(whole) == 1, (name, whole)
            if market_of_name(component, name, lexicon.market) == THIS_MARKET:
                assert whole[0] in (component.id, *ancestors(lexicon.components, component.id)), name


def test_every_condition_phrase_is_found(lexicon: Lexicon, matcher: TermMatcher) -> None:
    for condition in lexicon.conditions.values():
        for said in condition.said:
            assert condition.id in [
                m.id for m in matcher.match(normalise_phrase(said)) if m.kind == "condition"
            ]


def test_every_hot_phrase_is_made_of_terms(lexicon: Lexicon, matcher: TermMatcher) -> None:
    """Biasing towards a phrase that nothing understands would only invite invented words."""
    small = {word for g in lexicon.grammar for word in normalise_phrase(g.said)}
    hot = hot_words(lexicon, limit_tokens=10_000, count_tokens=len)
    assert len(hot) >= 30
    strange = []
    for phrase in hot:
        words = normalise_phrase(phrase)
        covered = {at for m in matcher.match(words) for at in range(m.first, m.last)}
        strange += [
            w for at, w in enumerate(words) if at not in covered and w not in small and w[0].isalpha()
        ]
    assert strange == []


def test_every_kind_of_closed_class_word_is_used(lexicon: Lexicon) -> None:
    """A kind without rows would be a rule that never fires."""
    assert {term.kind for term in lexicon.grammar} == set(get_args(GrammarKind))
    assert set(get_args(GrammarKind)) >= LOOKED_UP


def test_hot_words_fit_a_prompt(lexicon: Lexicon) -> None:
    # Four letters a token is on the safe side for a recogniser's word pieces.
    hot = hot_words(lexicon, limit_tokens=200, count_tokens=lambda text: -(-len(text) // 4))
    assert any("outer tie rod end" in phrase or "track rod end" in phrase for phrase in hot)
    assert len(hot) >= 24


def test_both_matchers_agree_on_the_whole_vocabulary(lexicon: Lexicon, matcher: TermMatcher) -> None:
    words = [w for phrases in phrase_table(lexicon).phrases.values() for p in phrases for w in p]
    assert matcher.match(words) == SimpleMatcher(lexicon).match(words)
