"""Turns the text of one cell into a value, or says what is wrong with it."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Literal, get_args

from voicecheck.records import PartUse

_NUMBER = re.compile(r"-?[0-9]{1,9}(\.[0-9]{1,6})?")
_PREFIX = re.compile(r"(fluid|fee)\s*:\s*", re.IGNORECASE)
_RANGE = re.compile(r"(.+?)\s*[-–]\s*(.+)")
TO_BE_FOUND = "?"
FIXED = "="  # in front of a price that is the customer's, without markup
CONDITIONS: tuple[str, ...] = get_args(PartUse.model_fields["condition"].annotation)


class CellError(ValueError):
    """What is wrong with a cell, as a clause for a message."""


def values(cell: str) -> tuple[str, ...]:
    """The values of a cell with ``|`` between them, trimmed, empty ones left out."""
    return tuple(v for v in (part.strip() for part in cell.split("|")) if v)


def number(cell: str) -> Decimal:
    """A plain decimal number with a point; raises ``CellError`` for anything else."""
    if _NUMBER.fullmatch(cell):
        return Decimal(cell)
    if _NUMBER.fullmatch(cell.replace(",", ".", 1)):
        raise CellError(f"“{cell}” has a decimal comma; write a point")
    raise CellError(f"“{cell}” is not a plain number")


def amount(cell: str) -> Decimal:
    """A price: not negative, at most two decimals."""
    value = number(cell)
    if value < 0:
        raise CellError(f"“{cell}” is negative")
    if value != round(value, 2):
        raise CellError(f"“{cell}” has more than two decimals")
    return value


def price(cell: str) -> tuple[Decimal | None, Decimal | None]:
    """A price and the upper end of a range ("48-56"); no price for ``?`` ("to be found")."""
    if cell == TO_BE_FOUND:
        return None, None
    if (span := _RANGE.fullmatch(cell)) is None:
        return amount(cell), None
    low, high = amount(span[1]), amount(span[2])
    if high <= low:
        raise CellError(f"“{cell}” is no range from a lower to a higher price")
    return low, high


def hours(cell: str, *, most: Decimal) -> Decimal:
    """Hours in tenths, from 0 to ``most``."""
    value = number(cell)
    if value < 0:
        raise CellError(f"“{cell}” is negative")
    if value > most:
        raise CellError(f"“{cell}” is above {most} hours")
    if value * 10 != int(value * 10):
        raise CellError(f"“{cell}” is not in tenths of an hour")
    return value


def part(entry: str) -> PartUse:
    """One entry of ``parts``: ``name * quantity unit @ price``, with ``fluid:`` in front for a fluid.

    ``fee:`` in front is a fee; ``=`` before the price says that it is the customer's; a word after it that
    the part is not new.
    """
    shape = f"“{entry}” is not of the form “name * quantity unit @ price”"
    kind: Literal["part", "fluid", "fee"] = "part"
    body = entry
    if found := _PREFIX.match(entry):
        kind, body = ("fee" if found[1].casefold() == "fee" else "fluid"), entry[found.end() :]
    head, at, money = body.rpartition("@")
    if not at:
        raise CellError(f"{shape}: the “@” is missing (an open price is “@ ?”)")
    name, star, count = head.rpartition("*")
    if not star:
        raise CellError(f"{shape}: the “*” is missing")
    if not name.strip():
        raise CellError(f"{shape}: the name is missing")
    quantity, _, unit = count.strip().partition(" ")
    if not unit.strip():
        raise CellError(f"{shape}: a quantity and a unit are needed after the “*”")
    money, _, condition = money.strip().partition(" ")
    if condition and condition.strip() not in CONDITIONS:
        raise CellError(
            f"in “{entry}”, after the price “{condition.strip()}” is not one of {', '.join(CONDITIONS)}"
        )
    fixed = money.startswith(FIXED)
    try:
        many, (cost, high) = number(quantity), price(money.removeprefix(FIXED))
    except CellError as error:
        raise CellError(f"in “{entry}”, {error}") from error
    if many <= 0:
        raise CellError(f"in “{entry}”, the quantity must be above nought")
    return PartUse.model_validate(
        {
            "name": name.strip(),
            "kind": kind,
            "quantity": many,
            "unit": unit.strip(),
            "price": cost,
            "price_high": high,
            "fixed": fixed,
            "condition": condition.strip() or "new",
        }
    )
