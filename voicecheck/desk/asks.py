"""What an answer to a question does: a table, and how typed words are read.

Every code that a question can have has one row in ``RULES``. A ready answer has an effect; an answer in typed
words has the row's ``typed`` effect where the words can be read so, and else closes the question with the
words kept. An effect that cannot be carried out ("another side", and no side typed) leaves the question open
and says what is still to be done.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Literal

from voicecheck.desk.decisions import MOST_HOURS, MOST_MONEY
from voicecheck.lexicon.model import Lexicon
from voicecheck.records import POSITIONS, Ask, Position, Record

RECORDING = "recording"  # what a question is about that no finding and no line carries

Effect = Literal[
    "close",  # nothing changes; the answer is kept
    "places",  # the finding is at the places that are named
    "all_places",  # the finding is at every place that the part has
    "add_places",  # the advice covers the named places as well
    "action",  # the finding's action becomes ``value``
    "other_work",  # the work that is named ("Replace brake rotor") goes on the draft
    "which_action",  # of two actions the named one: the findings that asked for the other ask for it too
    "defect",  # what the number says holds: a defect, with the work the part usually gets
    "price_it",  # the advised work goes on the draft as added lines; what was said of the state stays
    "leave",  # no work: the finding stays as it was said
    "no_work",  # no work, and the advice is taken away: the finding stays
    "put_aside",  # the finding is put aside
    "leave_off",  # the line is put aside
    "add_follow_on",  # the work that usually follows is added, with its hours and parts
    "other_operation",  # the named catalogue entry is used instead of this line and its parts
    "by_hand",  # a typed price takes the place of this line and its parts
    "price",  # the typed price is that of one unit
    "hours",  # the typed time is the line's
    "open_price",  # a typed time or price, for a line that has neither
    "to_be_priced",  # the price stays open on purpose
    "other_part",  # the finding is about the part that is typed
    "other_part_or_place",  # a typed part, or typed places
    "condition",  # the condition that is typed is what is wrong
    "hold",  # stays open until the draft has been changed
]

MadeBy = Literal["findings", "estimate", "recording"]


class Choice(Record):
    """A ready answer; ``said`` ends with "*" where the rest varies. ``todo`` is what an open end asks for."""

    said: str
    effect: Effect
    value: str = ""
    todo: str = ""


class Rule(Record):
    """What answers to one code do.

    ``made_by`` is the stage that asks. ``field`` is what a change of the finding or line must touch to settle
    the question without an answer. ``typed`` is the effect of typed words alone, ``extra`` are ready answers
    that the desk adds to the question's own.
    """

    code: str
    made_by: MadeBy
    choices: tuple[Choice, ...] = ()
    typed: Effect = "close"
    todo: str = ""
    extra: tuple[str, ...] = ()
    settled_by: tuple[str, ...] = ()


class Outcome(Record):
    """An answer read: its effect, the effect's value, and what is to be done where it cannot be carried
    out."""

    effect: Effect
    value: str = ""
    todo: str = ""


_PLACES = ("positions", "action_positions", "component", "place")
_WORK = ("hours", "unit_price", "quantity")
_SAY_WHERE = "Name the place: change the finding’s positions."
_SAY_PRICE = "Type its price, or put the price and time on the line."


def _c(said: str, effect: Effect, value: str = "", todo: str = "") -> Choice:
    return Choice(said=said, effect=effect, value=value, todo=todo)


_TABLE: tuple[Rule, ...] = (
    # --- asked by the findings stage
    Rule(
        code="place_does_not_fit", made_by="findings", settled_by=_PLACES, typed="places",
        choices=(_c("*", "places", todo=_SAY_WHERE),),
    ),
    Rule(
        code="place_carried", made_by="findings", settled_by=_PLACES, typed="places",
        choices=(
            _c("yes", "close"),
            _c("another side", "places", todo=_SAY_WHERE),
            _c("all of them", "all_places"),
        ),
    ),
    Rule(
        code="condition_does_not_fit", made_by="findings", settled_by=("component", "conditions"),
        typed="other_part",
        choices=(
            _c("yes", "close"),
            _c("no, another part", "other_part", todo="Name the part: change the finding’s component."),
        ),
    ),
    Rule(
        code="fine_or_fault", made_by="findings", settled_by=("state", "action"),
        choices=(_c("fine", "close"), _c("faulty, price the work", "defect")),
    ),
    Rule(
        code="heard_unclearly", made_by="findings", settled_by=("component",), typed="other_part",
        choices=(
            _c("yes", "close"),
            _c("no", "other_part", todo="Name the part (change the finding’s component), or put it aside."),
        ),
    ),
    Rule(
        code="unsure", made_by="findings", settled_by=("component", "positions", "state", "action"),
        typed="other_part_or_place",
        choices=(
            _c("yes", "close"),
            _c("another part or place", "other_part_or_place", todo="Change the finding’s part or place."),
            _c("no such work", "put_aside"),
        ),
    ),
    Rule(
        code="work_not_named", made_by="findings", settled_by=("action",),
        choices=(
            _c("yes", "close"),
            _c("other work", "hold", todo="Change the action of this finding to what is to be done."),
        ),
    ),
    Rule(
        code="advice_said_later", made_by="findings", settled_by=("action",),
        choices=(
            _c("yes", "close"),
            _c(
                "no, to another part", "hold",
                todo="Give the advice to the finding it belongs to, and change the action of this one.",
            ),
        ),
    ),
    # --- asked by the estimate of findings
    Rule(
        code="no_advice", made_by="estimate", settled_by=("action", "state"),
        choices=(
            _c("replace", "action", "replace"),
            _c("repair", "action", "repair"),
            _c("install", "action", "install"),
            _c("watch", "action", "monitor"),
            _c("leave it", "leave"),
            _c("*", "other_work"),
        ),
    ),
    Rule(
        code="condition_vs_advice",
        made_by="estimate",
        settled_by=("action", "state", "conditions"),
        choices=(_c("leave it as said", "leave"), _c("*", "other_work")),
    ),
    Rule(
        code="no_fault_said",
        made_by="estimate",
        settled_by=("conditions", "action", "state"),
        typed="condition",
        choices=(
            _c("price it", "close"),
            _c("say what is wrong", "condition", todo="Say what is wrong: change the finding’s conditions."),
            _c("leave it", "no_work"),
        ),
    ),
    Rule(
        code="possible_only", made_by="estimate", settled_by=("action", "state"),
        choices=(
            _c("check first", "action", "diagnose"),
            _c("price it", "price_it"),
            _c("leave it", "leave"),
        ),
    ),
    Rule(
        code="advice_without_defect", made_by="estimate", settled_by=("action", "state"),
        choices=(_c("leave it", "leave"), _c("*", "price_it")),
    ),
    Rule(
        code="limit_vs_advice", made_by="estimate", settled_by=("action", "state"),
        choices=(
            _c("price the work", "defect"),
            _c("leave it as said", "leave"),
            _c("replace it", "close"),
            _c("leave it off", "no_work"),
            _c("keep an eye on it", "action", "monitor"),
        ),
    ),
    # --- asked by the estimate of lines
    Rule(
        code="place_unusual", made_by="estimate", settled_by=_PLACES, typed="places",
        choices=(_c("*", "places", todo=_SAY_WHERE),),
    ),
    Rule(
        code="side_not_said", made_by="estimate", settled_by=_PLACES, typed="places",
        choices=(_c("*", "places", todo=_SAY_WHERE),),
    ),
    Rule(
        code="axle_not_said", made_by="estimate", settled_by=_PLACES, typed="places",
        choices=(_c("*", "places", todo=_SAY_WHERE),),
    ),
    Rule(
        code="axle_set", made_by="estimate", settled_by=(*_PLACES, *_WORK),
        choices=(
            _c("yes*", "close"),
            _c("no*", "hold", todo="Change the quantity, hours or price of the lines to those of one side."),
        ),
    ),
    Rule(
        code="pair_policy", made_by="estimate", settled_by=_PLACES, typed="add_places",
        choices=(_c("add *", "add_places"), _c("only *", "close")),
    ),
    Rule(
        code="catalogue_match", made_by="estimate", settled_by=_WORK, typed="by_hand",
        choices=(_c("use *", "close"), _c("price it by hand", "by_hand", todo=_SAY_PRICE)),
    ),
    Rule(code="catalogue_choice", made_by="estimate", typed="close", choices=(_c("*", "other_operation"),)),
    Rule(
        code="not_in_catalogue", made_by="estimate", settled_by=_WORK, typed="open_price",
        extra=("To be priced",), todo=_SAY_PRICE,
        choices=(_c("to be priced", "to_be_priced"), _c("*", "other_operation", todo=_SAY_PRICE)),
    ),
    Rule(
        code="price_open", made_by="estimate", settled_by=("unit_price",), typed="price",
        extra=("To be priced",), todo="Type the price of one, as a number.",
        choices=(_c("to be priced", "to_be_priced"),),
    ),
    Rule(
        code="time_open", made_by="estimate", settled_by=("hours", "unit_price"), typed="hours",
        extra=("To be priced",), todo="Type the hours, as a number.",
        choices=(_c("to be priced", "to_be_priced"),),
    ),
    Rule(
        code="charge_again", made_by="estimate", settled_by=("hours",),
        extra=("Charge it again", "Leave this line off"),
        choices=(
            _c("charge it again", "close"),
            _c("leave this line off", "leave_off"),
            _c("yes", "close"),
            _c("no", "leave_off"),
        ),
    ),
    Rule(
        code="two_actions", made_by="estimate", settled_by=("action",),
        choices=(_c("both", "close"), _c("*", "which_action")),
    ),
    Rule(
        code="follow_on", made_by="estimate",
        choices=(
            _c("add it", "add_follow_on", todo="Add the line by hand: the catalogue entry cannot be priced."),
            _c("leave it off", "close"),
        ),
    ),
    Rule(
        code="fluid_twice", made_by="estimate", settled_by=("quantity",),
        choices=(_c("once, leave this line off", "leave_off"), _c("no, both are needed", "close")),
    ),
    # --- about the whole
    Rule(
        code="market_differs", made_by="estimate", extra=("Keep it as it is",),
        choices=(
            _c("keep it as it is", "close"),
            _c("*", "hold", todo="Set the right market or price profile, and have the draft made again."),
        ),
    ),
    Rule(
        code="unheard", made_by="recording",
        choices=(
            _c("nothing about the vehicle", "close"),
            _c("type what was said", "hold", todo="Type what was said there, as a sentence of its own."),
        ),
    ),
    Rule(
        code="recording", made_by="recording", extra=("Understood",), choices=(_c("understood", "close"),)
    ),
)  # fmt: skip

RULES: Mapping[str, Rule] = {rule.code: rule for rule in _TABLE}


def ask_key(where: str, ask: Ask) -> str:
    """A stable name for a question: what it is about (line, finding, ``RECORDING``), its code and wording.

    A question that is worded anew (another number, another cause) is a new question: what was answered
    was the old one.
    """
    wording = "\x1f".join((ask.field, ask.message, *ask.choices))
    return f"{where}/{ask.code}/{hashlib.sha256(wording.encode()).hexdigest()[:10]}"


def rule_of(ask: Ask) -> Rule | None:
    """The row for a question; ``None`` for a code without one (its answers close it)."""
    return RULES.get(ask.code)


def offered(ask: Ask) -> tuple[str, ...]:
    """Every ready answer: the question's own, then those of the desk."""
    rule = rule_of(ask)
    return tuple(dict.fromkeys((*ask.choices, *(rule.extra if rule else ()))))


