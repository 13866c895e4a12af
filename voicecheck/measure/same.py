"""When two ways of saying the same thing count as the same: names, places, positions, readings."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from voicecheck.lexicon import Lexicon, normalise_phrase
from voicecheck.lexicon.extras import forms_of
from voicecheck.lexicon.inflect import singulars
from voicecheck.lexicon.model import Component
from voicecheck.lexicon.seats import seated
from voicecheck.lexicon.table import ancestors
from voicecheck.measure.gold import GoldMeasure
from voicecheck.records import Measure, Position, Ref
from voicecheck.records.units import comparable, convert

# Qualifiers that exclude each other; of a bank or cylinder the number does.
_AXES: tuple[frozenset[str], ...] = (
    frozenset({"upper", "lower"}),
    frozenset({"inner", "outer", "intermediate"}),
)
_QUALIFIERS = frozenset().union(*_AXES)
_AXLES = ("front", "rear")
# A converted reading may differ in the last digit that was said ("2.5 mm" for 3.15/32 in).
_RELATIVE_SLACK = Decimal("0.005")


class Names:
    """Compares names of components and conditions for one lexicon.

    Letters are compared: lower case, every word singular and in one market's spelling, no spaces or hyphens
    ("U-joints" is "u joint", "head light" is "headlight", "tyres" is "tire").
    """

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self._spelled = {
            _singular(uk): _singular(us)
            for us, uk in forms_of(lexicon).spellings
            if " " not in us and " " not in uk
        }
        self._components: dict[str, frozenset[str]] = {}

    def plain(self, name: str) -> str:
        """The name as it is compared."""
        words = (_singular(word) for word in normalise_phrase(name))
        return "".join(self._spelled.get(word, word) for word in words)

    def component(self, id_: str) -> Component | None:
        """The lexicon's entry; ``None`` for a component of another lexicon."""
        return self._lexicon.components.get(id_)

    def same_component(
        self,
        ref: Ref,
        *,
        place: Sequence[str],
        positions: Sequence[Position],
        gold: Sequence[str],
        gold_place: Sequence[str] = (),
    ) -> bool:
        """Whether a predicted component is the one that a label names.

        ``gold`` are the label's names (``component`` and ``also``). The prediction may be called by any
        name of its lexicon entry, alone or with its place or axle before it ("lower ball joint", "front
        wiper"); a name that belongs to a more general component does not count for the special one.
        Opposite places ("upper", "lower") never agree.
        """
        component = self.component(ref.id)
        has = {*place, *(component.place if component else ())}
        wanted = {*gold_place, *(_QUALIFIERS & set(normalise_phrase(gold[0])))}
        if _exclude(has, wanted):
            return False
        mine = self._called(ref, place, positions)
        theirs = {self.plain(name) for name in gold}
        theirs |= {self.plain(f"{' '.join(gold_place)} {name}") for name in gold if gold_place}
        return not mine.isdisjoint(theirs)

    def same_condition(self, refs: Sequence[Ref], gold: Sequence[str]) -> bool:
        """Whether one of the predicted conditions is one of those accepted; both empty is right too."""
        if not gold or not refs:
            return not gold and not refs
        mine: set[str] = set()
        for ref in refs:
            known = self._lexicon.conditions.get(ref.id)
            said = (known.name, *known.said) if known else ()
            mine.update(self.plain(phrase) for phrase in (ref.name, *said))
        return not mine.isdisjoint(self.plain(phrase) for phrase in gold)

    def _called(self, ref: Ref, place: Sequence[str], positions: Sequence[Position]) -> frozenset[str]:
        names = self._own_names(ref.id) | {self.plain(ref.name)}
        before = [*place, " ".join(place)] if place else []
        axles = {p.split(" ")[0] for p in positions}
        if len(axles) == 1 and axles <= set(_AXLES):
            before += axles
        return names | {self.plain(word) + name for word in before for name in names}

    def _own_names(self, id_: str) -> frozenset[str]:
        known = self._components.get(id_)
        if known is None:
            component = self.component(id_)
            names: set[str] = set()
            if component is not None:
                above = ancestors(self._lexicon.components, id_)
                general = {
                    self.plain(n)
                    for a in above
                    if a in self._lexicon.components
                    for n in self._lexicon.components[a].names
                }
                names = {self.plain(name) for name in component.names} - general
                names.add(self.plain(component.name))
            known = self._components[id_] = frozenset(names)
        return known


def _singular(word: str) -> str:
    found = singulars(word)
    return found[-1] if found else word


def _exclude(has: set[str], wanted: set[str]) -> bool:
    for axis in _AXES:
        if has & axis and wanted & axis and not has & wanted & axis:
            return True
    for kind in ("bank", "cylinder"):
        mine = {p for p in has if p.startswith(kind)}
        theirs = {p for p in wanted if p.startswith(kind)}
        if mine and theirs and mine.isdisjoint(theirs):
            return True
    return False


# -- readings


def same_reading(gold: GoldMeasure, found: Measure) -> bool:
    """Whether value, unit, and where the label gives them bound, range and place agree; positions aside.

    Another unit is fine if the value is the same after conversion, to half a percent. ``what`` is not
    compared: names of readings are the lexicon's own, and the component, the unit and the value tell them
    apart.
    """
    if gold.bound is not None and gold.bound != found.bound:
        return False
    if gold.place and found.place and gold.place != found.place:
        return False
    if gold.high is not None and (found.high is None or not _same_value(gold.high, gold, found.high, found)):
        return False
    return _same_value(gold.value, gold, found.value, found)


def _same_value(wanted: Decimal, gold: GoldMeasure, value: Decimal, found: Measure) -> bool:
    if gold.unit == found.unit:
        return wanted == value
    if not comparable(gold.unit, found.unit):
        return False
    return abs(convert(value, found.unit, gold.unit) - wanted) <= abs(wanted) * _RELATIVE_SLACK


def readings_right(
    gold: Sequence[GoldMeasure], found: Sequence[Measure], component: Component | None
) -> tuple[list[bool], list[Measure]]:
    """For each reading of the label whether it was found, and the readings that no label has.

    One reading of a label over several positions may be found in several, and the other way round: a label's
    reading is right when readings that agree with it cover its positions, or when one says no position.
    """
    right = []
    used: set[int] = set()
    for wanted in gold:
        where = _where(wanted.position, component)
        agreeing = []
        for number, reading in enumerate(found):
            here = _where(reading.position, component)
            if same_reading(wanted, reading) and (not where or not here or where & here):
                agreeing.append((number, here))
        used.update(number for number, _ in agreeing)
        covered = frozenset[str]().union(*(here for _, here in agreeing))
        right.append(bool(agreeing) and (where <= covered or any(not here for _, here in agreeing)))
    return right, [reading for number, reading in enumerate(found) if number not in used]


def _where(position: Position | None, component: Component | None) -> frozenset[str]:
    return seated((position,), component) if position is not None else frozenset()
