"""Finds the lexicon's component for a shop's own word: by its id, else by a name it has in the lexicon.

Equal means equal after the lexicon's own normalisation (capitals, hyphens, punctuation). Nothing is taken
because it looks alike: near names are only offered.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping

from voicecheck.lexicon import normalise_phrase
from voicecheck.lexicon.model import Component

MOST_SEARCHED = 200  # different unknown words for which near names are looked for: it takes time
OFFERED = 3


class UnknownName(ValueError):  # noqa: N818 - what it says, not that it went wrong
    """No component, or several, for a word: a clause for a message, with the nearest candidates."""


class ComponentNames:
    """The lexicon's names, turned round; remembers what was found by name, so that it can be shown."""

    def __init__(self, components: Mapping[str, Component]) -> None:
        self._components = components
        self._by_name: dict[tuple[str, ...], list[str]] = {}
        for component in components.values():
            for name in component.names:
                ids = self._by_name.setdefault(normalise_phrase(name), [])
                if component.id not in ids:
                    ids.append(component.id)
        self._spoken = {" ".join(words): ids[0] for words, ids in self._by_name.items()}
        self._unknown: dict[str, str] = {}
        self.by_name: dict[str, str] = {}  # their word -> the id it was taken for

    def find(self, word: str) -> str:
        """The id of the component that ``word`` names; raises ``UnknownName``."""
        if word in self._components:
            return word
        if word in self._unknown:
            raise UnknownName(self._unknown[word])
        ids = self._by_name.get(normalise_phrase(word), [])
        if len(ids) == 1:
            self.by_name[word] = ids[0]
            return ids[0]
        self._unknown[word] = self._why(word, ids)
        raise UnknownName(self._unknown[word])

    def system_of(self, component: str) -> str:
        """The system that the lexicon puts a component in, "" for an unknown one."""
        return self._components[component].system if component in self._components else ""

    def _why(self, word: str, ids: list[str]) -> str:
        if ids:
            return f"“{word}” is a name of several components: {', '.join(ids)}"
        message = f"the lexicon has no component “{word}”"
        if len(self._unknown) >= MOST_SEARCHED:
            return message
        close = difflib.get_close_matches(" ".join(normalise_phrase(word)), self._spoken, n=6, cutoff=0.6)
        near = list(dict.fromkeys(self._spoken[c] for c in close))[:OFFERED]
        offered = ", ".join(f"{n} ({self._components[n].name})" for n in near)
        return f"{message}; nearest: {offered}" if near else message