def outcome_of(ask: Ask, *, choice: str, text: str) -> Outcome:
    """What an answer does. A choice that the table does not know is taken as typed words."""
    rule = rule_of(ask)
    if rule is None:
        return Outcome(effect="close")
    said = _plain(choice) or _plain(text)
    ready = [_plain(c) for c in offered(ask)]
    if said in ready or any("*" not in c.said and _plain(c.said) == said for c in rule.choices):
        for row in rule.choices:
            if _matches(row.said, said):
                return Outcome(effect=row.effect, value=row.value, todo=row.todo or rule.todo)
    return Outcome(effect=rule.typed, todo=rule.todo)


def _matches(pattern: str, said: str) -> bool:
    start, star, _ = pattern.partition("*")
    return said.startswith(start) if star else said == pattern


def _plain(text: str) -> str:
    return " ".join(text.casefold().split()).rstrip(".!")


# --- typed words as values

_FILLERS = frozenset(
    {
        "the", "one", "ones", "side", "sides", "its", "it's", "it", "is", "at", "on", "in", "and", "both",
        "only", "just", "yes", "sorry", "wheel", "corner",
    }
)  # fmt: skip
_AMOUNT = re.compile(r"[£$€]?\s*(\d{1,3}(?:,\d{3})+|\d+)(\.\d{1,4})?\s*(?:each|per unit|dollars|pounds)?")
_HOURS = re.compile(r"(\d+)(\.\d{1,3})?\s*(?:h|hr|hrs|hour|hours)?")
_SPOKEN_HOURS = re.compile(r"(\d+)(\.\d{1,3})?\s*(?:h|hr|hrs|hour|hours)")


