"""``catalogue.csv``: every kind of fault is found, named by row and field, and all at once."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from voicecheck.catalogue import check_catalogue, load_catalogue
from voicecheck.records import DataError, Problem

IDS = frozenset({"brake_pads", "brake_rotor", "wheel_alignment", "brake_fluid", "bumper_front"})
HEADER = (
    "code,name,system,component,action,per,hours,"
    "includes,shares,shared_hours,parts,sublet,price,also,follow_on"
)
PADS = (
    "B-1,brake pads: replace,brakes,brake_pads,replace,axle,1.2,B-3,wheel off,0.4,"
    '"brake pads, axle set * 1 set @ 64.00|fluid: grease * 0.1 L @ ?",,,front pads|pads,B-2'
)
FLUID = "B-2,brake fluid: renew,brakes,brake_fluid,service,vehicle,0.8,,,,,,,,"
ROTOR = "B-3,brake rotor: resurface,brakes,brake_rotor,resurface,axle,1.0,,,,,,,,"
GOOD = (PADS, FLUID, ROTOR)


def write(tmp_path: Path, *rows: str, header: str = HEADER) -> Path:
    path = tmp_path / "catalogue.csv"
    path.write_text("\n".join((header, *rows)) + "\n", encoding="utf-8")
    return path


def only(problems: list[Problem]) -> Problem:
    assert len(problems) == 1, [str(p) for p in problems]
    return problems[0]


def row(**changes: str) -> str:
    """A good row of its own component with some cells changed."""
    cells = dict.fromkeys(HEADER.split(","), "")
    cells |= {
        "code": "X-1", "name": "wheel alignment: set", "system": "suspension", "component": "wheel_alignment",
        "action": "adjust", "per": "vehicle", "hours": "1.0",
    }  # fmt: skip
    cells |= changes
    return ",".join(f'"{v}"' if "," in v else v for v in cells.values())


def test_a_good_file_loads_whole(tmp_path: Path) -> None:
    path = write(tmp_path, *GOOD)
    assert check_catalogue(path, component_ids=IDS) == []
    catalogue = load_catalogue(path, component_ids=IDS)
    assert catalogue.name == "catalogue"
    pads = catalogue.operations[0]
    assert (pads.code, pads.hours, pads.per) == ("B-1", Decimal("1.2"), "axle")
    assert (pads.includes, pads.follow_on) == (("B-3",), ("B-2",))
    assert (pads.shares, pads.shared_hours) == (("wheel off",), Decimal("0.4"))
    assert pads.also == ("front pads", "pads")
    set_, grease = pads.parts
    assert (set_.name, set_.kind, set_.quantity, set_.unit, set_.price) == (
        "brake pads, axle set", "part", Decimal(1), "set", Decimal("64.00"),
    )  # fmt: skip
    assert (grease.name, grease.kind, grease.unit, grease.price) == ("grease", "fluid", "L", None)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"code": ""}, "code", "empty"),
        ({"name": ""}, "name", "empty"),
        ({"code": "b-1"}, "code", "already used in row 2"),
        ({"code": "X|1"}, "code", "cannot contain"),
        ({"system": "brake"}, "system", "nearest: brakes"),
        ({"component": "brake_pad"}, "component", "nearest: brake_pads"),
        ({"component": "diagnosis"}, "component", "takes the action “diagnose” only"),
        ({"action": "swap"}, "action", "allowed: replace, repair"),
        ({"action": "monitor"}, "action", "no work"),
        ({"per": "wheel"}, "per", "allowed: each, axle, side, vehicle"),
        ({"hours": "one"}, "hours", "not a plain number"),
        ({"hours": "NaN"}, "hours", "not a plain number"),
        ({"hours": "1,5"}, "hours", "decimal comma"),
        ({"hours": "-0.5"}, "hours", "negative"),
        ({"hours": "0.25"}, "hours", "tenths"),
        ({"hours": "60.1"}, "hours", "above 60"),
        ({"hours": ""}, "hours", "only sublet work"),
        ({"shares": "wheel off", "shared_hours": "0.15"}, "shared_hours", "tenths"),
        ({"shares": "wheel off", "shared_hours": "1.1"}, "shared_hours", "more than"),
        ({"shared_hours": "0.2"}, "shared_hours", "without a step"),
        ({"parts": "bolt * 1 each 3.00"}, "parts", "“@” is missing"),
        ({"parts": "bolt 1 each @ 3.00"}, "parts", "“*” is missing"),
        ({"parts": "* 1 each @ 3.00"}, "parts", "name is missing"),
        ({"parts": "bolt * 1 @ 3.00"}, "parts", "a quantity and a unit"),
        ({"parts": "bolt * some each @ 3.00"}, "parts", "not a plain number"),
        ({"parts": "bolt * -1 each @ 3.00"}, "parts", "above nought"),
        ({"parts": "bolt * 1 each @ -3.00"}, "parts", "negative"),
        ({"parts": "bolt * 1 each @ 3.001"}, "parts", "two decimals"),
        ({"price": "-5"}, "price", "negative"),
        ({"price": "free"}, "price", "not a plain number"),
        ({"sublet": "maybe"}, "sublet", "allowed: yes, no"),
        ({"includes": "B-9"}, "includes", "no operation with the code “B-9”; nearest: B-3"),
        ({"includes": "X-1"}, "includes", "names itself"),
        ({"follow_on": "Z"}, "follow_on", "no operation with the code “Z”"),
    ],
)
def test_a_broken_cell_is_one_error(tmp_path: Path, changes: dict[str, str], field: str, words: str) -> None:
    path = write(tmp_path, *GOOD, row(**changes))
    problem = only(check_catalogue(path, component_ids=IDS))
    assert (problem.file, problem.row, problem.field) == ("catalogue.csv", 5, field)
    assert problem.severity == "error"
    assert words in problem.message
    with pytest.raises(DataError) as caught:
        load_catalogue(path, component_ids=IDS)
    assert caught.value.problems == (problem,)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"component": "brake_rotor", "action": "resurface", "per": "axle"}, "component", "already in row 4"),
        ({"sublet": "yes"}, "price", "hours and no price"),
        ({"shares": "wheel off"}, "shares", "no shared hours"),
        ({"per": "axle", "includes": "B-1"}, "includes", "takes 1.2 h"),
    ],
)
def test_a_doubtful_cell_is_one_warning_and_loads(
    tmp_path: Path, changes: dict[str, str], field: str, words: str
) -> None:
    path = write(tmp_path, *GOOD, row(**changes))
    problem = only(check_catalogue(path, component_ids=IDS))
    assert (problem.row, problem.field, problem.severity) == (5, field, "warning")
    assert words in problem.message
    assert len(load_catalogue(path, component_ids=IDS).operations) == 4


@pytest.mark.parametrize(
    "changes",
    [
        {"sublet": "yes", "hours": ""},
        {"sublet": "yes", "price": "?"},
        {"hours": "", "price": "25"},
        {"hours": "60"},
        {"hours": "0"},
        {"parts": "bolt, M6 * 1 each @ 3"},
    ],
)
def test_unusual_rows_that_are_right(tmp_path: Path, changes: dict[str, str]) -> None:
    assert check_catalogue(write(tmp_path, *GOOD, row(**changes)), component_ids=IDS) == []


def test_a_general_diagnosis_per_system_is_no_twin_of_another(tmp_path: Path) -> None:
    general = {"component": "diagnosis", "action": "diagnose"}
    brakes = row(code="D-1", system="brakes", **general)
    engine = row(code="D-2", system="engine", **general)
    assert check_catalogue(write(tmp_path, brakes, engine), component_ids=IDS) == []
    again = row(code="D-3", system="engine", **general)
    assert (
        "already in row 3"
        in only(check_catalogue(write(tmp_path, brakes, engine, again), component_ids=IDS)).message
    )


def test_rings_of_includes_are_named_once(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        row(code="A", includes="B"),
        row(code="B", includes="C", component="brake_fluid"),
        row(code="C", includes="A|D", component="brake_pads"),
        row(code="D", component="brake_rotor"),
    )
    problem = only(check_catalogue(path, component_ids=IDS))
    assert (problem.row, problem.field) == (2, "includes")
    assert "A → B → C → A" in problem.message


def test_a_chain_of_includes_as_long_as_the_file_is_no_ring(tmp_path: Path) -> None:
    many = 3000
    rows = [row(code=f"C{i}", includes=f"C{i + 1}" if i < many - 1 else "") for i in range(many)]
    errors = [p for p in check_catalogue(write(tmp_path, *rows), component_ids=IDS) if p.severity == "error"]
    assert errors == []


def test_every_fault_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    path = write(
        tmp_path, row(code="A", hours="x", per="y"), row(code="B", follow_on="none"), "too,short", *GOOD
    )
    found = [(p.row, p.field) for p in check_catalogue(path, component_ids=IDS) if p.severity == "error"]
    assert sorted(found[:2]) == [(2, "hours"), (2, "per")]
    assert found[2:] == [(3, "follow_on"), (4, "")]


def test_without_ids_components_are_not_checked(tmp_path: Path) -> None:
    assert check_catalogue(write(tmp_path, row(component="anything"))) == []


def test_ragged_rows(tmp_path: Path) -> None:
    path = write(tmp_path, *GOOD, row() + ",more", row() + ",,")
    problem = only(check_catalogue(path, component_ids=IDS))
    assert problem.row == 5
    assert "16 cells" in problem.message


def test_rows_are_counted_in_lines_of_the_file(tmp_path: Path) -> None:
    path = write(tmp_path, "# a note", "", row(code='"A"', name='"two\nlines"'), row(code="B", hours="x"))
    assert [(p.row, p.field) for p in check_catalogue(path, component_ids=IDS) if p.field == "hours"] == [
        (6, "hours")
    ]


@pytest.mark.parametrize(
    ("header", "field", "words"),
    [
        (HEADER.replace(",hours", ""), "hours", "missing; needed: code, name"),
        (HEADER + ",colour", "colour", "unknown column “colour”; allowed: code, name"),
        (HEADER.replace("follow_on", "followon"), "followon", "nearest: follow_on"),
        (HEADER + ",code", "code", "2 times"),
        (HEADER.replace(",", ";"), "", "semicolons"),
        (HEADER.replace(",", "\t"), "", "tabs"),
    ],
)
def test_a_header_that_does_not_fit(tmp_path: Path, header: str, field: str, words: str) -> None:
    problem = only(check_catalogue(write(tmp_path, row(), header=header), component_ids=IDS))
    assert (problem.row, problem.field) == (1, field)
    assert words in problem.message


def test_optional_columns_may_be_left_out(tmp_path: Path) -> None:
    path = write(
        tmp_path,
        "A,set,suspension,wheel_alignment,adjust,vehicle,1.0",
        header=",".join(HEADER.split(",")[:7]),
    )
    assert load_catalogue(path, component_ids=IDS).operations[0].parts == ()


def test_a_spreadsheets_mark_and_line_ends_are_accepted(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.csv"
    path.write_bytes(b"\xef\xbb\xbf" + "\r\n".join((HEADER, *GOOD)).encode())
    assert check_catalogue(path, component_ids=IDS) == []


@pytest.mark.parametrize(
    ("data", "at", "words"),
    [
        (b"", None, "empty"),
        (b" \n \n", None, "empty"),
        (HEADER.encode(), None, "no row below"),
        (HEADER.encode() + b"\n\nA,caf\xe9", 3, "not UTF-8"),
        (b"\xef\xbb\xbf" + HEADER.encode() + b"\nA,caf\xe9", 2, "not UTF-8"),
        (HEADER.encode("utf-16"), None, "UTF-16"),
        (HEADER.encode() + b"\n\x00\x01", 2, "not a text file"),
        (HEADER.encode() + b'\nA,"open', 2, "quotation marks"),
    ],
)
def test_a_file_that_is_no_table(tmp_path: Path, data: bytes, at: int | None, words: str) -> None:
    path = tmp_path / "catalogue.csv"
    path.write_bytes(data)
    problem = only(check_catalogue(path, component_ids=IDS))
    assert problem.row == at
    assert words in problem.message
    with pytest.raises(DataError):
        load_catalogue(path, component_ids=IDS)


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    missing = tmp_path / "none.csv"
    problem = only(check_catalogue(missing, component_ids=IDS))
    assert problem.message == f"there is no such file: {missing}"
    assert "folder" in only(check_catalogue(tmp_path, component_ids=IDS)).message
    with pytest.raises(DataError, match="no such file") as caught:
        load_catalogue(missing, component_ids=IDS)
    assert caught.value.problems == (problem,)
