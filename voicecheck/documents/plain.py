"""Values as plain words: times, measures, positions, urgency, titles, money.

Everything a page, a sheet or a terminal says about a value is worded here, so that the same value reads the
same everywhere.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from decimal import Decimal

from voicecheck.records import Action, Finding, Line, LineKind, Market, Measure, Span, State, Unit, Urgency
from voicecheck.records.money import format_money
from voicecheck.records.wording import capital as capital
from voicecheck.records.wording import counted as counted
from voicecheck.records.wording import hours_text as hours_text
from voicecheck.records.wording import joined as joined
from voicecheck.records.wording import number as number

URGENCY_WORDS: dict[Urgency, str] = {
    "now": "do now",
    "soon": "plan soon",
    "later": "can wait",
    "unstated": "not said",
}
STATE_WORDS: dict[State, str] = {
    "defect": "defect",
    "missing": "missing",
    "suspect": "suspected",
    "ok": "fine",
    "not_checked": "not checked",
}
TO_BE_PRICED = "to be priced"
_LOCALES: dict[Market, str] = {"US": "en_US", "UK": "en_GB"}
_BOUNDS = {"=": "", "<": "under ", ">": "over ", "~": "about "}
_TURNS = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}  # of Unicode's bidirectional classes
_COUNTED: frozenset[Unit] = frozenset({"year", "month"})


def locale_of(market: Market) -> str:
    """The locale (babel's form, e.g. "en_US") in which a market's numbers and money are written."""
    return _LOCALES[market]


def language_of(market: Market) -> str:
    """The language tag (BCP 47, e.g. "en-US") of a market's documents."""
    return _LOCALES[market].replace("_", "-")


def labour_word(market: Market) -> str:
    """ "labor" in the US, "labour" in the UK."""
    return "labor" if market == "US" else "labour"


def kind_word(kind: LineKind, market: Market) -> str:
    """The kind of a line as a word ("labour" is spelled as the market spells it)."""
    return labour_word(market) if kind == "labour" else kind


def money(amount: Decimal, currency: str, market: Market) -> str:
    """An amount as the market writes it ("$1,234.50"); ``currency`` is ISO 4217."""
    return format_money(amount, currency, locale_of(market))


def money_range(low: Decimal, high: Decimal | None, currency: str, market: Market) -> str:
    """An amount, or both ends of one that is a range: "$10.00 to $15.00"."""
    text = money(low, currency, market)
    return text if high is None or high == low else f"{text} to {money(high, currency, market)}"


def money_or_open(amount: Decimal | None, currency: str, market: Market) -> str:
    """An amount, or "to be priced" for one that is not known: never a zero."""
    return TO_BE_PRICED if amount is None else money(amount, currency, market)


def clock(seconds: float | None) -> str:
    """Seconds as m:ss (h:mm:ss from an hour on), rounded down so that playing starts early; "" for None."""
    if seconds is None:
        return ""
    whole = max(0, int(seconds))
    hours, rest = divmod(whole, 3600)
    minutes, rest = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def _value(value: Decimal, unit: Unit) -> str:
    if unit == "1/32 in":
        return f"{number(value)}/32"
    if unit == "0.001 in":
        return number(value * Decimal("0.001"))
    return number(value, grouped=unit in {"mi", "km"})


def amount_of(measure: Measure) -> str:
    """Value and unit of a reading: "4/32 in", "under 3 mm", "2 to 3 mm", "12.4 V"."""
    text = _value(measure.value, measure.unit)
    last = measure.value
    if measure.high is not None:
        text += f" to {_value(measure.high, measure.unit)}"
        last = measure.high
    if measure.unit in {"1/32 in", "0.001 in"}:
        unit = "in"
    elif measure.unit == "count":
        unit = ""
    elif measure.unit == "code":
        return f"{_BOUNDS[measure.bound]}code {text}"
    elif measure.unit in _COUNTED and last != 1:
        unit = f"{measure.unit}s"
    else:
        unit = measure.unit
    return f"{_BOUNDS[measure.bound]}{text} {unit}".rstrip()


def measure_text(measure: Measure) -> str:
    """A whole reading: "pad thickness 3 mm (inner, front left)"."""
    where = ", ".join(part for part in (measure.place, measure.position or "") if part)
    text = f"{measure.what} {amount_of(measure)}"
    return f"{text} ({where})" if where else text


def placed(name: str, place: Iterable[str], positions: Iterable[str]) -> str:
    """A component where it sits: "lower ball joint, front left", "valve cover, bank 1".

    Qualifiers go before the name, numbered ones (bank 1, cylinder 3) after it.
    """
    qualifiers = list(place)
    before = [word for word in qualifiers if not re.search(r"\d", word)]
    after = [word for word in qualifiers if re.search(r"\d", word)]
    text = " ".join([*before, name])
    tail = [*after, *([joined(positions)] if positions else [])]
    return ", ".join([text, *(t for t in tail if t)])


def finding_title(finding: Finding) -> str:
    """The component of a finding, where it sits."""
    return capital(placed(finding.component.name, finding.place, finding.positions))


def said(span: Span) -> str:
    """The words of a span as read. A word that was read as nothing leaves no gap."""
    return " ".join(span.read.split())


def _unsaid(action: Action) -> bool:
    return action == "none"


def line_title(line: Line) -> str:
    """What a line is: operation, component and positions for labour, otherwise its own name and positions."""
    if line.kind == "labour" and line.component is not None and not _unsaid(line.operation):
        return capital(f"{line.operation} {placed(line.component.name, line.place, line.positions)}")
    return capital(placed(line.name, (), line.positions))


def quantity_text(line: Line) -> str:
    """The quantity with its unit, where the unit says more than "each" ("2", "1 axle set", "0.5 L")."""
    unit = "" if line.unit in {"each", "h"} else line.unit
    return f"{number(line.quantity)} {unit}".rstrip()


def advice_text(finding: Finding) -> str:
    """What was advised, and where, if that is more than the finding: "replace front left and front right"."""
    if _unsaid(finding.action):
        return ""
    where = joined(finding.action_positions)
    return f"{finding.action} {where}".rstrip()


def visible(text: str) -> str:
    """The text without control characters (a file name may hold terminal commands): each becomes "�".

    So do those that turn the direction of writing round: they can make figures beside them read otherwise.
    """
    return "".join("�" if _controls(c) else c for c in text)


def _controls(character: str) -> bool:
    if unicodedata.category(character) == "Cc":
        return character not in "\n\t"
    return unicodedata.bidirectional(character) in _TURNS
