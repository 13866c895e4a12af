"""The cautions printed on every document: ``cautions.yaml``."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

from voicecheck.catalogue.faults import Faults, one_of
from voicecheck.catalogue.yaml_file import Item, check_keys, read_mapping
from voicecheck.records import Market, Problem

_MARKETS: tuple[str, ...] = get_args(Market)


def check_cautions(path: Path) -> list[Problem]:
    """Every fault of a file of cautions; ``row`` is the line of the file."""
    faults = Faults(path)
    _read(path, faults)
    return faults.in_order()


def load_cautions(path: Path, *, market: Market) -> tuple[str, ...]:
    """The cautions for ``market`` in the order of the file. Raises ``DataError`` with all problems."""
    faults = Faults(path)
    found = _read(path, faults)
    faults.stop_on_errors()
    return tuple(text for text, markets in found if not markets or market in markets)


def _read(path: Path, faults: Faults) -> list[tuple[str, tuple[str, ...]]]:
    """Each caution's sentence and the markets it is for (none: all)."""
    top = read_mapping(path, faults)
    if top is None or top.pairs is None:
        return []
    check_keys(top, faults, required=("cautions",), optional=())
    listed = top.pairs.get("cautions")
    if listed is None:
        return []
    if not listed.items:
        faults.error("a list with at least one caution is needed", row=listed.line, field="cautions")
        return []
    found: list[tuple[str, tuple[str, ...]]] = []
    ids: dict[str, int] = {}
    for entry in listed.items:
        if entry.pairs is None:
            faults.error("a caution needs “id” and “text”", row=entry.line, field="cautions")
            continue
        check_keys(entry, faults, required=("id", "text"), optional=("markets",), inside="a caution")
        for key in ("id", "text"):
            if key in entry.pairs and not entry.pairs[key].text:
                faults.error("the value is empty", row=entry.pairs[key].line, field=key)
        name = _text(entry, "id")
        if name and (seen := ids.setdefault(name, entry.line)) != entry.line:
            faults.error(f"the id “{name}” is already used in line {seen}", row=entry.line, field="id")
        found.append((" ".join(_text(entry, "text").split()), _markets(entry, faults)))
    return found


def _text(entry: Item, key: str) -> str:
    item = (entry.pairs or {}).get(key)
    return (item.text or "") if item is not None else ""


def _markets(entry: Item, faults: Faults) -> tuple[str, ...]:
    item = (entry.pairs or {}).get("markets")
    if item is None:
        return ()
    if not item.items:
        faults.error("a list of markets is needed, or no “markets” at all", row=item.line, field="markets")
        return ()
    found = tuple(m.text or "" for m in item.items)
    for market in found:
        if market not in _MARKETS:
            faults.error(
                f"unknown market “{market}”; allowed: {one_of(_MARKETS)}", row=item.line, field="markets"
            )
    return found
