"""Reads the entries of the lists in a YAML file: one mapping each, its values checked by kind."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator
from decimal import Decimal
from typing import TypeVar

from voicecheck.catalogue import cells
from voicecheck.catalogue.faults import Faults, nearest, one_of
from voicecheck.catalogue.yaml_file import Item, check_keys

T = TypeVar("T")


class Entry:
    """One mapping of a list; every fault is noted under the name of its list."""

    def __init__(self, item: Item, faults: Faults) -> None:
        self.line = item.line
        self._pairs = item.pairs or {}
        self._faults = faults

    def fault(self, message: str, key: str) -> None:
        """Note a fault of the value of ``key``."""
        row = self._pairs[key].line if key in self._pairs else self.line
        self._faults.error(message, row=row, field=key)

    def text(self, key: str, *, needed: bool = False) -> str:
        """The text of a value, "" where there is none."""
        found = (self._pairs[key].text or "") if key in self._pairs else ""
        if needed and key in self._pairs and not found:
            self.fault("the value is empty", key)
        return " ".join(found.split())

    def value(self, key: str, parse: Callable[[str], T]) -> T | None:
        """The value read by ``parse``, or ``None``: not there, empty, or with its fault noted."""
        written = self.text(key)
        if not written:
            return None
        try:
            return parse(written)
        except cells.CellError as error:
            self.fault(str(error), key)
            return None

    def one(self, key: str, allowed: tuple[str, ...], *, default: str = "") -> str:
        """One word of a closed set."""
        word = self.text(key) or default
        if word and word not in allowed:
            self.fault(f"unknown {key} “{word}”{nearest(word, allowed)}; allowed: {one_of(allowed)}", key)
        return word

    def words(self, key: str, allowed: Container[str] | None, *, what: str) -> tuple[str, ...]:
        """A list of words, each of ``allowed`` (``None``: any). ``what`` is said of an unknown one."""
        item = self._pairs.get(key)
        if item is None or (item.items is None and not item.text):
            return ()
        if item.items is None:
            self.fault("a list is needed, such as [one, two]", key)
            return ()
        found = tuple(i.text or "" for i in item.items)
        for word in found:
            if allowed is not None and word not in allowed:
                shown = f"; allowed: {one_of(allowed)}" if isinstance(allowed, tuple) else ""
                self.fault(f"{what} “{word}”{nearest(word, allowed)}{shown}", key)
        return found


def entries(
    listed: Item | None, name: str, faults: Faults, *, required: tuple[str, ...], optional: tuple[str, ...]
) -> Iterator[Entry]:
    """The mappings of a list called ``name``, unknown and missing keys noted."""
    if listed is None:
        return
    if listed.items is None:
        if listed.text or listed.pairs:
            faults.error("a list is needed", row=listed.line, field=name)
        return
    for item in listed.items:
        if item.pairs is None:
            faults.error(f"an entry needs {one_of(required)}", row=item.line, field=name)
            continue
        check_keys(item, faults, required=required, optional=optional, inside=f"an entry of “{name}”")
        yield Entry(item, faults)


def percent(text: str) -> Decimal:
    """A percentage from 0 to 100, as written."""
    value = cells.number(text)
    if not 0 <= value <= 100:
        raise cells.CellError(f"“{text}” is not a percentage from 0 to 100")
    return value
