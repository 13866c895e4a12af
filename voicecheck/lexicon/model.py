"""The compiled vocabulary of a shop: plain frozen values, no engine types.

Field meanings are those of the term files (DEVELOPERS.md, "Term files").
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Literal, Protocol

from voicecheck.records.base import Record
from voicecheck.records.vocabulary import Action, Market, Position, State, Unit, Urgency

System = Literal[
    "brakes", "steering", "suspension", "wheels_tyres", "engine", "cooling", "fuel", "exhaust", "driveline",
    "electrical", "lighting", "glass_wipers", "body_interior", "air_conditioning", "hybrid_ev",
]  # fmt: skip

Sets = Literal["axle set", "pair", "each"]

CueKind = Literal[
    "hedge",  # might be, possibly: value "suspect"
    "negation",  # not, no, isn't: turns the condition that follows (value "before") or precedes ("after")
    "negation_end",  # but, apart from: ends the reach of a negation
    "pseudo_negation",  # not only, no longer holding: looks like a negation, is none
    "ok",  # looks good, fine, within spec: the component is ok
    "not_checked",  # didn't get to, couldn't see
    "except",  # apart from, except for, other than
    "correction",  # no sorry, make that, I mean: what follows replaces what came before
    "withdrawal",  # scratch that, forget that, ignore that: the item before is taken back
    "urgency",  # value now, soon, later
    "advice",  # recommend, suggest, needs, wants: advice follows; value "" or an action
    "no_action",  # leave it, nothing to do, no need to: value "none" or "monitor"
    "only_if",  # only if, if they are keeping it: value ""
    "because",  # because, due to, from: the cause follows
    "otherwise",  # or else, otherwise, before it: the consequence follows
    "together",  # while we're in there, at the same time
    "sublet",  # send out, specialist
    "open_price",  # price to be found, need a quote
    "hypothetical",  # a bad one would, if it were, they usually
    "general",  # these always, known for
    "question",  # is it, do you think
    "reported",  # customer says, he reckons
    "target",  # leaking onto, dripping on: the component that follows is where it lands, not what is wrong
    "limit",  # minimum is, discard at, spec is: the number that follows is a limit
    "bound",  # less than, about, at least: value "<", ">", "~"
    "clause",  # next up, moving on, then: a new clause begins
    "chatter",  # right then, okay so, hang on: talk that carries nothing
    "filler",  # um, uh, you know
    "vehicle",  # odometer, mileage, registration, vin: introduces a fact about the vehicle; value names it
    "quantity",  # pair of, set of, both, all four: value is a number of parts where it is one
]


class Component(Record):
    id: str
    name: str
    us: tuple[str, ...] = ()
    uk: tuple[str, ...] = ()
    system: System
    kind_of: str | None = None
    part_of: str | None = None
    places: tuple[str, ...] = ("one",)
    place: tuple[str, ...] = ()
    sets: Sets = "each"
    advice: Action = "replace"  # what "it needs one" means: an alignment is adjusted, a fluid serviced
    sounds_like: tuple[str, ...] = ()
    notes: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Every name, the canonical one first, without repeats."""
        return tuple(dict.fromkeys((self.name, *self.us, *self.uk)))


class Condition(Record):
    id: str
    name: str
    said: tuple[str, ...]
    fits: tuple[str, ...]  # component ids, "system:NAME", or "any"
    state: State = "defect"
    severity: Urgency = "unstated"
    symptom: bool = False  # something heard, seen or felt, whose cause is another matter
    notes: str = ""


class ActionTerm(Record):
    action: Action
    said: tuple[str, ...]


class PlaceTerm(Record):
    said: str
    kind: Literal["position", "side", "axle", "qualifier", "relative", "engine"]
    value: str
    market: Market | None = None


class Cue(Record):
    kind: CueKind
    said: str
    value: str = ""


class UnitRange(Record):
    unit: Unit
    low: Decimal
    high: Decimal


class MeasureTerm(Record):
    id: str
    name: str
    fits: tuple[str, ...]  # as Condition.fits
    units: tuple[UnitRange, ...]
    unit_us: Unit
    unit_uk: Unit
    said: tuple[str, ...]


class GrammarTerm(Record):
    """A closed-class word or phrase of English that the rules lean on (``lexicon/grammar.csv``).

    ``kind`` is one of copula, determiner, conjunction, preposition, source, target, pronoun, plural_pronoun,
    existential, same, rest, remaining, not_a_side, number_point, number_zero, number_fraction, number_over,
    number_range, number_half, unit, leads_number.
    """

    kind: str
    said: str
    value: str = ""


TermKind = Literal["component", "condition", "action", "place", "cue", "measure"]


class TermMatch(Record):
    """A lexicon phrase at words ``first:last`` (half-open) of the words given to the matcher.

    ``id`` is the component, condition or measure id, the action, the place's value, or the cue's value;
    ``detail`` the cue kind or place kind, else "". ``phrase`` is the lexicon's own wording.
    """

    first: int
    last: int
    kind: TermKind
    id: str
    detail: str = ""
    phrase: str


class TermMatcher(Protocol):
    """Finds lexicon phrases in words. Every match of every kind is returned; within one kind overlapping matches
    are reduced to the longest, leftmost first. Same-span matches of different kinds (or of different ids in one
    kind) are all kept."""

    def match(self, words: Sequence[str]) -> tuple[TermMatch, ...]: ...


class Lexicon(Record):
    """Everything from the term files, by id, plus what is derived from it."""

    market: Market
    components: dict[str, Component]
    conditions: dict[str, Condition]
    actions: tuple[ActionTerm, ...]
    places: tuple[PlaceTerm, ...]
    cues: tuple[Cue, ...]
    measures: dict[str, MeasureTerm]
    grammar: tuple[GrammarTerm, ...] = ()

    def fits(self, fits: Sequence[str], component: str) -> bool:
        """Whether a ``fits`` list (ids, "system:NAME", "any") admits the component, itself or through ``kind_of``."""
        if "any" in fits:
            return True
        seen: str | None = component
        while seen is not None:
            item = self.components[seen]
            if seen in fits or f"system:{item.system}" in fits:
                return True
            seen = item.kind_of
        return False
