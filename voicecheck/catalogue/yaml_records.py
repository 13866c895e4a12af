"""A YAML file as one record: its keys are the record's fields, and every fault is named with its line."""

from __future__ import annotations

from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from voicecheck.catalogue.faults import Faults, nearest, one_of
from voicecheck.catalogue.yaml_file import Item, read_mapping
from voicecheck.records import Record

R = TypeVar("R", bound=Record)

_SAID = {
    "int_parsing": "a whole number is needed",
    "decimal_parsing": "a number is needed",
    "bool_parsing": "yes or no is needed",
    "string_type": "one value is needed, not a list",
    "tuple_type": "a list is needed",
    "dict_type": "a list of “key: value” lines is needed",
    "model_type": "a list of “key: value” lines is needed",
    "too_short": "the list is empty",
}


def read_record(path: Path, model: type[R], faults: Faults) -> R | None:
    """The record that the file holds, or ``None`` with its faults noted. Empty values are left out."""
    top = read_mapping(path, faults)
    if top is None:
        return None
    return as_record(top, model, faults)


def as_record(item: Item, model: type[R], faults: Faults) -> R | None:
    """A mapping as a record, or ``None`` with the faults noted."""
    try:
        made = model.model_validate(_plain(item))
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            _note(fault, item, model, faults)
        return None
    return None if faults.errors else made


def _plain(item: Item) -> Any:
    if item.pairs is not None:
        return {
            key: _plain(value)
            for key, value in item.pairs.items()
            if value.text or value.pairs is not None or value.items is not None
        }
    if item.items is not None:
        return [_plain(value) for value in item.items]
    return item.text or ""


def _note(fault: ErrorDetails, top: Item, model: type[Record], faults: Faults) -> None:
    """One fault of pydantic's, with the line of what it is about and a sentence of ours."""
    item, row, names = top, top.line, []
    for step in fault["loc"]:
        if isinstance(step, str) and item.pairs is not None and step in item.pairs:
            row, item = item.lines[step], item.pairs[step]
            names.append(step)
        elif isinstance(step, int) and item.items is not None and step < len(item.items):
            item = item.items[step]
            row = item.line
        elif isinstance(step, str):
            names.append(step)
    field = ".".join(names)
    kind, context = fault["type"], fault.get("ctx", {})
    if kind == "missing":
        message = f"the key “{names[-1] if names else ''}” is missing or empty"
    elif kind == "extra_forbidden":
        known = _fields_at(model, [step for step in fault["loc"][:-1] if isinstance(step, str)])
        message = f"unknown key “{names[-1]}”{nearest(names[-1], known)}" + (
            f"; allowed: {one_of(known)}" if known else ""
        )
    elif kind == "literal_error":
        message = f"“{fault['input']}” is none of {context['expected']}"
    elif kind == "string_pattern_mismatch":
        message = (
            f"“{fault['input']}” is not a date of the form 2026-03-14, or 2026-03-14T09:30 with the time"
        )
    else:
        message = _SAID.get(kind, fault["msg"])
    faults.error(message, row=row, field=field)


def _fields_at(model: type[Record], names: list[str]) -> list[str]:
    """The keys allowed under ``names``, or none where the way there is not through records alone."""
    for name in names:
        kind = model.model_fields[name].annotation if name in model.model_fields else None
        inner = [k for k in getattr(kind, "__args__", (kind,)) if isinstance(k, type)]
        records = [k for k in inner if issubclass(k, Record)]
        if len(records) != 1:
            return []
        model = records[0]
    return list(model.model_fields)
