"""The mapping file: every fault of it with its line, and the start that a sketch gives."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest
from bring_kit import MAP, bring, table, told, words, write_csv, write_xlsx

from voicecheck.bring import Kind, load_mapping, sketch
from voicecheck.bring.mapping import MEASURES, PART_FIELDS
from voicecheck.bring.operations import FIELDS
from voicecheck.bring.sketch import HEADINGS_FILE
from voicecheck.records import DataError


def faults(tmp_path: Path, text: str, *, kind: Kind = "catalogue") -> list[str]:
    path = tmp_path / "mapping.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataError) as caught:
        load_mapping(path, kind=kind, fields=FIELDS)
    return [str(p) for p in caught.value.problems]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("mapping/1", "mapping/9"), "mapping.yaml:1 [format]: “voicecheck-mapping/9” is another format"),
        (("for: catalogue", "for: prices"), "mapping.yaml:2 [for]: this mapping is for prices"),
        (("for: catalogue", "for: cats"), "mapping.yaml:2 [for]: unknown value “cats”"),
        (("name: What", "nam: What"), "mapping.yaml:5 [columns]: unknown field “nam”; nearest: name"),
        (("constant: axle", "constant: axle, column: X"), "mapping.yaml:8 [per]: exactly one of"),
        (("constant: axle", "constante: axle"), "unknown key “constante” in “per”"),
        (("unit: minutes", "unit: minute"), "[unit]: “minute”; nearest: minutes"),
        (("unit: minutes", "round: down"), "[round]: “down” is not known here; allowed: up, nearest"),
        (("quantity: Qty", "qty: Qty"), "unknown key “qty” in “parts”; allowed: name, quantity"),
        (("flush: service", "flush: service, Flush: repair"), "“Flush” is translated twice"),
        (("columns:", "table: { header_row: two }\ncolumns:"), "“two” is no row number"),
        (("columns:", "table: { encoding: latin }\ncolumns:"), "[encoding]: “latin” is not known here"),
        (("columns:", "table: { delimiter: x }\ncolumns:"), "no delimiter known here"),
        (("columns:", "table: { skip: [{ column: A }] }\ncolumns:"), "the key “says” is missing"),
        (("columns:", 'numbers: { decimal: ",", thousands: "," }\ncolumns:'), "cannot stand before decimals"),
        (("columns:", "numbers: { decimal: x }\ncolumns:"), "[decimal]: “x” is not known here"),
        (("columns:", "values: {}\ncolumns:"), "unknown key “values”"),
        (("code: Op", "code: { letter: A1 }"), "“A1” is no letter of a column"),
        (("code: Op", "code: [a, b]"), "one value is needed, not a list"),
        (("parts:\n  - {", "parts:\n  a: {"), "a list is needed"),
    ],
)
def test_faults_of_a_mapping_have_their_lines(tmp_path: Path, change: tuple[str, str], says: str) -> None:
    text = MAP.replace(*change, 1)
    assert text != MAP
    found = faults(tmp_path, text)
    assert any(says in f for f in found), found


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("- a\n- b\n", "key: value"),
        ("format: [", "not readable as YAML"),
        ("format: voicecheck-mapping/1\nfor: catalogue\n", "“columns” is missing"),
        ("a: &a [*a]\n", "nested too deeply"),
    ],
)
def test_files_that_are_no_mapping(tmp_path: Path, text: str, says: str) -> None:
    assert any(says in f for f in faults(tmp_path, text))


def test_mappings_of_prices_need_something(tmp_path: Path) -> None:
    found = faults(tmp_path, "format: voicecheck-mapping/1\nfor: prices\n", kind="prices")
    assert any("nothing is mapped" in f for f in found)
    found = faults(
        tmp_path,
        "format: voicecheck-mapping/1\nfor: prices\nvalues: { key: A }\nlists: { markup: {} }\n",
        kind="prices",
    )
    assert any("the key “value” is missing" in f for f in found)
    assert any("no column is named for this list" in f for f in found)


def test_every_unit_is_of_some_field() -> None:
    from voicecheck.bring.convert import UNITS_OF

    assert {u for units in UNITS_OF.values() for u in units} == set(MEASURES)


# -- sketch --------------------------------------------------------------------------------------------------


def sketched(source: Path, **more: Any) -> str:
    return sketch(source, kind=more.pop("kind", "catalogue"), lexicon=words(), **more)


def test_a_sketch_guesses_by_headings_and_says_so(tmp_path: Path) -> None:
    rows: list[list[Any]] = [["Our labor"], [], *table()]
    text = sketched(write_xlsx(tmp_path / "t.xlsx", rows))
    for line in (
        "  header_row: 3  # a guess",
        "  code: Op  # a guess",
        "  hours: { column: Minutes, unit: minutes, round: up }  # a guess",
        '      "R&R": replace  # a guess',
        "      flush: service  # a guess",
        "      Brake rotor: brake_rotor  # a guess",
        "    quantity: Qty  # a guess",
    ):
        assert line in text.splitlines(), text
    assert "per: ???" in text
    # every line that takes a column of theirs is marked
    assert all("# a guess" in line for line in text.splitlines() if ": Op" in line or "Minutes" in line)


def test_a_sketch_is_a_mapping_that_refuses_until_it_is_filled_in(tmp_path: Path) -> None:
    source = write_csv(tmp_path / "t.csv", table(C2="thingummy"), delimiter=";")
    text = sketched(source)
    outcome = bring(tmp_path, source, text)
    assert not outcome.written
    assert "column “???” [per]" in told(outcome)
    assert "# thingummy: ???" in text


def test_a_sketch_that_is_filled_in_works(tmp_path: Path) -> None:
    rows = [
        ["Code", "Description", "Part", "Action", "Per", "Hours", "Part name", "Qty", "Cost"],
        ["A-1", "Front pads", "brake pads", "replace", "per axle", "1,2", "pad set", "1", "1.048,50"],
    ]
    source = write_csv(tmp_path / "t.csv", rows, delimiter=";")
    text = sketched(source)
    assert 'decimal: ","  # a guess' in text
    outcome = bring(tmp_path, source, text)
    assert outcome.written, told(outcome)
    assert "pad set * 1 each @ 1048.50" in (tmp_path / "shop/catalogue.csv").read_text()


def test_headings_that_are_there_twice_are_named_by_letter(tmp_path: Path) -> None:
    rows: list[list[Any]] = [["Code", "Hours", "hours"], ["A", 1, 2]]
    assert "hours: { letter: B }  # a guess" in sketched(write_xlsx(tmp_path / "t.xlsx", rows))


@pytest.mark.parametrize("kind", ["prices", "policies"])
def test_sketches_of_settings_list_their_words(tmp_path: Path, kind: Kind) -> None:
    source = write_csv(tmp_path / "t.csv", [["Setting", "Value"], ["Labor: hour", "5"], ['The "rest"', "6"]])
    text = sketched(source, kind=kind)
    assert '# "Labor: hour": ???' in text
    assert r'# "The \"rest\"": ???' in text
    path = tmp_path / "mapping.yaml"
    path.write_text(text, encoding="utf-8")
    load_mapping(path, kind=kind, fields=FIELDS)


def test_the_usual_headings_are_of_fields_that_there_are() -> None:
    with HEADINGS_FILE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    known = {("catalogue", f) for f in FIELDS} | {("part", f) for f in PART_FIELDS}
    known |= {("named", "key"), ("named", "value")}
    assert {(r["kind"], r["field"]) for r in rows} <= known
    for row in rows:  # as they are compared
        assert row["said"] == row["said"].lower()
        names = row["said"].split("|")
        assert len(set(names)) == len(names)
