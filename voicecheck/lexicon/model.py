"""The compiled vocabulary of a shop: plain frozen values, no engine types.

Field meanings are those of the term files (DEVELOPERS.md, "Term files").
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Literal, Protocol, Self

from voicecheck.records.base import Record
from voicecheck.records.vocabulary import Action, Market, State, Unit, Urgency

System = Literal[
    "brakes", "steering", "suspension", "wheels_tyres", "engine", "cooling", "fuel", "exhaust", "driveline",
    "electrical", "lighting", "glass_wipers", "body_interior", "air_conditioning", "hybrid_ev",
]  # fmt: skip

Sets = Literal["axle set", "pair", "each"]

UNSOUGHT = "~"
"""Before a name in the component files: see ``Component.unsought``."""

CueKind = Literal[
    "hedge",  # might be, possibly: value "suspect", or "after": only of what was said before it
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
    unsought: frozenset[str] = frozenset()  # names that are understood and not looked for by their sound
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
    bare: tuple[UnitRange, ...] | None = (
        None  # numbers without a unit that are this reading; None: any in range
    )


GrammarKind = Literal[
    "absence",  # no fire extinguisher: the part is not there
    "article",  # belongs to what follows, and to no phrase before it
    "asks",  # is, did, what: opens a question
    "causative",  # have it welded: advice in a past form
    "confirms",  # and it is, he's right: what others say holds
    "conjunction",  # and, but: joins two statements
    "contrast",  # but, however: a new judgement begins
    "copula",  # is, looks: what follows is said of what came before
    "done_before",  # already, recently: the work beside it was done by somebody, and is not advised
    "definite",  # the noise: only named, nothing said of it
    "determiner",  # the, this, a
    "digit",  # of a vehicle or plate number; value is the number
    "doing",  # wants doing, must be done: the work that the part usually gets
    "existential",  # there's, I've got
    "indefinite",  # a bad bearing would: any such part
    "instead",  # could just be the tire: another cause of what was told
    "interval",  # at a hundred thousand, every two years: when work is due on any car
    "label",  # cylinder three: the number that follows is a name
    "leads_number",  # at, measures: a bare number that follows is a reading
    "letter",  # of a vehicle or plate number; value is the letter
    "letter_like",  # as in, for: b as in bravo
    "likeness",  # black as a boot: what something is compared with
    "list",  # and, or, plus: joins two parts
    "misheard_number",  # for thirty seconds, where tread is talked of; value is the number
    "small_piece",  # boot, clip: its fault is a condition of the part it is on
    "order_lead",  # "give it a", "so that's a": the part behind it is ordered
    "order_trail",
    "sums_up",
    "leads_list",  # "a belt on it": the part before it is ordered
    "beside",
    "there",  # "above the rack there's a wet spot": only a place to look at
    "plural_verb",  # "lights work": praise only right behind several things
    "afterwards",  # then: the work behind it comes after the one advised
    "names_cause",  # it's, that's down to: the part that follows is what is wrong
    "names_part",  # the left rear's bald: no other part is; value is the component
    "no_mileage",  # every, ago: the miles near it are no odometer reading
    "not_a_side",  # right now, material left
    "number_between",  # between four and five
    "number_even",  # twenty six flat: belongs to the number before it
    "number_few",  # a couple of; value is the number
    "number_fraction",  # half, quarter; value is the fraction
    "number_half",  # and a half; value is the fraction
    "number_list",  # four and five: joins two numbers
    "number_minus",  # minus
    "number_of",  # an eighth of an inch: between a fraction and its unit
    "number_over",  # four over thirty two
    "number_point",  # twelve point four
    "number_range",  # two to three
    "number_zero",  # oh, nought
    "occasion",  # at the last oil change: a time; value "action" where parts stay parts
    "on_it",  # the tire on it: where the part before is
    "opener",  # okay, all right: opens a sentence and judges nothing
    "pair_pronoun",  # both of those: the last two parts
    "pair_word",  # do the pair: for both sides
    "passive",  # be replaced: advice in a past form
    "past_ending",  # ed: how action words end that tell what was done
    "plural_pronoun",  # they, both: the parts last spoken of
    "preposition",  # the boot on the tie rod end
    "pronoun",  # it, that: the part last spoken of
    "pronoun_one",  # left one: one stands for the part, and is no number
    "recount",  # eleven nine, no, twelve one: the number behind it takes the place of the one before
    "rated_of",  # 480 out of 650: the second number is a rating
    "refits",  # put it back on: the same part again, and no new one
    "repeat",  # double seven; value is how often
    "requests",  # can you: a question that asks for work
    "rest",  # everything else: no part is named
    "same",  # same again, likewise: as said before
    "same_alone",  # same, where it stands between two rests
    "same_behind",  # too, as well: where it ends a sentence that is only a place
    "sayer",  # the customer, her husband: with a word for telling behind it, what follows is reported
    "singular_copula",  # is, has: of one part
    "source",  # leaking from the pan: the part that follows is the cause
    "stand_in",  # needs one: the part just spoken of
    "praises",  # sound, sweet: praise as what is said of a part, and only there
    "still",  # still solid: the judgement behind it stands over the one before
    "supposes",  # if
    "tag",  # right?, isn't it?: asks nothing
    "target",  # onto the manifold: the part that follows is where it lands
    "tells",  # says, reckons: behind a sayer
    "testing",  # tested fine: no advice to find out
    "therefore",  # so alignment: what follows is advice
    "thirty_seconds",  # the unit of tread, as it is said and misheard
    "time",  # when, while: the part that follows only says when
    "unit",  # value is one of the units
    "unit_uk",  # the same, where the market is the UK
    "would",  # would, will: supposes
    "year_of",  # a 2014 model
]

# Kinds that rules look up word by word, and of which no marks are made.
LOOKED_UP: frozenset[str] = frozenset(
    {
        "absence", "causative", "definite", "doing", "pair_pronoun", "pair_word", "passive", "past_ending",
        "instead", "praises", "still",
        "rated_of", "recount", "refits", "same_alone", "same_behind", "stand_in", "testing", "therefore",
    }
)  # fmt: skip


class GrammarTerm(Record):
    """A closed-class word or phrase of English that the rules lean on (``lexicon/grammar.csv``).

    ``kind`` is one of ``GrammarKind`` in term files; a rule may make terms of its own to find phrases with.
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
    """Finds lexicon phrases in words.

    Every match of every kind is returned; within one kind overlapping matches are reduced to the longest,
    leftmost first. Same-span matches of different kinds (or of different ids in one kind) are all kept.
    A component's name is also found with its words the other way round ("clutch of the fan").
    """

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

    def sought(self) -> Self:
        """The lexicon with those names alone that are looked for by their sound.

        A part whose own name is not sought is not in it. The more names there are, the more of what was said
        rightly sounds like one of them.
        """
        kept = {id_: c for id_, c in self.components.items() if c.name not in c.unsought}
        return self.model_copy(update={"components": {
            id_: c.model_copy(update={
                "us": tuple(name for name in c.us if name not in c.unsought),
                "uk": tuple(name for name in c.uk if name not in c.unsought),
                "kind_of": c.kind_of if c.kind_of in kept else None,
                "part_of": c.part_of if c.part_of in kept else None,
                "unsought": frozenset(),
            })
            for id_, c in kept.items()
        }})  # fmt: skip

    def fits(self, fits: Sequence[str], component: str) -> bool:
        """Whether a ``fits`` list (ids, "system:NAME", "any") admits the component, or what it is a kind
        of.
        """
        if "any" in fits:
            return True
        seen: str | None = component
        while seen is not None:
            item = self.components[seen]
            if seen in fits or f"system:{item.system}" in fits:
                return True
            seen = item.kind_of
        return False
