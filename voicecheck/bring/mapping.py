"""The mapping file: which of a shop's columns is which of ours, and how its words and numbers are meant.

YAML, read with ``voicecheck.catalogue.yaml_file`` so that every value stays as written. Every fault is named
with its line. What each key means: docs/bringing_data.md.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal, get_args

from pydantic import Field

from voicecheck.bring.cells import alike, column_number
from voicecheck.bring.delimited import DELIMITERS, ENCODINGS
from voicecheck.bring.numerals import Decimals, Numbers, Thousands
from voicecheck.catalogue.faults import Faults, nearest, one_of
from voicecheck.catalogue.yaml_file import Item, check_keys, read_mapping
from voicecheck.records import Record

FORMAT = "voicecheck-mapping/1"
Kind = Literal["catalogue", "prices", "policies"]
KINDS: tuple[Kind, ...] = get_args(Kind)

Measure = Literal[
    "hours", "minutes", "clock", "percent", "fraction", "factor", "markup percent", "margin percent", "cents"
]
MEASURES: tuple[Measure, ...] = get_args(Measure)
Rounding = Literal["", "up", "nearest"]


class Skip(Record):
    """Rows to pass over: those whose ``column`` says one of ``says`` (without capitals; "" is empty)."""

    column: str
    says: tuple[str, ...]


class TableSpec(Record):
    """Where a table is. Empty values are found out: sheet, header row, encoding, delimiter."""

    file: str = ""
    sheet: str = ""
    header_row: int | None = None
    encoding: str = ""
    delimiter: str = ""
    merged: Literal["", "repeat"] = ""
    skip: tuple[Skip, ...] = ()


class Column(Record):
    """Where one of our fields comes from: a column of theirs (by heading or letter) or a constant.

    ``values`` translates what a cell says (keys compared like headings, "" is the empty cell); what is not in
    it stays. ``line`` is the line of the mapping file.
    """

    column: str = ""
    letter: str = ""
    constant: str | None = None
    values: dict[str, str] = Field(default_factory=dict)
    unit: Measure | None = None
    round: Rounding = ""
    split: str = ""
    drop: tuple[str, ...] = ()
    line: int = 0

    @property
    def called(self) -> str:
        """The name of the column for a person."""
        return self.column or (f"column {self.letter}" if self.letter else "")


class PartColumns(Record):
    """One part or fluid of an operation, spread over several columns of the same row or of a parts table."""

    fields: dict[str, Column]
    line: int = 0


class PartsTable(Record):
    """Parts in a table of their own, each row with the code of its operation."""

    table: TableSpec
    columns: PartColumns


class NamedValues(Record):
    """A table of two columns: what a row is, and its value. ``keys``: their words for our fields."""

    table: TableSpec
    key: Column
    value: Column
    keys: dict[str, str] = Field(default_factory=dict)
    units: dict[str, Measure] = Field(default_factory=dict)
    ignore: tuple[str, ...] = ()


class ListTable(Record):
    """A table that becomes a list: of mappings, or of plain values where the only field is ``value``."""

    field: str
    table: TableSpec
    columns: dict[str, Column]
    line: int = 0


class Mapping(Record):
    """A whole mapping file."""

    kind: Kind
    table: TableSpec = TableSpec()
    numbers: Numbers = Numbers()
    columns: dict[str, Column] = Field(default_factory=dict)
    parts: tuple[PartColumns, ...] = ()
    parts_table: PartsTable | None = None
    constants: dict[str, Any] = Field(default_factory=dict)  # text, list or mapping, as written
    values: NamedValues | None = None
    lists: tuple[ListTable, ...] = ()


PART_FIELDS = ("name", "quantity", "unit", "price", "price_high", "fixed", "condition", "kind")
_TABLE_KEYS = ("file", "sheet", "header_row", "encoding", "delimiter", "merged", "skip")
_COLUMN_KEYS = ("column", "letter", "constant", "values", "unit", "round", "split", "drop")


def load_mapping(path: Path, *, kind: Kind, fields: tuple[str, ...]) -> Mapping:
    """The mapping of ``path``. Raises ``DataError`` with every fault and its line.

    ``fields`` are the fields of ours that a catalogue's ``columns`` may name.
    """
    faults = Faults(path)
    top = read_mapping(path, faults)
    found = _Reader(faults, fields).mapping(top, kind) if top is not None and top.pairs is not None else None
    faults.stop_on_errors()
    if found is None:
        raise AssertionError("a mapping without faults was not read")
    return found


class _Reader:
    """Turns YAML items into a ``Mapping``, noting every fault on the way."""

    def __init__(self, faults: Faults, fields: tuple[str, ...]) -> None:
        self.faults = faults
        self.fields = fields

    def mapping(self, top: Item, kind: Kind) -> Mapping | None:
        pairs = top.pairs or {}
        own = ("columns", "parts", "parts_table") if kind == "catalogue" else ("constants", "values", "lists")
        check_keys(top, self.faults, required=("format", "for"), optional=("table", "numbers", *own))
        if (form := pairs.get("format")) is not None and form.text != FORMAT:
            self.error(f"“{form.text}” is another format; needed: {FORMAT}", form, "format")
        if (whose := pairs.get("for")) is not None and whose.text != kind:
            if whose.text in KINDS:
                self.error(f"this mapping is for {whose.text}, and {kind} are to be brought", whose, "for")
            else:
                self.error(f"unknown value “{whose.text}”; allowed: {one_of(KINDS)}", whose, "for")
        made: dict[str, Any] = {"kind": kind}

        def take(key: str, read: Callable[[Item], object]) -> None:
            if key in pairs:
                made[key] = read(pairs[key])

        take("table", lambda item: self.table(item, "table"))
        take("numbers", self.numbers)
        if kind == "catalogue":
            take("columns", lambda item: self.columns(item, "columns", self.fields))
            take("parts", self.parts)
            take("parts_table", self.parts_table)
            if "columns" not in pairs:
                self.faults.error("“columns” is missing: which column is which", field="columns")
        else:
            take(
                "constants", lambda item: {k: _plain(v) for k, v in self.pairs_of(item, "constants").items()}
            )
            take("values", self.named_values)
            take("lists", self.lists)
            if not {"constants", "values", "lists"} & set(pairs):
                self.faults.error("nothing is mapped: “values”, “lists” or “constants” are needed")
        return None if self.faults.errors else Mapping.model_validate(made)

    def error(self, message: str, item: Item, field: str) -> None:
        self.faults.error(message, row=item.line, field=field)

    def pairs_of(self, item: Item, field: str) -> dict[str, Item]:
        if item.pairs is None:
            if item.text is not None or item.items is not None:  # nothing at all is no fault
                self.error("“key: value” lines are needed here", item, field)
            return {}
        return item.pairs

    def text(self, item: Item, field: str) -> str:
        if item.pairs is not None or item.items is not None:
            self.error("one value is needed, not a list", item, field)
        return item.text or ""

    def texts(self, item: Item, field: str) -> tuple[str, ...]:
        if item.items is None:
            return (self.text(item, field),)
        return tuple(self.text(entry, field) for entry in item.items)

    def closed(self, item: Item, field: str, allowed: tuple[str, ...]) -> str:
        text = self.text(item, field)
        if text not in allowed:
            self.error(
                f"“{text}”{nearest(text, allowed)} is not known here; allowed: {one_of(allowed)}", item, field
            )
        return text

    def table(self, item: Item, field: str, *, more: tuple[str, ...] = ()) -> TableSpec:
        pairs = self.pairs_of(item, field)
        check_keys(item, self.faults, required=(), optional=(*_TABLE_KEYS, *more), inside=f"“{field}”")
        made: dict[str, Any] = {}
        for key in ("file", "sheet"):
            if key in pairs:
                made[key] = self.text(pairs[key], key)
        if "header_row" in pairs:
            text = self.text(pairs["header_row"], "header_row")
            if text.isascii() and text.isdigit() and 1 <= int(text) <= 10_000:
                made["header_row"] = int(text)
            else:
                self.error(f"“{text}” is no row number from 1 to 10000", pairs["header_row"], "header_row")
        if "encoding" in pairs:
            made["encoding"] = self.closed(pairs["encoding"], "encoding", ENCODINGS)
        if "delimiter" in pairs:
            text = self.closed_delimiter(pairs["delimiter"])
            made["delimiter"] = text
        if "merged" in pairs:
            made["merged"] = self.closed(pairs["merged"], "merged", ("repeat",))
        if "skip" in pairs:
            made["skip"] = tuple(self.skip(entry) for entry in pairs["skip"].items or [pairs["skip"]])
        return TableSpec(**made) if not self.faults.errors else TableSpec()

    def closed_delimiter(self, item: Item) -> str:
        text = item.text or ""
        if text in DELIMITERS:
            return DELIMITERS[text]
        if text in DELIMITERS.values():
            return text
        self.error(f"“{text}” is no delimiter known here; allowed: {one_of(DELIMITERS)}", item, "delimiter")
        return ""

    def skip(self, item: Item) -> Skip:
        pairs = self.pairs_of(item, "skip")
        check_keys(item, self.faults, required=("column", "says"), optional=(), inside="“skip”")
        says = self.texts(pairs["says"], "says") if "says" in pairs else ()
        column = self.text(pairs["column"], "column") if "column" in pairs else ""
        return Skip(column=column, says=tuple(alike(s) for s in says))

    def numbers(self, item: Item) -> Numbers:
        pairs = self.pairs_of(item, "numbers")
        check_keys(
            item, self.faults, required=(), optional=("decimal", "thousands", "currency"), inside="“numbers”"
        )
        made: dict[str, Any] = {}
        if "decimal" in pairs:
            made["decimal"] = self.closed(pairs["decimal"], "decimal", get_args(Decimals))
        if "thousands" in pairs:
            # YAML trims nothing inside quotes, but the reader of values does: a space arrives as ""
            text = self.text(pairs["thousands"], "thousands")
            made["thousands"] = (
                " "
                if text == "space"
                else self.closed(
                    pairs["thousands"], "thousands", tuple(t for t in get_args(Thousands) if t != " ")
                )
            )
        if "currency" in pairs:
            made["currency"] = self.texts(pairs["currency"], "currency")
        if made.get("decimal", ".") == made.get("thousands", ""):
            self.error("the same sign cannot stand before decimals and between thousands", item, "numbers")
        return Numbers(**made) if not self.faults.errors else Numbers()

    def columns(self, item: Item, field: str, allowed: tuple[str, ...]) -> dict[str, Column]:
        found = {}
        for key, entry in self.pairs_of(item, field).items():
            if key not in allowed:
                self.faults.error(
                    f"unknown field “{key}”{nearest(key, allowed)}; allowed: {one_of(allowed)}",
                    row=item.lines[key],
                    field=field,
                )
                continue
            found[key] = self.column(entry, key)
        return found

    def column(self, item: Item, field: str) -> Column:
        """``field: Their heading``, or the long form with ``column``, ``letter`` or ``constant``."""
        if item.pairs is None:
            heading = self.text(item, field)
            if not heading:
                self.error("the heading of a column is needed", item, field)
            return Column(column=heading, line=item.line)
        pairs = item.pairs
        check_keys(item, self.faults, required=(), optional=_COLUMN_KEYS, inside=f"“{field}”")
        if sum(key in pairs for key in ("column", "letter", "constant")) != 1:
            self.error("exactly one of “column”, “letter” and “constant” is needed", item, field)
        made: dict[str, Any] = {"line": item.line}
        for key in ("column", "letter", "constant"):
            if key in pairs:
                made[key] = self.text(pairs[key], key)
        if "letter" in made and column_number(made["letter"]) is None:
            self.error(f"“{made['letter']}” is no letter of a column", pairs["letter"], "letter")
        if "values" in pairs:
            values = self.pairs_of(pairs["values"], "values")
            made["values"] = {}
            for key, value in values.items():
                if alike(key) in made["values"]:
                    self.error(f"“{key}” is translated twice", value, "values")
                made["values"][alike(key)] = self.text(value, "values")
        if "unit" in pairs:
            made["unit"] = self.closed(pairs["unit"], "unit", MEASURES)
        if "round" in pairs:
            made["round"] = self.closed(pairs["round"], "round", ("up", "nearest"))
        if "split" in pairs:
            made["split"] = self.text(pairs["split"], "split") or " "
        if "drop" in pairs:
            made["drop"] = self.texts(pairs["drop"], "drop")
        return Column(**made) if not self.faults.errors else Column()

    def part(self, item: Item, field: str, *, more: tuple[str, ...] = (), table: bool = False) -> PartColumns:
        pairs = self.pairs_of(item, field)
        allowed = (*PART_FIELDS, *more)
        check_keys(
            item,
            self.faults,
            required=("name", *more),
            optional=(*PART_FIELDS[1:], *(_TABLE_KEYS if table else ())),
            inside=f"“{field}”",
        )
        return PartColumns(
            fields={k: self.column(v, k) for k, v in pairs.items() if k in allowed}, line=item.line
        )

    def parts(self, item: Item) -> tuple[PartColumns, ...]:
        if item.items is None:
            self.error("a list is needed, one entry for each part", item, "parts")
            return ()
        return tuple(self.part(entry, "parts") for entry in item.items)

    def parts_table(self, item: Item) -> PartsTable:
        columns = self.part(item, "parts_table", more=("code",), table=True)
        return PartsTable(table=self.table_beside(item, "parts_table"), columns=columns)

    def table_beside(self, item: Item, field: str) -> TableSpec:
        """Where a table is, from an item that names its columns beside."""
        pairs = item.pairs or {}
        only = {k: v for k, v in pairs.items() if k in _TABLE_KEYS}
        lines = {k: item.lines[k] for k in only}
        return self.table(Item(item.line, pairs=only, lines=lines), field)

    def named_values(self, item: Item) -> NamedValues:
        pairs = self.pairs_of(item, "values")
        check_keys(
            item,
            self.faults,
            required=("key", "value"),
            optional=("keys", "units", "ignore", *_TABLE_KEYS),
            inside="“values”",
        )
        keys = self.pairs_of(pairs["keys"], "keys") if "keys" in pairs else {}
        units = self.pairs_of(pairs["units"], "units") if "units" in pairs else {}
        return NamedValues(
            table=self.table_beside(item, "values"),
            key=self.column(pairs["key"], "key") if "key" in pairs else Column(),
            value=self.column(pairs["value"], "value") if "value" in pairs else Column(),
            keys={alike(k): self.text(v, "keys") for k, v in keys.items()},
            units={k: self.measure(v) for k, v in units.items()},
            ignore=tuple(alike(t) for t in self.texts(pairs["ignore"], "ignore"))
            if "ignore" in pairs
            else (),
        )

    def measure(self, item: Item) -> Measure:
        text = self.closed(item, "units", MEASURES)
        return text if text in MEASURES else "hours"

    def lists(self, item: Item) -> tuple[ListTable, ...]:
        found = []
        for field, entry in self.pairs_of(item, "lists").items():
            pairs = self.pairs_of(entry, field)
            columns = {k: self.column(v, k) for k, v in pairs.items() if k not in _TABLE_KEYS}
            if not columns:
                self.error("no column is named for this list", entry, field)
            found.append(
                ListTable(
                    field=field, table=self.table_beside(entry, field), columns=columns, line=entry.line
                )
            )
        return tuple(found)


def _plain(item: Item) -> Any:
    """A YAML item as text, list or mapping; ``None`` where nothing is written."""
    if item.pairs is not None:
        return {key: _plain(value) for key, value in item.pairs.items()}
    if item.items is not None:
        return [_plain(entry) for entry in item.items]
    return item.text
