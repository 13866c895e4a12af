"""Spoken and written numbers with units, from tokens to exact decimals.

Number words are read by text2num; what a general grammar lacks (thirty-seconds, "twelve four volts",
"six fifty cold crank", ranges, lists that share a unit) is added here. Unit words are ``lexicon/grammar.csv``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from text_to_num import find_numbers

from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import Unit

_DIGITS = re.compile(r"^(\d{1,3}(?:,\d{3})+|\d+)(\.\d+)?([a-z%]*)$")
_WRITTEN_FRACTION = re.compile(r"^(\d{1,3})/(\d{1,3})(?:nds?|ths?|s)?$")
_CLOCK_LIKE = re.compile(r"^(\d{1,2})[:.]?(30|32)$")
_THIRTY_SECOND_ENDINGS = ("seconds", "second", "2nds", "2nd", "nds")
_LONG_PAUSE_S = 0.5


@dataclass(frozen=True, slots=True)
class _Atom:
    first: int
    last: int
    value: Decimal
    unit_text: str = ""
    word: bool = False  # said as a word, not written in digits


class _Part:
    """A token in the shape that text2num asks for."""

    __slots__ = ("_apart", "_pronoun", "_text")

    def __init__(self, text: str, *, apart: bool, pronoun: bool) -> None:
        self._text = text
        self._pronoun = pronoun
        self._apart = apart

    def text(self) -> str:
        return self._text

    def text_lowercase(self) -> str:
        return self._text

    def nt_separated(self, previous: object) -> bool:  # noqa: ARG002 - the protocol's name
        return self._apart

    def not_a_number_part(self) -> bool:
        return self._pronoun or any(letter.isdigit() for letter in self._text)


def _atoms(tokens: Sequence[Token], pronouns: set[int]) -> list[_Atom]:
    """Numbers in order. ``pronouns`` are tokens where "one" stands for a part ("the left one")."""
    atoms: list[_Atom] = []
    parts = [
        _Part(
            token.text,
            apart=at > 0
            and (tokens[at - 1].stop or tokens[at - 1].comma or tokens[at - 1].pause_s > _LONG_PAUSE_S),
            pronoun=at in pronouns,
        )
        for at, token in enumerate(tokens)
    ]
    for found in find_numbers(parts, "en", 0.0):
        if not found.is_ordinal:
            atoms.append(_Atom(found.start, found.end, Decimal(found.text.replace(",", "")), word=True))
    for at, token in enumerate(tokens):
        digits = _DIGITS.match(token.text)
        if digits:
            whole, part, tail = digits.groups()
            atoms.append(_Atom(at, at + 1, Decimal(whole.replace(",", "") + (part or "")), unit_text=tail))
    return sorted(atoms, key=lambda atom: atom.first)


def _joined(first: Decimal, second: Decimal, unit: Unit | None) -> Decimal | None:
    """Two numbers said in one breath as one: "twelve four" volts, "six fifty" amps, "one twenty two thousand" miles."""
    if unit in ("V", "mm", None) and first >= 10 and first == int(first) and 0 <= second < 10:
        return first + second / 10
    if unit == "V" and first < 20 and 10 <= second < 100:
        return first + second / 100
    if unit in ("A", "psi", None) and 1 <= first < 20 and 10 <= second < 100:
        return first * 100 + second
    if unit in ("mi", "km"):
        if first < 10 and 1000 <= second < 100000 and second % 1000 == 0:
            return first * 100000 + second
        if 10 <= first < 1000 and 100 <= second < 1000:
            return first * 1000 + second
        if 10 <= first < 1000 and 1 <= second < 10:
            return first * 1000 + second * 100
    return None


class QuantityFinder:
    """Finds quantities; made from the grammar's unit words once."""

    def __init__(self, *, units: dict[str, Unit]) -> None:
        self._written_units = units

    def find(self, tokens: Sequence[Token], grammar: Sequence[Mark]) -> list[Mark]:
        """Quantity marks in order. ``unit`` is ``None`` for a bare number."""
        at_start: dict[tuple[str, int], Mark] = {(mark.detail, mark.first): mark for mark in grammar}
        texts = [token.text for token in tokens]
        pronouns = {mark.last - 1 for mark in grammar if mark.detail == "pronoun_one"}
        atoms = _atoms(tokens, pronouns)
        marks: list[Mark] = []
        skip_before = 0
        for index, atom in enumerate(atoms):
            if atom.first < skip_before:
                continue
            mark = self._one(texts, tokens, atoms, index, at_start)
            if mark is not None:
                marks.append(mark)
                skip_before = mark.last
        marks.extend(self._written_fractions(texts, at_start, marks))
        marks.extend(self._pure_fractions(texts, at_start, marks))
        marks.sort(key=lambda mark: mark.first)
        return self._share_units(self._ranges(marks, texts, tokens), texts, tokens)

    def _unit_at(self, at: int, at_start: dict[tuple[str, int], Mark], texts: Sequence[str]) -> Mark | None:
        unit = at_start.get(("unit", at))
        if unit is not None and unit.last - unit.first == 1 and texts[at] == "a":
            return None  # the article; "a" for amps only when written on the number
        return unit

    def _one(
        self,
        texts: Sequence[str],
        tokens: Sequence[Token],
        atoms: Sequence[_Atom],
        index: int,
        at_start: dict[tuple[str, int], Mark],
    ) -> Mark | None:
        atom = atoms[index]
        value, last = atom.value, atom.last
        first = atom.first
        thirty = at_start.get(("thirty_seconds", last))
        if thirty is not None and 0 < value <= 40 and not self._apart(tokens, last):
            return self._mark(first, thirty.last, value, "1/32 in", by="thirty-seconds")
        run_together = _CLOCK_LIKE.match(texts[first]) if last - first == 1 else None
        if run_together and last < len(texts) and texts[last] in _THIRTY_SECOND_ENDINGS:
            return self._mark(
                first, last + 1, Decimal(run_together.group(1)), "1/32 in", by="run-together 32nds"
            )
        if first > 0 and at_start.get(("number_point", first - 1)) and value == int(value):
            zeros = 0
            point = first - 1
            value = value.scaleb(-len(str(int(value))) - zeros)
            first = point
            before = atoms[index - 1] if index and atoms[index - 1].last == point else None
            if before is not None:
                value += before.value
        if last < len(texts) and at_start.get(("number_point", last)):
            decimal = self._decimal_after(texts, atoms, index, at_start)
            if decimal is not None:
                value, last = value + decimal[0], decimal[1]
        if atom.unit_text:
            unit = self._written_units.get(atom.unit_text)
            if unit is not None:
                return self._mark(first, last, value, unit)
            if atom.unit_text not in ("", "s"):
                return None  # a name with a digit in it
        half = self._half_after(texts, last, at_start)
        if half is not None:
            value, last = value + half[0], half[1]
        else:
            fraction = at_start.get(("number_fraction", last))
            if fraction is not None and value == int(value) and value < 64 and not self._apart(tokens, last):
                over = Decimal(fraction.id.split("/")[1])
                value, last = value / over, fraction.last
                if self._unit_at(last, at_start, texts) is None:
                    return self._mark(first, last, value, "in", by="fraction of an inch")
        follower = atoms[index + 1] if index + 1 < len(atoms) else None
        if follower is not None and follower.first == last and not self._apart(tokens, last):
            unit_mark = self._unit_at(follower.last, at_start, texts)
            unit = self._unit(unit_mark)
            written = self._written_units.get(follower.unit_text) if follower.unit_text else None
            together = _joined(value, follower.value, unit or written)
            if at_start.get(("thirty_seconds", follower.last)):
                together = None
            if together is not None:
                end = unit_mark.last if unit_mark else follower.last
                return self._mark(first, end, together, unit or written, by="said in one breath")
        unit_mark = self._unit_at(last, at_start, texts)
        if unit_mark is None and last + 1 < len(texts) and texts[last] == "a":
            unit_mark = self._unit_at(last + 1, at_start, texts)  # "half a mil"
        if unit_mark is not None and not self._apart(tokens, last):
            return self._mark(first, unit_mark.last, value, self._unit(unit_mark))
        if atom.word and value == 1 and last - first == 1:
            return None  # the pronoun "one"
        return self._mark(first, last, value, None)

    @staticmethod
    def _apart(tokens: Sequence[Token], at: int) -> bool:
        """Whether a stop or a long pause stands before token ``at``."""
        before = tokens[at - 1]
        return before.stop or before.comma or before.pause_s > 2 * _LONG_PAUSE_S

    @staticmethod
    def _unit(mark: Mark | None) -> Unit | None:
        return mark.id if mark is not None else None  # type: ignore[return-value]

    @staticmethod
    def _mark(first: int, last: int, value: Decimal, unit: Unit | None, *, by: str = "") -> Mark:
        return Mark(
            kind="quantity", first=first, last=last, id=unit or "number", value=value, unit=unit, by=by
        )

    def _decimal_after(
        self,
        texts: Sequence[str],
        atoms: Sequence[_Atom],
        index: int,
        at_start: dict[tuple[str, int], Mark],
    ) -> tuple[Decimal, int] | None:
        """Digits after "point": "oh oh two", "one", "two five"."""
        at = atoms[index].last + 1
        digits = ""
        starts = {atom.first: atom for atom in atoms}
        while at < len(texts):
            if at_start.get(("number_zero", at)):
                digits += "0"
                at += 1
                continue
            atom = starts.get(at)
            if atom is None or atom.value != int(atom.value) or atom.unit_text:
                break
            digits += str(int(atom.value))
            at = atom.last
        if not digits:
            return None
        return Decimal(f"0.{digits}"), at

    @staticmethod
    def _half_after(
        texts: Sequence[str], at: int, at_start: dict[tuple[str, int], Mark]
    ) -> tuple[Decimal, int] | None:
        """ "and a half", "and a quarter" after a whole number."""
        if tuple(texts[at : at + 2]) == ("and", "a") or tuple(texts[at : at + 2]) == ("and", "three"):
            fraction = at_start.get(("number_fraction", at + 2))
            if fraction is not None:
                top, bottom = fraction.id.split("/")
                times = 3 if texts[at + 1] == "three" else 1
                return Decimal(top) * times / Decimal(bottom), fraction.last
        return None

    def _written_fractions(
        self, texts: Sequence[str], at_start: dict[tuple[str, int], Mark], taken: Sequence[Mark]
    ) -> list[Mark]:
        used = {at for mark in taken for at in range(mark.first, mark.last)}
        marks = []
        for at, text in enumerate(texts):
            found = _WRITTEN_FRACTION.match(text)
            if not found or at in used:
                continue
            top, bottom = Decimal(found.group(1)), Decimal(found.group(2))
            if bottom == 0:
                continue
            if bottom == 32:
                marks.append(self._mark(at, at + 1, top, "1/32 in"))
            else:
                unit_mark = self._unit_at(at + 1, at_start, texts)
                last = unit_mark.last if unit_mark else at + 1
                marks.append(self._mark(at, last, top / bottom, self._unit(unit_mark) or "in"))
        return marks

    def _pure_fractions(
        self, texts: Sequence[str], at_start: dict[tuple[str, int], Mark], taken: Sequence[Mark]
    ) -> list[Mark]:
        """ "half an inch", "a quarter inch", "half a mil", "a half": only with a unit behind them."""
        used = {at for mark in taken for at in range(mark.first, mark.last)}
        marks = []
        for (detail, at), mark in at_start.items():
            if detail != "number_fraction" or at in used:
                continue
            after = mark.last + (1 if texts[mark.last : mark.last + 1] in (["a"], ["an"]) else 0)
            unit_mark = self._unit_at(after, at_start, texts)
            if unit_mark is None:
                continue
            top, bottom = mark.id.split("/")
            marks.append(
                self._mark(at, unit_mark.last, Decimal(top) / Decimal(bottom), self._unit(unit_mark))
            )
        return marks

    @staticmethod
    def _ranges(marks: list[Mark], texts: Sequence[str], tokens: Sequence[Token]) -> list[Mark]:
        """ "two to three mil", "between four and five": one mark with ``high``."""
        result: list[Mark] = []
        for mark in marks:
            previous = result[-1] if result else None
            if (
                previous is not None
                and previous.value is not None
                and mark.value is not None
                and previous.high is None
                and mark.first == previous.last + 1
                and not tokens[previous.last - 1].comma
                and (previous.unit is None or previous.unit == mark.unit)
                and previous.value < mark.value <= previous.value * 3
            ):
                joint = texts[previous.last]
                between = previous.first > 0 and texts[previous.first - 1] == "between"
                if joint in ("to", "or") or (joint == "and" and between):
                    result[-1] = previous.model_copy(
                        update={
                            "last": mark.last,
                            "high": mark.value,
                            "unit": mark.unit,
                            "id": mark.id,
                            "by": "range",
                        }
                    )
                    continue
            result.append(mark)
        return result

    @staticmethod
    def _share_units(marks: list[Mark], texts: Sequence[str], tokens: Sequence[Token]) -> list[Mark]:
        """A bare number in a list takes the unit said at the end: "three and four mil", "six, five, four thirty-seconds"."""
        shared = list(marks)
        for at in range(len(shared) - 2, -1, -1):
            here, after = shared[at], shared[at + 1]
            if here.unit is not None or after.unit is None:
                continue
            gap = texts[here.last : after.first]
            joined = not gap and tokens[here.last - 1].comma
            if joined or gap in (["and"], ["or"], ["by"], ["over"]):
                shared[at] = here.model_copy(
                    update={"unit": after.unit, "id": after.id, "by": "unit of the list"}
                )
        return shared
