"""What a confirmation is of: the content of a line, as text that can be compared and told apart."""

from __future__ import annotations

import json
from collections.abc import Mapping

from voicecheck.estimate.texts import coin
from voicecheck.records import Line
from voicecheck.records.wording import hours_text, joined, number

# field of a line -> what it is called in a sentence
FIELDS: Mapping[str, str] = {
    "kind": "kind",
    "name": "name",
    "component": "part",
    "positions": "place",
    "place": "inner or outer place",
    "operation": "work",
    "quantity": "quantity",
    "unit": "unit",
    "hours": "hours",
    "unit_price": "price",
    "unit_price_high": "highest price",
    "amount": "amount",
    "amount_high": "highest amount",
    "part_condition": "condition of the part",
}


def values_of(line: Line) -> dict[str, str]:
    """What is confirmed of a line, in words; an empty text where there is nothing ("to be priced")."""

    found = {
        "kind": line.kind,
        "name": line.name,
        "component": line.component.id if line.component else "",
        "positions": joined(line.positions),
        "place": joined(line.place),
        "operation": line.operation,
        "quantity": number(line.quantity),
        "unit": line.unit,
        "hours": "" if line.hours is None else hours_text(line.hours),
        "part_condition": line.part_condition,
    }
    for field in ("unit_price", "unit_price_high", "amount", "amount_high"):
        value = getattr(line, field)
        found[field] = "" if value is None else coin(value)
    return found


def content_of(line: Line) -> str:
    """The content as one text; equal texts mean equal content."""
    return json.dumps({k: v for k, v in values_of(line).items() if v}, sort_keys=True, ensure_ascii=False)


def differing(line: Line, other: Line) -> tuple[str, ...]:
    """The fields in which the contents of two lines differ."""
    one, two = values_of(line), values_of(other)
    return tuple(field for field in FIELDS if one[field] != two[field])


def lapse(then: str, line: Line) -> str:
    """Why a confirmation of content ``then`` is not one of the line as it is now, in one sentence."""
    try:
        old = json.loads(then)
        was = {field: str(old.get(field, "")) for field in FIELDS}
    except (ValueError, AttributeError):
        return "It was confirmed with another content; confirm it again."
    now = values_of(line)
    steps = [f"{FIELDS[f]} {was[f] or 'open'}, now {now[f] or 'open'}" for f in FIELDS if was[f] != now[f]]
    if not steps:
        return "It was confirmed with another content; confirm it again."
    return f"Changed since it was confirmed: {'; '.join(steps)}. Confirm it again."
