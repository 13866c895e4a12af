"""Tables of rates, bands and rules as one of our YAML files, and that file's own check told in their terms.

The tables give plain values; which file they become, and what it allows, is the record's and the loader's
business.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from voicecheck.bring.cells import Row, alike
from voicecheck.bring.convert import CellFault, FieldKind, convert
from voicecheck.bring.fault import Fault, FaultList
from voicecheck.bring.mapping import Column, ListTable, NamedValues
from voicecheck.bring.mapping import Mapping as ColumnMapping
from voicecheck.bring.names import ComponentNames, UnknownName
from voicecheck.bring.operations import beside, check_unit, fault_at
from voicecheck.bring.shapes import LISTS, SETTINGS, VALUE, Shape
from voicecheck.bring.source import Found, Tell, data_rows, find_headings
from voicecheck.catalogue.faults import nearest, one_of
from voicecheck.records import ACTIONS, Problem

_BARE = re.compile(r"-?[0-9]+(\.[0-9]+)?")


@dataclass(frozen=True)
class Origin:
    """Where a line of our file comes from: a row of theirs and, by our field, the cells of it."""

    found: Found
    row: Row
    columns: Mapping[str, str]  # our field -> the name under which `found.at` has its column

    def fault(self, name: str, message: str, *, severity: Any, todo: str) -> Fault:
        """A fault of our file as one of their cell, or of their row where the field is not told."""
        known = self.columns.get(name)
        if known is None and len(self.columns) == 1:
            known = next(iter(self.columns.values()))
        if known is not None and known in self.found.at:
            fault = fault_at(self.found, self.row, known, name, message, todo)
            return fault.model_copy(update={"severity": severity})
        return Fault(row=self.row.number, field=name, message=message, severity=severity, todo=todo)


@dataclass
class Settings:
    """Our file as text, and the origin of each of its lines that has one."""

    text: str = ""
    origins: dict[int, Origin] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    rows: int = 0
    rounded: dict[str, int] = field(default_factory=dict)


Tree = dict[str, tuple[Any, Origin | None]]


def read_settings(
    file: Path,
    mapping: ColumnMapping,
    *,
    names: ComponentNames,
    faults: FaultList,
    sheet: str = "",
    tell: Tell | None = None,
) -> Settings | None:
    """The tables of ``file`` as our file; ``None`` with faults noted where they cannot be read.

    Raises ``InputError`` for a file that cannot be used at all.
    """
    made = Settings()
    faults.notes = made.notes
    tree: Tree = {name: (value, None) for name, value in mapping.constants.items()}
    reader = _Reader(file, mapping, names, faults, made, sheet, tell)
    if mapping.values is not None:
        reader.named(mapping.values, tree)
    for table in mapping.lists:
        reader.listed(table, tree)
    if faults.errors:
        return None
    order = (*SETTINGS[mapping.kind], *LISTS[mapping.kind])
    _write(made, tree, order=order, head=f"Brought from {file.name}.")
    return made


class _Reader:
    def __init__(
        self,
        file: Path,
        mapping: ColumnMapping,
        names: ComponentNames,
        faults: FaultList,
        made: Settings,
        sheet: str,
        tell: Tell | None,
    ) -> None:
        self.file, self.mapping, self.names = file, mapping, names
        self.faults, self.made, self.sheet, self.tell = faults, made, sheet, tell

    def open(self, table: Any, columns: Mapping[str, Column]) -> Found | None:
        inherited = "" if table.file else self.sheet or self.mapping.table.sheet
        spec = table.model_copy(
            update={
                "sheet": table.sheet or inherited,
                "encoding": table.encoding or self.mapping.table.encoding,
                "delimiter": table.delimiter or self.mapping.table.delimiter,
                "header_row": table.header_row or self.mapping.table.header_row,
                "merged": table.merged or self.mapping.table.merged,
            }
        )
        opened = beside(self.file, spec, headings=[c.column for c in columns.values()], only=True)
        self.made.notes += [n for n in opened.notes if n not in self.made.notes]
        opened.notes.clear()
        return find_headings(opened, columns, self.faults)

    def named(self, spec: NamedValues, tree: Tree) -> None:
        found = self.open(spec.table, {"key": spec.key, "value": spec.value})
        if found is None:
            return
        allowed = SETTINGS[self.mapping.kind]
        seen: dict[str, int] = {}
        for row in data_rows(found, self.faults, tell=self.tell):
            said = self.value(found, row, "key", "key", spec.key, "text")
            if alike(said) in spec.ignore:
                continue
            name = spec.keys.get(alike(said), said)
            if name not in allowed:
                error = CellFault(
                    f"“{name}”{nearest(name, allowed)} is no setting of ours; allowed: {one_of(allowed)}",
                    "Translate it under values: keys, or name it under values: ignore.",
                )
                self.fault(found, row, "key", name, error)
                continue
            if name in seen or name in tree:
                before = f"in row {seen[name]}" if name in seen else "as a constant"
                self.fault(
                    found, row, "key", name, CellFault(f"“{name}” is already set {before}", "Take one out.")
                )
                continue
            seen[name] = row.number
            self.made.rows += 1
            column = spec.value.model_copy(update={"unit": spec.units.get(name, spec.value.unit)})
            shape = allowed[name]
            check_unit(name, column, shape.kind, self.faults)
            text = self.value(found, row, "value", name, column, shape.kind)
            origin = Origin(found, row, {name: "value"})
            tree[name] = (self.plain(text, shape, name, found, row, "value"), origin)
        self.made.notes += found.table.notes

    def listed(self, spec: ListTable, tree: Tree) -> None:
        lists = LISTS[self.mapping.kind]
        shapes = lists.get(spec.field)
        if shapes is None:
            self.mapping_fault(
                spec.field, f"“{spec.field}” is no list of ours; allowed: {one_of(lists)}", spec.line
            )
            return
        if spec.field in tree:
            self.mapping_fault(spec.field, f"“{spec.field}” is also a constant", spec.line)
            return
        for name, column in spec.columns.items():
            if name not in shapes:
                self.mapping_fault(
                    f"{spec.field}: {name}",
                    f"unknown field “{name}”{nearest(name, shapes)}; allowed: {one_of(shapes)}",
                    column.line,
                )
                return
            check_unit(name, column, shapes[name].kind, self.faults)
        found = self.open(spec.table, spec.columns)
        if found is None:
            return
        entries: list[tuple[Any, Origin]] = []
        for row in data_rows(found, self.faults, tell=self.tell):
            origin = Origin(found, row, {name: name for name in spec.columns})
            self.made.rows += 1
            entry: dict[str, Any] = {}
            for name, column in spec.columns.items():
                text = self.value(found, row, name, name, column, shapes[name].kind)
                entry[name] = self.plain(text, shapes[name], name, found, row, name)
            entries.append((entry.get(VALUE) if VALUE in shapes else entry, origin))
        tree[spec.field] = (entries, None)
        self.made.notes += found.table.notes

    def mapping_fault(self, field_name: str, message: str, line: int) -> None:
        todo = f"Correct line {line} of the mapping file."
        self.faults.add(Fault(field=field_name, message=message, todo=todo))

    def value(
        self, found: Found, row: Row, name: str, field_name: str, column: Column, kind: FieldKind
    ) -> str:
        at = found.at.get(name)
        cell = row.cells.get(at) if at is not None else None

        def rounded() -> None:
            self.made.rounded[field_name] = self.made.rounded.get(field_name, 0) + 1

        def doubt(message: str) -> None:
            fault = fault_at(found, row, name, field_name, message, "")
            self.faults.add(fault.model_copy(update={"severity": "warning"}))

        numbers = self.mapping.numbers
        try:
            return convert(cell, column, kind=kind, numbers=numbers, rounded=rounded, doubt=doubt)
        except CellFault as error:
            self.fault(found, row, name, field_name, error)
            return ""

    def plain(self, text: str, shape: Shape, name: str, found: Found, row: Row, at: str) -> Any:
        """A text of ours as a value for the file; names of components become ids."""
        if not text:
            return [] if shape.kind == "list" else None
        values = [v.strip() for v in text.split("|")] if shape.kind == "list" else [text]
        for index, value in enumerate(values):
            action, word = "", value
            if shape.extra == "work":
                action = next((a for a in ACTIONS if value == a or value.startswith(f"{a} ")), "")
                word = value.removeprefix(action).strip()
            if shape.extra and word:
                try:
                    values[index] = f"{action} {self.names.find(word)}".strip()
                except UnknownName as error:
                    todo = "Translate it under “values”, or give a component of your term files this name."
                    self.fault(found, row, at, name, CellFault(str(error), todo))
        return values if shape.kind == "list" else values[0]

    def fault(self, found: Found, row: Row, name: str, field_name: str, error: CellFault) -> None:
        self.faults.add(fault_at(found, row, name, field_name, str(error), error.todo))


def _write(made: Settings, tree: Tree, *, order: Sequence[str], head: str) -> None:
    lines = [f"# {head} Change the table and bring it again, or edit this file."]

    def line(text: str, origin: Origin | None) -> None:
        lines.append(text)
        if origin is not None:
            made.origins[len(lines)] = origin

    def entry(name: str, value: Any, origin: Origin | None, indent: str) -> None:
        """One ``key: value``; constants come as bare text, lists and mappings, tables with origins."""
        if isinstance(value, dict):
            if any(_there(v) for v in value.values()):
                line(f"{indent}{name}:", origin)
                for key, inner in value.items():
                    if _there(inner):
                        entry(key, *_parted(inner, origin), indent + "  ")
        elif isinstance(value, list) and not all(_is_plain(v) for v in value):
            line(f"{indent}{name}:", origin)
            for item in value:
                listed(*_parted(item, origin), indent + "  ")
        elif isinstance(value, list):
            parted = [_parted(v, origin) for v in value]
            if any(o is not origin for _, o in parted):  # from a table: one line each, to tell them apart
                line(f"{indent}{name}:", origin)
                for text, whence in parted:
                    line(f"{indent}  - {_scalar(text)}", whence)
            else:
                line(f"{indent}{name}: [{', '.join(_scalar(v) for v, _ in parted)}]", origin)
        else:
            line(f"{indent}{name}: {_scalar(value)}", origin)

    def listed(item: Any, origin: Origin | None, indent: str) -> None:
        start = len(lines)
        for key, inner in item.items():
            value, whence = _parted(inner, origin)
            if value == [] or (isinstance(value, dict) and not any(_there(v) for v in value.values())):
                continue
            entry(key, value, whence, indent + "  ")
        if len(lines) > start:
            lines[start] = f"{indent}- {lines[start].lstrip()}"

    for name in sorted(tree, key=lambda n: order.index(n) if n in order else len(order)):
        value, origin = tree[name]
        if value is not None and value != []:
            entry(name, value, origin, "")
    made.text = "\n".join(lines) + "\n"


def _parted(value: Any, origin: Origin | None) -> tuple[Any, Origin | None]:
    """A value with its origin: those of tables carry one, those of constants do not."""
    if isinstance(value, tuple) and len(value) == 2:
        return value[0], value[1]
    return value, origin


def _there(value: Any) -> bool:
    return _parted(value, None)[0] not in (None, [], {})


def _is_plain(value: Any) -> bool:
    return not isinstance(_parted(value, None)[0], dict | list)


def _scalar(value: Any) -> str:
    if value is None:
        return "null"
    text = str(value)
    return text if _BARE.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def note_problems(problems: Sequence[Problem], made: Settings, faults: FaultList) -> None:
    """Faults that our loader finds in ``made.text``, told as faults of the rows that its lines come from."""
    for problem in problems:
        origin = made.origins.get(problem.row or 0)
        todo = "Correct the cell, or what the mapping makes of it." if problem.severity == "error" else ""
        if origin is not None:
            faults.add(origin.fault(problem.field, problem.message, severity=problem.severity, todo=todo))
            continue
        faults.add(
            Fault(
                field=problem.field,
                message=problem.message,
                severity=problem.severity,
                todo="Correct the mapping file (constants)." if problem.severity == "error" else "",
            )
        )
