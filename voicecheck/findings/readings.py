"""Numbers to measures: which reading of which part a quantity is."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.notes import Saying
from voicecheck.lexicon.model import Lexicon, MeasureTerm
from voicecheck.records.finding import Measure
from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import Bound, Market, Position, Unit


class Gauge:
    """Knows the lexicon's measures and the market's usual units."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self._market: Market = lexicon.market

    def default_unit(self, term: MeasureTerm) -> Unit:
        """The unit of a bare number in this market."""
        return term.unit_uk if self._market == "UK" else term.unit_us

    def _in_range(self, term: MeasureTerm, mark: Mark, unit: Unit) -> bool:
        return mark.value is not None and any(
            allowed.unit == unit and allowed.low <= mark.value <= allowed.high for allowed in term.units
        )

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
        for order, term in enumerate(self._lexicon.measures.values()):
            specific = [f for f in term.fits if f != "any"]
            if not specific or not self._lexicon.fits(specific, component):
                continue
            unit: Unit = mark.unit or self.default_unit(term)
            if not self._in_range(term, mark, unit):
                continue
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


def _one_position(positions: Sequence[Position]) -> Position | None:
    """The single word for where a reading was taken: one corner, or the axle when both its sides are meant."""
    if len(positions) == 1:
        return positions[0]
    axles = {position.split()[0] for position in positions}
    if len(positions) == 2 and len(axles) == 1 and axles <= {"front", "rear"}:
        return axles.pop()  # type: ignore[return-value]
    return None


def reading_marks(tokens: Sequence[Token], saying: Saying) -> list[Mark]:
    """The quantities of a saying that can be readings: with a unit, or bare where a reading is expected."""
    ordered = saying.marks
    leads = {m.last for m in saying.grammar("leads_number")}
    labels = {m.last for m in saying.grammar("label")}
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
            m.first == mark.last and (m.kind in ("place", "quantity", "measure") or m.detail in ("ok", "conjunction", "list", "preposition"))
            for m in ordered
        )  # fmt: skip
        if mark.first in leads or ends or followed or tokens[mark.last - 1].pause_s > 0.3:
            found.append(mark)
    return found


def limit_marks(saying: Saying, quantities: Sequence[Mark]) -> list[Mark]:
    """The quantities that are spoken limits and no readings: a limit cue stands within three words before them.

    A minimum comes back with bound ">" (what is measured must be above it), a maximum with "<"; a new part's value
    or a rating is no limit, and is marked "~".
    """
    limits = []
    for mark in quantities:
        cue = next((c for c in saying.cues("limit") if 0 <= mark.first - c.last <= 3), None)
        if cue is not None:
            limits.append(mark.model_copy(update={"bound": _LIMIT_BOUNDS.get(cue.id, "=")}))
    return limits


_LIMIT_BOUNDS: dict[str, Bound] = {"min": ">", "max": "<", "new": "~", "rated": "~"}


def rated_marks(tokens: Sequence[Token], quantities: Sequence[Mark]) -> list[Mark]:
    """ "480 out of 650": the second number is the rating, not a reading."""
    rated = []
    for before, after in zip(quantities, quantities[1:], strict=False):
        gap = tuple(token.text for token in tokens[before.last : after.first])
        if gap in (("out", "of"), ("of",), ("of", "a"), ("out", "of", "a")):
            rated.append(after)
    return rated
