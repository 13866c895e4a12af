"""Finds every fault of a term folder at once: of form, of single rows, and between rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from itertools import chain, combinations
from pathlib import Path

from voicecheck.lexicon.folder import Merged, read_layers
from voicecheck.lexicon.inflect import singulars
from voicecheck.lexicon.model import Component, TermKind
from voicecheck.lexicon.normal import normalise_phrase
from voicecheck.lexicon.parse import MARKETS
from voicecheck.lexicon.read import Row
from voicecheck.lexicon.table import (
    OTHER_MARKET,
    Phrase,
    ancestors,
    market_of_name,
    names_in,
    variants_of,
)
from voicecheck.records.problems import Problem
from voicecheck.records.vocabulary import Market

# Kinds of which one phrase should not be two: the language stage would have to guess.
_SHADOWS: tuple[tuple[TermKind, TermKind], ...] = (
    ("condition", "action"),
    ("condition", "cue"),
    ("action", "cue"),
    ("component", "place"),
    ("component", "cue"),
    ("component", "condition"),
    ("component", "action"),
)


def check_lexicon(base: Path, overlay: Path | None = None) -> list[Problem]:
    """Every fault and doubt of the term files in ``base``, with a shop's ``overlay`` folder laid over them.

    Errors make the folder unusable, warnings do not. In order of file and row. Raises nothing.
    """
    merged, problems = read_layers(base, overlay)
    return [*problems_between(merged, problems)]


def problems_between(
    merged: Merged, problems: Iterable[Problem], *, errors_only: bool = False
) -> list[Problem]:
    """``problems`` and those between the rows, in order of file and row, without repeats.

    With ``errors_only`` the checks that only ever warn are left out.
    """
    found = list(problems)
    for check in (*_FAULTS, *(() if errors_only else _DOUBTS)):
        found.extend(check(merged))
    found = list(dict.fromkeys(found))
    return sorted(found, key=lambda p: (p.file, p.row or 0, p.field, p.message))


def _pointers(merged: Merged) -> Iterator[Problem]:
    """``kind_of``, ``part_of`` and ``fits`` that point nowhere."""
    if merged.incomplete:
        return
    known = merged.component_ids
    for component in merged.components.values():
        for column, target in (("kind_of", component.term.kind_of), ("part_of", component.term.part_of)):
            if target is not None and target not in known:
                yield component.row.problem(column, f"there is no component “{target}”")
    fitting: Iterable[tuple[Row, tuple[str, ...]]] = chain(
        ((c.row, c.term.fits) for c in merged.conditions.values()),
        ((m.row, m.term.fits) for m in merged.measures.values()),
    )
    for row, fits in fitting:
        for target in fits:
            if target != "any" and not target.startswith("system:") and target not in known:
                yield row.problem(
                    "fits", f"there is no component “{target}”; system:NAME and any are allowed too"
                )


def _loops(merged: Merged) -> Iterator[Problem]:
    """Components that are a kind of, or a part of, themselves."""
    links: tuple[tuple[str, Callable[[Component], str | None]], ...] = (
        ("kind_of", lambda c: c.kind_of),
        ("part_of", lambda c: c.part_of),
    )
    for column, link in links:
        for id_, component in merged.components.items():
            path = [id_]
            while True:
                item = merged.components.get(path[-1])
                target = link(item.term) if item is not None else None
                if target is None or target in path:
                    break
                path.append(target)
            if target == id_:
                yield component.row.problem(column, f"is a loop: {' → '.join([*path, id_])}")


def _name_clashes(merged: Merged) -> Iterator[Problem]:
    """One name, give or take its number, hyphens and spaces, for two components in one market."""
    components = {id_: c.term for id_, c in merged.components.items()}
    said: dict[str, dict[str, list[str]]] = defaultdict(dict)  # names that are alike, by component
    for component in components.values():
        for name in component.names:
            said[_same_name(name)].setdefault(component.id, []).append(name)
    clashes: dict[tuple[str, str], dict[str, None]] = defaultdict(dict)
    for owners in said.values():
        # What is linked by kind_of may share a name: the general one owns it.
        tops = {i: names for i, names in owners.items() if owners.keys().isdisjoint(ancestors(components, i))}
        lost: dict[str, list[tuple[Market, str]]] = defaultdict(list)
        for market in MARKETS:
            claims = {i: max(market_of_name(components[i], n, market) for n in tops[i]) for i in tops}
            best = max(claims.values(), default=OTHER_MARKET)
            holders = [i for i, claim in claims.items() if claim == best > OTHER_MARKET]
            for one, other in combinations(holders, 2):
                clashes[one, other][f"“{tops[other][0]}” in the {market} market"] = None
            for i, claim in claims.items():
                if OTHER_MARKET < claim < best:
                    lost[i].append((market, holders[0]))
        # A canonical name may be another's in one market, if its component has names of its own there.
        for i, losses in lost.items():
            for market, holder in losses:
                if len(losses) == len(MARKETS) or not names_in(components[i], market):
                    clashes[holder, i][f"“{tops[i][0]}” in the {market} market"] = None
    for (one, other), names_said in clashes.items():
        where = merged.components[one].row
        yield merged.components[other].row.problem(
            "name",
            f"{', '.join(names_said)} is also a name of {one} ({where.file}:{where.number});"
            " drop one, or link them by kind_of",
        )


def _same_name(name: str) -> str:
    words = normalise_phrase(name)
    return "".join(words[:-1]) + (singulars(words[-1]) or (words[-1],))[0]


def _variants(merged: Merged) -> Iterator[Problem]:
    """Phrases of one term that the program makes from another one by itself (hyphens, spaces, number)."""
    said: Iterable[tuple[TermKind, Row, tuple[str, ...]]] = chain(
        (("component", c.row, c.term.names) for c in merged.components.values()),
        (("condition", c.row, c.term.said) for c in merged.conditions.values()),
        (("measure", m.row, m.term.said) for m in merged.measures.values()),
        *((("action", a.row, a.term.said) for a in layer.actions) for layer in merged.layers),
    )
    for kind, row, phrases in said:
        column = "name" if kind == "component" else "said"
        makes: dict[Phrase, str] = {}
        for phrase in phrases:
            for words in variants_of(kind, phrase):
                makes.setdefault(words, phrase)
        for phrase in phrases:
            source = makes[normalise_phrase(phrase)]
            if source != phrase:
                message = f"“{phrase}” is understood where “{source}” is listed; one is enough"
                yield row.problem(column, message, severity="warning")


def _places(merged: Merged) -> Iterator[Problem]:
    """One place phrase with two meanings in one market."""
    seen: dict[tuple[Phrase, str | None], list[tuple[str, str, Row]]] = defaultdict(list)
    for place in chain.from_iterable(layer.places for layer in merged.layers):
        term, row = place.term, place.row
        others = seen[normalise_phrase(term.said), term.market]
        for kind, value, where in others:
            at = f"{where.file}:{where.number}"
            if (kind, value) == (term.kind, term.value):
                yield row.problem("said", f"“{term.said}” is already at {at}", severity="warning")
            else:
                message = f"“{term.said}” is a {term.kind} “{term.value}” and, at {at}, a {kind} “{value}”"
                yield row.problem("said", message, severity="error" if kind == term.kind else "warning")
        others.append((term.kind, term.value, row))


def _cues(merged: Merged) -> Iterator[Problem]:
    """One cue phrase listed twice, or with two values in one kind. Two kinds are for the rules to settle."""
    seen: dict[tuple[Phrase, str], tuple[str, Row]] = {}
    for cue in chain.from_iterable(layer.cues for layer in merged.layers):
        key = (normalise_phrase(cue.term.said), cue.term.kind)
        value, where = seen.setdefault(key, (cue.term.value, cue.row))
        if where is cue.row and value == cue.term.value:
            continue
        at = f"{where.file}:{where.number}"
        if value == cue.term.value:
            message = f"the {cue.term.kind} “{cue.term.said}” is already at {at}"
        else:
            message = (
                f"the {cue.term.kind} “{cue.term.said}” has the value “{cue.term.value}”, at {at} “{value}”"
            )
        yield cue.row.problem("said", message, severity="warning")


def _conditions(merged: Merged) -> Iterator[Problem]:
    """One phrase for two conditions that fit the same: nothing could tell them apart."""
    seen: dict[Phrase, list[tuple[str, frozenset[str], Row]]] = defaultdict(list)
    for condition in merged.conditions.values():
        fits = frozenset(condition.term.fits)
        for said in condition.term.said:
            others = seen[normalise_phrase(said)]
            for id_, other, where in others:
                shared = sorted(fits & other)
                if shared and id_ != condition.term.id:
                    message = (
                        f"“{said}” also means {id_} ({where.file}:{where.number}) on {', '.join(shared)}"
                    )
                    yield condition.row.problem("said", message, severity="warning")
            others.append((condition.term.id, fits, condition.row))


def _shadowed(merged: Merged) -> Iterator[Problem]:
    """One phrase in two kinds that the rules read differently."""
    said: dict[TermKind, dict[Phrase, tuple[str, Row]]] = defaultdict(dict)

    def put(kind: TermKind, what: str, phrases: Iterable[str], row: Row) -> None:
        for phrase in phrases:
            said[kind].setdefault(normalise_phrase(phrase), (what, row))

    for component in merged.components.values():
        put("component", f"the component {component.term.id}", component.term.names, component.row)
    for condition in merged.conditions.values():
        put("condition", f"the condition {condition.term.id}", condition.term.said, condition.row)
    for layer in merged.layers:
        for action in layer.actions:
            put("action", f"the action {action.term.action}", action.term.said, action.row)
        for place in layer.places:
            put("place", f"a place ({place.term.kind})", (place.term.said,), place.row)
        for cue in layer.cues:
            put("cue", f"a cue ({cue.term.kind})", (cue.term.said,), cue.row)
    for one, other in _SHADOWS:
        for phrase, (what, row) in said[one].items():
            if phrase in said[other]:
                also, where = said[other][phrase]
                message = f"“{' '.join(phrase)}” is {what} and also {also} ({where.file}:{where.number})"
                yield row.problem("name" if one == "component" else "said", message, severity="warning")


_Check = Callable[[Merged], Iterator[Problem]]
_FAULTS: tuple[_Check, ...] = (_pointers, _loops, _name_clashes, _places)
_DOUBTS: tuple[_Check, ...] = (_variants, _cues, _conditions, _shadowed)  # they only warn
