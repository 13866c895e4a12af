"""Plain words for lines, arithmetic, asks and job titles. Nothing here decides anything."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from voicecheck.lexicon.model import System
from voicecheck.records.vocabulary import Action, Market

_SYSTEM_TITLES: dict[System, str] = {
    "brakes": "brakes",
    "steering": "steering",
    "suspension": "suspension",
    "wheels_tyres": "wheels and tires",
    "engine": "engine",
    "cooling": "cooling system",
    "fuel": "fuel system",
    "exhaust": "exhaust",
    "driveline": "driveline",
    "electrical": "electrical system",
    "lighting": "lighting",
    "glass_wipers": "glass and wipers",
    "body_interior": "body and interior",
    "air_conditioning": "air conditioning",
    "hybrid_ev": "hybrid and electric drive",
}
_UK_TITLES: dict[System, str] = {"wheels_tyres": "wheels and tyres"}


def joined(items: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def capital(text: str) -> str:
    """The first letter large, the rest untouched ("ABS sensor" stays)."""
    return text[:1].upper() + text[1:]


def named(name: str, positions: Sequence[str], place: Sequence[str] = ()) -> str:
    """ "front left and front right upper ball joint": where, which, what."""
    return " ".join(part for part in (joined(positions), joined(place), name) if part)


def plain(value: Decimal) -> str:
    """A number without trailing zeros or an exponent: "2.5", "100"."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def coin(value: Decimal) -> str:
    """Money inside arithmetic: at least two digits after the point, more where the exact value has more."""
    whole, _, digits = plain(value).partition(".")
    return f"{whole}.{digits.ljust(2, '0')}"


def tenths(value: Decimal) -> str:
    """Hours: at least one digit after the point."""
    text = plain(value)
    return text if "." in text else f"{text}.0"


def work(action: Action, name: str) -> str:
    """What is done, where no catalogue entry names it: "Replace outer tie rod end", "Top up coolant"."""
    return capital(f"{action} {name}")


def system_title(system: System, *, market: Market) -> str:
    """The system in words, spelled as the market does."""
    return _UK_TITLES.get(system, _SYSTEM_TITLES[system]) if market == "UK" else _SYSTEM_TITLES[system]
