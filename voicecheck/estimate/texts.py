"""Plain words for lines, arithmetic, asks and job titles. Nothing here decides anything."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from voicecheck.lexicon.model import System
from voicecheck.records.finding import Finding
from voicecheck.records.vocabulary import Action, Market
from voicecheck.records.wording import capital, joined, number

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


def named(name: str, positions: Sequence[str], place: Sequence[str] = ()) -> str:
    """ "front left and front right upper ball joint": where, which, what."""
    return " ".join(part for part in (joined(positions), joined(place), name) if part)


def name_of(finding: Finding) -> str:
    """ "Front left outer tie rod end"."""
    return capital(named(finding.component.name, finding.positions, finding.place))


def wrong_with(finding: Finding) -> str:
    """What was said to be wrong with a defective or missing part."""
    return joined(c.name for c in finding.conditions) or (
        "missing" if finding.state == "missing" else "defective"
    )


def coin(value: Decimal) -> str:
    """Money inside arithmetic: at least two digits after the point, more where the exact value has more."""
    whole, _, digits = number(value).partition(".")
    return f"{whole}.{digits.ljust(2, '0')}"


def work(action: Action, name: str) -> str:
    """What is done, where no catalogue entry names it: "Replace outer tie rod end", "Top up coolant"."""
    return capital(f"{action} {name}")


def system_title(system: System, *, market: Market) -> str:
    """The system in words, spelled as the market does."""
    return _UK_TITLES.get(system, _SYSTEM_TITLES[system]) if market == "UK" else _SYSTEM_TITLES[system]
