"""Readings against limits: how they stand, and where a number and what was said about it disagree, an ask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from voicecheck.estimate.needs import component_of, kin
from voicecheck.estimate.scope import AXLES, axle_of
from voicecheck.estimate.texts import named
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.estimate import LimitCheck, Verdict
from voicecheck.records.finding import Finding, Measure
from voicecheck.records.shopdata import Limit
from voicecheck.records.units import comparable, convert
from voicecheck.records.vocabulary import UNPRICED_ACTIONS, Market, Unit
from voicecheck.records.wording import capital, number

Direction = Literal["min", "max"]
Judged = Literal["beyond", "within", "open"]
Origin = Literal["spoken", "shop", "published"]

_TRUST = ("shop", "verified", "secondary", "common practice", "memory")


@dataclass(frozen=True, slots=True)
class _Bar:
    """A limit from whatever source, ready to compare."""

    bound: Direction
    value: Decimal
    unit: Unit
    source: str
    origin: Origin = "published"
    near: tuple[tuple[Decimal, Unit], ...] = ()  # advice short of the limit


class Limits:
    """The limits of a shop in one market, asked about findings."""

    def __init__(
        self,
        limits: Sequence[Limit],
        *,
        lexicon: Lexicon,
        market: Market,
        near_percent: Decimal = Decimal(0),
    ) -> None:
        self._lexicon = lexicon
        self._near = near_percent
        self._limits = [x for x in limits if x.market in (None, market)]
        self._ids: dict[str, str] = {}
        for term in lexicon.measures.values():
            for name in (term.id, term.name, *term.said):
                self._ids.setdefault(_bare(name), term.id)

    def ask(self, finding: Finding, *, covered: bool) -> Ask | None:
        """The question that a finding's readings raise, or ``None``.

        A reading beyond a limit is asked about when the finding brings no work and no other line covers it
        (``covered``). A reading within every limit, and near none, is asked about when replacement is advised
        for a stated defect and nothing else is said to be wrong.
        """
        idle = finding.action in UNPRICED_ACTIONS
        if idle and not covered:
            said = _said_of(finding)
            for measure in finding.measures:
                bar = self._crossed(finding, measure)
                if bar is not None:
                    return Ask(
                        code="limit_vs_advice",
                        field="action",
                        message=f"{_compare(finding, measure, bar)}; {said}. Is that meant?",
                        choices=("Price the work", "Leave it as said"),
                    )
        if finding.action == "replace" and finding.state == "defect" and not finding.conditions:
            judged = [(m, _deciding(self._bars(finding, m))) for m in finding.measures]
            judged = [(m, bars) for m, bars in judged if bars]
            if judged and all(
                judge(m, b.bound, b.value, b.unit) == "within" and not self._is_near(m, b)
                for m, bars in judged
                for b in bars
            ):
                measure, bars = judged[0]
                return Ask(
                    code="limit_vs_advice",
                    field="action",
                    message=(
                        f"{_compare(finding, measure, bars[0])}; replacement was advised and nothing else "
                        "was said to be wrong. Replace it all the same?"
                    ),
                    choices=("Replace it", "Leave it off", "Keep an eye on it"),
                )
        return None

    def checks(self, finding: Finding, *, covered: bool) -> list[LimitCheck]:
        """Every reading beside every limit that applies to it: spoken, the shop's, published."""
        asked = self.ask(finding, covered=covered)
        return [
            self._check(finding, measure, bar, asked=asked is not None, covered=covered)
            for measure in finding.measures
            for bar in self._bars(finding, measure)
        ]

    def _check(
        self, finding: Finding, measure: Measure, bar: _Bar, *, asked: bool, covered: bool
    ) -> LimitCheck:
        verdict: Verdict = judge(measure, bar.bound, bar.value, bar.unit)
        if verdict == "within" and self._is_near(measure, bar):
            verdict = "near"
        worked = finding.action not in UNPRICED_ACTIONS or covered
        agrees: bool | None = None
        if verdict == "beyond":
            agrees = worked
        elif verdict == "near":
            agrees = True  # what is nearly worn out may be replaced or watched
        elif verdict == "within":
            agrees = False if asked else None if worked else True
        limit = convert(bar.value, bar.unit, measure.unit)
        worse = measure.high if bar.bound == "max" and measure.high is not None else measure.value
        left = worse - limit if bar.bound == "min" else limit - worse
        said = {"beyond": "beyond it", "near": "near it", "within": "within it", "open": "not told apart"}
        return LimitCheck(
            finding=finding.id,
            component=finding.component,
            what=measure.what,
            position=measure.position,
            place=measure.place,
            value=measure.value,
            high=measure.high,
            unit=measure.unit,
            limit=bar.value,
            unit_limit=bar.unit,
            bound=bar.bound,
            origin=bar.origin,
            source=bar.source,
            verdict=verdict,
            left=left if measure.bound in ("=", "~") else None,
            agrees=agrees,
            message=f"{_compare(finding, measure, bar)}: {said[verdict]}.",
        )

    def _is_near(self, measure: Measure, bar: _Bar) -> bool:
        """Whether a reading within a limit is short of what is advised, or within the shop's margin of it."""
        margin = 1 + self._near / 100 if bar.bound == "min" else 1 - self._near / 100
        marks = (*bar.near, (bar.value * margin, bar.unit))
        return any(judge(measure, bar.bound, value, unit) == "beyond" for value, unit in marks)

    def crossed(self, finding: Finding) -> str:
        """A sentence on the first reading that is beyond its limit, or ""."""
        for measure in finding.measures:
            bar = self._crossed(finding, measure)
            if bar is not None:
                return f"{_compare(finding, measure, bar)}."
        return ""

    def _crossed(self, finding: Finding, measure: Measure) -> _Bar | None:
        return next(
            (
                b
                for b in _deciding(self._bars(finding, measure))
                if judge(measure, b.bound, b.value, b.unit) == "beyond"
            ),
            None,
        )

    def _bars(self, finding: Finding, measure: Measure) -> list[_Bar]:
        """The limits that apply to a reading, the most trusted first.

        What was spoken, then the shop's and the published ones. Of those, the component's own go before those
        of the more general one, and those without a restriction of scope before those with one; of the
        restricted, advice only marks what is near the limit.
        """
        spoken = [
            _Bar(bound=bound, value=limit.value, unit=limit.unit, source="said in the recording",
                 origin="spoken")
            for limit in finding.limits_said
            if self._same(limit.what, measure.what) and comparable(limit.unit, measure.unit)
            and (bound := self._direction(finding, limit)) is not None
        ]  # fmt: skip
        for component in kin(component_of(finding, self._lexicon), self._lexicon):
            mine = [
                x
                for x in self._limits
                if x.component == component
                and self._same(x.measure, measure.what)
                and comparable(x.unit, measure.unit)
                and _in_scope(x, finding, measure)
            ]
            free = [x for x in mine if not x.scope or x.scope.casefold() in AXLES] or mine
            if free:
                advice = [x for x in mine if x not in free and x.scope.casefold() == _ADVICE]
                return spoken + [
                    _Bar(
                        bound=x.bound,
                        value=x.value,
                        unit=x.unit,
                        source=_source(x),
                        origin="shop" if x.status == "shop" else "published",
                        near=tuple((a.value, a.unit) for a in advice if a.bound == x.bound),
                    )
                    for x in sorted(free, key=lambda x: (_TRUST.index(x.status), x.id))
                ]
        return spoken

    def _direction(self, finding: Finding, limit: Measure) -> Direction | None:
        """Whether a spoken limit is a least or a most; ``None`` where nothing tells, and it is not used.

        The words it was spoken with go first, by the value of their cue: "min", "max", or something else,
        such as the thickness of a new part, which is no limit. Then what the shop's limits say of the same
        measure, then its bound.
        """
        heard = " ".join(_bare(span.read) for span in finding.heard)
        said = {
            cue.value
            for cue in self._lexicon.cues
            if cue.kind == "limit" and cue.value and f" {_bare(cue.said)} " in f" {heard} "
        }
        if said:
            return next((d for d in _DIRECTIONS if said == {d}), None)
        known = [x for x in self._limits if self._same(x.measure, limit.what)]
        family = kin(component_of(finding, self._lexicon), self._lexicon)
        own = {x.bound for x in known if x.component in family} or {x.bound for x in known}
        if len(own) == 1:
            return own.pop()
        if limit.bound == ">":
            return "min"
        return "max" if limit.bound == "<" else None

    def _same(self, name: str, other: str) -> bool:
        one, two = _bare(name), _bare(other)
        return self._ids.get(one, one) == self._ids.get(two, two)


