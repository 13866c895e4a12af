"""Rates, bands, rules and policies from tables, and the loaders' faults told in the tables' terms."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from pathlib import Path
from types import ModuleType
from typing import Any

import openpyxl
import pytest
import yaml
from bring_kit import bring, told, words, write_csv

from voicecheck.bring import Kind
from voicecheck.bring.shapes import LISTS, SETTINGS, VALUE
from voicecheck.catalogue import load_policies, load_prices, policies, prices
from voicecheck.resources import shared_dir

SHEETS: dict[str, list[list[Any]]] = {
    "Rates": [
        ["Our rates, from spring on", None],
        ["Setting", "Value"],
        ["Labor per hour", "$1,135.50"],
        ["Diagnosis per hour", 150],
        ["Shop supplies", 0.06],
        ["Sales tax", 0.0825],
        ["Owner's birthday", "a secret"],
    ],
    "Markup": [["Up to", "Markup"], [10, "100%"], [50, 0.75], ["and above", "28 %"]],
    "Taxed": [["Kind", "Taxed?"], ["part", "y"], ["fluid", "y"], ["labour", "n"]],
    "Fees": [
        ["Fee", "Amount", "Goes with"],
        ["tire disposal", 3.5, "tire"],
        ["core charge", "12.00", "car battery; alternator"],
    ],
}
MAP = """\
format: voicecheck-mapping/1
for: prices
numbers: { thousands: ",", currency: ["$"] }
constants:
  name: our prices
  market: US
  currency: USD
