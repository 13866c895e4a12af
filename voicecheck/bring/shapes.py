"""The settings and lists of our YAML files, and how each of their values is read from a table.

The names are those that the loaders in ``voicecheck.catalogue`` take; a test keeps the two together.
"""

from __future__ import annotations

from typing import Literal

from voicecheck.bring.convert import FieldKind
from voicecheck.bring.mapping import Kind
from voicecheck.records import Record

Extra = Literal["", "component", "work"]


class Shape(Record):
    """How a value is read. ``extra``: it names components, or work ("adjust wheel alignment")."""

    kind: FieldKind = "text"
    extra: Extra = ""


TEXT, WORDS, MONEY, PERCENT = Shape(), Shape(kind="list"), Shape(kind="money"), Shape(kind="percent")
FACTOR = Shape(kind="factor")
COMPONENTS = Shape(kind="list", extra="component")
WORK = Shape(extra="work")
VALUE = "value"  # the only field of a list of plain words

SETTINGS: dict[Kind, dict[str, Shape]] = {
    "prices": {
        "name": TEXT,
        "market": TEXT,
        "currency": TEXT,
        "labour_rate": MONEY,
        "electrical_rate": MONEY,
        "diagnostic_rate": MONEY,
        "sublet_markup_percent": PERCENT,
        "supplies_percent": PERCENT,
        "supplies_cap": MONEY,
        "tax_percent": PERCENT,
        "jurisdiction": TEXT,
    },
    "policies": {"catalogue_follow_ons": TEXT, "near_limit_percent": PERCENT},
}
LISTS: dict[Kind, dict[str, dict[str, Shape]]] = {
    "prices": {
        "rate_for": {"type": TEXT, "systems": WORDS, "actions": WORDS},
        "markup": {"up_to": MONEY, "factor": FACTOR},
        "fees": {"name": TEXT, "amount": MONEY, "per": TEXT, "components": COMPONENTS, "actions": WORDS},
        "discounts": {"reason": TEXT, "on": TEXT, "percent": PERCENT, "amount": MONEY},
        "taxed": {VALUE: TEXT},
        "taxes": {"name": TEXT, "percent": PERCENT, "on": WORDS, "jurisdiction": TEXT},
    },
    "policies": {
        "sets": {
            "id": TEXT,
            "components": COMPONENTS,
            "systems": WORDS,
            "actions": WORDS,
            "by": TEXT,
            "says": TEXT,
        },
        "follow_ons": {
            "id": TEXT,
            "after": COMPONENTS,
            "after_systems": WORDS,
            "actions": WORDS,
            "work": WORK,
            "part": TEXT,
            "mode": TEXT,
            "says": TEXT,
        },
        "conclusions": {
            "id": TEXT,
            "components": COMPONENTS,
            "conditions": WORDS,
            "not_enough": WORDS,
            "instead": WORK,
            "says": TEXT,
        },
    },
}
