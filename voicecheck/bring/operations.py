"""A shop's labour table as rows of our catalogue, and the catalogue's check of them, told in its terms."""

from __future__ import annotations

import csv
import io
import re
import typing
from collections.abc import Container, Mapping
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import get_args

from voicecheck.bring.cells import Cell, Row
from voicecheck.bring.convert import UNITS_OF, CellFault, FieldKind, convert
from voicecheck.bring.fault import Fault, FaultList
from voicecheck.bring.mapping import Column, PartColumns, PartsTable, TableSpec
from voicecheck.bring.mapping import Mapping as ColumnMapping
from voicecheck.bring.names import ComponentNames, UnknownName
from voicecheck.bring.source import SPREADSHEETS, Found, Table, Tell, data_rows, find_headings, open_table
from voicecheck.catalogue import check_catalogue
from voicecheck.catalogue.cells import FIXED, TO_BE_FOUND
from voicecheck.catalogue.faults import one_of
from voicecheck.catalogue.operations import GENERAL_DIAGNOSIS, OPTIONAL, REQUIRED
from voicecheck.records import InputError, Operation, PartUse

FIELDS: tuple[str, ...] = (*REQUIRED, *OPTIONAL)
MUST_BE_MAPPED = tuple(f for f in REQUIRED if f not in ("system", "hours"))
PART_KINDS: dict[str, FieldKind] = {"quantity": "number", "price": "money", "price_high": "money"}
_PART_WORDS: dict[str, tuple[str, ...]] = {
    "kind": get_args(PartUse.model_fields["kind"].annotation),
    "condition": get_args(PartUse.model_fields["condition"].annotation),
    "fixed": ("yes", "no"),
}
_FIXED: dict[str, FieldKind] = {"hours": "hours", "shared_hours": "hours", "price": "money", "parts": "text"}
_ROW = re.compile(r"(?<=\bin )row ([0-9]+)")
_CLOSED = ("action", "per", "system", "sublet")


@cache
def kind_of(name: str) -> FieldKind:
    """How a column of the catalogue is read: what is not fixed here follows from the record."""
    if name in _FIXED:
        return _FIXED[name]
    field_of = Operation.model_fields.get(name)
    if field_of is None:
        return "text"
    told = field_of.annotation
    if typing.get_origin(told) is tuple:
        return "list"
    return "number" if told is Decimal or Decimal in typing.get_args(told) else "text"


class Brought:
    """The rows as our file, and where each came from, so that a later fault can be told in their terms."""

    def __init__(self, source: Found, columns: Mapping[str, Column]) -> None:
        self.source = source
        self.columns = columns
        self.fields = tuple(f for f in FIELDS if f in source.at)  # those of ours that come from a column
        self.codes: set[str] = set()
        self.numbers: list[int] = []  # of their rows
        self.raw: list[tuple[str, ...]] = []  # what their cells say, in the order of ``fields``
        self.faulty: set[tuple[int, str]] = set()  # row of theirs and field of ours
        self.rounded: dict[str, int] = {}
        self.free = 0  # parts at a price of nought
        self._text = io.StringIO(newline="")
        self._writer = csv.writer(self._text, lineterminator="\n")
        self._writer.writerow(FIELDS)

    def add(self, made: Mapping[str, str], row: Row) -> None:
        """A further row of ours, made from ``row`` of theirs."""
        at, cells = self.source.at, row.cells
        self._writer.writerow([made.get(name, "") for name in FIELDS])
        self.codes.add(made.get("code", ""))
        self.numbers.append(row.number)
        self.raw.append(tuple(cells[at[f]].text if at[f] in cells else "" for f in self.fields))

    def csv_text(self) -> str:
        """Our file: CSV with all columns, one line for each row."""
        return self._text.getvalue()


