"""The closed sets of words that the contracts use.

Open vocabulary (parts, conditions, phrases) lives in ``lexicon/``.
"""

from __future__ import annotations

from typing import Literal, get_args

Position = Literal["front left", "front right", "rear left", "rear right", "front", "rear", "left", "right"]
POSITIONS: tuple[Position, ...] = get_args(Position)
CORNERS: tuple[Position, ...] = ("front left", "front right", "rear left", "rear right")

State = Literal["defect", "missing", "suspect", "ok", "not_checked"]
STATES: tuple[State, ...] = get_args(State)

Action = Literal[
    "replace",
    "repair",
    "service",
    "adjust",
    "clean",
    "tighten",
    "install",
    "resurface",
    "top up",
    "diagnose",
    "monitor",
    "none",
]
ACTIONS: tuple[Action, ...] = get_args(Action)
UNPRICED_ACTIONS: frozenset[Action] = frozenset({"monitor", "none"})
PRICED_ACTIONS: tuple[Action, ...] = tuple(a for a in ACTIONS if a not in UNPRICED_ACTIONS)

Urgency = Literal["now", "soon", "later", "unstated"]
URGENCIES: tuple[Urgency, ...] = get_args(Urgency)

Bound = Literal["=", "<", ">", "~"]

Unit = Literal[
    "mm", "cm", "in", "1/32 in", "0.001 in", "V", "A", "ohm", "psi", "bar", "kPa", "mi", "km",
    "%", "°C", "°F", "N·m", "ft·lb", "min", "s", "h", "L", "qt", "year", "month", "count", "code",
]  # fmt: skip
UNITS: tuple[Unit, ...] = get_args(Unit)

Market = Literal["US", "UK"]

LineKind = Literal["labour", "part", "fluid", "sublet", "fee"]


def expand(positions: tuple[Position, ...] | list[Position]) -> frozenset[Position]:
    """The corners that ``positions`` cover: "front" is both front corners, "left" both left ones.

    An empty input stays empty. Used wherever two lists of positions are compared.
    """
    found: set[Position] = set()
    for position in positions:
        if position in CORNERS:
            found.add(position)
        else:
            found.update(c for c in CORNERS if position in c.split())
    return frozenset(found)
