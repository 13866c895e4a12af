"""Spoken and written numbers with units, from tokens to exact decimals.

Whole numbers in words are read by text2num. What a general grammar lacks is added here: thirty-seconds,
digits after "point", "twelve four volts", "six fifty cold crank", "one twenty two thousand miles",
fractions, minus, ranges, lists that share a unit. All words it leans on are ``lexicon/grammar.csv``.

Decided: "N thirty seconds" is N/32 wherever it stands, because nobody counts time like that; "for thirty
seconds" is a time, except at the tokens that the caller names as ``tread`` talk, where it is 4/32 misheard.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from text_to_num import find_numbers

from voicecheck.lexicon.model import Lexicon
from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import Market, Unit

_DIGITS = re.compile(r"^(\d{1,9}|\d{0,9}\.\d{1,9}|\d{1,3}(?:,\d{3}){1,2})([a-z%°]*)$", re.ASCII)
_WRITTEN_FRACTION = re.compile(r"^(\d{1,3})/(\d{1,3})$", re.ASCII)
_RUN_TOGETHER = re.compile(r"^(\d{1,2})[.]?(30|32)$", re.ASCII)  # "430 seconds", "4.32"
_THIRTY_SECOND_ENDINGS = ("seconds", "second", "2nds", "2nd", "nds")
_LONG_PAUSE_S = 0.5
_MOST_32NDS = 32  # an inch
_KILO = "k"  # "122k"
_HALVES = (2, 4)  # halves and quarters are of anything; eighths and sixteenths are of an inch
_SAID_WITHOUT_NUMBER: frozenset[Unit] = frozenset(
    {"mm", "in", "0.001 in", "V", "L", "qt", "psi"}
)  # "a quart"

_ONE_BREATH = "said in one breath"
_BATTERY_VOLTS = range(11, 15)  # whole volts of a car's battery, as in "twelve six"


@dataclass(frozen=True, slots=True)
class _Atom:
    """A number at ``first:last``. ``digits`` keeps the zeros in front; ``unit_text`` is written on it."""

    first: int
    last: int
    value: Decimal
    digits: str
    unit_text: str = ""
    word: bool = False  # said as a word, not written in digits

    @property
    def whole(self) -> bool:
        return self.value == self.value.to_integral_value()


class _Part:
    """A token in the shape that text2num asks for."""

    __slots__ = ("_apart", "_text")

    def __init__(self, text: str, *, apart: bool) -> None:
        self._text = text
        self._apart = apart

    def text(self) -> str:
        return self._text

    def text_lowercase(self) -> str:
        return self._text

    def nt_separated(self, previous: object) -> bool:  # noqa: ARG002 - the protocol's name
        return self._apart

    def not_a_number_part(self) -> bool:
        return not self._text.isalpha()


_NO_NUMBER = "¤"  # stands for a word that text2num would count in ("two thousandths", "three quarters")


@lru_cache(maxsize=1 << 12)
def _magnitude(word: str) -> int:
    """100 for "hundred", 1000 for "thousand"; 0 for every other word."""
    found = find_numbers([_Part(word, apart=False)], "en", 0.0)
    if len(found) != 1 or found[0].is_ordinal or not found[0].text.isdecimal():
        return 0
    value = int(found[0].text)
    return value if value in (100, 1000, 1_000_000) else 0


@lru_cache(maxsize=1 << 12)
def is_number_word(word: str) -> bool:
    """Whether a single word is a cardinal number: "thirty", "eight"."""
    found = find_numbers([_Part(word, apart=False)], "en", 0.0) if word.isalpha() else []
    return len(found) == 1 and not found[0].is_ordinal


def _one_of(word: str) -> str:
    """ "sixes across the front": the number itself; "fives", "fours" are read as they are."""
    single = word.removesuffix("es")
    return single if single != word and is_number_word(single) else word


class _View(NamedTuple):
    """The tokens of one transcript, with the closed-class words among them by kind and first token."""

    tokens: Sequence[Token]
    texts: Sequence[str]
    starts: dict[tuple[str, int], Mark]
    market: Market

    @staticmethod
    def of(tokens: Sequence[Token], grammar: Sequence[Mark], market: Market) -> _View:
        return _View(tokens, [t.text for t in tokens], {(m.detail, m.first): m for m in grammar}, market)

    def at(self, kind: str, at: int) -> Mark | None:
        return self.starts.get((kind, at))

    def before(self, kind: str, at: int) -> Mark | None:
        """The one-word mark that ends where token ``at`` begins."""
        mark = self.starts.get((kind, at - 1))
        return mark if mark is not None and mark.last == at else None

    def apart(self, at: int, *, pause_s: float = 2 * _LONG_PAUSE_S) -> bool:
        """Whether a stop, a comma or a long pause stands before token ``at``."""
        if at <= 0 or at >= len(self.tokens):
            return True
        before = self.tokens[at - 1]
        return before.stop or before.comma or before.pause_s > pause_s

    def unit(self, at: int) -> Mark | None:
        """The unit said at token ``at``, also after "of a" ("an eighth of an inch", "half of a mil")."""
        if at >= len(self.texts):
            return None
        found = self.at("unit", at)
        local = self.at("unit_uk", at) if self.market == "UK" else None
        if local is not None and (found is None or local.last >= found.last):
            found = local
        if found is not None:
            if found.last - found.first == 1 and self.at("article", at) is not None:
                return None  # "a" for amps only where it is written on the number
            return found
        link = self.at("number_of", at)
        return self.unit(link.last) if link is not None and not self.apart(link.last) else None


def _whole_numbers(view: _View) -> list[_Atom]:
    """Numbers in words and in digits, without their decimals."""
    blocked = {
        at
        for mark in view.starts.values()
        if mark.detail in ("unit", "number_fraction", "number_point")
        for at in range(mark.first, mark.last)
        if (mark.last - mark.first > 1 or view.at("article", at) is None)
    }
    parts = [
        _Part(
            _NO_NUMBER if at in blocked else _one_of(text),
            apart=at > 0 and view.apart(at, pause_s=_LONG_PAUSE_S),
        )
        for at, text in enumerate(view.texts)
    ]
    atoms: list[_Atom] = []
    for found in find_numbers(parts, "en", 0.0):
        if not found.is_ordinal and found.text.isdecimal() and len(found.text) <= 9:
            atoms.append(_Atom(found.start, found.end, Decimal(found.text), found.text, word=True))
    for at, text in enumerate(view.texts):
        written = _DIGITS.match(text)
        if written:
            number, tail = written.groups()
            plain = number.replace(",", "")
            atoms.append(_Atom(at, at + 1, Decimal(plain), plain, unit_text=tail))
    return sorted(atoms, key=lambda atom: atom.first)


def _with_thousands(view: _View, atoms: Sequence[_Atom]) -> list[_Atom]:
    """ "87 thousand four hundred", "122k": digits and a word of size are one number."""
    result: list[_Atom] = []
    for atom in atoms:
        before = result[-1] if result else None
        if (
            before is not None
            and not before.word
            and not before.unit_text
            and atom.word
            and before.last == atom.first
            and not view.apart(atom.first)
        ):
            size = _magnitude(view.texts[atom.first])
            if size and before.value < size <= atom.value:
                value = before.value * size + (atom.value - size)
                result[-1] = replace(before, last=atom.last, value=value, digits=str(value))
                continue
        if not atom.word and atom.unit_text == _KILO:
            result.append(replace(atom, value=atom.value * 1000, unit_text="", digits=""))
        elif not atom.word and not atom.unit_text and view.texts[atom.last : atom.last + 1] == [_KILO]:
            result.append(replace(atom, last=atom.last + 1, value=atom.value * 1000, digits=""))
        else:
            result.append(atom)
    return result


def _with_decimals(view: _View, atoms: Sequence[_Atom]) -> list[_Atom]:
    """ "twelve point six five", "point oh oh two", "nought point five": one number each."""
    by_first = {atom.first: atom for atom in atoms}
    result: list[_Atom] = []
    taken = -1
    for at in range(len(view.texts)):
        if at < taken:
            continue
        point = view.at("number_point", at)
        atom = by_first.get(at)
        if point is not None:
            before = result[-1] if result and result[-1].last == at and not view.apart(at) else None
            if before is not None and (not before.whole or before.unit_text):
                before = None
            after = None if view.apart(point.last) else _digits_after(view, by_first, point.last)
            first = at if before is None else before.first
            zero = view.before("number_zero", first)
            if before is None and zero is not None and not view.apart(first):
                first = zero.first
            only_inside = point.id == "inside" and before is None
            if after is not None and not only_inside:
                digits, last, tail = after
                value = (before.value if before is not None else Decimal(0)) + Decimal(f"0.{digits}")
                if before is not None or (result and result[-1].last > first):
                    result.pop()
                result.append(_Atom(first, last, value, "", unit_text=tail))
                taken = last
            elif after is not None:
                taken = after[1]  # "dot four", "dot five point one" name a brake fluid
                more = view.at("number_point", taken)
                tenths = _digits_after(view, by_first, more.last) if more is not None else None
                taken = tenths[1] if tenths is not None else taken
        elif atom is not None:
            result.append(atom)
            taken = atom.last
    return result


def _digits_after(view: _View, by_first: dict[int, _Atom], at: int) -> tuple[str, int, str] | None:
    """The digits from token ``at`` on ("oh oh two", "sixty five"), their end, the unit written on them."""
    digits = ""
    while at < len(view.texts) and not (digits and view.apart(at)):
        zero = view.at("number_zero", at)
        atom = by_first.get(at)
        if atom is None and zero is not None:
            digits += zero.id
            at = zero.last
            continue
        if atom is None or not atom.digits.isdecimal():
            break
        single = len(atom.digits.lstrip("0")) <= 1
        if digits.strip("0") and (not single or view.at("number_point", atom.last) is not None):
            break
        if view.at("thirty_seconds", atom.last) is not None and digits:
            break
        digits += atom.digits
        at = atom.last
        if atom.unit_text:
            return digits, at, atom.unit_text
        if not single:
            break
    return (digits, at, "") if digits else None


def _with_signs(view: _View, atoms: Sequence[_Atom]) -> list[_Atom]:
    """ "minus thirty four" """
    result = []
    for atom in atoms:
        minus = view.before("number_minus", atom.first)
        if minus is not None and not view.apart(atom.first) and atom.value:
            atom = replace(atom, first=minus.first, value=-atom.value, digits="")
        result.append(atom)
    return result


def _joined(first: Decimal, second: Decimal, unit: Unit | None, *, alone: bool) -> Decimal | None:
    """Two numbers said in one breath as one: "twelve four" volts, "six fifty" amps, "ninety eight five
    hundred" miles.

    ``alone``: no third number follows or comes before, so it is no list ("ten nine nine eight").
    """
    if first != int(first) or second != int(second) or first < 0 or second < 0:
        return None
    if unit in ("mi", "km", None) and first < 10 and 10_000 <= second < 100_000:
        return first * 100_000 + second  # "one twenty two thousand four hundred"
    if unit in ("mi", "km"):
        if 10 <= first < 1000 and 100 <= second < 1000:
            return first * 1000 + second
        if 10 <= first < 1000 and 1 <= second < 10:
            return first * 1000 + second * 100
        return None
    if unit == "V" or (unit is None and alone and first in _BATTERY_VOLTS):
        if 10 <= first < 20 and 10 <= second < 100:
            return first + second / 100
        if first >= 10 and second < 10:
            return first + second / 10
        return None
    if (unit == "mm" or (unit is None and alone)) and first >= 10 and second < 10:
        return first + second / 10
    if unit in ("A", "psi", None) and 1 <= first < (13 if unit == "A" else 10) and 10 <= second < 100:
        return first * 100 + second
    return None


class QuantityFinder:
    """Finds quantities; made from the grammar's unit words once."""

    def __init__(self, *, units: dict[str, Unit], market: Market = "US") -> None:
        self._written_units = units
        self._market = market

    def find(
        self, tokens: Sequence[Token], grammar: Sequence[Mark], *, tread: Collection[int] = ()
    ) -> list[Mark]:
        """Quantity marks in order. ``unit`` is ``None`` for a bare number.

        ``tread``: tokens where thirty-seconds are talked of, and may have been misheard as "for 30 seconds".
        """
        view = _View.of(tokens, grammar, self._market)
        atoms = _with_thousands(view, _whole_numbers(view))
        atoms = _with_signs(view, _with_decimals(view, atoms))
        marks: list[Mark] = []
        skip_before = 0
        for index, atom in enumerate(atoms):
            if atom.first < skip_before:
                continue
            mark, last = self._one(view, atoms, index, tread)
            exactly = view.at("number_even", last) if mark is not None and mark.last == last else None
            if mark is not None and exactly is not None and not view.apart(last):
                mark, last = mark.model_copy(update={"last": exactly.last}), exactly.last
            skip_before = max(skip_before, last)
            if mark is not None:
                marks.append(mark)
        for more in (self._written_fractions, self._pure_fractions, self._bare_units):
            used = {at for mark in marks for at in range(mark.first, mark.last)}
            marks.extend(more(view, used))
        marks.sort(key=lambda mark: mark.first)
        return self._share_units(self._ranges(marks, view), view)

    def _one(
        self, view: _View, atoms: Sequence[_Atom], index: int, tread: Collection[int]
    ) -> tuple[Mark | None, int]:
        """The quantity that begins with one number, and the token up to which words are used up."""
        atom = atoms[index]
        first, last, value = atom.first, atom.last, atom.value
        follower = atoms[index + 1] if index + 1 < len(atoms) else None
        thirty = self._thirty_seconds(view, atom, follower, tread)
        if thirty is not None:
            return thirty, thirty.last
        if atom.unit_text:
            unit = self._written_units.get(atom.unit_text)
            if unit is not None:
                return self._mark(first, last, value, unit), last
            if atom.unit_text != "s":
                return None, last  # a name with a digit in it
        half = view.at("number_half", last)
        mixed = _WRITTEN_FRACTION.match(view.texts[last]) if last < len(view.texts) else None
        fraction = view.at("number_fraction", last)
        if half is not None and not view.apart(last):
            value, last = value + _fraction(half.id), half.last
            thirty = self._thirty_seconds(view, replace(atom, last=last, value=value), None, tread)
            if thirty is not None:
                return thirty, thirty.last
        elif mixed and atom.whole and int(mixed.group(2)) not in (0, 32) and not view.apart(last):
            value, last = value + Decimal(mixed.group(1)) / Decimal(mixed.group(2)), last + 1
        elif fraction is not None and atom.whole and 0 < value < 64 and not view.apart(last):
            return self._fractions(view, first, value, fraction)
        else:
            together = self._digit_by_digit(view, atoms, index) or self._in_one_breath(view, atoms, index)
            if together is not None:
                return together, together.last
        unit_mark = view.unit(last)
        if unit_mark is not None and not view.apart(last):
            end = unit_mark.last
            after = view.at("number_half", end)
            if after is not None and not view.apart(end):
                value, end = value + _fraction(after.id), after.last  # "a mil and a half"
            return self._mark(first, end, value, self._unit(unit_mark)), end
        if atom.word and value == 1 and last - first == 1:
            return None, last  # the pronoun "one"
        return self._mark(first, last, value, None), last

    def _thirty_seconds(
        self, view: _View, atom: _Atom, follower: _Atom | None, tread: Collection[int]
    ) -> Mark | None:
        """Every way to say or write N/32 of an inch but "4/32" itself."""
        first, last, value = atom.first, atom.last, atom.value
        said = view.at("thirty_seconds", last)
        plausible = 0 < value <= _MOST_32NDS
        if said is not None and plausible and not view.apart(last):
            return self._mark(first, said.last, value, "1/32 in", by="thirty-seconds")
        misheard = view.before("misheard_number", first)
        at_once = view.at("thirty_seconds", first)
        if at_once is not None and misheard is not None and first in tread:
            return self._mark(
                misheard.first, at_once.last, Decimal(misheard.id), "1/32 in", by="misheard thirty-seconds"
            )
        run = _RUN_TOGETHER.match(view.texts[first]) if last - first == 1 else None
        if run is not None and 0 < int(run.group(1)) <= _MOST_32NDS:
            ends = last < len(view.texts) and view.texts[last] in _THIRTY_SECOND_ENDINGS
            if (ends and not view.apart(last)) or first in tread:
                return self._mark(
                    first, last + ends, Decimal(run.group(1)), "1/32 in", by="run-together thirty-seconds"
                )
        if (
            first in tread
            and plausible
            and follower is not None
            and follower.first == last
            and follower.value == 32
            and not view.apart(last)
        ):
            return self._mark(first, follower.last, value, "1/32 in", by="thirty-seconds")
        return None

    def _digit_by_digit(self, view: _View, atoms: Sequence[_Atom], index: int) -> Mark | None:
        """ "twelve six five volts": the hundredths spelled out."""
        run = atoms[index : index + 3]
        if len(run) < 3 or not 10 <= run[0].value < 20 or not all(a.whole for a in run):
            return None
        near = all(b.first == a.last and not view.apart(b.first) for a, b in pairwise(run))
        if not near or any(not 0 <= a.value < 10 for a in run[1:]):
            return None
        unit_mark = view.unit(run[2].last)
        if self._unit(unit_mark) != "V" or unit_mark is None:
            return None
        value = run[0].value + run[1].value / 10 + run[2].value / 100
        return self._mark(run[0].first, unit_mark.last, value, "V", by=_ONE_BREATH)

    def _in_one_breath(self, view: _View, atoms: Sequence[_Atom], index: int) -> Mark | None:
        atom = atoms[index]
        after = index + 1
        oh = view.at("number_zero", atom.last)
        start = atom.last if oh is None or oh.last == atom.last else oh.last
        if after >= len(atoms) or view.apart(atom.last) or view.at("thirty_seconds", atoms[after].last):
            return None
        follower = atoms[after]
        unit_mark = view.unit(follower.last)
        written = self._written_units.get(follower.unit_text) if follower.unit_text else None
        unit = written or self._unit(unit_mark)
        end = unit_mark.last if unit_mark is not None and written is None else follower.last
        if follower.first == start != atom.last and not view.apart(start):
            # "one oh five thousand", "twelve oh four": the nought fills the place
            if atom.whole and 0 < atom.value < 10 and 1000 <= follower.value < 10_000:
                value = atom.value * 100_000 + follower.value
            elif atom.whole and unit == "V" and follower.value < 10:
                value = atom.value + follower.value / 100
            elif atom.whole and unit in ("A", "psi") and atom.value < 13 and follower.value < 10:
                value = atom.value * 100 + follower.value
            else:
                return None
            return self._mark(atom.first, end, value, unit, by=_ONE_BREATH)
        if follower.first != atom.last:
            return None
        third = atoms[index + 2] if index + 2 < len(atoms) else None
        alone = not (third is not None and third.first == follower.last and not view.apart(third.first))
        if index and atoms[index - 1].last == atom.first and not view.apart(atom.first):
            alone = False
        together = _joined(atom.value, follower.value, unit, alone=alone)
        if together is None:
            return None
        return self._mark(atom.first, end, together, unit, by=_ONE_BREATH)

    def _fractions(self, view: _View, first: int, value: Decimal, fraction: Mark) -> tuple[Mark | None, int]:
        """ "three sixteenths", "three quarters of a mil"; "three quarters worn" measures nothing."""
        of_one = _fraction(fraction.id)
        unit_mark = view.unit(fraction.last)
        if unit_mark is not None and not view.apart(fraction.last):
            return self._mark(first, unit_mark.last, value * of_one, self._unit(unit_mark)), unit_mark.last
        if int(fraction.id.split("/")[1]) in _HALVES or view.at("number_of", fraction.last) is not None:
            return None, fraction.last
        if int(fraction.id.split("/")[1]) % 8:
            return None, fraction.last
        return self._mark(first, fraction.last, value * of_one, "in", by="fraction of an inch"), fraction.last

    @staticmethod
    def _unit(mark: Mark | None) -> Unit | None:
        return mark.id if mark is not None else None  # type: ignore[return-value]

    @staticmethod
    def _mark(first: int, last: int, value: Decimal, unit: Unit | None, *, by: str = "") -> Mark:
        return Mark(
            kind="quantity", first=first, last=last, id=unit or "number", value=value, unit=unit, by=by
        )

    def _written_fractions(self, view: _View, used: Collection[int]) -> list[Mark]:
        """ "4/32", "3/16 inch", "1/2 a mil"."""
        marks = []
        for at, text in enumerate(view.texts):
            found = _WRITTEN_FRACTION.match(text)
            if not found or at in used:
                continue
            top, bottom = Decimal(found.group(1)), Decimal(found.group(2))
            if bottom == 0:
                continue
            if bottom == 32:
                marks.append(self._mark(at, at + 1, top, "1/32 in"))
                continue
            unit_mark = None if view.apart(at + 1) else self._unit_past_article(view, at + 1)
            last = unit_mark.last if unit_mark else at + 1
            marks.append(self._mark(at, last, top / bottom, self._unit(unit_mark) or "in"))
        return marks

    def _pure_fractions(self, view: _View, used: Collection[int]) -> list[Mark]:
        """ "half an inch", "a quarter inch", "an eighth": halves and quarters only with a unit behind."""
        marks = []
        for (detail, at), mark in view.starts.items():
            if detail != "number_fraction" or at in used:
                continue
            unit_mark = None if view.apart(mark.last) else self._unit_past_article(view, mark.last)
            if unit_mark is not None:
                marks.append(self._mark(at, unit_mark.last, _fraction(mark.id), self._unit(unit_mark)))
            elif (
                view.before("article", at) is not None
                and int(mark.id.split("/")[1]) % 8 == 0
                and view.at("number_of", mark.last) is None
            ):
                marks.append(self._mark(at, mark.last, _fraction(mark.id), "in", by="fraction of an inch"))
        return marks

    @staticmethod
    def _unit_past_article(view: _View, at: int) -> Mark | None:
        """The unit at token ``at``, or after an article there ("half [a mil]")."""
        article = view.at("article", at)
        return view.unit(at) or (view.unit(article.last) if article is not None else None)

    def _bare_units(self, view: _View, used: Collection[int]) -> list[Mark]:
        """ "a quart low", "an inch of play", "a mil and a half", "a couple of mil": units with no number."""
        marks = []
        for at in range(len(view.texts)):
            few = view.at("number_few", at)
            article = view.at("article", at)
            if few is not None:
                value, unit_mark = Decimal(few.id), view.unit(few.last)
            elif article is not None:
                value, unit_mark = Decimal(1), view.at("unit", article.last)
            else:
                continue
            if unit_mark is None or self._unit(unit_mark) not in _SAID_WITHOUT_NUMBER:
                continue
            if any(here in used for here in range(at, unit_mark.last)) or view.apart(unit_mark.first):
                continue
            last = unit_mark.last
            half = view.at("number_half", last)
            if half is not None and few is None and not view.apart(last):
                value, last = value + _fraction(half.id), half.last
            mark = self._mark(at, last, value, self._unit(unit_mark), by="unit without a number")
            marks.append(mark if few is None else mark.model_copy(update={"bound": "~"}))
        return marks

    @staticmethod
    def _ranges(marks: Sequence[Mark], view: _View) -> list[Mark]:
        """ "two to three mil", "between four and five", "2-3 mm": one mark with ``high``."""
        result: list[Mark] = []
        for mark in marks:
            before = result[-1] if result else None
            if before is not None and _is_range(view, before, mark):
                update = {
                    "last": mark.last,
                    "high": mark.value,
                    "unit": mark.unit,
                    "id": mark.id,
                    "by": "range",
                }
                result[-1] = before.model_copy(update=update)
            else:
                result.append(mark)
        return result

    @staticmethod
    def _share_units(marks: Sequence[Mark], view: _View) -> list[Mark]:
        """A bare number in a list takes the last unit: "three and four mil", "six, five, four 32nds"."""
        shared = list(marks)
        for at in range(len(shared) - 2, -1, -1):
            here, after = shared[at], shared[at + 1]
            if here.unit is not None or after.unit is None:
                continue
            in_volts = here.by == _ONE_BREATH and here.value is not None and int(here.value) in _BATTERY_VOLTS
            if in_volts and after.unit != "V":
                continue  # "twelve six, seven hundred amps"
            listed = here.last == after.first and not view.tokens[here.last - 1].stop
            joint = view.at("number_list", here.last)
            if listed or (joint is not None and joint.last == after.first):
                shared[at] = here.model_copy(
                    update={"unit": after.unit, "id": after.id, "by": "unit of the list"}
                )
        return shared