def read_operations(
    file: Path,
    mapping: ColumnMapping,
    *,
    names: ComponentNames,
    faults: FaultList,
    sheet: str = "",
    tell: Tell | None = None,
) -> Brought | None:
    """The rows of ``file`` as rows of our catalogue; ``None`` where its headings do not fit, faults noted.

    Raises ``InputError`` for a file that cannot be used at all.
    """
    _check_mapping(mapping, faults)
    columns = dict(mapping.columns)
    for number, group in enumerate(mapping.parts, start=1):
        columns.update({f"part {number} {name}": column for name, column in group.fields.items()})
    spec = mapping.table.model_copy(update={"sheet": sheet}) if sheet else mapping.table
    table = open_table(file, spec, headings=[c.column for c in columns.values()])
    faults.notes = table.notes
    found = find_headings(table, columns, faults)
    extra = _parts_table(file, mapping, faults) if mapping.parts_table is not None else {}
    if found is None or faults.errors:
        return None
    _note_unused(found)
    brought = Brought(found, columns)
    for row in data_rows(found, faults, tell=tell):
        _Reader(brought, mapping, names, faults, row).read(extra)
    for code, (number, _) in extra.items():
        if code not in brought.codes:
            faults.add(
                Fault(
                    row=number,
                    field="parts_table",
                    value=code,
                    message=f"the table of parts has the code “{code}”, which no operation has",
                    todo="Correct the code, or bring the operation too.",
                )
            )
    if not brought.numbers and not faults.errors:
        faults.add(Fault(message="there are headings and no row below them"))
    return brought


def _check_mapping(mapping: ColumnMapping, faults: FaultList) -> None:
    for name in MUST_BE_MAPPED:
        if name not in mapping.columns:
            faults.add(
                Fault(
                    field=name,
                    message=f"the mapping does not say where “{name}” comes from",
                    todo="Name a column of yours, or a constant, under “columns”.",
                )
            )
    groups = [*mapping.parts, *([mapping.parts_table.columns] if mapping.parts_table else [])]
    kinds = [(name, column, kind_of(name)) for name, column in mapping.columns.items()]
    kinds += [(n, c, PART_KINDS.get(n, "text")) for group in groups for n, c in group.fields.items()]
    for name, column, kind in kinds:
        check_unit(name, column, kind, faults)


def check_unit(name: str, column: Column, kind: FieldKind, faults: FaultList) -> None:
    """Note a unit that the field cannot have."""
    if column.unit is not None and column.unit not in UNITS_OF[kind]:
        allowed = ", ".join(UNITS_OF[kind]) or "none"
        faults.add(
            Fault(
                field=name,
                message=f"the unit “{column.unit}” does not go with “{name}”; allowed: {allowed}",
                todo=f"Correct line {column.line} of the mapping file.",
            )
        )


def _note_unused(found: Found) -> None:
    used = set(found.at.values())
    left = [text for column, text in sorted(found.headings.items()) if column not in used]
    if left:
        found.table.notes.append(f"Columns not used: {', '.join(left)}.")


