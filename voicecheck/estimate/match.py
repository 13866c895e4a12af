"""Which operation of the catalogue a need is. By id where the ids agree; by name never in silence."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from voicecheck.estimate.names import NameScorer
from voicecheck.estimate.needs import Need, kin
from voicecheck.estimate.scope import AXLES, SIDES, VEHICLE, axle_of, partners, possible_spots, side_of
from voicecheck.estimate.texts import named, work
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.estimate import Candidate
from voicecheck.records.shopdata import Catalogue, Operation, Per
from voicecheck.records.vocabulary import Action

SURE_SCORE = 85.0  # a name match below this is not used
SURE_MARGIN = 10.0  # nor one whose runner-up is nearer than this
WORTH_SHOWING = 50.0
RUNNERS_UP = 3
CLOSELY = 80  # names of one system and action that are all compared; of more, only those roughly alike
_QUALIFIERS = (("upper", "lower"), ("inner", "outer", "intermediate"), AXLES, SIDES)
GENERAL_DIAGNOSIS = "diagnosis"  # catalogue component of "find out what is wrong with this system"

# Putting a part where one is missing is the work of replacing it, less taking the old one off.
_NEAR_ACTION: dict[Action, Action] = {"install": "replace", "replace": "install"}


@dataclass(frozen=True, slots=True)
class Match:
    """The operation to use, if any; those it could have been; and what to ask before it is relied upon."""

    operation: Operation | None
    candidates: tuple[Candidate, ...] = ()
    asks: tuple[Ask, ...] = ()
    general: bool = False  # a diagnosis of the whole system, for want of one of the component


class Matcher:
    """Finds operations of one catalogue, whose names it indexes when it is made."""

    def __init__(self, catalogue: Catalogue, *, lexicon: Lexicon, scorer: NameScorer) -> None:
        self.catalogue = catalogue
        self._lexicon = lexicon
        self._scorer = scorer
        self._named = {
            group: _Names.of([self._names(o) for o in operations])
            for group, operations in catalogue.by_system.items()
        }
        self._seen: dict[tuple[str, Action], list[tuple[Operation, float]]] = {}

    def serves(self, catalogue: Catalogue, lexicon: Lexicon, scorer: NameScorer) -> bool:
        """Whether it was made for these very objects."""
        return self.catalogue is catalogue and self._lexicon is lexicon and self._scorer is scorer

    def match(self, need: Need) -> Match:
        """The operation for a need.

        In this order: the component's own id and action; the ids of the more general components; for a
        diagnosis, the system's general one; the same component installed instead of replaced (asked); a name
        that is alike enough and alone in it (asked). Else no operation, with an ask and the nearest names.
        """
        ranked = self._ranked(need)
        by_work = self.catalogue.by_work
        for component in kin(need.component, self._lexicon):
            if found := by_work.get((component, need.action)):
                return self._by_scope(need, found, ranked)
        if need.action == "diagnose":
            general = [
                o
                for o in by_work.get((GENERAL_DIAGNOSIS, "diagnose"), ())
                if o.system == need.component.system
            ]
            if general:
                return Match(general[0], candidates=_shown(ranked, without=general[0]), general=True)
        for component in kin(need.component, self._lexicon):
            near = _NEAR_ACTION.get(need.action)
            if near and (found := by_work.get((component, near))):
                chosen = self._by_scope(need, found, ranked)
                return replace(chosen, asks=(*chosen.asks, _confirm(need, found[0])))
        usable = [(o, s) for o, s in ranked if self._may_be(need, o)]
        if usable and usable[0][1] >= SURE_SCORE:
            best, score = usable[0]
            others = [s for o, s in ranked if o.code != best.code and _place_fits(need, o)]
            if not others or score - max(others) >= SURE_MARGIN:
                return Match(best, candidates=_shown(ranked, without=best), asks=(_confirm(need, best),))
        candidates = _shown(ranked)
        return Match(None, candidates=candidates, asks=(_not_there(need, candidates),))

    def _by_scope(
        self, need: Need, found: Sequence[Operation], ranked: list[tuple[Operation, float]]
    ) -> Match:
        """Of several operations for the same work, the one for its place, counted as the scope fills."""
        here = [o for o in found if _place_fits(need, o)]
        elsewhere = () if here else (_confirm(need, found[0]),)
        here = here or [*found]
        if len(found) == 1:
            return Match(found[0], candidates=_shown(ranked, without=found[0]), asks=elsewhere)
        per = _fullest(need, {o.per for o in here})
        fitting = [o for o in here if o.per == per]
        chosen = fitting[0]
        rest = tuple(Candidate(code=o.code, name=o.name, score=100.0) for o in found if o is not chosen)
        if len(fitting) == 1:
            return Match(chosen, candidates=rest[:RUNNERS_UP], asks=elsewhere)
        what = named(need.ref.name, need.positions, need.place)
        ask = Ask(
            code="catalogue_choice",
            field="catalogue",
            message=f"The catalogue has more than one way to {need.action} {what}; which one is meant?",
            choices=tuple(o.name for o in fitting),
        )
        return Match(chosen, candidates=rest[:RUNNERS_UP], asks=(*elsewhere, ask))

    def _may_be(self, need: Need, operation: Operation) -> bool:
        """Whether a likeness of names may stand for the component.

        An operation of another known component is a different part however alike the names are (the upper and
        the lower hose), unless it is a kind of the one that was said.
        """
        other = self._lexicon.components.get(operation.component)
        same = other is None or need.component.id in kin(other, self._lexicon)
        return same and _place_fits(need, operation)

    def _ranked(self, need: Need) -> list[tuple[Operation, float]]:
        """Operations of the same system and action by likeness of name, the best first.

        Those below ``WORTH_SHOWING`` are left out: nobody sees or uses them.
        """
        key = (need.component.id, need.action)
        if key not in self._seen:
            group = (need.component.system, need.action)
            operations = self.catalogue.by_system.get(group, ())
            known = self._named.get(group, _NO_NAMES)
            names = [n.casefold() for n in need.component.names]
            among = known.alike(names, self._scorer)
            best: dict[int, float] = {}
            scores = self._scorer.best(names, [known.texts[i] for i in among], least=WORTH_SHOWING)
            for at, score in scores.items():
                for owner in known.owners[among[at]]:
                    best[owner] = max(score, best.get(owner, 0.0))
            scored = [(operations[i], score) for i, score in best.items()]
            self._seen[key] = sorted(scored, key=lambda pair: (-pair[1], pair[0].code))
        return self._seen[key]

    def _names(self, operation: Operation) -> list[str]:
        """An operation's names as a component would be called: without the word for what is done."""
        names = [operation.name, *operation.also]
        if (component := self._lexicon.components.get(operation.component)) is not None:
            names.append(component.name)
        done = operation.action.split()
        return [" ".join(w for w in n.casefold().split() if w not in done) or n.casefold() for n in names]


