"""Numbers to measures: which reading of which part a quantity is."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from voicecheck.findings.notes import Saying
from voicecheck.findings.words import Words, joined
from voicecheck.lexicon.model import Lexicon, MeasureTerm, UnitRange
from voicecheck.records.finding import Measure
from voicecheck.records.reading import Mark, Token
from voicecheck.records.units import comparable, convert
from voicecheck.records.vocabulary import Bound, Market, Position, Unit


class Gauge:
    """Knows the lexicon's measures and the market's usual units. Made once per lexicon."""

    def __init__(self, lexicon: Lexicon, *, words: Words | None = None) -> None:
        self._lexicon = lexicon
        self._market: Market = lexicon.market
        self._words = words or Words.of(lexicon)
        self._terms: dict[str, list[tuple[int, MeasureTerm]]] = {}
        self._parts_by_unit: dict[Unit, set[str]] = {}
        for term in lexicon.measures.values():
            self._parts_by_unit.setdefault(self.default_unit(term), set()).add(term.fits[0])

    def default_unit(self, term: MeasureTerm) -> Unit:
        """The unit of a bare number in this market."""
        return term.unit_uk if self._market == "UK" else term.unit_us

    def _bare_units(self, term: MeasureTerm) -> tuple[UnitRange, ...]:
        """The unit and range in which a number without a unit is this reading; nothing where it never is."""
        default = self.default_unit(term)
        ranges = term.units if term.bare is None else term.bare
        usual = tuple(allowed for allowed in ranges if allowed.unit == default)
        return usual or ranges[:1]

    def only_part_in(self, unit: Unit | None) -> str | None:
        """The component id whose readings alone are usually in this unit, if there is one."""
        parts = self._parts_by_unit.get(unit, set()) if unit is not None else set()
        part = next(iter(parts)) if len(parts) == 1 else None
        return part if part in self._lexicon.components else None

    def measures(self, component: str, mark: Mark) -> bool:
        """Whether the quantity can be a reading of the part."""
        return self.read(component, mark, named=(), positions=()) is not None

    def rated(self, tokens: Sequence[Token], quantities: Sequence[Mark]) -> list[Mark]:
        """ "480 out of 650", "tested at two ninety and it's a five hundred": the second number is the
        rating, not a reading.
        """
        return [
            after
            for before, after in pairwise(quantities)
            if _between(tokens, before, after) in self._words.rated_of
        ]

    def said_again(self, tokens: Sequence[Token], quantities: Sequence[Mark]) -> list[Mark]:
        """ "Eleven nine, no, twelve point one volts": numbers that the one behind takes the place of."""
        return [
            before
            for before, after in pairwise(quantities)
            if _between(tokens, before, after) in self._words.recount
            and (before.unit is None or after.unit is None or before.unit == after.unit)
        ]

    def _fitting(self, component: str) -> list[tuple[int, MeasureTerm]]:
        """The measures of a part with their rank in the term file."""
        if component not in self._terms:
            self._terms[component] = [
                (order, term)
                for order, term in enumerate(self._lexicon.measures.values())
                if (specific := [f for f in term.fits if f != "any"])
                and self._lexicon.fits(specific, component)
            ]
        return self._terms[component]

    def read(
        self,
        component: str,
        mark: Mark,
        *,
        named: Sequence[Mark],
        positions: Sequence[Position],
        place: str = "",
    ) -> Measure | None:
        """The measure that a quantity is of this part, or ``None`` where none fits.

        ``named`` are marks of kind "measure" near it ("tread", "run-out").
        """
        if mark.value is None:
            return None
        names = {m.id for m in named}
        fitting: list[tuple[int, MeasureTerm, Unit]] = []
        for order, term in self._fitting(component):
            ranges = term.units if mark.unit is not None or term.id in names else self._bare_units(term)
            bare: Unit = self.default_unit(term) if term.id in names or not ranges else ranges[0].unit
            unit = mark.unit or bare
            if not any(r.unit == unit and r.low <= mark.value <= r.high for r in ranges):
                continue
            if unit == "min" and term.id not in names:
                continue  # a time is a reading only where it is said what was timed
            rank = (
                order
                - (10_000 if term.id in names else 0)
                - (1_000 if unit == self.default_unit(term) else 0)
            )
            fitting.append((rank, term, unit))
        if not fitting:
            return None
        _, term, unit = min(fitting, key=lambda entry: entry[0])
        return Measure(
            what=term.name,
            value=mark.value,
            unit=unit,
            position=_one_position(positions),
            bound=mark.bound,
            high=mark.high,
            place=place,
        )


def _between(tokens: Sequence[Token], before: Mark, after: Mark) -> str:
    """The words between two marks as one phrase."""
    return joined([token.text for token in tokens[before.last : after.first]])


def _one_position(positions: Sequence[Position]) -> Position | None:
    """The single word for where a reading was taken: one corner, or the axle when both its sides are
    meant.
    """
    if len(positions) == 1:
        return positions[0]
    axles = {position.split()[0] for position in positions}
    if len(positions) == 2 and len(axles) == 1 and axles <= {"front", "rear"}:
        return axles.pop()  # type: ignore[return-value]
    return None


_BEHIND = 2  # words between a number and the limit cue behind it ("twenty four, oh, that's new")
_FOLLOWING_KINDS = ("place", "quantity", "measure")
_FOLLOWING_DETAILS = ("ok", "limit", "conjunction", "list", "preposition")


def reading_marks(tokens: Sequence[Token], saying: Saying) -> list[Mark]:
    """The quantities of a saying that can be readings: with a unit, or bare where a reading is expected."""
    ordered = saying.marks
    leads = {m.last for m in saying.grammar("leads_number")}
    labels = {m.last for m in saying.grammar("label")}
    labels |= {m.last for m in [*saying.cues("advice"), *saying.of_kind("action")]}  # "needs two": how many
    found = []
    for mark in ordered:
        if mark.kind != "quantity" or (mark.unit is None and mark.first in labels):
            continue
        if mark.unit is not None:
            found.append(mark)
            continue
        after = tokens[mark.last] if mark.last < len(tokens) else None
        ends = after is None or tokens[mark.last - 1].stop or tokens[mark.last - 1].comma
        followed = any(
            m.first == mark.last and (m.kind in _FOLLOWING_KINDS or m.detail in _FOLLOWING_DETAILS)
            for m in ordered
        )
        placed = any(m.kind in ("place", "measure") and m.last == mark.first for m in ordered)
        if mark.first in leads or placed or ends or followed or tokens[mark.last - 1].pause_s > 0.3:
            found.append(mark)
    return found


def limit_marks(saying: Saying, quantities: Sequence[Mark]) -> list[Mark]:
    """The quantities that are spoken limits: a limit cue stands within three words before them ("minimum is
    twenty two"), or right behind them ("fifty is all you get").

    A minimum comes back with bound ">" (what is measured must be above it), a maximum with "<"; a new part's
    value or a rating is no limit, and is marked "~".
    """
    limits = []
    for mark, after in zip(quantities, [*quantities[1:], None], strict=False):
        cue = next((c for c in saying.cues("limit") if 0 <= mark.first - c.last <= 3), None) or next(
            (
                c
                for c in saying.cues("limit")
                if 0 <= c.first - mark.last <= _BEHIND
                and not (after is not None and after.first <= c.first)
                and not _counts(saying, c.last)
            ),
            None,
        )
        if cue is not None:
            limits.append(mark.model_copy(update={"bound": _LIMIT_BOUNDS.get(cue.id, "=")}))
    return limits


def beyond(reading: Measure, limit: Measure) -> bool:
    """Whether a reading lies on the wrong side of a spoken limit of the same measure."""
    if reading.what != limit.what or not comparable(reading.unit, limit.unit):
        return False
    value = convert(reading.value, reading.unit, limit.unit)
    return value < limit.value if limit.bound == ">" else limit.bound == "<" and value > limit.value


def _counts(saying: Saying, at: int) -> bool:
    """Whether another quantity follows at token ``at``."""
    return any(0 <= m.first - at <= 2 for m in saying.of_kind("quantity"))


_LIMIT_BOUNDS: dict[str, Bound] = {"min": ">", "max": "<", "new": "~", "rated": "~"}
