"""Text tables: encodings, delimiters, quotes, headings, and rows that do not fit."""

from __future__ import annotations

from pathlib import Path

import pytest
from bring_kit import MAP, bring, table, told, write_csv
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.bring.delimited import rows_of
from voicecheck.bring.fault import FaultList
from voicecheck.bring.mapping import Column, TableSpec
from voicecheck.bring.source import data_rows, find_headings, open_table
from voicecheck.records import InputError


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_encoding_and_delimiter_are_found_out(tmp_path: Path, encoding: str, delimiter: str) -> None:
    source = write_csv(
        tmp_path / "t.csv", table(B2="Bremsbeläge, vorn – 5 €"), delimiter=delimiter, encoding=encoding
    )
    outcome = bring(tmp_path, source)
    assert not outcome.faults, told(outcome)
    assert "Bremsbeläge, vorn – 5 €" in (tmp_path / "shop/catalogue.csv").read_text(encoding="utf-8")
    assert f"as {encoding} (found out)" in outcome.notes[0]


def test_given_encoding_is_kept_to(tmp_path: Path) -> None:
    source = write_csv(tmp_path / "t.csv", table(B2="naïve"), encoding="cp1252")
    with pytest.raises(InputError, match=r"line 2: the bytes there are not utf-8"):
        bring(tmp_path, source, MAP + "table: { encoding: utf-8 }\n")


def test_mixed_encodings_are_refused_with_their_lines(tmp_path: Path) -> None:
    source = tmp_path / "t.csv"
    source.write_bytes(b"Op,What\r\nA,na\xc3\xafve\r\nB,na\xefve\r\n")
    with pytest.raises(InputError, match=r"mixes encodings: line 2 in UTF-8, line 3 not"):
        bring(tmp_path, source)


def test_nul_bytes_are_refused(tmp_path: Path) -> None:
    source = tmp_path / "t.csv"
    source.write_bytes(b"Op,What\r\nA,b\0c\r\n")
    with pytest.raises(InputError, match=r"line 2: a NUL byte"):
        bring(tmp_path, source)


@pytest.mark.parametrize("content", [b"", b"  \r\n \r\n"])
def test_empty_files(tmp_path: Path, content: bytes) -> None:
    source = tmp_path / "t.csv"
    source.write_bytes(content)
    with pytest.raises(InputError, match="empty"):
        bring(tmp_path, source)


def test_line_breaks_in_cells_keep_row_numbers(tmp_path: Path) -> None:
    rows = table(B2="Front\r\npads", E3="many")
    rows[0][1] = "Wh\nat"
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", rows), MAP.replace("name: What", "name: Wh at"))
    (fault,) = outcome.faults
    # the heading takes two lines, the first row two
    assert (fault.row, fault.column, fault.value) == (5, "Minutes", "many")


def test_broken_quotes_stop_everything(tmp_path: Path) -> None:
    source = tmp_path / "t.csv"
    write_csv(source, table())
    source.write_bytes(source.read_bytes().replace(b"Rotor,", b'"Rotor,'))
    outcome = bring(tmp_path, source)
    assert "row 3" in told(outcome)
    assert "quotation marks" in told(outcome)
    assert not (tmp_path / "shop").exists()


@pytest.mark.parametrize(
    "tail", [b"A-4,too,few\r\n", b"A-5,a,brake pads,R&R,6,x,1,2,more\r\n", b"Printed 3 May\r\n"]
)
def test_rows_that_lost_or_gained_cells(tmp_path: Path, tail: bytes) -> None:
    source = write_csv(tmp_path / "t.csv", table())
    source.write_bytes(source.read_bytes() + tail)
    outcome = bring(tmp_path, source)
    (fault,) = outcome.faults
    assert fault.row == 5
    assert "headings" in fault.message


