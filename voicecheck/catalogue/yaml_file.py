"""Reads a YAML file as text values with their lines. The only module that sees PyYAML.

Values stay as they are written ("8.25", "yes"), because YAML's own reading would turn a price into a binary
fraction and some words into truth values.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import yaml

from voicecheck.catalogue.faults import Faults, nearest, one_of
from voicecheck.catalogue.files import read_text

_NULL = "tag:yaml.org,2002:null"


@dataclass(frozen=True)
class Item:
    """One YAML value and its line: exactly one of text, ``pairs`` (mapping), ``items`` (list), or nothing."""

    line: int
    text: str | None = None
    pairs: dict[str, Item] | None = None
    items: list[Item] | None = None
    lines: dict[str, int] = field(default_factory=dict)  # of the keys of a mapping


def read_mapping(path: Path, faults: Faults) -> Item | None:
    """The mapping that a YAML file holds, or ``None`` with faults noted (with their lines)."""
    text = read_text(path, faults)
    if text is None:
        return None
    try:
        node = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        what = " ".join(str(p) for p in (error.context, error.problem) if p)
        faults.error(f"not readable as YAML: {what}", row=mark.line + 1 if mark else None)
        return None
    except yaml.reader.ReaderError as error:
        row = text[: error.position].count("\n") + 1
        faults.error(f"not readable as YAML: {error.reason}", row=row)
        return None
    except RecursionError:
        faults.error("not readable as YAML: brackets are nested too deeply")
        return None
    if node is None:
        faults.error("the file holds nothing but comments")
        return None
    top = _item(node, faults, depth=0)
    if top.pairs is None:
        faults.error("the file must be a list of “key: value” lines", row=top.line)
        return None
    return top


def _item(node: yaml.Node, faults: Faults, *, depth: int) -> Item:
    line = node.start_mark.line + 1
    if depth > 6:  # no file of ours is deeper; also ends an alias that contains itself
        faults.error("values are nested too deeply", row=line)
        return Item(line)
    if isinstance(node, yaml.MappingNode):
        pairs: dict[str, Item] = {}
        lines: dict[str, int] = {}
        for key, value in node.value:
            row = key.start_mark.line + 1
            if not isinstance(key, yaml.ScalarNode):
                faults.error("a key must be a plain word", row=row)
                continue
            if key.value in pairs:
                faults.error(
                    f"“{key.value}” is already set in line {lines[key.value]}", row=row, field=key.value
                )
                continue
            pairs[key.value] = _item(value, faults, depth=depth + 1)
            lines[key.value] = row
        return Item(line, pairs=pairs, lines=lines)
    if isinstance(node, yaml.SequenceNode):
        return Item(line, items=[_item(n, faults, depth=depth + 1) for n in node.value])
    if node.tag == _NULL:
        return Item(line)
    return Item(line, text=str(node.value).strip())


def check_keys(
    item: Item, faults: Faults, *, required: tuple[str, ...], optional: tuple[str, ...], inside: str = ""
) -> None:
    """Note unknown and missing keys of a mapping; ``inside`` names it in the message."""
    allowed = (*required, *optional)
    pairs = item.pairs or {}
    where = f" in {inside}" if inside else ""
    for key in pairs:
        if key not in allowed:
            faults.error(
                f"unknown key “{key}”{where}{nearest(key, allowed)}; allowed: {one_of(allowed)}",
                row=item.lines[key],
                field=key,
            )
    for key in required:
        if key not in pairs:
            faults.error(
                f"the key “{key}” is missing{where}; needed: {one_of(required)}",
                row=item.line if inside else None,
                field=key,
            )