def _deciding(bars: Sequence[_Bar]) -> Sequence[_Bar]:
    """The limits that questions are asked by: those that were spoken, where there are any."""
    return [b for b in bars if b.origin == "spoken"] or bars


_DIRECTIONS: tuple[Direction, ...] = ("min", "max")
_ADVICE = "advice"  # the scope of a row that is a recommendation and no limit


def judge(measure: Measure, bound: Direction, value: Decimal, unit: Unit) -> Judged:
    """A reading against a limit: surely beyond it, surely within it, or open ("more than 2" against 3).

    Compared in the unit that was spoken. A reading equal to the limit is within it; of a range the worse end
    counts.
    """
    limit = convert(value, unit, measure.unit)
    low, high = measure.value, measure.high if measure.high is not None else measure.value
    if bound == "max":
        low, high, limit = -high, -low, -limit
    under, over = ("<", ">") if bound == "min" else (">", "<")
    if measure.bound == under:
        return "beyond" if high <= limit else "open"
    if measure.bound == over:
        return "within" if low >= limit else "open"
    return "beyond" if low < limit else "within"


def _in_scope(limit: Limit, finding: Finding, measure: Measure) -> bool:
    """Whether a limit for one axle is about the axle of the reading. Other scopes are shown, not judged."""
    scope = limit.scope.casefold()
    if scope not in AXLES:
        return True
    positions = (measure.position,) if measure.position else finding.positions
    return scope in {axle_of(p) for p in positions}


def _bare(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").replace(",", " ").replace(".", " ").split())


def _source(limit: Limit) -> str:
    scope = f", for {limit.scope}" if limit.scope else ""
    plain_status = limit.status in ("verified", "shop", limit.source)
    doubt = "" if plain_status else f", {limit.status}"
    return f"{limit.source}{doubt}{scope}"


def _said_of(finding: Finding) -> str:
    if finding.state == "ok":
        return "it was said to be fine"
    if finding.action == "monitor":
        return "the advice was to keep an eye on it"
    return "no work was advised"


def _compare(finding: Finding, measure: Measure, bar: _Bar) -> str:
    where = (measure.position,) if measure.position else finding.positions
    what = named(
        f"{finding.component.name}, {_bare(measure.what)}", where, (measure.place,) if measure.place else ()
    )
    about = {"=": "", "<": "less than ", ">": "more than ", "~": "about "}[measure.bound]
    range_end = f" to {number(measure.high)}" if measure.high is not None else ""
    least = "at least" if bar.bound == "min" else "at most"
    return (
        f"{capital(what)}: {about}{number(measure.value)}{range_end} {measure.unit} against "
        f"{least} {number(bar.value)} {bar.unit} ({bar.source})"
    )
