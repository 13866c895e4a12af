"""Spreadsheet files and their traps."""

from __future__ import annotations

import datetime
import re
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from bring_kit import MAP, bring, table, told, write_csv, write_xlsx

from voicecheck.bring import Outcome, sheets
from voicecheck.bring.sheets import open_sheet, sheet_rows
from voicecheck.records import InputError


def rewritten(path: Path, change: Callable[[str, bytes], bytes]) -> Path:
    """The same file with its parts changed."""
    with zipfile.ZipFile(path) as old:
        parts = {name: change(name, old.read(name)) for name in old.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in parts.items():
            new.writestr(name, data)
    return path


def with_shared_strings(path: Path) -> Path:
    """The same workbook with its texts in a table of their own, as spreadsheet programs store them."""
    texts: list[bytes] = []

    def shared(found: re.Match[bytes]) -> bytes:
        texts.append(found[2])
        return b'<c %s t="s"><v>%d</v></c>' % (found[1], len(texts) - 1)

    def change(name: str, data: bytes) -> bytes:
        if name == "xl/worksheets/sheet1.xml":
            return re.sub(rb'<c ([^>]*?) t="inlineStr"><is><t>(.*?)</t></is></c>', shared, data)
        if name == "xl/_rels/workbook.xml.rels":
            kind = b"http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
            part = b'<Relationship Id="rId99" Type="%s" Target="sharedStrings.xml"/>' % kind
            return data.replace(b"</Relationships>", part + b"</Relationships>")
        if name == "[Content_Types].xml":
            kind = b"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
            part = b'<Override PartName="/xl/sharedStrings.xml" ContentType="%s"/>' % kind
            return data.replace(b"</Types>", part + b"</Types>")
        return data

    rewritten(path, change)
    assert texts
    with zipfile.ZipFile(path, "a") as packed:
        packed.writestr(
            "xl/sharedStrings.xml",
            b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
            + b"".join(b"<si><t>%s</t></si>" % t for t in texts)
            + b"</sst>",
        )
    return path


def edited(path: Path, edit: Callable[[Any], None], rows: list[list[Any]] | None = None) -> Path:
    """``table()`` as a workbook after ``edit`` was done to its sheet."""
    write_xlsx(path, table() if rows is None else rows)
    book = openpyxl.load_workbook(path)
    edit(book.active)
    book.save(path)
    return path


def only_fault(outcome: Outcome) -> str:
    assert len(outcome.faults) == 1, told(outcome)
    assert not outcome.written
    return told(outcome)


def test_a_plain_sheet(tmp_path: Path) -> None:
    outcome = bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", table()))
    assert outcome.written, told(outcome)
    assert outcome.notes[0] == "Read sheet “Labour” of t.xlsx."


def test_texts_in_a_table_of_their_own(tmp_path: Path) -> None:
    source = with_shared_strings(write_xlsx(tmp_path / "t.xlsx", table()))
    outcome = bring(tmp_path, source)
    assert outcome.written, told(outcome)
    assert outcome.rows == 3


def test_faults_have_the_name_of_the_cell(tmp_path: Path) -> None:
    rows = [["Our prices"], [], *table(E3="much", C4="brake fluidd")]
    outcome = bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", rows))
    assert [(f.row, f.cell, f.column, f.value) for f in outcome.faults] == [
        (5, "E5", "Minutes", "much"),
        (6, "C6", "Part", "brake fluidd"),
    ]
    assert "nearest: brake_fluid (brake fluid)" in told(outcome)


def test_merged_cells_in_the_table(tmp_path: Path) -> None:
    source = edited(tmp_path / "t.xlsx", lambda s: s.merge_cells("D2:D3"))
    outcome = bring(tmp_path, source)
    assert "cell D2:D3: these cells are merged" in str(outcome.faults[0])
    assert not outcome.written
    assert bring(tmp_path, source, MAP + "table: { merged: repeat }\n").written
    lines = (tmp_path / "shop/catalogue.csv").read_text().splitlines()
    assert [line.split(",")[4] for line in lines[1:]] == ["replace", "replace", "service"]


def test_merged_cells_elsewhere_do_no_harm(tmp_path: Path) -> None:
    def edit(sheet: Any) -> None:
        sheet["A1"] = "Our prices"
        sheet.merge_cells("A1:H1")
        sheet["J5"] = "a remark"
        sheet.merge_cells("J5:K6")

    source = edited(tmp_path / "t.xlsx", edit, [[], [], *table()])
    assert bring(tmp_path, source).written


def test_formulas_count_with_the_value_that_was_calculated(tmp_path: Path) -> None:
    source = write_xlsx(tmp_path / "t.xlsx", table(E2="=60+12", H3="=60+1.25"))

    def calculated(name: str, data: bytes) -> bytes:
        if name.endswith("sheet1.xml"):
            data = re.sub(rb"(<f>60\+12</f>)<v */?>(</v>)?", rb"\1<v>72</v>", data)
            data = re.sub(rb"(<f>60\+1.25</f>)<v */?>(</v>)?", rb"\1<v>61.249999999999993</v>", data)
        return data

    assert "E2" in told(bring(tmp_path, source))
    outcome = bring(tmp_path, rewritten(source, calculated))
    assert outcome.written, told(outcome)
    text = (tmp_path / "shop/catalogue.csv").read_text()
    assert "axle,1.2," in text
    assert "@ 61.25" in text  # 15 digits, as the spreadsheet shows it


def test_formulas_never_calculated_are_told_with_their_cells(tmp_path: Path) -> None:
    outcome = bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", table(E2="=60+12", H3="=1+1")))
    assert [f.cell for f in outcome.faults] == ["E2", "H3"]
    assert "never calculated" in told(outcome)


def test_a_formula_that_gave_an_empty_text_is_empty(tmp_path: Path) -> None:
    source = write_xlsx(tmp_path / "t.xlsx", table(F4='=IF(1,"","x")'))

    def calculated(name: str, data: bytes) -> bytes:
        return re.sub(rb'<c r="F4"([^>]*?)>(<f>.*?</f>)<v */?>(</v>)?', rb'<c r="F4" t="str">\2<v></v>', data)

    outcome = bring(tmp_path, rewritten(source, calculated))
    assert outcome.written, told(outcome)


def test_formulas_in_columns_that_are_not_used(tmp_path: Path) -> None:
    rows = [[*row, "=1+1" if i else "Sum"] for i, row in enumerate(table())]
    outcome = bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", rows))
    assert outcome.written
    assert "Columns not used: Sum." in outcome.notes


def test_errors_of_formulas(tmp_path: Path) -> None:
    outcome = bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", table(H2="#REF!")))
    assert "the formula went wrong: #REF!" in only_fault(outcome)


def test_dates_where_numbers_and_texts_were_meant(tmp_path: Path) -> None:
    rows = table(H2=datetime.date(2024, 5, 3), A3=datetime.datetime(2024, 1, 2))
    outcome = bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", rows))
    assert [(f.cell, f.value) for f in outcome.faults] == [("H2", "2024-05-03"), ("A3", "2024-01-02")]


def test_times_of_day_as_hours(tmp_path: Path) -> None:
    rows = table(E2=datetime.time(1, 12), E3=datetime.timedelta(hours=1), E4=datetime.time(0, 42))
    source = write_xlsx(tmp_path / "t.xlsx", rows)
    assert "unit: clock" in told(bring(tmp_path, source))
    assert bring(tmp_path, source, MAP.replace("unit: minutes", "unit: clock")).written
    lines = (tmp_path / "shop/catalogue.csv").read_text().splitlines()
    assert [line.split(",")[6] for line in lines[1:]] == ["1.2", "1.0", "0.7"]


def test_numbers_stored_as_text_are_read_by_the_rules(tmp_path: Path) -> None:
    source = write_xlsx(tmp_path / "t.xlsx", table(H2="1.048,50", E2="72"))
    assert "“1.048,50”" in only_fault(bring(tmp_path, source))
    assert bring(tmp_path, source, MAP + 'numbers: { decimal: ",", thousands: "." }\n').written
    assert "@ 1048.50" in (tmp_path / "shop/catalogue.csv").read_text()


def test_percent_cells(tmp_path: Path) -> None:
    def edit(sheet: Any) -> None:
        sheet["G2"].number_format = "0.00%"

    assert "percent cell (100 %)" in only_fault(bring(tmp_path, edited(tmp_path / "t.xlsx", edit)))


def test_codes_shown_with_leading_zeros_keep_them(tmp_path: Path) -> None:
    def edit(sheet: Any) -> None:
        sheet["A2"], sheet["A3"] = 12, 1234
        sheet["A2"].number_format = "00000"

    assert bring(tmp_path, edited(tmp_path / "t.xlsx", edit)).written
    lines = (tmp_path / "shop/catalogue.csv").read_text().splitlines()
    assert [line.split(",")[0] for line in lines[1:]] == ["00012", "1234", "A-3"]


def test_empty_rows_and_columns_far_away(tmp_path: Path) -> None:
    def edit(sheet: Any) -> None:
        sheet.cell(1_048_000, 2).number_format = "0.00"
        sheet.cell(3, 16_000).number_format = "0.00"

    source = edited(tmp_path / "t.xlsx", edit)
    outcome = bring(tmp_path, source)
    assert outcome.written, told(outcome)
    assert outcome.rows == 3


def test_a_wrong_statement_of_size_hides_nothing(tmp_path: Path) -> None:
    source = rewritten(
        write_xlsx(tmp_path / "t.xlsx", table()),
        lambda _, data: data.replace(b'<dimension ref="A1:H4"', b'<dimension ref="A1:B2"'),
    )
    assert bring(tmp_path, source).rows == 3


def test_hidden_sheets_and_rows(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    first = book.active
    assert first is not None
    first.title = "Notes"
    second, third = book.create_sheet("Labour"), book.create_sheet("Old")
    for row in table():
        second.append(row)
        third.append(row)
    third.sheet_state = "hidden"
    second.row_dimensions[3].hidden = True
    source = tmp_path / "t.xlsx"
    book.save(source)
    with pytest.raises(InputError, match="2 sheets") as caught:
        bring(tmp_path, source)
    assert "Old (hidden)" in caught.value.hint
    with pytest.raises(InputError, match="no sheet “Labor”"):
        bring(tmp_path, source, sheet="Labor")
    outcome = bring(tmp_path, source, sheet="labour")
    assert "Hidden rows are read too: 1 of them." in outcome.notes
    assert outcome.rows == 3
    first.sheet_state = "hidden"
    book.active = 1
    book.save(source)
    assert bring(tmp_path, source).notes[0] == "Read sheet “Labour” of t.xlsx."
    assert "(hidden)" in bring(tmp_path, source, sheet="Old").notes[0]


OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (OLE + "EncryptedPackage".encode("utf-16-le"), "protected with a password"),
        (OLE + "Workbook".encode("utf-16-le"), r"old kind \(\.xls\)"),
        (b"<html><table></table></html>", "no .xlsx spreadsheet"),
        (b"", "no .xlsx spreadsheet"),
        (b"PK\x03\x04 and then nothing", "damaged"),
    ],
)
def test_files_that_are_no_xlsx(tmp_path: Path, data: bytes, says: str) -> None:
    source = tmp_path / "t.xlsx"
    source.write_bytes(data)
    with pytest.raises(InputError, match=says) as caught:
        bring(tmp_path, source)
    assert caught.value.hint
    assert not (tmp_path / "shop").exists()


