"""Opens a table, whatever it is stored in, and finds its heading row and the columns that are mapped."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from voicecheck.bring.cells import Cell, Row, alike, column_number, letter
from voicecheck.bring.delimited import DELIMITERS, Text, read_text, rows_of
from voicecheck.bring.fault import Fault, FaultList
from voicecheck.bring.mapping import Column, TableSpec
from voicecheck.bring.sheets import Merged, open_sheet, sheet_rows
from voicecheck.records import InputError

HEADINGS_WITHIN = 50  # rows from the top: titles and addresses above a table are never longer
MOST_ROWS = 200_000
SPREADSHEETS = (".xlsx", ".xlsm")
OTHER_SPREADSHEETS = (".xls", ".xlsb", ".ods", ".numbers")

Tell = Callable[[int], None]  # how many rows were read so far


@dataclass
class Table:
    """A table that can be read again and again. ``notes`` say what was found out rather than told."""

    path: Path
    spec: TableSpec
    read: Callable[[], Iterator[Row]]
    spreadsheet: bool
    merged: tuple[Merged, ...] = ()
    notes: list[str] = field(default_factory=list)

    def place(self, row: int, column: int) -> str:
        """The spreadsheet's name of a cell, "" in a text file."""
        return f"{letter(column)}{row}" if self.spreadsheet else ""


@dataclass(frozen=True)
class Found:
    """A table with its headings: ``at`` has the column of each ``Column`` that the mapping names."""

    table: Table
    header_row: int
    headings: dict[int, str]
    at: dict[str, int]

    def heading(self, column: int) -> str:
        """The heading of a column as it is written, else its letter."""
        return self.headings.get(column) or letter(column)


def open_table(path: Path, spec: TableSpec, *, headings: Sequence[str]) -> Table:
    """The table of a file. ``headings``, those that the mapping names, settle an unknown delimiter.

    Raises ``InputError`` for a file that cannot be used.
    """
    if path.is_dir():
        raise InputError(f"{path} is a folder, not a table.")
    ending = path.suffix.lower()
    if ending in SPREADSHEETS or ending in OTHER_SPREADSHEETS or _is_packed(path):
        sheet = open_sheet(path, spec.sheet)
        notes = [f"Read sheet “{sheet.name}”{' (hidden)' if sheet.hidden else ''} of {path.name}."]
        if sheet.hidden_rows:
            notes.append(f"Hidden rows are read too: {sheet.hidden_rows} of them.")
        return Table(path, spec, lambda: sheet_rows(sheet), True, sheet.merged, notes)
    if spec.sheet:
        raise InputError(f"{path} is a text table and has no sheets.", hint="Leave the sheet out.")
    text = read_text(path, encoding=spec.encoding)
    delimiter = spec.delimiter or _delimiter(path, text, headings)
    word = next(name for name, sign in DELIMITERS.items() if sign == delimiter)
    how = f"{text.encoding}{' (found out)' if text.detected else ''}"
    between = f"{word}{'' if spec.delimiter else ' (found out)'}"
    return Table(
        path,
        spec,
        lambda: rows_of(text.text, delimiter=delimiter),
        False,
        notes=[f"Read {path.name} as {how}, {between} between columns."],
    )


def _is_packed(path: Path) -> bool:
    """A spreadsheet behind a name such as prices.csv is still one."""
    try:
        with path.open("rb") as file:
            return file.read(4) in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
    except OSError:
        return False  # reading it will say what is wrong