values:
  sheet: Rates
  key: Setting
  value: Value
  keys:
    labor per hour: labour_rate
    Diagnosis per hour: diagnostic_rate
    Shop supplies: supplies_percent
    Sales tax: tax_percent
  units: { supplies_percent: fraction, tax_percent: fraction }
  ignore: [Owner's birthday]
lists:
  markup:
    sheet: Markup
    up_to: { column: Up to, values: { and above: "" } }
    factor: { column: Markup, unit: markup percent }
  taxed:
    sheet: Taxed
    skip: [{ column: "Taxed?", says: n }]
    value: Kind
  fees:
    sheet: Fees
    name: Fee
    amount: Amount
    components: { column: Goes with, split: ";", values: { car battery: battery } }
"""


def workbook(path: Path, sheets: Mapping[str, list[list[Any]]], *, percents: tuple[str, ...] = ()) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
    for place in percents:
        sheet, _, cell = place.partition("!")
        book[sheet][cell].number_format = "0.00%"
    book.save(path)
    return path


def changed(**cells: Any) -> dict[str, list[list[Any]]]:
    """``SHEETS`` with single cells changed: ``Rates_B3=5``."""
    sheets = {name: [list(row) for row in rows] for name, rows in SHEETS.items()}
    for place, value in cells.items():
        sheet, _, cell = place.partition("_")
        sheets[sheet][int(cell[1:]) - 1][ord(cell[0]) - ord("A")] = value
    return sheets


PERCENTS = ("Rates!B6", "Markup!B3")


def test_prices_from_several_sheets(tmp_path: Path) -> None:
    outcome = bring(tmp_path, workbook(tmp_path / "p.xlsx", SHEETS, percents=PERCENTS), MAP, kind="prices")
    assert outcome.written, told(outcome)
    assert outcome.target == tmp_path / "shop/prices.us.yaml"
    made = load_prices(outcome.target, component_ids=words().components.keys())
    assert str(made.labour_rate) == "1135.50"
    assert (str(made.supplies_percent), str(made.tax_percent)) == ("6", "8.25")
    assert [(b.up_to and str(b.up_to), str(b.factor)) for b in made.markup] == [
        ("10.00", "2"), ("50.00", "1.75"), (None, "1.28"),
    ]  # fmt: skip
    assert made.taxed == ("part", "fluid")
    assert [(f.name, f.work.components) for f in made.fees] == [
        ("tire disposal", ("tyre",)),
        ("core charge", ("battery", "alternator")),
    ]


@pytest.mark.parametrize(
    ("cells", "where", "says"),
    [
        ({"Rates_B3": "a lot"}, (3, "B3"), "not a number"),
        ({"Rates_B4": 0}, (4, "B4"), "above nought"),
        ({"Rates_A4": "Labor per hour"}, (4, "A4"), "already set in row 3"),
        ({"Rates_A4": "Petrol"}, (4, "A4"), "no setting of ours"),
        ({"Markup_A3": 5}, (3, "A3"), "bands must rise"),
        ({"Markup_B3": 1200}, (3, "B3"), "not above 0 and up to 10"),
        ({"Markup_B3": 0.5}, (3, "B3"), "below 1 %"),
        ({"Taxed_A3": "gas"}, (3, "A3"), "unknown tax class"),
        ({"Fees_C3": "alternater"}, (3, "C3"), "nearest: alternator"),
        ({"Fees_B3": None}, (3, "B3"), "empty"),
        ({"Fees_B3": 1.005}, (3, "B3"), "two decimals"),
    ],
)
def test_faults_are_told_in_their_cells(
    tmp_path: Path, cells: dict[str, Any], where: tuple[int, str], says: str
) -> None:
    percents = PERCENTS if "Markup_B3" not in cells else PERCENTS[:1]
    source = workbook(tmp_path / "p.xlsx", changed(**cells), percents=percents)
    outcome = bring(tmp_path, source, MAP, kind="prices")
    assert says in told(outcome)
    found = [f for f in outcome.faults if says in f.message]
    assert found, told(outcome)
    assert found[0].row == where[0]
    if "Markup" not in next(iter(cells)):  # a band is told as a whole: the row is what counts
        assert found[0].cell == where[1]
    assert not (tmp_path / "shop").exists()


def test_what_is_missing_is_told_as_the_mapping_s(tmp_path: Path) -> None:
    source = workbook(tmp_path / "p.xlsx", SHEETS, percents=PERCENTS)
    outcome = bring(tmp_path, source, MAP.replace("  currency: USD\n", ""), kind="prices")
    assert [(f.row, f.field) for f in outcome.faults] == [(None, "currency")]


def test_changes_of_prices_are_told_by_setting(tmp_path: Path) -> None:
    bring(tmp_path, workbook(tmp_path / "p.xlsx", SHEETS, percents=PERCENTS), MAP, kind="prices")
    source = workbook(tmp_path / "p.xlsx", changed(Rates_B4=155, Fees_B2=4), percents=PERCENTS)
    changes = bring(tmp_path, source, MAP, kind="prices").changes
    assert changes is not None
    assert [(c.key, c.fields) for c in changes.changed] == [
        ("diagnostic_rate", (("", "150", "155"),)),
        ("fees: tire disposal", (("amount", "3.5", "4"),)),
    ]


def test_a_percentage_below_one_is_looked_at(tmp_path: Path) -> None:
    mapping = MAP.replace(", tax_percent: fraction", "")
    outcome = bring(
        tmp_path, workbook(tmp_path / "p.xlsx", SHEETS, percents=PERCENTS[1:]), mapping, kind="prices"
    )
    (doubt,) = outcome.faults
    assert (doubt.severity, doubt.cell) == ("warning", "B6")
    assert "unit: fraction" in doubt.message


def test_a_text_table_of_rates(tmp_path: Path) -> None:
    mapping = MAP[: MAP.index("lists:")].replace("  sheet: Rates\n", "")
    outcome = bring(tmp_path, write_csv(tmp_path / "p.csv", SHEETS["Rates"][1:]), mapping, kind="prices")
    assert outcome.written, told(outcome)


# -- our own files, through tables and back ------------------------------------------------------------------


def as_sheets(kind: Kind, path: Path) -> tuple[dict[str, list[list[Any]]], str]:
    """One of our YAML files as sheets, and the mapping that brings it back."""
    top = yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)  # every value as written
    settings = {k: v for k, v in top.items() if k in SETTINGS[kind]}
    sheets = {"S": [["K", "V"], *([k, v] for k, v in settings.items())]}
    text = f"format: voicecheck-mapping/1\nfor: {kind}\nvalues: {{ sheet: S, key: K, value: V }}\nlists:\n"
    for name, entries in top.items():
        if name in settings:
            continue
        fields = LISTS[kind][name]
        text += f"  {name}:\n    sheet: {name}\n" + "".join(f"    {f}: Their {f}\n" for f in fields)
        rows = [
            [
                " | ".join(v)
                if isinstance(v := (e if f == VALUE else e.get(f)), list)
                else v
                if v != "null"
                else ""
                for f in fields
            ]
            for e in entries
        ]
        sheets[name] = [[f"Their {f}" for f in fields], *rows]
    return sheets, text


@pytest.mark.parametrize("name", ["prices.us", "prices.uk", "policies"])
def test_our_own_files_come_back(tmp_path: Path, name: str) -> None:
    kind: Kind = "policies" if name == "policies" else "prices"
    load: Callable[[Path], Any] = load_policies if kind == "policies" else load_prices
    ours = shared_dir() / f"{name}.yaml"
    sheets, mapping = as_sheets(kind, ours)
    outcome = bring(tmp_path, workbook(tmp_path / "p.xlsx", sheets), mapping, kind=kind)
    assert outcome.written, told(outcome)
    assert load(outcome.target) == load(ours)


def test_work_and_components_of_policies_by_their_names(tmp_path: Path) -> None:
    sheets = {
        "F": [
            ["Id", "After", "Then", "Do", "Says"],
            ["x", "tie rod; strut", "adjust wheel alignment", "ask", "why"],
        ]
    }
    mapping = """\
format: voicecheck-mapping/1
for: policies
lists:
  follow_ons: { sheet: F, id: Id, after: { column: After, split: ";" }, work: Then, mode: Do, says: Says }
"""
    outcome = bring(tmp_path, workbook(tmp_path / "p.xlsx", sheets), mapping, kind="policies")
    assert outcome.written, told(outcome)
    (made,) = load_policies(outcome.target).follow_ons
    assert (made.after.components, made.action, made.component) == (
        ("tie_rod", "strut"),
        "adjust",
        "wheel_alignment",
    )


def test_every_setting_that_the_loaders_take_can_be_brought() -> None:
    assert {*SETTINGS["prices"], *LISTS["prices"]} == {*prices.REQUIRED, *prices.OPTIONAL}
    assert {*SETTINGS["policies"], *LISTS["policies"]} == set(policies.KEYS)
    pairs: tuple[tuple[ModuleType, Kind], ...] = ((prices, "prices"), (policies, "policies"))
    for module, kind in pairs:
        source = inspect.getsource(module)
        for name, fields in LISTS[kind].items():
            assert all(f == VALUE or f'"{f}"' in source for f in fields), name