def _is_range(view: _View, low: Mark, high: Mark) -> bool:
    """Whether two quantities in a row are the ends of one."""
    if low.value is None or high.value is None or low.high is not None or high.high is not None:
        return False
    if not low.value < high.value <= max(low.value * 3, Decimal(3)) or low.unit not in (None, high.unit):
        return False
    tokens = view.tokens
    if low.last == high.first:  # the hyphen of "2-3 mm" is no token, but the two are one written word
        return tokens[low.last - 1].word == tokens[high.first].word and high.unit is not None
    joint = view.at("number_range", low.last)
    if joint is None or joint.last != high.first or view.apart(low.last):
        return False
    return joint.id != "between" or view.before("number_between", low.first) is not None


def _fraction(text: str) -> Decimal:
    """ "3/4" """
    top, bottom = text.split("/")
    return Decimal(top) / Decimal(bottom)


def depth_talk(tokens: Sequence[Token], marks: Sequence[Mark], lexicon: Lexicon) -> set[int]:
    """The tokens where thirty-seconds are talked of: from a part or reading measured in them to another part.

    ``marks`` are the lexicon's matches. Such parts are those that a measure with the unit "1/32 in" fits.
    """
    terms = [term for term in lexicon.measures.values() if any(unit.unit == "1/32 in" for unit in term.units)]
    names = {term.id for term in terms}
    fits = [entry for term in terms for entry in term.fits if entry != "any"]
    turns: dict[int, bool] = {}
    for mark in marks:
        if mark.kind == "measure" and mark.id in names:
            turns[mark.first] = True
        elif mark.kind == "component":
            turns[mark.first] = turns.get(mark.first, False) or lexicon.fits(fits, mark.id)
    found: set[int] = set()
    talking = False
    for at in range(len(tokens)):
        talking = turns.get(at, talking)
        if talking:
            found.add(at)
    return found
