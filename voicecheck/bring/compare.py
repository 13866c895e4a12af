"""What would change: new, changed, gone and unchanged, told before anything is written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from pydantic import BaseModel

from voicecheck.bring.numerals import written
from voicecheck.records import Catalogue, Record


class Change(Record):
    """One entry that is in both and not the same: per field what it was and what it becomes."""

    key: str
    fields: tuple[tuple[str, str, str], ...]  # field, before, after


class Changes(Record):
    """The difference between two sets of entries, in the order of the newer one.

    ``new_fields`` has what the new entries say; empty fields are left out.
    """

    new: tuple[str, ...] = ()
    new_fields: tuple[Change, ...] = ()
    changed: tuple[Change, ...] = ()
    gone: tuple[str, ...] = ()
    unchanged: int = 0

    @property
    def any(self) -> bool:
        """Whether anything is different at all."""
        return bool(self.new or self.changed or self.gone)


# Records stand for themselves: 200,000 of them as mappings would take hundreds of megabytes
Entries = Mapping[str, BaseModel | Mapping[str, Any]]


def _fields(entry: BaseModel | Mapping[str, Any]) -> Mapping[str, Any]:
    if isinstance(entry, BaseModel):
        return {name: getattr(entry, name) for name in type(entry).model_fields}
    return entry


def compare(before: Entries, after: Entries, *, tell_new: bool = False) -> Changes:
    """The changes from ``before`` to ``after``, both by key and then by field.

    ``tell_new``: with the fields of new entries, where these are few.
    """
    changed = []
    for key in after:
        if key in before and before[key] != after[key]:
            old, new = _fields(before[key]), _fields(after[key])
            fields = tuple(
                (name, shown(old.get(name)), shown(new.get(name)))
                for name in dict.fromkeys((*new, *old))
                if old.get(name) != new.get(name)
            )
            changed.append(Change(key=key, fields=fields))
    added = [k for k in after if k not in before]
    told = [
        Change(
            key=key,
            fields=tuple(
                (n, "", shown(v)) for n, v in _fields(after[key]).items() if v not in (None, "", ())
            ),
        )
        for key in (added if tell_new else ())
    ]
    return Changes(
        new=tuple(added),
        new_fields=tuple(t for t in told if t.fields),
        changed=tuple(changed),
        gone=tuple(k for k in before if k not in after),
        unchanged=len(after) - len(added) - len(changed),
    )


def operations_of(catalogue: Catalogue) -> Entries:
    """The operations of a catalogue by code."""
    return {o.code: o for o in catalogue.operations}


def settings_of(record: BaseModel) -> Entries:
    """The fields of a profile or of policies by name; of a list whose entries have an id, each entry."""
    entries: dict[str, BaseModel | Mapping[str, Any]] = {}
    for name in type(record).model_fields:
        value = getattr(record, name)
        if isinstance(value, tuple) and any(isinstance(v, BaseModel) for v in value):
            for key, entry in _keyed(value):
                entries[f"{name}: {key}"] = entry
        else:
            entries[name] = {"": value}
    return entries


def _keyed(values: Iterable[BaseModel]) -> Iterable[tuple[str, BaseModel]]:
    seen: dict[str, int] = {}
    for number, entry in enumerate(values, start=1):
        key = str(getattr(entry, "id", "") or getattr(entry, "name", "") or f"entry {number}")
        seen[key] = seen.get(key, 0) + 1
        yield key if seen[key] == 1 else f"{key} ({seen[key]})", entry


def shown(value: Any) -> str:
    """A value of a record for a person."""
    if value is None or value == "" or value == ():
        return "(empty)"
    if isinstance(value, Decimal):
        return written(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " | ".join(shown(v) for v in value)
    if isinstance(value, BaseModel):
        return ", ".join(
            f"{name} {shown(v)}"
            for name in type(value).model_fields
            if (v := getattr(value, name)) not in (None, "", ()) and v is not False
        )
    return str(value)
