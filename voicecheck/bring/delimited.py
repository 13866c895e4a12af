"""Reads a table from a text file: CSV with whatever encoding and delimiter a program wrote."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from voicecheck.bring.cells import Cell, Row, plain
from voicecheck.records import InputError

Encoding = Literal["utf-8", "utf-8-sig", "cp1252", "utf-16"]
ENCODINGS: tuple[str, ...] = get_args(Encoding)
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
MOST_BYTES = 200 * 1024 * 1024
MOST_CELL = 32_767  # characters: what a spreadsheet can hold in one cell
LINES_SHOWN = 5


@dataclass(frozen=True)
class Text:
    """A file's text, the encoding it was read with, and whether that was found out rather than told."""

    text: str
    encoding: str
    detected: bool


def read_text(path: Path, *, encoding: str = "") -> Text:
    """The text of a file. Raises ``InputError`` for a file that is no text in an encoding known here.

    Without ``encoding`` a byte-order mark decides, else UTF-8 where the whole file is valid UTF-8, else
    cp1252 (the Windows code page of western Europe and America). Lines in UTF-8 beside lines in cp1252 are
    refused: one of them would come out as other letters.
    """
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise InputError(
                f"{path} has {size // 2**20} MB; the most is {MOST_BYTES // 2**20}.",
                hint="Take out what is not the table, or bring it in parts.",
            )
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise InputError(f"There is no file {path}.") from error
    except OSError as error:
        raise InputError(f"{path} cannot be read: {(error.strerror or 'unknown reason').lower()}.") from error
    told = bool(encoding)
    if not encoding:
        encoding = _encoding_of(path, data)
    try:
        text = data.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    except UnicodeDecodeError as error:
        row = _line_of(data, error.start)
        raise InputError(
            f"{path}, line {row}: the bytes there are not {encoding}.",
            hint="Save the table as “CSV UTF-8”, or name its encoding in the mapping file (table: encoding).",
        ) from error
    if "\0" in text:
        row = text[: text.index("\0")].count("\n") + 1
        raise InputError(
            f"{path}, line {row}: a NUL byte; this is not plain text.",
            hint="Save the table again as CSV; a spreadsheet file has to end in .xlsx.",
        )
    if not text.strip():
        raise InputError(f"{path} is empty.")
    return Text(text=text, encoding=encoding, detected=not told)


def _encoding_of(path: Path, data: bytes) -> str:
    if data.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        return "utf-8"
    unicode_lines, other_lines = [], []
    for number, line in enumerate(data.split(b"\n"), start=1):
        if line.isascii():
            continue
        try:
            line.decode("utf-8")
        except UnicodeDecodeError:
            other_lines.append(number)
        else:
            unicode_lines.append(number)
    if unicode_lines:
        raise InputError(
            f"{path} mixes encodings: {_lines(unicode_lines)} in UTF-8, {_lines(other_lines)} not.",
            hint="Correct the letters with accents and the currency signs there, and save as “CSV UTF-8”.",
        )
    return "cp1252"


def _lines(numbers: list[int]) -> str:
    shown = ", ".join(str(n) for n in numbers[:LINES_SHOWN])
    more = f" and {len(numbers) - LINES_SHOWN} more" if len(numbers) > LINES_SHOWN else ""
    return f"{'line' if len(numbers) == 1 else 'lines'} {shown}{more}"


def _line_of(data: bytes, at: int) -> int:
    return data[:at].count(b"\n") + 1


def rows_of(text: str, *, delimiter: str) -> Iterator[Row]:
    """The rows of a CSV text; quotes that do not close end it with a row that is ``broken``.

    Line breaks inside quotes belong to the cell; a row has the number of the line that it starts on. Empty
    rows are passed over.
    """
    # strict: a quote in the wrong place is a fault, where the lenient reader would run cells together
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    start = 1
    while True:
        try:
            values = next(reader, None)
        except csv.Error as error:
            yield Row(start, broken=f"the quotation marks are broken from here on ({error})")
            return
        if values is None:
            return
        number, start = start, reader.line_num + 1
        cells = {}
        for column, value in enumerate(values):
            if len(value) > MOST_CELL:
                yield Row(number, broken="a cell is longer than any cell can be: a quotation mark is missing")
                return
            if shown := plain(value):
                cells[column] = Cell(shown)
        if cells:
            yield Row(number, cells, width=len(values))
