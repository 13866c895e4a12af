"""Which operation of the catalogue a need is. By id where the ids agree; by name never in silence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from voicecheck.estimate.names import NameScorer
from voicecheck.estimate.needs import Need, kin
from voicecheck.estimate.scope import VEHICLE, partners, possible_spots
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
    """Finds operations of one catalogue."""

    def __init__(self, catalogue: Catalogue, *, lexicon: Lexicon, scorer: NameScorer) -> None:
        self._lexicon = lexicon
        self._scorer = scorer
        self._operations = sorted(catalogue.operations, key=lambda o: o.code)
        self._by_id: dict[tuple[str, Action], list[Operation]] = {}
        for operation in self._operations:
            self._by_id.setdefault((operation.component, operation.action), []).append(operation)

    def match(self, need: Need) -> Match:
        """The operation for a need.

        In this order: the component's own id and action; the ids of the more general components; for a
        diagnosis, the system's general one; the same component installed instead of replaced (asked); a name
        that is alike enough and alone in it (asked). Else no operation, with an ask and the nearest names.
        """
        ranked = self._ranked(need)
        for component in kin(need.component, self._lexicon):
            if found := self._by_id.get((component, need.action)):
                return self._by_scope(need, found, ranked)
        if need.action == "diagnose":
            general = [
                o
                for o in self._by_id.get((GENERAL_DIAGNOSIS, "diagnose"), [])
                if o.system == need.component.system
            ]
            if general:
                return Match(general[0], candidates=_shown(ranked, without=general[0]), general=True)
        for component in kin(need.component, self._lexicon):
            near = _NEAR_ACTION.get(need.action)
            if near and (found := self._by_id.get((component, near))):
                chosen = self._by_scope(need, found, ranked)
                return replace(chosen, asks=(*chosen.asks, _confirm(need, found[0])))
        usable = [(o, s) for o, s in ranked if self._may_be(need, o)]
        if usable and usable[0][1] >= SURE_SCORE:
            best, score = usable[0]
            others = [s for o, s in ranked if o.code != best.code]
            if not others or score - max(others) >= SURE_MARGIN:
                return Match(best, candidates=_shown(ranked, without=best), asks=(_confirm(need, best),))
        candidates = _shown(ranked)
        return Match(None, candidates=candidates, asks=(_not_there(need, candidates),))

    def _by_scope(
        self, need: Need, found: Sequence[Operation], ranked: list[tuple[Operation, float]]
    ) -> Match:
        """Of several operations for the same work, the one counted in the way that the scope fills."""
        if len(found) == 1:
            return Match(found[0], candidates=_shown(ranked, without=found[0]))
        fitting = [o for o in found if o.per == _fullest(need, {o.per for o in found})]
        chosen = fitting[0]
        rest = tuple(Candidate(code=o.code, name=o.name, score=100.0) for o in found if o is not chosen)
        if len(fitting) == 1:
            return Match(chosen, candidates=rest[:RUNNERS_UP])
        what = named(need.ref.name, need.positions, need.place)
        ask = Ask(
            code="catalogue_choice",
            field="catalogue",
            message=f"The catalogue has more than one way to {need.action} {what}; which one is meant?",
            choices=tuple(o.name for o in fitting),
        )
        return Match(chosen, candidates=rest[:RUNNERS_UP], asks=(ask,))

    def _may_be(self, need: Need, operation: Operation) -> bool:
        """Whether a likeness of names may stand for the component.

        An operation of another known component is a different part however alike the names are (the upper and
        the lower hose), unless it is a kind of the one that was said.
        """
        other = self._lexicon.components.get(operation.component)
        return other is None or need.component.id in kin(other, self._lexicon)

    def _ranked(self, need: Need) -> list[tuple[Operation, float]]:
        """Operations of the same system and action by likeness of name, the best first."""
        names = [n.casefold() for n in need.component.names]
        scored = [
            (operation, max(self._scorer.score(a, b) for a in names for b in self._names(operation)))
            for operation in self._operations
            if operation.action == need.action and operation.system == need.component.system
        ]
        return sorted(scored, key=lambda pair: (-pair[1], pair[0].code))

    def _names(self, operation: Operation) -> list[str]:
        """An operation's names as a component would be called: without the word for what is done."""
        names = [operation.name, *operation.also]
        if (component := self._lexicon.components.get(operation.component)) is not None:
            names.append(component.name)
        done = operation.action.split()
        return [" ".join(w for w in n.casefold().split() if w not in done) or n.casefold() for n in names]


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