def test_a_spreadsheet_called_csv_is_one_all_the_same(tmp_path: Path) -> None:
    source = write_xlsx(tmp_path / "t.xlsx", table())
    assert bring(tmp_path, source.rename(tmp_path / "t.csv")).written


def test_other_packed_files(tmp_path: Path) -> None:
    for member, says in (("mimetype", "another kind"), ("xl/workbook.bin", "another kind"), ("x", "damaged")):
        source = tmp_path / "t.xlsx"
        with zipfile.ZipFile(source, "w") as packed:
            packed.writestr(member, "x")
        with pytest.raises(InputError, match=says):
            bring(tmp_path, source)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8, 0.97])
def test_files_cut_short(tmp_path: Path, share: float) -> None:
    source = write_xlsx(tmp_path / "t.xlsx", table())
    data = source.read_bytes()
    source.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(InputError, match="damaged"):
        bring(tmp_path, source)


def test_damaged_parts(tmp_path: Path) -> None:
    for member in ("xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/sharedStrings.xml", "xl/styles.xml"):
        source = with_shared_strings(write_xlsx(tmp_path / "t.xlsx", table()))
        rewritten(source, lambda name, data, m=member: data[: len(data) // 2] if name == m else data)  # type: ignore[misc]
        with pytest.raises(InputError, match="damaged"):
            bring(tmp_path, source)
    assert not (tmp_path / "shop").exists()


def test_row_numbers_beyond_any_sheet(tmp_path: Path) -> None:
    source = rewritten(
        write_xlsx(tmp_path / "t.xlsx", table()),
        lambda _, data: data.replace(b'<row r="4"', b'<row r="99999999"'),
    )
    with pytest.raises(InputError, match="damaged"):
        bring(tmp_path, source)


def test_declared_entities_are_refused(tmp_path: Path) -> None:
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    source = rewritten(
        write_xlsx(tmp_path / "t.xlsx", table()),
        lambda name, data: bomb + data if name.endswith("sheet1.xml") else data,
    )
    with pytest.raises(InputError, match="damaged"):
        bring(tmp_path, source)


def test_zip_bombs_are_refused_before_they_are_unpacked(tmp_path: Path) -> None:
    source = write_xlsx(tmp_path / "t.xlsx", table())
    with (
        zipfile.ZipFile(source, "a", zipfile.ZIP_DEFLATED) as packed,
        packed.open("xl/more.xml", "w") as part,
    ):
        for _ in range(64):
            part.write(bytes(1 << 20))
    assert source.stat().st_size < 200_000
    with pytest.raises(InputError, match="unpacks to 64 MB"):
        bring(tmp_path, source)


def test_too_much_to_unpack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source = with_shared_strings(write_xlsx(tmp_path / "t.xlsx", table()))
    for name in ("MOST_UNPACKED", "MOST_STRINGS", "MOST_MEMBERS"):
        with monkeypatch.context() as patch:
            patch.setattr(sheets, name, 1)
            with pytest.raises(InputError, match="unpacks to"):
                bring(tmp_path, source)


def test_too_many_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("voicecheck.bring.source.MOST_ROWS", 2)
    with pytest.raises(InputError, match="more than 2 rows"):
        bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", table()))
    assert not (tmp_path / "shop").exists()


def test_rows_are_streamed(tmp_path: Path) -> None:
    """The first rows are there before the rest of the sheet is looked at."""
    source = rewritten(
        write_xlsx(tmp_path / "t.xlsx", [[f"row {n}", n] for n in range(20_000)]),
        lambda name, data: (
            data.replace(b'<row r="19000"', b"<broken") if name.endswith("sheet1.xml") else data
        ),
    )
    rows = sheet_rows(open_sheet(source))
    assert next(rows).cells[0].text == "row 0"
    with pytest.raises(InputError, match="damaged"):
        list(rows)


def test_text_and_sheet_give_the_same(tmp_path: Path) -> None:
    assert bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", table())).written
    first = (tmp_path / "shop/catalogue.csv").read_text()
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", table()))
    assert outcome.changes is not None
    assert not outcome.changes.any
    assert (tmp_path / "shop/catalogue.csv").read_text() == first