class _Reader:
    """Turns one row of theirs into one of ours."""

    def __init__(
        self, brought: Brought, mapping: ColumnMapping, names: ComponentNames, faults: FaultList, row: Row
    ) -> None:
        self.brought, self.mapping, self.names, self.faults, self.row = brought, mapping, names, faults, row

    def read(self, extra: Mapping[str, tuple[int, list[str]]]) -> None:
        made = {name: self.value(name, column, name) for name, column in self.mapping.columns.items()}
        if made.get("code", "").startswith("#"):
            self.fault("code", "code", CellFault("a code cannot begin with “#”: such rows are passed over"))
        component = made.get("component", "")
        if component and component != GENERAL_DIAGNOSIS:
            try:
                made["component"] = component = self.names.find(component)
            except UnknownName as error:
                self.fault(
                    "component",
                    "component",
                    CellFault(
                        str(error),
                        "Translate it under columns: component: values, or give a component of your "
                        "term files this name.",
                    ),
                )
        if "system" not in self.mapping.columns:
            made["system"] = self.names.system_of(component)
            if not made["system"]:
                # the system follows from the component, whose fault is told already
                self.brought.faulty.add((self.row.number, "system"))
            if component == GENERAL_DIAGNOSIS:
                fault = CellFault(
                    f"“{GENERAL_DIAGNOSIS}” belongs to no one system",
                    "Map a column or constant for “system”.",
                )
                self.fault("component", "component", fault)
        parts = [made["parts"]] if made.get("parts") else []
        for number, group in enumerate(self.mapping.parts, start=1):
            if part := self.part(group, f"part {number} "):
                parts.append(part)
        parts += extra.get(made.get("code", ""), (0, []))[1]
        made["parts"] = " | ".join(parts)
        self.brought.add(made, self.row)

    def value(self, name: str, column: Column, field_name: str, kind: FieldKind | None = None) -> str:
        cell = self.cell(name)

        def rounded() -> None:
            self.brought.rounded[field_name] = self.brought.rounded.get(field_name, 0) + 1

        try:
            return convert(
                cell, column, kind=kind or kind_of(field_name), numbers=self.mapping.numbers, rounded=rounded
            )
        except CellFault as error:
            self.fault(name, field_name, error)
            return ""

    def cell(self, name: str) -> Cell | None:
        at = self.brought.source.at.get(name)
        return self.row.cells.get(at) if at is not None else None

    def fault(self, name: str, field_name: str, error: CellFault) -> None:
        self.brought.faulty.add((self.row.number, field_name))
        self.faults.add(fault_at(self.brought.source, self.row, name, field_name, str(error), error.todo))

    def part(self, group: PartColumns, prefix: str) -> str:
        def fault(name: str, error: CellFault) -> None:
            self.fault(prefix + name, "parts", error)

        made = {
            name: self.value(prefix + name, column, "parts", PART_KINDS.get(name, "text"))
            for name, column in group.fields.items()
            if name != "code"
        }
        stated = [n for n in group.fields if self.cell(prefix + n) is not None]
        if not made.get("name"):
            amounts = [
                n for n in stated if n in ("quantity", "price") and made.get(n) not in ("", "0", "0.00")
            ]
            if amounts and (self.row.number, "parts") not in self.brought.faulty:
                fault("name", CellFault(f"a part has a {amounts[0]} and no name", "Write the part's name."))
            return ""
        for name in ("quantity", "unit"):
            if (
                name in group.fields
                and not made[name]
                and (self.row.number, "parts") not in self.brought.faulty
            ):
                fault(
                    name,
                    CellFault(
                        f"the part “{made['name']}” has no {name}",
                        f'Write it, or say under {name}: values what an empty cell means (“"": …”).',
                    ),
                )
        for name, allowed in _PART_WORDS.items():
            if made.get(name) and made[name] not in allowed:
                fault(
                    name,
                    CellFault(
                        f"“{made[name]}” is no {name} of a part; allowed: {one_of(allowed)}",
                        f"Correct the cell, or translate its word under {name}: values.",
                    ),
                )
        if "|" in made["name"]:
            fault("name", CellFault("the name of a part cannot contain “|”"))
        price = made.get("price") or TO_BE_FOUND
        if price == "0.00":
            self.brought.free += 1
        if made.get("price_high") and made["price_high"] != price:
            price += f"-{made['price_high']}"
        price = f"{FIXED if made.get('fixed') == 'yes' else ''}{price}"
        condition = made.get("condition") or "new"
        quantity, unit = made.get("quantity") or "1", made.get("unit") or "each"
        prefix = f"{kind}: " if (kind := made.get("kind") or "part") != "part" else ""
        suffix = f" {condition}" if condition != "new" else ""
        return f"{prefix}{made['name']} * {quantity} {unit} @ {price}{suffix}"


