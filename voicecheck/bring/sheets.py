"""Reads tables from spreadsheet files (XLSX). The only module that sees openpyxl.

Rows are streamed, so that a sheet of any length takes little memory. Formulas count with the value that the
spreadsheet last calculated; nothing is calculated here. What openpyxl's streaming reader does not tell
(merged cells, hidden rows, whether there is a formula) is read from the sheet's XML beforehand.
"""

from __future__ import annotations

import datetime
import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils.cell import range_boundaries

from voicecheck.bring.cells import Cell, Row, plain
from voicecheck.bring.numerals import written
from voicecheck.records import InputError

MOST_UNPACKED = 600 * 1024 * 1024  # 200,000 rows of 20 columns unpack to about 150 MB
MOST_STRINGS = 150 * 1024 * 1024  # the texts of a workbook are held in memory
MOST_MEMBERS = 5_000
MOST_RATIO = 200  # XML of tables packs to a fifth … a thirtieth; refused only together with a size that hurts
RATIO_FROM = 50 * 1024 * 1024
LAST_ROW = 1_048_576  # of any sheet
_CHUNK = 1 << 20

# what openpyxl says it leaves out (drawings, validations, extensions) is no part of a table
warnings.filterwarnings("ignore", category=UserWarning, module="openpyxl")

_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=\"([A-Z0-9:$]+)\"")
_HIDDEN_ROW = re.compile(rb"<(?:\w+:)?row\s[^>]*?hidden=\"(?:1|true)\"")
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_ONLY_ZEROS = re.compile(r"0{2,}")
_QUOTED = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')


@dataclass(frozen=True)
class Merged:
    """A block of merged cells, columns from 0, rows from 1, both ends included."""

    name: str
    first_row: int
    last_row: int
    first_column: int
    last_column: int


@dataclass(frozen=True)
class Sheet:
    """One worksheet of a file that was found readable."""

    path: Path
    name: str
    hidden: bool
    member: str
    merged: tuple[Merged, ...] = ()
    hidden_rows: int = 0
    formulas: bool = False


def sheet_names(path: Path) -> tuple[tuple[str, bool], ...]:
    """The worksheets of a file in their order, each with whether it is hidden. Raises ``InputError``."""
    with _open(path, values=True) as book:
        return tuple((s.title, s.sheet_state != "visible") for s in book.worksheets)


def open_sheet(path: Path, name: str = "") -> Sheet:
    """The worksheet ``name``, else the only visible one. Raises ``InputError`` for anything that is not one.

    Hidden sheets are taken only by name.
    """
    with _open(path, values=True) as book:
        sheets = list(book.worksheets)
        if name:
            found = [s for s in sheets if plain(s.title).casefold() == plain(name).casefold()]
            if not found:
                raise InputError(f"{path} has no sheet “{name}”.", hint=_told(sheets))
        else:
            found = [s for s in sheets if s.sheet_state == "visible"]
            if len(found) != 1:
                many = f"{len(found)} sheets" if found else "no visible sheet"
                raise InputError(
                    f"{path} has {many}, and which one is meant was not said.",
                    hint=f"Give --sheet NAME, or table: sheet in the mapping. {_told(sheets)}",
                )
        sheet = found[0]
        member = str(sheet._worksheet_path).lstrip("/")
        title, hidden = sheet.title, sheet.sheet_state != "visible"
    merged, hidden_rows, formulas = _scan(path, member)
    return Sheet(path, title, hidden, member, merged, hidden_rows, formulas)


def _told(sheets: Sequence[Any]) -> str:
    names = ", ".join(f"{s.title}{'' if s.sheet_state == 'visible' else ' (hidden)'}" for s in sheets)
    return f"Sheets: {names}."


