"""The commands, as a person runs them."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from bring_kit import MAP, table, write_csv, write_xlsx
from cli_kit import Ran, run, run_alone

from voicecheck.catalogue import load_catalogue


@pytest.fixture
def place(tmp_path: Path) -> Path:
    write_xlsx(tmp_path / "t.xlsx", table())
    (tmp_path / "m.yaml").write_text(MAP, encoding="utf-8")
    return tmp_path


def bring(place: Path, *more: str | Path, file: str = "t.xlsx") -> Ran:
    return run("bring", "catalogue", place / file, "--map", place / "m.yaml", "--to", place / "shop", *more)


def test_a_table_is_brought_and_the_report_tells_it(place: Path) -> None:
    done = bring(place)
    assert (done.status, done.err) == (0, "")
    assert "New 3, changed 0, gone 0, unchanged 0." in done.out
    assert f"Wrote {place / 'shop/catalogue.csv'}." in done.out
    write_xlsx(place / "t.xlsx", table(E2=90))
    done = bring(place)
    assert "changed A-1: hours: 1.2 → 1.5" in done.out
    assert "is kept as" in done.out
    assert "says the same already" in bring(place).out


def test_a_dry_run(place: Path) -> None:
    done = bring(place, "--dry-run")
    assert done.status == 0
    assert "Nothing was written (dry run)" in done.out
    assert not (place / "shop").exists()


def test_faults_end_with_one_and_go_into_a_table(place: Path) -> None:
    write_xlsx(place / "t.xlsx", table(C2="=1+1", A3="@x", E3="@y", F2="long name " * 3))
    done = bring(place, "--faults", place / "faults.csv")
    assert done.status == 1
    assert "Faults: 2" in done.out
    assert "row 2, column “Part”, cell C2 [component]" in done.out
    assert "Nothing was written." in done.out
    assert not (place / "shop").exists()
    with (place / "faults.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(r["cell"], r["value"]) for r in rows] == [
        ("C2", ""),
        ("E3", "'@y"),
    ]  # nothing a spreadsheet runs
    assert all(r["todo"] for r in rows)


def test_many_faults_are_counted_and_all_can_be_seen(place: Path) -> None:
    rows = [table()[0]] + [[f"A-{n}", "x", "brake padz", "R&R", "6", "", None, None] for n in range(90)]
    write_csv(place / "t.csv", rows)
    done = bring(place, file="t.csv")
    assert done.status == 1
    assert "and 50 more (50 in “Part”)" in done.out
    assert bring(place, "--all", file="t.csv").out.count("brake padz") == 90


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("t.xlsx", "no.xlsx"), "There is no file"),
        (("m.yaml", "no.yaml"), "there is no such file"),
        (("shop", "m.yaml"), "is a file, not a folder"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(place: Path, change: tuple[str, str], says: str) -> None:
    names = {"t.xlsx": "t.xlsx", "m.yaml": "m.yaml", "shop": "shop", change[0]: change[1]}
    done = run(
        "bring",
        "catalogue",
        place / names["t.xlsx"],
        "--map",
        place / names["m.yaml"],
        "--to",
        place / names["shop"],
    )
    assert says in done.complaint


def test_a_damaged_file_is_one_sentence(place: Path) -> None:
    (place / "t.xlsx").write_bytes(b"PK\x03\x04nothing")
    assert "damaged" in bring(place).complaint


def test_a_mapping_with_faults_lists_them(place: Path) -> None:
    (place / "m.yaml").write_text(MAP.replace("code: Op", "cod: Op").replace("name: What", "nam: What"))
    done = bring(place)
    assert done.status == 2
    assert "m.yaml:4 [columns]" in done.err
    assert "m.yaml:5 [columns]" in done.err


def test_inputs_are_not_overwritten(place: Path) -> None:
    assert "would be overwritten" in bring(place, "--faults", place / "m.yaml").complaint


def test_putting_back(place: Path) -> None:
    bring(place)
    write_xlsx(place / "t.xlsx", table(E2=90))
    bring(place)
    listed = run("bring", "back", "catalogue.csv", "--to", place / "shop", "--list")
    assert listed.out.startswith("1: replaced on ")
    done = run("bring", "back", "catalogue.csv", "--to", place / "shop")
    assert done.status == 0
    first = load_catalogue(place / "shop/catalogue.csv").operations[0]
    assert str(first.hours) == "1.2"
    assert "no plain file name" in run("bring", "back", "../m.yaml", "--to", place / "shop").complaint
    assert "no earlier" in run("bring", "back", "prices.us.yaml", "--to", place / "shop").complaint


def test_sketch_prints_a_mapping(place: Path) -> None:
    done = run("bring", "sketch", place / "t.xlsx")
    assert done.status == 0
    assert done.out.startswith("# A mapping file to start from, made from t.xlsx.")
    assert "for: prices" in run("bring", "sketch", place / "t.xlsx", "--for", "prices").out


def test_prices_and_policies(place: Path) -> None:
    write_csv(
        place / "rates.csv", [["Setting", "Value"], ["labour_rate", "99.50"], ["near_limit_percent", "20"]]
    )
    head = "format: voicecheck-mapping/1\nfor: {}\nvalues: {{ key: Setting, value: Value, ignore: [{}] }}\n"
    constants = "constants: { name: ours, market: UK, currency: GBP }\n"
    (place / "m.yaml").write_text(head.format("prices", "near_limit_percent") + constants)
    done = run("bring", "prices", place / "rates.csv", "--map", place / "m.yaml", "--to", place / "shop")
    assert done.status == 0, done.out + done.err
    assert "new labour_rate: 99.5" in done.out
    assert (place / "shop/prices.uk.yaml").is_file()
    (place / "m.yaml").write_text(head.format("policies", "labour_rate"))
    done = run("bring", "policies", place / "rates.csv", "--map", place / "m.yaml", "--to", place / "shop")
    assert done.status == 0, done.out + done.err
    assert (place / "shop/policies.yaml").is_file()


def test_in_a_process_of_its_own(place: Path) -> None:
    done = run_alone(
        [
            "bring",
            "catalogue",
            place / "t.xlsx",
            "--map",
            place / "m.yaml",
            "--to",
            place / "shop",
            "--dry-run",
        ]
    )
    assert (done.status, done.err) == (0, "")
