"""From rows to terms: what a single row can be wrong in. Nothing here looks at other rows."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Generic, TypeVar, cast, get_args

from voicecheck.lexicon.extras import HotWord, SpokenWord
from voicecheck.lexicon.model import (
    UNSOUGHT,
    ActionTerm,
    Component,
    Condition,
    Cue,
    CueKind,
    GrammarKind,
    GrammarTerm,
    MeasureTerm,
    PlaceTerm,
    Sets,
    System,
    UnitRange,
)
from voicecheck.lexicon.normal import normalise_phrase
from voicecheck.lexicon.read import Columns, Row
from voicecheck.records.problems import Problem
from voicecheck.records.vocabulary import (
    ACTIONS,
    POSITIONS,
    UNITS,
    URGENCIES,
    Action,
    Market,
    State,
    Unit,
    Urgency,
)

SYSTEMS: tuple[str, ...] = get_args(System)
CUE_KINDS: tuple[str, ...] = get_args(CueKind)
GRAMMAR_KINDS: tuple[str, ...] = get_args(GrammarKind)
MARKETS: tuple[Market, ...] = get_args(Market)
QUALIFIERS = ("inner", "outer", "upper", "lower", "intermediate")
PLACES = (
    "corners", "front corners", "rear corners", "axles", "front", "rear",
    "sides", "front sides", "rear sides", "one",
)  # fmt: skip
CONDITION_STATES = ("defect", "missing", "ok")
PLACE_VALUES: dict[str, tuple[str, ...]] = {
    "position": POSITIONS,
    "side": ("left", "right"),
    "axle": ("front", "rear"),
    "qualifier": QUALIFIERS,
    "relative": ("other side", "same side", "both", "all", "each", "others"),
    "engine": ("bank", "cylinder"),  # and a number
}
# Cue kinds not named here take any value.
CUE_VALUES: dict[str, tuple[str, ...]] = {
    "hedge": ("suspect", "after", ""),
    "negation": ("before", "after"),
    "urgency": tuple(u for u in URGENCIES if u != "unstated"),
    "advice": ("", *ACTIONS),
    "no_action": ("none", "monitor"),
    "bound": ("=", "<", ">", "~"),
}

COMPONENT_COLUMNS = Columns(
    required=("id", "name", "us", "uk", "kind_of", "part_of", "places", "place", "sets"),
    optional=("advice", "sounds_like", "notes"),
)
CONDITION_COLUMNS = Columns(
    required=("id", "name", "said", "fits", "state", "severity"), optional=("symptom", "notes")
)
ACTION_COLUMNS = Columns(required=("action", "said"))
PLACE_COLUMNS = Columns(required=("said", "kind", "value", "market"))
CUE_COLUMNS = Columns(required=("kind", "said", "value"))
MEASURE_COLUMNS = Columns(
    required=("id", "name", "fits", "units", "unit_us", "unit_uk", "said"), optional=("bare", "notes")
)
SPELLING_COLUMNS = Columns(required=("us", "uk"))
CONTRACTION_COLUMNS = Columns(required=("short", "long"))
HOT_COLUMNS = Columns(required=("phrase", "market"))
SOUND_COLUMNS = Columns(required=("word", "like"))
GRAMMAR_COLUMNS = Columns(required=("kind", "said", "value"))

_ID = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
_ENGINE = re.compile(r"(bank|cylinder)( [1-9]\d?)?")
_NUMBER = r"-?\d+(?:\.\d+)?"
_RANGE = re.compile(rf"(?P<unit>.+?)\s+(?P<low>{_NUMBER})\s*[-–]\s*(?P<high>{_NUMBER})")
_LONGEST_ID = 60
_LONGEST_PHRASE = 100
_MOST_WORDS = 15  # of a phrase: longer ones are sentences, and are never said the same way twice

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Sourced(Generic[T]):
    """A term and the row it came from."""

    term: T
    row: Row


@dataclass(slots=True)
class Terms:
    """Everything one folder holds, in file order."""

    components: list[Sourced[Component]] = field(default_factory=list)
    conditions: list[Sourced[Condition]] = field(default_factory=list)
    actions: list[Sourced[ActionTerm]] = field(default_factory=list)
    places: list[Sourced[PlaceTerm]] = field(default_factory=list)
    cues: list[Sourced[Cue]] = field(default_factory=list)
    measures: list[Sourced[MeasureTerm]] = field(default_factory=list)
    spellings: list[Sourced[tuple[str, str]]] = field(default_factory=list)
    contractions: list[Sourced[tuple[str, str]]] = field(default_factory=list)
    hot: list[Sourced[HotWord]] = field(default_factory=list)
    sounds: list[Sourced[SpokenWord]] = field(default_factory=list)
    grammar: list[Sourced[GrammarTerm]] = field(default_factory=list)
    # Ids of all component rows, faulty ones too: what points at a faulty row does not point nowhere.
    component_ids: set[str] = field(default_factory=set)
    incomplete: bool = False  # a component file could not be read: what points into it cannot be judged


class _Check:
    """Collects the faults of one row and hands back usable values."""

    def __init__(self, row: Row, problems: list[Problem]) -> None:
        self.row = row
        self.problems = problems
        self.sound = True

    def fault(self, column: str, message: str) -> None:
        self.sound = False
        self.problems.append(self.row.problem(column, message))

    def id(self, column: str = "id") -> str:
        value = self.row.one(column)
        if not value:
            self.fault(column, "is empty; it needs a name in snake_case")
        elif not _ID.fullmatch(value):
            self.fault(column, f"“{value}” is not snake_case (small letters, digits, single underscores)")
        elif len(value) > _LONGEST_ID:
            self.fault(
                column, f"“{value[:30]}…” has {len(value)} characters; an id has at most {_LONGEST_ID}"
            )
        return value

    def allowed(self, column: str, value: str, allowed: Sequence[str], *, what: str) -> str:
        if value not in allowed:
            shown = ", ".join(a or "(empty)" for a in allowed)
            said = f"“{value}” is not {what}" if value else f"is empty; it needs {what}"
            self.fault(column, f"{said}; allowed are {shown}")
        return value

    def phrases(self, column: str, values: Iterable[str], *, needed: bool = True) -> tuple[str, ...]:
        found = tuple(values)
        if needed and not found:
            self.fault(column, "is empty; at least one phrase is needed")
        for value in found:
            words = normalise_phrase(value)
            if not words:
                self.fault(column, f"“{value}” has no word in it")
            elif len(value) > _LONGEST_PHRASE or len(words) > _MOST_WORDS:
                self.fault(
                    column,
                    f"“{value[:40]}…” is too long for a phrase: {len(value)} characters, {len(words)} words"
                    f" (at most {_LONGEST_PHRASE} and {_MOST_WORDS})",
                )
        return found

    def fits(self) -> tuple[str, ...]:
        values = self.row.many("fits")
        if not values:
            self.fault("fits", "is empty; it needs component ids, system:NAME, or any")
        for value in values:
            if value.startswith("system:"):
                self.allowed("fits", value.removeprefix("system:"), SYSTEMS, what="a system")
        return values


def _plain_name(written: str) -> str:
    return written.removeprefix(UNSOUGHT).strip()


def parse_component(row: Row, problems: list[Problem], *, system: str) -> list[Component]:
    """A row of ``components/SYSTEM.csv``."""
    check = _Check(row, problems)
    id_ = check.id()
    written = (row.one("name"), *row.many("us"), *row.many("uk"))
    unsought = frozenset(_plain_name(n) for n in written if n.startswith(UNSOUGHT))
    name = _plain_name(row.one("name"))
    check.phrases("name", [name] if name else [])
    us, uk = (check.phrases(c, [_plain_name(n) for n in row.many(c)], needed=False) for c in ("us", "uk"))
    places = row.many("places")
    if not places:
        check.allowed("places", "", PLACES, what="a place to sit")
    for value in places:
        check.allowed("places", value, PLACES, what="a place to sit")
    place = row.many("place")
    for value in place:
        check.allowed("place", value, QUALIFIERS, what="a qualifier")
    sets = check.allowed("sets", row.one("sets"), get_args(Sets), what="a way of counting")
    advice = check.allowed("advice", row.one("advice") or "replace", ACTIONS, what="an action")
    if not check.sound:
        return []
    return [
        Component(
            id=id_, name=name, us=us, uk=uk, system=cast(System, system),
            kind_of=row.one("kind_of") or None, part_of=row.one("part_of") or None,
            places=places, place=place, sets=cast(Sets, sets), advice=cast(Action, advice),
            sounds_like=row.many("sounds_like"), unsought=unsought, notes=row.one("notes"),
        )
    ]  # fmt: skip


def parse_condition(row: Row, problems: list[Problem]) -> list[Condition]:
    """A row of ``conditions.csv``."""
    check = _Check(row, problems)
    id_ = check.id()
    if not row.one("name"):
        check.fault("name", "is empty")
    said = check.phrases("said", row.many("said"))
    fits = check.fits()
    state = check.allowed(
        "state", row.one("state") or "defect", CONDITION_STATES, what="a state of a condition"
    )
    severity = check.allowed("severity", row.one("severity") or "unstated", URGENCIES, what="an urgency")
    symptom = check.allowed("symptom", row.one("symptom"), ("", "yes"), what="an answer (yes, or left empty)")
    if not check.sound:
        return []
    return [
        Condition(
            id=id_, name=row.one("name"), said=said, fits=fits, state=cast(State, state),
            severity=cast(Urgency, severity), symptom=symptom == "yes", notes=row.one("notes"),
        )
    ]  # fmt: skip


def parse_action(row: Row, problems: list[Problem]) -> list[ActionTerm]:
    """A row of ``actions.csv``."""
    check = _Check(row, problems)
    action = check.allowed("action", row.one("action"), ACTIONS, what="an action")
    said = check.phrases("said", row.many("said"))
    return [ActionTerm(action=cast(Action, action), said=said)] if check.sound else []


def parse_place(row: Row, problems: list[Problem]) -> list[PlaceTerm]:
    """A row of ``places.csv``; several phrases in ``said`` are as many terms."""
    check = _Check(row, problems)
    said = check.phrases("said", row.many("said"))
    kind = check.allowed("kind", row.one("kind"), tuple(PLACE_VALUES), what="a kind of place")
    values = row.many("value")
    market = row.one("market")
    if market:
        check.allowed("market", market, MARKETS, what="a market")
    if kind in PLACE_VALUES:
        allowed = PLACE_VALUES[kind]
        if kind != "position" and len(values) > 1:
            check.fault("value", f"a {kind} has one value, not {len(values)}")
        for value in values or ("",):
            if not (kind == "engine" and _ENGINE.fullmatch(value)):
                check.allowed("value", value, allowed, what=f"a value of the kind {kind}")
    if not check.sound:
        return []
    return [
        PlaceTerm.model_validate(
            {"said": s, "kind": kind, "value": "|".join(values), "market": market or None}
        )
        for s in said
    ]


def parse_cue(row: Row, problems: list[Problem]) -> list[Cue]:
    """A row of ``cues.csv``; several phrases in ``said`` are as many cues."""
    check = _Check(row, problems)
    kind = check.allowed("kind", row.one("kind"), CUE_KINDS, what="a kind of cue")
    said = check.phrases("said", row.many("said"))
    value = row.one("value")
    if kind in CUE_VALUES:
        check.allowed("value", value, CUE_VALUES[kind], what=f"a value of the kind {kind}")
    elif kind == "quantity" and value and not re.fullmatch(r"[1-9]\d*", value):
        check.fault("value", f"“{value}” is not a number of parts (1, 2, 3 …)")
    elif kind == "vehicle" and not value:
        check.fault("value", "is empty; it names the fact about the vehicle")
    return [Cue(kind=cast(CueKind, kind), said=s, value=value) for s in said] if check.sound else []


def parse_measure(row: Row, problems: list[Problem]) -> list[MeasureTerm]:
    """A row of ``measures.csv``."""
    check = _Check(row, problems)
    id_ = check.id()
    if not row.one("name"):
        check.fault("name", "is empty")
    said = check.phrases("said", row.many("said"))
    fits = check.fits()
    if not row.many("units"):
        check.fault("units", "is empty; it needs a unit and its plausible range, like “mm 0-15”")
    units = _ranges(check, row, "units")
    said_bare = row.one("bare")
    bare = None if not said_bare else () if said_bare == "no" else _ranges(check, row, "bare")
    for column in ("unit_us", "unit_uk"):
        unit = check.allowed(column, row.one(column), UNITS, what="a unit")
        if check.sound and unit not in [u.unit for u in units]:
            check.fault(column, f"“{unit}” has no range in the column “units”")
    if not check.sound:
        return []
    return [
        MeasureTerm(
            id=id_, name=row.one("name"), fits=fits, units=tuple(units),
            unit_us=cast(Unit, row.one("unit_us")), unit_uk=cast(Unit, row.one("unit_uk")), said=said,
            bare=bare,
        )
    ]  # fmt: skip


def _ranges(check: _Check, row: Row, column: str) -> tuple[UnitRange, ...]:
    """The units of a column with their ranges: "mm 0-15|in 0-0.6"."""
    units: list[UnitRange] = []
    for text in row.many(column):
        found = _RANGE.fullmatch(text)
        if found is None:
            check.fault(column, f"“{text}” is not a unit and a range, like “mm 0-15”")
            continue
        unit = check.allowed(column, found["unit"], UNITS, what="a unit")
        low, high = Decimal(found["low"]), Decimal(found["high"])
        if low > high:
            check.fault(column, f"the range of “{text}” runs from high to low")
        elif unit in [u.unit for u in units]:
            check.fault(column, f"the unit {unit} has two ranges")
        elif unit in UNITS:
            units.append(UnitRange(unit=unit, low=low, high=high))
    return tuple(units)


def parse_spelling(row: Row, problems: list[Problem]) -> list[tuple[str, str]]:
    """A row of ``spellings.csv``: one word each."""
    return _pair(row, problems, ("us", "uk"), single=True)


def parse_contraction(row: Row, problems: list[Problem]) -> list[tuple[str, str]]:
    """A row of ``contractions.csv``."""
    return _pair(row, problems, ("short", "long"), single=False)


def parse_hot(row: Row, problems: list[Problem]) -> list[HotWord]:
    """A row of ``hotwords.csv``."""
    check = _Check(row, problems)
    phrase = row.one("phrase")
    check.phrases("phrase", [phrase] if phrase else [])
    market = row.one("market")
    if market:
        check.allowed("market", market, MARKETS, what="a market")
    return [HotWord(phrase=phrase, market=cast(Market, market) if market else None)] if check.sound else []


def parse_sound(row: Row, problems: list[Problem]) -> list[SpokenWord]:
    """A row of ``sounds.csv``: one word, and what it sounds like."""
    check = _Check(row, problems)
    word = row.one("word")
    check.phrases("word", [word] if word else [])
    if len(normalise_phrase(word)) > 1:
        check.fault("word", f"“{word}” is more than one word; phrases are made of the sounds of their words")
    like = check.phrases("like", row.many("like"))
    return [SpokenWord(word=normalise_phrase(word)[0], like=like)] if check.sound else []


def parse_grammar(row: Row, problems: list[Problem]) -> list[GrammarTerm]:
    """A row of ``grammar.csv``. A kind that no rule knows would be without effect, and is a fault."""
    check = _Check(row, problems)
    kind = check.allowed("kind", row.one("kind"), GRAMMAR_KINDS, what="a kind of closed-class word")
    said = check.phrases("said", row.many("said"))
    value = row.one("value")
    if kind in ("unit", "unit_uk"):
        check.allowed("value", value, UNITS, what="a unit")
    return [GrammarTerm(kind=kind, said=s, value=value) for s in said] if check.sound else []


def _pair(
    row: Row, problems: list[Problem], columns: tuple[str, str], *, single: bool
) -> list[tuple[str, str]]:
    check = _Check(row, problems)
    first, second = (row.one(c) for c in columns)
    for column, value in zip(columns, (first, second), strict=True):
        check.phrases(column, [value] if value else [])
        if single and len(normalise_phrase(value)) > 1:
            check.fault(column, f"“{value}” is more than one word")
    return [(first, second)] if check.sound else []


class FileKind(Generic[T]):
    """How one file is read: its columns, its row parser, and where its terms go."""

    def __init__(
        self,
        columns: Columns,
        parse: Callable[[Row, list[Problem]], list[T]],
        into: Callable[[Terms], list[Sourced[T]]],
    ) -> None:
        self.columns = columns
        self._parse = parse
        self._into = into

    def take(self, rows: Iterable[Row], terms: Terms, problems: list[Problem]) -> None:
        """Adds the terms of the rows to ``terms`` and their faults to ``problems``."""
        into = self._into(terms)
        for row in rows:
            into.extend(Sourced(term, row) for term in self._parse(row, problems))


# The files of a term folder besides components/: NEEDED names those a full folder must have.
FILES: dict[str, FileKind[Any]] = {
    "conditions.csv": FileKind(CONDITION_COLUMNS, parse_condition, lambda t: t.conditions),
    "actions.csv": FileKind(ACTION_COLUMNS, parse_action, lambda t: t.actions),
    "places.csv": FileKind(PLACE_COLUMNS, parse_place, lambda t: t.places),
    "cues.csv": FileKind(CUE_COLUMNS, parse_cue, lambda t: t.cues),
    "measures.csv": FileKind(MEASURE_COLUMNS, parse_measure, lambda t: t.measures),
    "spellings.csv": FileKind(SPELLING_COLUMNS, parse_spelling, lambda t: t.spellings),
    "contractions.csv": FileKind(CONTRACTION_COLUMNS, parse_contraction, lambda t: t.contractions),
    "hotwords.csv": FileKind(HOT_COLUMNS, parse_hot, lambda t: t.hot),
    "sounds.csv": FileKind(SOUND_COLUMNS, parse_sound, lambda t: t.sounds),
    "grammar.csv": FileKind(GRAMMAR_COLUMNS, parse_grammar, lambda t: t.grammar),
}
NEEDED = ("conditions.csv", "actions.csv", "places.csv", "cues.csv", "measures.csv")


def component_file(system: str) -> FileKind[Component]:
    """How ``components/SYSTEM.csv`` is read."""
    return FileKind(
        COMPONENT_COLUMNS,
        lambda row, problems: parse_component(row, problems, system=system),
        lambda t: t.components,
    )