def amount_in(text: str) -> Decimal | None:
    """The price in words that hold nothing else ("84.50", "$1,250"); ``None`` where they do not."""
    found = _AMOUNT.fullmatch(_plain(text))
    if found is None:
        return None
    amount = Decimal(found[1].replace(",", "") + (found[2] or ""))
    return amount if amount <= MOST_MONEY else None


def hours_in(text: str, *, unit_needed: bool = False) -> Decimal | None:
    """The hours in words that hold nothing else ("1.5", "2 h")."""
    found = (_SPOKEN_HOURS if unit_needed else _HOURS).fullmatch(_plain(text))
    if found is None:
        return None
    hours = Decimal(found[1] + (found[2] or ""))
    return hours if hours <= MOST_HOURS else None


def places_in(text: str, lexicon: Lexicon, possible: Sequence[str] = ()) -> tuple[Position, ...]:
    """The places in words that name nothing but places; empty where there are other words ("not the left").

    ``possible`` are the spots of the part: "both" alone means them where there are two, "both front" the
    front. The market's own words count ("nearside front").
    """
    words = re.findall(r"[a-z'’-]+", _plain(text))
    if not words or words == ["both"]:
        both = [p for p in POSITIONS if p in possible]
        return tuple(both) if words and len(both) == 2 else ()
    terms = _place_terms(lexicon)
    found: list[Position] = []
    sides: list[str] = []
    axles: list[str] = []

    def close() -> None:
        names = [" ".join(p for p in (a, s) if p) for a in axles or [""] for s in sides or [""]]
        found.extend(p for p in POSITIONS if p in names)
        sides.clear()
        axles.clear()

    at = 0
    while at < len(words):
        size = next((n for n in (4, 3, 2, 1) if tuple(words[at : at + n]) in terms), 0)
        if not size:
            if words[at] not in _FILLERS:
                return ()
            if words[at] == "and" and sides and axles:
                close()
            at += 1
            continue
        for value in terms[tuple(words[at : at + size])]:
            if " " in value:
                close()
                found.extend(p for p in POSITIONS if p == value)
                continue
            (axles if value in ("front", "rear") else sides).append(value)
        at += size
    close()
    if "both" in words and len(set(found)) == 1 and found[0] in ("left", "right"):
        return ()  # "both left" names no axle
    return tuple(p for p in POSITIONS if p in found)