@dataclass(frozen=True, slots=True)
class _Names:
    """The names of the operations of one system and action, each once, with whose they are."""

    texts: list[str]
    owners: list[list[int]]
    words: Mapping[str, list[int]]  # where each word occurs

    @classmethod
    def of(cls, names: Sequence[Sequence[str]]) -> _Names:
        owners: dict[str, list[int]] = {}
        for i, own in enumerate(names):
            for name in dict.fromkeys(own):
                owners.setdefault(name, []).append(i)
        words: dict[str, list[int]] = {}
        for i, text in enumerate(owners):
            for word in set(text.replace(",", " ").split()):
                words.setdefault(word, []).append(i)
        return cls(list(owners), list(owners.values()), words)

    def alike(self, names: Sequence[str], scorer: NameScorer) -> list[int]:
        """Which texts are worth comparing closely: all of a few; of many, those roughly alike.

        These are the texts that spell roughly the same, and those that hold the rarest word of a name.
        """
        if len(self.texts) <= CLOSELY:
            return list(range(len(self.texts)))
        found = set(scorer.roughly(names[0], self.texts, most=CLOSELY // 4))
        for name in names:
            known = [self.words[w] for w in set(name.split()) if w in self.words]
            found.update(min(known, key=len, default=[])[:CLOSELY])
        return sorted(found)


_NO_NAMES = _Names([], [], {})


def _place_fits(need: Need, operation: Operation) -> bool:
    """Whether what an operation's name says of the place ("upper", "rear") can be where the need is."""
    words = set(re.findall(r"[a-z]+", operation.name.casefold()))
    said = set(need.place) | set(need.component.place)
    for spot in need.spots:
        said |= {axle_of(spot), side_of(spot)}
    return all(
        not words & set(group) or not said & set(group) or words & said & set(group) for group in _QUALIFIERS
    )


def _fullest(need: Need, on_offer: set[Per]) -> Per:
    """The widest way of counting that the scope fills: the vehicle, whole axles, else single places."""
    whole = VEHICLE in need.spots or set(need.spots) >= set(possible_spots(need.component))
    axles = not partners(need.component, need.spots)
    order: tuple[Per, ...] = ("vehicle", "axle", "side", "each")
    filled = {"vehicle": whole, "axle": axles, "side": True, "each": True}
    return next(p for p in (*(p for p in order if filled[p]), *reversed(order)) if p in on_offer)


def _shown(
    ranked: Sequence[tuple[Operation, float]], *, without: Operation | None = None
) -> tuple[Candidate, ...]:
    worth = [(o, s) for o, s in ranked if s >= WORTH_SHOWING and (without is None or o.code != without.code)]
    return tuple(Candidate(code=o.code, name=o.name, score=round(s, 1)) for o, s in worth[:RUNNERS_UP])


def _confirm(need: Need, operation: Operation) -> Ask:
    return Ask(
        code="catalogue_match",
        field="catalogue",
        message=(
            f"The catalogue does not have “{work(need.action, need.ref.name)}”; the nearest is "
            f"“{operation.name}” ({operation.code}), which is used here. Is it the right one?"
        ),
        choices=(f"Use “{operation.name}”", "Price it by hand"),
    )


def _not_there(need: Need, candidates: Sequence[Candidate]) -> Ask:
    return Ask(
        code="not_in_catalogue",
        field="catalogue",
        message=(
            f"“{work(need.action, need.ref.name)}” is not in the catalogue: "
            "its labour, and parts if it takes any, are to be priced."
        ),
        choices=tuple(c.name for c in candidates),
    )


_KEPT: list[
    Matcher
] = []  # the matchers last used: making one anew for each draft would index all names again
_KEEP = 4


def matcher_for(catalogue: Catalogue, *, lexicon: Lexicon, scorer: NameScorer) -> Matcher:
    """The matcher for these very objects, made once and kept while they are in use."""
    found = next((m for m in _KEPT if m.serves(catalogue, lexicon, scorer)), None)
    if found is None:
        found = Matcher(catalogue, lexicon=lexicon, scorer=scorer)
        _KEPT.insert(0, found)
        del _KEPT[_KEEP:]
    return found