def sheet_rows(sheet: Sheet) -> Iterator[Row]:
    """The rows of a sheet that are not empty, streamed. Raises ``InputError`` where the file is damaged."""
    with _open(sheet.path, values=True) as book:
        values = _cells(book, sheet)
        if not sheet.formulas:
            for number, row in values:
                cells = {c: made for c, cell in row if (made := _cell(cell)) is not None}
                if cells:
                    yield Row(number, cells)
            return
        # Whether a cell holds a formula is told only by a reading that does not give values: both in step.
        with _open(sheet.path, values=False) as formulas_book:
            for (number, row), (_, formulas) in zip(values, _cells(formulas_book, sheet), strict=True):
                cells = {c: made for c, cell in row if (made := _cell(cell)) is not None}
                for column, cell in formulas:
                    # an empty text that a formula gave is stored as type "str" without value: that is empty
                    if cell.data_type == "f" and column not in cells and not _empty_text(row, column):
                        cells[column] = Cell("", "no value")
                if cells:
                    yield Row(number, cells)


def _empty_text(row: Sequence[tuple[int, Any]], column: int) -> bool:
    return any(c == column and cell.data_type in ("str", "s") for c, cell in row)


def _cells(book: Any, sheet: Sheet) -> Iterator[tuple[int, Sequence[tuple[int, Any]]]]:
    """Row number and its cells by column, empty rows too, so that two readings keep step."""
    worksheet = book[sheet.name]
    worksheet.reset_dimensions()  # what the file says about its size is often wrong, and would pad every row
    try:
        for number, row in enumerate(worksheet.iter_rows(), start=1):
            if number > LAST_ROW:
                raise _damaged(sheet.path, "a row number beyond the last row of a sheet")
            yield number, [(c, cell) for c, cell in enumerate(row) if hasattr(cell, "column")]
    except InputError:
        raise
    except Exception as error:  # openpyxl raises whatever its parts raise on a damaged file
        raise _damaged(sheet.path, str(error)) from error


def _cell(cell: Any) -> Cell | None:
    """A cell of openpyxl as ours; ``None`` where it is empty."""
    value, kind = cell.value, cell.data_type
    if value is None:
        return None
    if kind == "e":
        return Cell(str(value), "error")
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, int | float):
        return _number(value, str(cell.number_format or ""))
    if isinstance(value, datetime.timedelta):
        return _time(Decimal(str(value.total_seconds())))
    if isinstance(value, datetime.time):
        return _time(Decimal(value.hour * 3600 + value.minute * 60 + value.second))
    if isinstance(value, datetime.date):  # datetime too
        return Cell(value.isoformat().removesuffix("T00:00:00").replace("T", " "), "date")
    text = plain(str(value))
    return Cell(text) if text else None


def _number(value: int | float, shown_as: str) -> Cell:
    # A spreadsheet keeps 15 digits; what a binary fraction says beyond them (0.30000000000000004) is noise.
    number = Decimal(format(value, ".15g")) if isinstance(value, float) else Decimal(value)
    bare = _QUOTED.sub("", shown_as)
    zeros = len(bare) if _ONLY_ZEROS.fullmatch(bare) else 0
    text = written(number) if abs(number.adjusted()) < 30 else str(number)
    if zeros and number >= 0 and number == number.to_integral_value():
        text = text.zfill(zeros)
    return Cell(text, "number", number, percent="%" in bare, zeros=zeros)