def part_in(text: str, lexicon: Lexicon) -> str:
    """The id of the component whose name the words are, and no other's; else ""."""
    said = _plain(text).removeprefix("the ")
    found = {c.id for c in lexicon.components.values() if any(_plain(n) == said for n in c.names)}
    exact = {c.id for c in lexicon.components.values() if _plain(c.name) == said}
    one = exact or found
    return one.pop() if len(one) == 1 else ""


def condition_in(text: str, lexicon: Lexicon) -> str:
    """The id of the condition whose name the words are, or that they are a way to say; else ""."""
    said = _plain(text)
    named = {c.id for c in lexicon.conditions.values() if _plain(c.name) == said}
    spoken = {c.id for c in lexicon.conditions.values() if said in map(_plain, c.said)}
    one = named or spoken
    return one.pop() if len(one) == 1 else ""


def _place_terms(lexicon: Lexicon) -> dict[tuple[str, ...], tuple[str, ...]]:
    terms: dict[tuple[str, ...], tuple[str, ...]] = {}
    for term in lexicon.places:
        if term.kind not in ("position", "side", "axle") or term.market not in (None, lexicon.market):
            continue
        values = tuple(v for v in term.value.split("|") if v in POSITIONS)
        words = tuple(re.findall(r"[a-z'’-]+", term.said.casefold()))
        if values and words:
            terms[words] = values
    for position in POSITIONS:
        terms[tuple(position.split())] = (position,)
    return terms
