"""How lists, counts and numbers are put into words, the same in asks, arithmetic and documents."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal


def joined(parts: Iterable[str], *, last: str = "and") -> str:
    """ "a", "a and b", "a, b and c"; ``last`` is the word before the last one."""
    items = list(parts)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def capital(text: str) -> str:
    """The first letter in upper case, the rest as it is ("ABS sensor" stays)."""
    return text[:1].upper() + text[1:]


def counted(count: int, one: str, many: str = "") -> str:
    """ "1 line", "2 lines"; ``many`` where an "s" is not enough."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def number(value: Decimal, *, grouped: bool = False) -> str:
    """A number without exponent and without idle zeros after the point; ``grouped`` sets thousands apart."""
    text = format(value, ",f" if grouped else "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def hours_text(hours: Decimal) -> str:
    """Hours with at least one digit after the point ("1.0", "0.25")."""
    text = number(hours)
    return text if "." in text else f"{text}.0"