def fault_at(found: Found, row: Row, name: str, field_name: str, message: str, todo: str) -> Fault:
    """A fault of the cell from which ``name`` comes, or of the mapping where it is a constant."""
    at = found.at.get(name)
    if at is None:
        return Fault(field=field_name, message=message, todo=f"Correct it in the mapping file. {todo}")
    cell = row.cells.get(at)
    return Fault(
        row=row.number,
        column=found.heading(at),
        cell=found.table.place(row.number, at),
        field=field_name,
        value=cell.text if cell is not None else "",
        message=message,
        todo=todo,
    )


def _parts_table(file: Path, mapping: ColumnMapping, faults: FaultList) -> dict[str, tuple[int, list[str]]]:
    """The parts of each code, with the first row of theirs that has it."""
    spec = typing.cast(PartsTable, mapping.parts_table)
    table = beside(file, spec.table, headings=[c.column for c in spec.columns.fields.values()])
    found = find_headings(table, spec.columns.fields, faults)
    if found is None or faults.errors:
        return {}
    brought = Brought(found, spec.columns.fields)
    parts: dict[str, tuple[int, list[str]]] = {}
    for row in data_rows(found, faults):
        reader = _Reader(brought, mapping, ComponentNames({}), faults, row)
        code = reader.value("code", spec.columns.fields["code"], "code", "text")
        part = reader.part(spec.columns, "")
        if not code:
            reader.fault(
                "code", "code", CellFault("a part without the code of its operation", "Write the code.")
            )
        elif part:
            parts.setdefault(code, (row.number, []))[1].append(part)
    return parts


def beside(file: Path, spec: TableSpec, *, headings: list[str], only: bool = False) -> Table:
    """A further table: another sheet of the same file, or ``spec.file`` in the same folder.

    ``only``: there may be no other one, so that the file itself will do.
    """
    if not only and not spec.file and not spec.sheet and file.suffix.lower() not in SPREADSHEETS:
        raise InputError(
            "A text file holds one table.", hint="Name the file of the other table in the mapping (“file”)."
        )
    if spec.file and Path(spec.file).name != spec.file:
        raise InputError(
            f"“{spec.file}” in the mapping is no plain file name.", hint="Put the tables into one folder."
        )
    return open_table(file.parent / spec.file if spec.file else file, spec, headings=headings)


def check_rows(brought: Brought, path: Path, *, component_ids: Container[str], faults: FaultList) -> None:
    """The catalogue's check of ``path``, which holds ``brought``; its faults with their rows and columns."""
    at = {name: index for index, name in enumerate(brought.fields)}
    found = brought.source
    for problem in check_catalogue(path, component_ids=component_ids):
        index = problem.row - 2 if problem.row is not None else -1
        if not 0 <= index < len(brought.numbers):
            faults.add(Fault(field=problem.field, message=problem.message, severity=problem.severity))
            continue
        number = brought.numbers[index]
        if (number, problem.field) in brought.faulty:
            continue
        column = found.at.get(problem.field)
        constant = problem.field in brought.columns and brought.columns[problem.field].constant is not None
        faults.add(
            Fault(
                row=None if constant else number,
                column=found.heading(column) if column is not None else "",
                cell=found.table.place(number, column) if column is not None else "",
                field=problem.field,
                value=brought.raw[index][at[problem.field]] if problem.field in at else "",
                message=_in_their_rows(problem.message, brought),
                todo=_todo(problem.field, constant) if problem.severity == "error" else "",
                severity=problem.severity,
            )
        )


def _in_their_rows(message: str, brought: Brought) -> str:
    """The row that a message mentions ("already used in row 7") as a row of theirs."""

    def theirs(found: re.Match[str]) -> str:
        index = int(found[1]) - 2
        return f"row {brought.numbers[index]}" if 0 <= index < len(brought.numbers) else found[0]

    return _ROW.sub(theirs, message)


def _todo(name: str, constant: bool) -> str:
    if constant:
        return "Correct the constant in the mapping file."
    if name in _CLOSED:
        return f"Correct the cell, or translate its word under columns: {name}: values."
    if name in ("includes", "follow_on"):
        return "Bring that operation too, or take its code out."
    return "Correct the cell."
