"""Reads numbers as people write them, by the rules that the mapping states. What is ambiguous is refused."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Literal

from voicecheck.records import Record

Decimals = Literal[".", ","]
Thousands = Literal["", ",", ".", " ", "'"]

_SPACES = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "’": "'", "\u2212": "-"})
MOST_DIGITS = 12  # on each side of the point: no price, time or count of a shop is longer


class NumberError(ValueError):
    """Why a text is no number, as a clause for a message."""


class Numbers(Record):
    """How a table writes its numbers. ``thousands`` of "" means that nothing is put between thousands."""

    decimal: Decimals = "."
    thousands: Thousands = ""
    currency: tuple[str, ...] = ()


def parse_number(text: str, numbers: Numbers) -> Decimal:
    """The number that ``text`` writes; raises ``NumberError`` with the reason.

    A sign may stand in front, a sign of ``numbers.currency`` before or after. Groups between thousands marks
    have three digits each, else it is refused: "1,23" with a thousands comma is nobody's number.
    """
    body = text.translate(_SPACES).strip()
    for sign in sorted(numbers.currency, key=len, reverse=True):
        if sign and body.startswith(("-", "+")) and body[1:].lstrip().startswith(sign):
            body = body[0] + body[1:].lstrip().removeprefix(sign).lstrip()
            break
        if sign and body.startswith(sign):
            body = body.removeprefix(sign).lstrip()
            break
        if sign and body.endswith(sign):
            body = body.removesuffix(sign).rstrip()
            break
    point, mark = re.escape(numbers.decimal), re.escape(numbers.thousands)
    groups = rf"[0-9]{{1,3}}(?:{mark}[0-9]{{3}})+|[0-9]+" if numbers.thousands else "[0-9]+"
    found = re.fullmatch(rf"(?P<sign>[+-]?)(?P<whole>{groups})?(?:{point}(?P<rest>[0-9]*))?", body)
    if found is None or not (found["whole"] or found["rest"]):
        raise NumberError(_why_not(text, body, numbers))
    whole = (
        (found["whole"] or "0").replace(numbers.thousands, "") if numbers.thousands else found["whole"] or "0"
    )
    if len(whole.lstrip("0")) > MOST_DIGITS or len(found["rest"] or "") > MOST_DIGITS:
        raise NumberError(f"“{text[:40]}” has more than {MOST_DIGITS} digits before or after the point")
    return Decimal(f"{'-' if found['sign'] == '-' else ''}{whole}.{found['rest'] or '0'}").normalize() + 0


def _why_not(text: str, body: str, numbers: Numbers) -> str:
    if re.fullmatch(r"[+-]?[0-9.,' ]*[0-9][0-9.,' ]*", body):
        between = (
            f"“{numbers.thousands}” between thousands" if numbers.thousands else "nothing between thousands"
        )
        return f"“{text}” is not a number with “{numbers.decimal}” before the decimals and {between}"
    if body.startswith("(") and body.endswith(")"):
        return f"“{text}” is in brackets, as book-keepers write what is negative"
    return f"“{text}” is not a number"


def written(value: Decimal) -> str:
    """A number as our files write it: a point, no exponent, no zeros after the last decimal."""
    if value == value.to_integral_value():
        return format(value.quantize(Decimal(1)), "f")
    return format(value.normalize(), "f")
