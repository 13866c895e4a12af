"""Reads a text file or a CSV table and names what is wrong with it as a file."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from voicecheck.catalogue.faults import Faults, nearest, one_of


def read_text(path: Path, faults: Faults) -> str | None:
    """The text of a UTF-8 file, a spreadsheet's byte-order mark dropped, or ``None`` with faults noted."""
    if path.is_dir():
        faults.error(f"this is a folder, a file is needed: {path}")
        return None
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        faults.error(f"there is no such file: {path}")
        return None
    except OSError as error:
        faults.error(f"the file cannot be read: {error.strerror or error}")
        return None
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        faults.error("the text is stored as UTF-16; save it as UTF-8")
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # error.start counts in error.object, from which utf-8-sig has already taken the mark
        row = bytes(error.object)[: error.start].count(b"\n") + 1
        faults.error("the text is not UTF-8; save it as UTF-8 (in a spreadsheet: “CSV UTF-8”)", row=row)
        return None
    if "\0" in text:
        faults.error("this is not a text file", row=text[: text.index("\0")].count("\n") + 1)
        return None
    if not text.strip():
        faults.error("the file is empty")
        return None
    return text


@dataclass(frozen=True)
class Row:
    """One row: the line of the file that it starts on (1 is the first) and its trimmed cells by column."""

    number: int
    cells: dict[str, str]


def read_table(
    path: Path, faults: Faults, *, required: Sequence[str], optional: Sequence[str] = ()
) -> list[Row]:
    """The rows of a comma-separated file with a header line.

    Empty rows and rows whose first cell starts with ``#`` are passed over; a missing optional column reads as
    empty. Rows whose number of cells does not fit are noted and left out. When the header cannot be used, no
    row is read.
    """
    text = read_text(path, faults)
    if text is None:
        return []
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    header: list[str] | None = None
    rows: list[Row] = []
    start = 1
    try:
        for cells in reader:
            number, start = start, reader.line_num + 1
            cells = [c.strip() for c in cells]
            if not any(cells):
                continue
            if header is None:
                header = cells
                while header[-1] == "":  # spreadsheets leave empty columns at the end
                    header.pop()
                if not _header_fits(header, faults, number, required, optional):
                    return []
                continue
            if cells[0].startswith("#"):
                continue
            while len(cells) > len(header) and cells[-1] == "":
                cells.pop()
            if len(cells) != len(header):
                faults.error(
                    f"the row has {len(cells)} cells and the header has {len(header)} columns "
                    "(a value with a comma in it needs quotation marks)",
                    row=number,
                )
                continue
            values = dict(zip(header, cells, strict=True))
            rows.append(Row(number, {c: values.get(c, "") for c in (*required, *optional)}))
    except csv.Error as error:
        faults.error(f"the quotation marks or commas are broken from here on ({error})", row=start)
        return rows
    if not rows and not faults.errors:
        faults.error("there is a header and no row below it")
    return rows


def _header_fits(
    header: list[str], faults: Faults, row: int, required: Sequence[str], optional: Sequence[str]
) -> bool:
    allowed = (*required, *optional)
    if len(header) == 1:
        for separator, called in ((";", "semicolons"), ("\t", "tabs")):
            if separator in header[0]:
                faults.error(
                    f"the columns are separated by {called}; save the file with commas between them", row=row
                )
                return False
    fits = True
    for column in dict.fromkeys(header):
        if header.count(column) > 1:
            faults.error(
                f"the column “{column}” is there {header.count(column)} times", row=row, field=column
            )
            fits = False
        if column not in allowed:
            faults.error(
                f"unknown column “{column}”{nearest(column, allowed)}; allowed: {one_of(allowed)}",
                row=row,
                field=column,
            )
            fits = False
    for column in required:
        if column not in header:
            faults.error(
                f"the column “{column}” is missing; needed: {one_of(required)}", row=row, field=column
            )
            fits = False
    return fits
