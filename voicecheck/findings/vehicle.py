"""Facts about the vehicle itself, as far as they were clearly said."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import combinations

from voicecheck.findings.vin import Speller, joined, read_vin, written_vin
from voicecheck.language.phrases import PhraseFinder
from voicecheck.language.quantities import QuantityFinder
from voicecheck.lexicon.model import GrammarTerm, Lexicon
from voicecheck.records.finding import Measure, Vehicle
from voicecheck.records.reading import Clause, Mark, Reading, Token
from voicecheck.records.vocabulary import Market, Unit

_LEAST_ODOMETER = 1000  # below it a bare number is no mileage
_MOST_ODOMETER = 2_000_000
_YEARS = range(1950, 2100)
_YEAR = re.compile(r"^(?:19|20)\d\d$")
_NEAR = 4  # tokens that a year may take before "model"
# UK: two letters, two digits, three letters (since 2001), and the older prefix and suffix forms; from memory.
# Elsewhere plates follow no one rule: five to eight signs with a digit.
_PLATES: dict[Market, re.Pattern[str]] = {
    "UK": re.compile(
        r"^(?:[A-Z]{2}\d\d[A-Z]{3}|[A-Z]\d{1,3}[A-Z]{3}|[A-Z]{3}\d{1,3}[A-Z]|[A-Z]{1,3}\d{1,4}|\d{1,4}[A-Z]{2,3})$"
    ),
    "US": re.compile(r"^(?=[A-Z0-9]*\d)[A-Z0-9]{5,8}$"),
}
_PLATE_CHUNK: dict[Market, int] = {"UK": 3, "US": 0}


def about_vehicle(reading: Reading, lexicon: Lexicon) -> Vehicle:
    """Odometer, year, identification number and plate; of each the last one said stands."""
    tokens = reading.tokens
    speller = Speller(lexicon)
    vin = written_vin(tokens, market=lexicon.market)
    found_vin = vin.text if vin is not None else None
    year: int | None = None
    plate: str | None = None
    for clause, cue in _cues(reading):
        idle = _idle(reading, cue)
        if cue.id == "vin":
            spelled = read_vin(tokens, speller, first=cue.last, market=lexicon.market, idle=idle)
            found_vin = spelled.text if spelled is not None else found_vin
        elif cue.id == "plate":
            pieces = speller.pieces(tokens, first=cue.last, idle=idle, chunk=_PLATE_CHUNK[lexicon.market])
            said = joined(pieces, lambda text: _plate(text, lexicon.market) is not None)
            plate = _plate(said.text, lexicon.market) if said is not None else plate
        elif cue.id == "year":
            year = _year_after(tokens, clause, speller, first=cue.last, idle=idle) or year
    for clause in reading.clauses:
        for mark in clause.marks:
            if mark.kind == "grammar" and mark.detail == "year_of":
                year = _year_before(tokens, clause, speller, mark.first) or year
    return Vehicle(odometer=_odometer(reading, lexicon), year=year, vin=found_vin, plate=plate)


def _cues(reading: Reading) -> Iterator[tuple[Clause, Mark]]:
    for clause in reading.clauses:
        for mark in clause.marks:
            if mark.kind == "cue" and mark.detail == "vehicle":
                yield clause, mark


def _idle(reading: Reading, cue: Mark) -> set[int]:
    """Tokens after the cue that may stand before or in what is spelled: "is", "um", further cue words."""
    return {
        at
        for clause in reading.clauses
        for mark in clause.marks
        if mark.first >= cue.last
        and (
            (mark.kind == "cue" and mark.detail in ("filler", "chatter", "vehicle"))
            or (mark.kind == "grammar" and mark.detail in ("copula", "leads_number"))
        )
        for at in range(mark.first, mark.last)
    }


def _plate(text: str, market: Market) -> str | None:
    """``text`` where it has the form of a plate; what was said as "oh" is a letter where a letter must be."""
    zeros = [at for at, sign in enumerate(text) if sign == "0"]
    for count in range(len(zeros) + 1 if len(zeros) < 4 else 1):
        for letters in combinations(zeros, count):
            plain = "".join("O" if at in letters else sign for at, sign in enumerate(text))
            if _PLATES[market].match(plain):
                return plain
    return None


# -- year --


def _year_after(
    tokens: Sequence[Token], clause: Clause, speller: Speller, *, first: int, idle: set[int]
) -> int | None:
    pieces = speller.pieces(tokens, first=first, idle=idle)
    said = joined(pieces, lambda text: _YEAR.match(text) is not None)
    if said is not None:
        return int(said.text)
    for mark in clause.marks:
        if mark.first >= first and (year := _whole_year(mark)) is not None:
            return year
    return None


def _year_before(tokens: Sequence[Token], clause: Clause, speller: Speller, at: int) -> int | None:
    """ "a twenty fourteen model", "2014 model year": the year that ends right before token ``at``."""
    for first in range(max(clause.first, at - _NEAR), at):
        pieces = [p for p in speller.pieces(tokens[:at], first=first) if p.last <= at]
        text = "".join(piece.text for piece in pieces)
        if pieces and pieces[0].first == first and pieces[-1].last == at and _YEAR.match(text):
            return int(text)
    for mark in clause.marks:
        if mark.last == at and (year := _whole_year(mark)) is not None:
            return year
    return None


def _whole_year(mark: Mark) -> int | None:
    """ "two thousand and fourteen" """
    if mark.kind != "quantity" or mark.unit is not None or mark.value is None:
        return None
    return int(mark.value) if mark.value in _YEARS else None


# -- odometer --


def _odometer(reading: Reading, lexicon: Lexicon) -> Measure | None:
    """The last mileage said under a cue for it; without any, the last one in a clause that names no part."""
    cued: Measure | None = None
    bare: Measure | None = None
    under_cue = False
    cues = _odometer_words(reading, lexicon)
    for clause in reading.clauses:
        named = any(clause.first <= at < clause.last for at in cues)
        corrects = any(m.kind == "cue" and m.detail == "correction" for m in clause.marks)
        under_cue = named or (under_cue and corrects)
        quantities = [m for m in clause.marks if m.kind == "quantity"]
        if named:  # "87,400 [miles on it]": the cue took the unit's word
            quantities = _all_quantities(reading.tokens, clause, lexicon)
            cued = _mileage(clause, quantities, cued=True) or cued
        elif under_cue and clause.mood == "said":
            cued = _mileage(clause, quantities, cued=True) or cued
        elif clause.mood == "said" and not any(mark.kind == "component" for mark in clause.marks):
            bare = _mileage(clause, quantities, cued=False) or bare
    return cued or bare


def _odometer_words(reading: Reading, lexicon: Lexicon) -> set[int]:
    """Where cues for the odometer begin, those included that a longer phrase covers."""
    terms = [
        GrammarTerm(kind="odometer", said=cue.said)
        for cue in lexicon.cues
        if cue.kind == "vehicle" and cue.value == "odometer"
    ]
    covered = PhraseFinder(terms).find([token.text for token in reading.tokens])
    said = [cue for _, cue in _cues(reading) if cue.id == "odometer"]
    return {mark.first for mark in (*covered, *said)}


def _all_quantities(tokens: Sequence[Token], clause: Clause, lexicon: Lexicon) -> list[Mark]:
    """The quantities of a clause, those included that a longer phrase covers."""
    units: dict[str, Unit] = {t.said: t.value for t in lexicon.grammar if t.kind == "unit"}  # type: ignore[misc]
    grammar = [
        mark.model_copy(update={"first": mark.first - clause.first, "last": mark.last - clause.first})
        for mark in clause.marks
        if mark.kind == "grammar"
    ]
    finder = QuantityFinder(units=units, market=lexicon.market)
    return [
        mark.model_copy(update={"first": mark.first + clause.first, "last": mark.last + clause.first})
        for mark in finder.find(tokens[clause.first : clause.last], grammar)
    ]


def _mileage(clause: Clause, quantities: Sequence[Mark], *, cued: bool) -> Measure | None:
    """The last mileage among the quantities of a clause: one with its unit rather than a bare number."""
    if not cued and any(m.kind == "grammar" and m.detail == "no_mileage" for m in clause.marks):
        return None  # "every ten thousand miles"
    years = {m.first for m in clause.marks if m.kind == "grammar" and m.detail == "year_of"}
    found: list[tuple[bool, Measure]] = []
    for number, mark in enumerate(quantities):
        value, unit = mark.value, mark.unit
        if value is None or unit not in ("mi", "km", None):
            continue
        if unit is None and (not cued or mark.last in years):
            continue
        following = quantities[number + 1] if number + 1 < len(quantities) else None
        if unit is None:
            value = _in_thousands(mark, value, following)
            unit = following.unit if following is not None and following.first == mark.last else None
        if _LEAST_ODOMETER <= value <= _MOST_ODOMETER and unit in ("mi", "km", None):
            measure = Measure(what="odometer", value=value, unit=unit or "mi", bound=mark.bound)
            found.append((mark.unit is not None, measure))
    with_unit = [measure for has_unit, measure in found if has_unit]
    measures = with_unit or [measure for _, measure in found]
    return measures[-1] if measures else None


def _in_thousands(mark: Mark, value: Decimal, following: Mark | None) -> Decimal:
    """ "mileage eighty seven four" is 87,400; "ninety eight five hundred" is 98,500."""
    if mark.by == "said in one breath" and value < _LEAST_ODOMETER and value != int(value):
        return (value * 1000).quantize(Decimal(1))
    if (
        following is not None
        and following.first == mark.last
        and following.value is not None
        and 10 <= value < 1000
        and 100 <= following.value < 1000
        and following.unit in ("mi", "km", None)
    ):
        return value * 1000 + following.value
    return value