def _time(seconds: Decimal) -> Cell:
    minutes = int(seconds // 60)
    return Cell(f"{minutes // 60}:{minutes % 60:02d}", "time", seconds / 3600)


@contextmanager
def _open(path: Path, *, values: bool) -> Iterator[Any]:
    _check_file(path)
    with path.open("rb") as file:  # by name, openpyxl would refuse some endings
        try:
            book = load_workbook(file, read_only=True, data_only=values, keep_links=False)
        except Exception as error:  # openpyxl raises whatever its parts raise on a damaged file
            raise _damaged(path, str(error)) from error
        with closing(book):
            yield book


def _damaged(path: Path, why: str) -> InputError:
    reason = f" ({plain(why)[:120]})" if why else ""
    return InputError(
        f"{path} is damaged or no spreadsheet: it cannot be read{reason}.",
        hint="Open it in the spreadsheet program and save it again as .xlsx.",
    )


def _check_file(path: Path) -> None:
    """Refuse, before anything is unpacked, what is no XLSX file or would fill the memory."""
    try:
        with path.open("rb") as file:
            start = file.read(8)
            rest = file.read(64 * 1024 * 1024) if start == _OLE else b""
    except FileNotFoundError as error:
        raise InputError(f"There is no file {path}.") from error
    except IsADirectoryError as error:
        raise InputError(f"{path} is a folder, not a spreadsheet.") from error
    except OSError as error:
        raise InputError(f"{path} cannot be read: {(error.strerror or 'unknown reason').lower()}.") from error
    if start == _OLE:
        if "EncryptedPackage".encode("utf-16-le") in rest:
            raise InputError(
                f"{path} is protected with a password.",
                hint="Open it, take the password away (save as, without one), and bring that file.",
            )
        raise InputError(
            f"{path} is a spreadsheet of the old kind (.xls), whatever its name ends in.",
            hint="Open it in the spreadsheet program and save it as .xlsx.",
        )
    if not start.startswith(b"PK"):
        raise InputError(
            f"{path} is no .xlsx spreadsheet, whatever its name ends in.",
            hint="Save it as .xlsx; a text table has to end in .csv, .tsv or .txt.",
        )
    try:
        with zipfile.ZipFile(path) as packed:
            members = packed.infolist()
    except (zipfile.BadZipFile, OSError, ValueError) as error:
        raise _damaged(path, str(error)) from error
    names = {m.filename for m in members}
    if "mimetype" in names or "xl/workbook.bin" in names:
        raise InputError(
            f"{path} is a spreadsheet of another kind (.ods or .xlsb).",
            hint="Open it in the spreadsheet program and save it as .xlsx.",
        )
    # zipfile reads no more of a member than its stated size, so the stated sizes can be relied upon
    unpacked = sum(m.file_size for m in members)
    packed_size = max(1, sum(m.compress_size for m in members))
    strings = sum(m.file_size for m in members if m.filename.lower().endswith("sharedstrings.xml"))
    if (
        len(members) > MOST_MEMBERS
        or unpacked > MOST_UNPACKED
        or strings > MOST_STRINGS
        or (unpacked > RATIO_FROM and unpacked / packed_size > MOST_RATIO)
    ):
        raise InputError(
            f"{path} unpacks to {unpacked // 2**20} MB in {len(members)} parts, more than a table needs.",
            hint="Copy the table alone into a new spreadsheet, or save it as CSV.",
        )


def _scan(path: Path, member: str) -> tuple[tuple[Merged, ...], int, bool]:
    """Merged blocks, number of hidden rows and whether there are formulas, from the XML of a sheet."""
    merged: list[Merged] = []
    hidden, formulas = 0, False
    tail = b""
    try:
        with zipfile.ZipFile(path) as packed, packed.open(member) as stream:
            while chunk := stream.read(_CHUNK):
                # cut after the last tag, so that no tag is looked at in halves or twice
                block = tail + chunk
                cut = block.rfind(b">") + 1
                block, tail = block[:cut], block[cut:]
                if b"<!DOCTYPE" in block or b"<!ENTITY" in block:
                    raise _damaged(path, "it declares entities, which no spreadsheet does")
                formulas = formulas or _FORMULA.search(block) is not None
                hidden += len(_HIDDEN_ROW.findall(block))
                for ref in _MERGED.findall(block):
                    left, top, right, bottom = range_boundaries(ref.decode())
                    if None not in (left, top, right, bottom):
                        rows = (int(top or 1), int(bottom or 1))
                        merged.append(Merged(ref.decode(), *rows, int(left or 1) - 1, int(right or 1) - 1))
    except (KeyError, zipfile.BadZipFile, OSError, ValueError, EOFError) as error:
        raise _damaged(path, str(error)) from error
    return tuple(merged), hidden, formulas