def _delimiter(path: Path, text: Text, headings: Sequence[str]) -> str:
    """The delimiter with which most mapped headings are found, else the one that makes most columns."""
    wanted = {alike(h) for h in headings if h}
    best, score = "", (0, 0)
    for sign in DELIMITERS.values():
        rows = list(islice(rows_of(text.text, delimiter=sign), HEADINGS_WITHIN))
        hits = max((len(wanted & {alike(c.text) for c in row.cells.values()}) for row in rows), default=0)
        widths = [row.width for row in rows if not row.broken]
        # the usual width, not the largest: commas in one long remark make no columns
        usual = sorted(widths)[len(widths) // 2] if widths else 0
        if (hits, usual) > score:
            best, score = sign, (hits, usual)
    if not best:
        raise InputError(f"{path} has no rows.")
    return best


def find_headings(table: Table, columns: Mapping[str, Column], faults: FaultList) -> Found | None:
    """The row of headings and where each mapped column is; ``None`` with faults noted.

    Without ``header_row`` it is the row, of the first fifty, that has most of the mapped headings. A heading
    that is there twice is refused, since either column could be meant.
    """
    wanted = [alike(c.column) for c in columns.values() if c.column]
    wanted += [alike(s.column) for s in table.spec.skip]
    header = _header_row(table, wanted)
    if header is None:
        given = table.spec.header_row
        faults.add(
            Fault(
                row=given,
                message=f"row {given} is empty"
                if given
                else f"none of the mapped headings is in the first {HEADINGS_WITHIN} rows",
                todo="Check “header_row”, the sheet and the delimiter against the file.",
            )
        )
        return None
    if header.broken:
        faults.add(Fault(row=header.number, message=header.broken, todo="Save the table again as CSV."))
        return None
    headings = {c: cell.text for c, cell in header.cells.items()}
    by_name: dict[str, list[int]] = {}
    for column, text in headings.items():
        by_name.setdefault(alike(text), []).append(column)
    found = Found(table, header.number, headings, {})
    for name, spec in columns.items():
        if spec.letter:
            found.at[name] = column_number(spec.letter) or 0
        elif spec.column:
            _locate(found, name, spec.column, by_name, faults)
    for skip in table.spec.skip:
        _locate(found, f"skip {skip.column}", skip.column, by_name, faults)
    return found


def _header_row(table: Table, wanted: list[str]) -> Row | None:
    best: Row | None = None
    most = 0
    for row in table.read():
        if table.spec.header_row is not None:
            if row.number == table.spec.header_row:
                return row
            if row.number > table.spec.header_row:
                return None
            continue
        if row.number > HEADINGS_WITHIN:
            break
        if row.broken:
            return best or row
        if not wanted:  # only letters and constants: the first row that is not empty
            return row
        hits = len(set(wanted) & {alike(c.text) for c in row.cells.values()})
        if hits > most:
            best, most = row, hits
    return best


def _locate(found: Found, name: str, heading: str, by_name: dict[str, list[int]], faults: FaultList) -> None:
    places = by_name.get(alike(heading), [])
    if len(places) == 1:
        found.at[name] = places[0]
        return
    if places:
        letters = " and ".join(letter(p) for p in places)
        faults.add(
            Fault(
                row=found.header_row,
                column=heading,
                field=name,
                message=f"columns {letters} have the same heading",
                todo=f"Say which is meant: “letter: {letter(places[0])}” instead of the heading.",
            )
        )
        return
    close = difflib.get_close_matches(alike(heading), by_name, n=3, cutoff=0.6)
    near = f"; nearest: {', '.join(found.headings[by_name[c][0]] for c in close)}" if close else ""
    faults.add(
        Fault(
            row=found.header_row,
            column=heading,
            field=name,
            message=f"there is no column with this heading{near}; "
            f"there are: {', '.join(found.headings.values())[:400]}",
            todo="Correct the heading in the mapping file.",
        )
    )


def data_rows(found: Found, faults: FaultList, *, tell: Tell | None = None) -> Iterator[Row]:
    """The rows below the headings, those to be skipped left out; faults of rows as such are noted.

    Merged cells in a mapped column are refused, or repeated where the mapping says so: only the first cell of
    a merged block holds its value.
    """
    table = found.table
    used = set(found.at.values())
    # in a sheet of one table, a block above or in the headings is decoration
    blocks = [m for m in table.merged if m.last_row > found.header_row and _touches(m, used)]
    repeat = table.spec.merged == "repeat"
    if not repeat:
        for block in blocks:
            faults.add(
                Fault(
                    row=block.first_row,
                    column=found.heading(block.first_column),
                    cell=block.name,
                    message="these cells are merged: only the first of them holds a value",
                    todo="Unmerge and fill them, or write “merged: repeat” under “table” in the mapping.",
                )
            )
    skips = [
        (found.at[f"skip {s.column}"], s.says) for s in table.spec.skip if f"skip {s.column}" in found.at
    ]
    skipped = count = 0
    carried: dict[Merged, Cell] = {}
    width = max(found.headings, default=0) + 1
    for row in table.read():
        if row.number <= found.header_row:
            continue
        if row.broken:
            faults.add(Fault(row=row.number, message=row.broken, todo="Save the table again as CSV."))
            return
        count += 1
        if count > MOST_ROWS:
            raise InputError(
                f"{table.path} has more than {MOST_ROWS:,} rows.", hint="Bring the table in parts, or cut it."
            )
        if tell is not None and count % 1000 == 0:
            tell(count)
        cells = _repeated(row, blocks, carried) if repeat and blocks else row.cells
        if any((cells[at].text if at in cells else "").casefold() in says for at, says in skips):
            skipped += 1
            continue
        if row.width and _odd_width(row, width):
            faults.add(
                Fault(
                    row=row.number,
                    message=f"the row has {row.width} cells and there are {width} headings",
                    todo="A value with the delimiter or a line break in it needs quotation marks around it; "
                    "a row that is not part of the table can be named under “skip”.",
                )
            )
            continue
        yield Row(row.number, cells, row.width)
    if skipped:
        table.notes.append(f"Rows passed over because the mapping says so: {skipped}.")


def _odd_width(row: Row, width: int) -> bool:
    """Whether a row of a text file lost or gained cells; empty ones after the last heading are no harm."""
    return row.width < width or max(row.cells, default=0) >= width


def _touches(block: Merged, used: Iterable[int]) -> bool:
    return any(block.first_column <= column <= block.last_column for column in used)


def _repeated(row: Row, blocks: Sequence[Merged], carried: dict[Merged, Cell]) -> dict[int, Cell]:
    cells = dict(row.cells)
    for block in blocks:
        if not block.first_row <= row.number <= block.last_row:
            continue
        if row.number == block.first_row and block.first_column in cells:
            carried[block] = cells[block.first_column]
        if block in carried:
            for column in range(block.first_column, block.last_column + 1):
                cells.setdefault(column, carried[block])
    return cells
