"""Which words to expect: the hot words of what a stretch of the recording is about, and echoes of hot words.

Pure. The list changes from window to window: what was just talked about comes first, then the standing list.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple

from voicecheck.lexicon import Lexicon, TermMatcher, normalise_phrase
from voicecheck.records import Record, Word


def hot_text(phrases: Sequence[str]) -> str:
    """The phrases as the recogniser is given them: a list that ends as a sentence does.

    Without the full stop the engine takes a window for more of the list and begins it with a word that would
    go on from the last phrase ("rotor" … "drive"), often in the place of one that was said.
    """
    listed = ", ".join(phrases)
    return listed if not listed or listed.endswith((".", "?", "!")) else f"{listed}."


class TopicLimits(Record):
    """How the token budget is divided."""

    tokens: int = 200  # in all
    recent_words: int = 90  # that tell the topic: about one window
    hard_word_tokens: int = 2  # a word in so many tokens is rare, and is misheard more often


class Topic:
    """Chooses hot words from a standing list and a lexicon.

    ``count_tokens`` counts the recogniser's tokens of a text. The choice depends only on what is given, so
    the same recording is heard the same way every time.
    """

    def __init__(
        self,
        lexicon: Lexicon,
        *,
        matcher: TermMatcher,
        count_tokens: Callable[[str], int],
        limits: TopicLimits | None = None,
    ) -> None:
        self.limits = limits or TopicLimits()
        self._count = lru_cache(maxsize=1 << 14)(
            count_tokens
        )  # the same phrases are asked about in every window
        self._systems: dict[str, str] = {}
        self._lexicon = lexicon
        self._matcher = matcher
        self._hard: dict[str, tuple[str, ...]] = {}

    def hot_words(self, standing: Sequence[str], heard: Sequence[str]) -> tuple[str, ...]:
        """The phrases to expect after ``heard`` (plain words, in order), at most the budget of tokens.

        The standing list is kept whole, what is about the topic last, nearest to the sound; names of the
        topic's components that hold a rare word fill the room that is left.
        """
        recent = list(heard[-self.limits.recent_words :])
        systems: Counter[str] = Counter()
        families: Counter[str] = Counter()
        for match in self._matcher.match(recent):
            if match.kind == "component":
                component = self._lexicon.components[match.id]
                systems[component.system] += 1
                families[match.id] += 2
                families.update(one for one in (component.kind_of, component.part_of) if one)
        if not systems:
            return self._fitting(standing, self.limits.tokens)
        kept = self._fitting(standing, self.limits.tokens)
        about = [phrase for phrase in kept if self._system(phrase) in systems]
        room = self.limits.tokens - sum(self._count(phrase) + 1 for phrase in kept)
        names = self._fitting([n for n in self._names(systems, families) if n not in kept], room)
        return (*(phrase for phrase in kept if phrase not in about), *about, *names)

    def _names(self, systems: Counter[str], families: Counter[str]) -> list[str]:
        ranked: list[tuple[int, int, str]] = []
        for number, component in enumerate(self._lexicon.components.values()):
            if component.system not in systems:
                continue
            near = 3 * families[component.id] + sum(
                families[one] for one in (component.kind_of, component.part_of) if one
            )
            ranked += [
                (-near - systems[component.system], number, name) for name in self._hard_names(component.id)
            ]
        return list(dict.fromkeys(name for _, _, name in sorted(ranked)))

    def _hard_names(self, component_id: str) -> tuple[str, ...]:
        found = self._hard.get(component_id)
        if found is None:
            component = self._lexicon.components[component_id]
            local = component.us if self._lexicon.market == "US" else component.uk
            names = dict.fromkeys((*local[:1], component.name))
            found = self._hard[component_id] = tuple(name for name in names if self._is_hard(name))
        return found

    def _is_hard(self, name: str) -> bool:
        return any(self._count(word) >= self.limits.hard_word_tokens for word in name.split())

    def _system(self, phrase: str) -> str:
        system = self._systems.get(phrase)
        if system is None:
            found = (m.id for m in self._matcher.match(normalise_phrase(phrase)) if m.kind == "component")
            component = next(found, None)
            system = "" if component is None else self._lexicon.components[component].system
            self._systems[phrase] = system
        return system

    def _fitting(self, phrases: Sequence[str], tokens: int) -> tuple[str, ...]:
        """The first of the phrases that fit whole. A comma is counted as a token."""
        fitting: list[str] = []
        used = 0
        for phrase in dict.fromkeys(phrases):
            used += self._count(phrase) + 1
            if used > tokens:
                break
            fitting.append(phrase)
        return tuple(fitting)


class Echo(NamedTuple):
    """Words ``first:last`` that may be the hot words' own and not the speaker's."""

    first: int
    last: int
    doubled: bool  # the same word stands next to it


class EchoLimits(Record):
    """What makes a hot word suspect. Seconds and certainties."""

    doubled_s: float = 0.14  # one of two same words, no longer than this
    doubled_certainty: float = 0.5  # … or less certain than this
    stray_certainty: float = 0.35  # all words of a hot phrase less certain than this …
    stray_letter_s: float = 0.03  # … and faster than this for each letter


def suspects(words: Sequence[Word], hot_words: Sequence[str], limits: EchoLimits) -> list[Echo]:
    """Where ``words`` may echo the list of hot words: "slide slide pins", or a phrase squeezed in."""
    hot = {token for phrase in hot_words for token in normalise_phrase(phrase)}
    phrases = {normalise_phrase(phrase) for phrase in hot_words}
    plain = [normalise_phrase(word.heard) for word in words]
    found: list[Echo] = []
    for at in range(len(words) - 1):
        if plain[at] and plain[at] == plain[at + 1] and set(plain[at]) <= hot:
            worse = min((at, at + 1), key=lambda n: (words[n].certainty, n))
            quick = min(_seconds(words[at]), _seconds(words[at + 1])) <= limits.doubled_s
            if quick or words[worse].certainty < limits.doubled_certainty:
                found.append(Echo(worse, worse + 1, doubled=True))
    longest = max((len(phrase) for phrase in phrases), default=0)
    for first in range(len(words)):
        for last in range(min(len(words), first + longest), first, -1):
            part = words[first:last]
            if tuple(token for parts in plain[first:last] for token in parts) not in phrases:
                continue
            letters = sum(len(word.heard) for word in part)
            took = (part[-1].end or 0.0) - (part[0].start or 0.0)
            unsure = max(word.certainty for word in part) < limits.stray_certainty
            if unsure and took < limits.stray_letter_s * letters:
                found.append(Echo(first, last, doubled=False))
            break
    return found


def _seconds(word: Word) -> float:
    return (word.end or 0.0) - (word.start or 0.0)