def test_empty_cells_after_the_last_heading_do_no_harm(tmp_path: Path) -> None:
    source = write_csv(tmp_path / "t.csv", [[*row, "", ""] for row in table()] + [[""] * 10] * 3)
    outcome = bring(tmp_path, source)
    assert outcome.written, told(outcome)
    assert outcome.rows == 3


def test_rows_can_be_passed_over(tmp_path: Path) -> None:
    rows = [*table(), ["TOTAL", "", "", "", 174, "", "", ""], ["", "Brakes", "", "", "", "", "", ""]]
    mapping = MAP + 'table:\n  skip: [{ column: op, says: [total, ""] }]\n'
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", rows), mapping)
    assert outcome.written, told(outcome)
    assert "Rows passed over because the mapping says so: 2." in outcome.notes


def test_duplicate_headings_are_refused_and_a_letter_settles_it(tmp_path: Path) -> None:
    rows = table()
    rows[0][6] = "Cost"
    source = write_csv(tmp_path / "t.csv", rows)
    outcome = bring(tmp_path, source, MAP.replace("quantity: Qty, ", ""))
    assert "columns G and H have the same heading" in told(outcome)
    mapping = MAP.replace("quantity: Qty, price: Cost", "quantity: { letter: G }, price: { letter: H }")
    assert bring(tmp_path, source, mapping).written


def test_headings_below_a_title_are_found_and_missing_ones_offered(tmp_path: Path) -> None:
    rows = [["Our shop", "Op"], [], *table()]
    rows[2][1] = "Whatt"
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", rows))
    (fault,) = outcome.faults
    assert (fault.row, fault.column) == (3, "What")
    assert "nearest: Whatt" in fault.message


def test_wrong_delimiter_given(tmp_path: Path) -> None:
    outcome = bring(
        tmp_path, write_csv(tmp_path / "t.csv", table()), MAP + "table: { delimiter: semicolon }\n"
    )
    assert "none of the mapped headings" in told(outcome)
    assert "delimiter" in told(outcome)


def test_wrong_header_row_given(tmp_path: Path) -> None:
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", table()), MAP + "table: { header_row: 2 }\n")
    assert len(outcome.faults) == 8
    assert all(f.row == 2 for f in outcome.faults)


def test_sheet_of_a_text_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no sheets"):
        bring(tmp_path, write_csv(tmp_path / "t.csv", table()), sheet="Labour")


CELLS = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)


@given(st.lists(st.lists(CELLS, min_size=1, max_size=5), max_size=6), st.sampled_from([",", ";", "\t", "|"]))
def test_any_rows_come_back(rows: list[list[str]], delimiter: str) -> None:
    def quoted(cell: str) -> str:
        return '"' + cell.replace('"', '""') + '"'

    text = "".join(delimiter.join(quoted(c) for c in row) + "\r\n" for row in rows)
    found = list(rows_of(text, delimiter=delimiter))
    wanted = [{i: " ".join(c.split()) for i, c in enumerate(row) if c.split()} for row in rows]
    assert [{c: cell.text for c, cell in row.cells.items()} for row in found] == [w for w in wanted if w]


@given(st.text(max_size=60), st.sampled_from([",", ";", "\t", "|"]))
def test_any_text_is_read_or_told_to_be_broken(text: str, delimiter: str) -> None:
    rows = list(rows_of(text.replace("\0", ""), delimiter=delimiter))
    assert all(row.cells or row.broken for row in rows)
    assert not any(row.broken for row in rows[:-1])


def test_long_tables_tell_how_far_they_are(tmp_path: Path) -> None:
    rows = [["Op", "What"], *([f"A-{n}", "x"] for n in range(2500))]
    columns = {"code": Column(column="Op")}
    faults = FaultList()
    table_read = open_table(write_csv(tmp_path / "t.csv", rows), TableSpec(), headings=["Op"])
    found = find_headings(table_read, columns, faults)
    assert found is not None
    seen: list[int] = []
    assert sum(1 for _ in data_rows(found, faults, tell=seen.append)) == 2500
    assert seen == [1000, 2000]
