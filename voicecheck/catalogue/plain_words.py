"""Plain words for customers: ``shared/plain_words.yaml``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from pydantic import Field

from voicecheck.catalogue.faults import Faults, nearest
from voicecheck.catalogue.yaml_records import read_record
from voicecheck.lexicon.model import Component
from voicecheck.records import Market, Problem, Record
from voicecheck.records.papers import PlainWord, PlainWords


class _File(Record):
    """The file as it is written."""

    words_uk: dict[str, str] = Field(default_factory=dict)
    fillers: tuple[str, ...] = ()
    openers: tuple[str, ...] = ()
    stutters: tuple[str, ...] = ()
    closers: tuple[str, ...] = ()
    systems: dict[str, PlainWord]
    components: dict[str, PlainWord] = Field(default_factory=dict)
    without: tuple[str, ...] = ()  # too general for any sentence


def check_plain_words(path: Path, *, components: Mapping[str, Component]) -> list[Problem]:
    """Every fault of the file; ``components`` are the lexicon's."""
    faults = Faults(path)
    _read(path, components, faults)
    return faults.in_order()


def load_plain_words(path: Path, *, components: Mapping[str, Component], market: Market) -> PlainWords:
    """Plain words for every component of the lexicon, its own or those of what it is a kind or part of.

    Spelled as ``market`` spells. Raises ``DataError`` with all problems.
    """
    faults = Faults(path)
    made = _read(path, components, faults)
    faults.stop_on_errors()
    assert made is not None
    spelled = made.words_uk if market == "UK" else {}
    words = {
        id_: PlainWord(does=_spelled(found.does, spelled), matters=_spelled(found.matters, spelled))
        for id_, component in components.items()
        if id_ not in made.without and (found := _of(component, made, components))
    }
    return PlainWords(
        components=words,
        fillers=made.fillers,
        openers=made.openers,
        stutters=made.stutters,
        closers=made.closers,
    )


def _of(component: Component, file: _File, components: Mapping[str, Component]) -> PlainWord | None:
    """The entry of the component, of what it is a kind of, and so on up, or of its system.

    What it is a part of is not asked: a hose of the cooling system does not do what the radiator does.
    """
    seen: Component | None = component
    while seen is not None:
        if seen.id in file.components:
            return file.components[seen.id]
        seen = components.get(seen.kind_of or "")
    return file.systems.get(component.system)


def _spelled(text: str, words: Mapping[str, str]) -> str:
    """The text with whole words changed, capitals kept."""

    def change(match: re.Match[str]) -> str:
        word = match[0]
        other = words.get(word.lower(), word)
        return other[:1].upper() + other[1:] if word[:1].isupper() else other

    return re.sub(r"[A-Za-z]+", change, text)


def _read(path: Path, components: Mapping[str, Component], faults: Faults) -> _File | None:
    made = read_record(path, _File, faults)
    if made is None:
        return None
    systems = {component.system for component in components.values()}
    for id_ in made.systems:
        if id_ not in systems:
            faults.error(f"unknown system “{id_}”{nearest(id_, systems)}", field="systems")
    for system in sorted(systems - set(made.systems)):
        faults.error(f"the system “{system}” has no entry", field="systems")
    for field, ids in (("components", tuple(made.components)), ("without", made.without)):
        for id_ in ids:
            if id_ not in components:
                faults.error(f"unknown component “{id_}”{nearest(id_, components)}", field=field)
    return made
