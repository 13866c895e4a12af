"""A labour table becomes the catalogue: the same back again, every fault in its cell, all or nothing."""

from __future__ import annotations

import random
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from bring_kit import MAP, bring, table, told, words, write_csv, write_xlsx
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from voicecheck.bring.names import ComponentNames, UnknownName
from voicecheck.bring.numerals import written
from voicecheck.bring.operations import FIELDS, kind_of
from voicecheck.catalogue import load_catalogue
from voicecheck.records import Catalogue, Operation, PartUse
from voicecheck.resources import shared_dir


@cache
def shared() -> Catalogue:
    return load_catalogue(shared_dir() / "catalogue.csv")


# -- round trip ----------------------------------------------------------------------------------------------

THEIR_ACTIONS = {
    "replace": "R&R", "repair": "Mend", "service": "Svc", "adjust": "Set", "clean": "Cln", "tighten": "Tq",
    "install": "Fit", "resurface": "Turn", "top up": "Fill", "diagnose": "Diag",
}  # fmt: skip


def scrambled(catalogue: Catalogue, *, seed: int, commas: bool) -> tuple[list[list[Any]], str]:
    """A catalogue as somebody else's table, and the mapping that brings it back.

    Columns in another order under other names, an own word for every action, hours in minutes, prices with a
    comma and a currency sign or as numbers, names of components instead of ids where they are clear, parts in
    groups of columns, and a column that nobody needs.
    """
    chance = random.Random(seed)
    names = ComponentNames(words().components)

    def component(o: Operation) -> str:
        found = words().components.get(o.component)
        if found is None or chance.random() < 0.5:
            return o.component
        try:
            return found.name if names.find(found.name) == o.component else o.component
        except UnknownName:
            return o.component

    def money(value: Decimal | None, high: Decimal | None = None, *, empty: str = "") -> Any:
        if value is None:
            return empty
        if high is not None:
            return f"{money(value)} - {money(high)}" if commas else f"{written(value)}-{written(high)}"
        return f"€ {value:,.2f}".translate(str.maketrans(",.", ".,")) if commas else float(value)

    def count(value: Decimal) -> Any:
        return written(value).replace(".", ",") if commas else float(value)

    most = max(len(o.parts) for o in catalogue.operations)
    columns: dict[str, list[Any]] = {
        "Code": [o.code for o in catalogue.operations],
        "Text": [o.name for o in catalogue.operations],
        "Group": [o.system for o in catalogue.operations],
        "Item": [component(o) for o in catalogue.operations],
        "Verb": [THEIR_ACTIONS[o.action] for o in catalogue.operations],
        "Basis": [o.per for o in catalogue.operations],
        "Min": [None if o.hours is None else int(o.hours * 60) for o in catalogue.operations],
        "Contains": ["; ".join(o.includes) for o in catalogue.operations],
        "Opens": [" | ".join(o.shares) for o in catalogue.operations],
        "Opening min": [int(o.shared_hours * 60) for o in catalogue.operations],
        "Out": ["x" if o.sublet else "" for o in catalogue.operations],
        # an operation without a price and one whose price is to be found are the same once read
        "Price": [
            money(o.price, o.price_high, empty="ask" if o.hours is None else "") for o in catalogue.operations
        ],
        "Words": [" | ".join(o.also) for o in catalogue.operations],
        "Then": ["; ".join(o.follow_on) for o in catalogue.operations],
        "Remark": [chance.choice(["", "-", "=1+1", "see book"]) for _ in catalogue.operations],
    }
    for n in range(most):

        def of(o: Operation, n: int = n) -> PartUse | None:
            return o.parts[n] if n < len(o.parts) else None

        parts = [of(o) for o in catalogue.operations]
        columns[f"P{n}"] = [p and p.name for p in parts]
        columns[f"P{n} no"] = [p and count(p.quantity) for p in parts]
        columns[f"P{n} of"] = [p and p.unit for p in parts]
        columns[f"P{n} cost"] = [p and money(p.price, p.price_high, empty="tbc") for p in parts]
        columns[f"P{n} kind"] = [p and p.kind for p in parts]
        columns[f"P{n} ours"] = [p and ("yes" if p.fixed else "no") for p in parts]
        columns[f"P{n} state"] = [p and p.condition for p in parts]
    order = list(columns)
    chance.shuffle(order)
    rows = [order, *([columns[name][i] for name in order] for i in range(len(catalogue.operations)))]
    actions = ", ".join(f'"{theirs}": {ours}' for ours, theirs in THEIR_ACTIONS.items())
    marks = '{ decimal: ",", thousands: ".", currency: ["€"] }' if commas else "{}"
    text = f"""\
format: voicecheck-mapping/1
for: catalogue
numbers: {marks}
columns:
  code: Code
  name: Text
  system: Group
  component: Item
  action: {{ column: Verb, values: {{ {actions} }} }}
  per: Basis
  hours: {{ column: Min, unit: minutes }}
  includes: {{ column: Contains, split: ";" }}
  shares: Opens
  shared_hours: {{ column: Opening min, unit: minutes }}
  sublet: {{ column: Out, values: {{ x: "yes" }} }}
  price: {{ column: Price, values: {{ ask: "?" }} }}
  also: Words
  follow_on: {{ column: Then, split: ";" }}
parts:
"""
    for n in range(most):
        text += (
            f"  - {{ name: P{n}, quantity: P{n} no, unit: P{n} of, kind: P{n} kind, fixed: P{n} ours, "
            f'condition: P{n} state, price: {{ column: P{n} cost, values: {{ tbc: "?" }} }} }}\n'
        )
    return rows, text


@pytest.mark.parametrize("commas", [False, True])
def test_our_catalogue_comes_back_from_a_scrambled_spreadsheet(tmp_path: Path, commas: bool) -> None:
    rows, mapping = scrambled(shared(), seed=7, commas=commas)
    outcome = bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", rows), mapping)
    assert outcome.written, told(outcome)[:3000]
    assert load_catalogue(tmp_path / "shop/catalogue.csv").operations == shared().operations
    assert "Columns not used: Remark." in outcome.notes


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 10_000), st.booleans(), st.booleans(), st.integers(5, 25))
def test_any_part_of_it_comes_back_from_any_scrambling(
    tmp_path: Path, seed: int, commas: bool, text: bool, many: int
) -> None:
    chance = random.Random(seed)
    picked = chance.sample(shared().operations, many)
    codes = {o.code for o in picked}
    closed = tuple(
        o.model_copy(
            update={
                "includes": tuple(c for c in o.includes if c in codes),
                "follow_on": tuple(c for c in o.follow_on if c in codes),
            }
        )
        for o in picked
    )
    rows, mapping = scrambled(Catalogue(name="some", operations=closed), seed=seed, commas=commas)
    if text:
        source = write_csv(tmp_path / "t.csv", rows, delimiter=";", encoding="cp1252")
    else:
        source = write_xlsx(tmp_path / "t.xlsx", rows)
    outcome = bring(tmp_path, source, mapping)
    assert not outcome.errors, told(outcome)
    assert load_catalogue(tmp_path / "shop/catalogue.csv").operations == closed


def test_our_own_file_is_brought_with_its_own_headings(tmp_path: Path) -> None:
    mapping = "format: voicecheck-mapping/1\nfor: catalogue\ncolumns:\n" + "".join(
        f"  {n}: {n}\n" for n in FIELDS
    )
    outcome = bring(tmp_path, shared_dir() / "catalogue.csv", mapping)
    assert outcome.written, told(outcome)[:3000]
    assert load_catalogue(tmp_path / "shop/catalogue.csv").operations == shared().operations


def test_every_column_of_the_catalogue_is_read_by_its_kind() -> None:
    assert {name: kind_of(name) for name in ("code", "also", "includes", "follow_on", "hours", "price")} == {
        "code": "text", "also": "list", "includes": "list", "follow_on": "list", "hours": "hours",
        "price": "money",
    }  # fmt: skip


# -- faults --------------------------------------------------------------------------------------------------


def test_all_faults_at_once_in_their_terms(tmp_path: Path) -> None:
    rows = table(A3="a-1", C2="brake padz", D4="fettle", E2="72 min", G3=0)
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", rows))
    assert not outcome.written
    assert [(f.row, f.column, f.field, f.value) for f in outcome.faults] == [
        (2, "Minutes", "hours", "72 min"),
        (2, "Part", "component", "brake padz"),
        (3, "Op", "code", "a-1"),
        (3, "", "parts", ""),
        (4, "Work", "action", "fettle"),
    ] or told(outcome)
    text = told(outcome)
    assert "already used in row 2" in text  # the row of their file
    assert "nearest: brake_pads" in text
    assert "columns: action: values" in text
    assert "allowed: replace" in text


def test_a_fault_of_a_row_below_a_title_is_told_with_that_row(tmp_path: Path) -> None:
    rows = [["Title"], [], *table(A4="A-1")]
    (fault,) = bring(tmp_path, write_xlsx(tmp_path / "t.xlsx", rows)).faults
    assert (fault.row, fault.cell) == (6, "A6")
    assert "already used in row 4" in fault.message


def test_missing_fields_of_the_mapping_are_told_once(tmp_path: Path) -> None:
    mapping = MAP.replace("  per: { constant: axle }\n", "")
    (fault,) = bring(tmp_path, write_csv(tmp_path / "t.csv", table()), mapping).faults
    assert (fault.row, fault.field) == (None, "per")


def test_a_wrong_constant_is_told_once(tmp_path: Path) -> None:
    mapping = MAP.replace("constant: axle", "constant: wheel")
    (fault,) = bring(tmp_path, write_csv(tmp_path / "t.csv", table()), mapping).faults
    assert "mapping" in fault.todo
    assert fault.row is None


def test_units_that_do_not_go_with_a_field(tmp_path: Path) -> None:
    mapping = MAP.replace("name: What", "name: { column: What, unit: minutes }")
    assert "does not go with “name”" in told(bring(tmp_path, write_csv(tmp_path / "t.csv", table()), mapping))


def test_names_of_several_components_are_not_chosen_from(tmp_path: Path) -> None:
    text = told(bring(tmp_path, write_csv(tmp_path / "t.csv", table(C2="driveshaft"))))
    assert "several components" in text
    assert "cv_axle" in text
    assert "propshaft" in text


def test_components_by_name_are_told(tmp_path: Path) -> None:
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", table(C3="Brake-Rotor")))
    assert "“Brake-Rotor” was taken for brake_rotor by its name." in outcome.notes


@settings(max_examples=15, deadline=None)  # near names take time to find
@given(st.sampled_from(sorted(words().components)), st.randoms(use_true_random=False))
def test_only_a_name_of_the_lexicon_is_ever_taken(component: str, chance: random.Random) -> None:
    names = ComponentNames(words().components)
    name = chance.choice(words().components[component].names)
    at = chance.randrange(len(name))
    spoilt = name[:at] + chance.choice("qxzw") + name[at:]
    for word in (name, name.upper(), name.replace(" ", "-"), spoilt):
        try:
            found = names.find(word)
        except UnknownName:
            continue
        plain = {n.lower().replace("-", " ") for n in words().components[found].names}
        assert word == found or word.lower().replace("-", " ") in plain


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"F2": ""}, "a part has a quantity and no name"),
        ({"G2": None}, "has no quantity"),
        ({"F2": "a|b"}, "cannot contain “|”"),
        ({"G2": -1}, "above nought"),
        ({"H2": "-3"}, "negative"),
        ({"A2": "#1"}, "begin with “#”"),
        ({"E2": None}, "without hours"),
        ({"E2": 6000}, "above 60 hours"),
    ],
)
def test_faults_of_single_cells(tmp_path: Path, changed: dict[str, Any], says: str) -> None:
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", table(**changed)))
    assert says in told(outcome)
    assert outcome.faults[0].row == 2
    assert not (tmp_path / "shop").exists()


def test_a_part_without_a_price_stays_open(tmp_path: Path) -> None:
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", table(H2="", H3=0)))
    assert outcome.written
    first, second, _ = load_catalogue(tmp_path / "shop/catalogue.csv").operations
    assert first.parts[0].price is None
    assert second.parts[0].price == 0
    assert any("Parts at a price of 0: 1" in n for n in outcome.notes)


def test_parts_in_a_sheet_of_their_own(tmp_path: Path) -> None:
    source = write_xlsx(tmp_path / "t.xlsx", [row[:5] for row in table()])
    book = openpyxl.load_workbook(source)
    sheet = book.create_sheet("Parts")
    for row in (
        ["Job", "Part", "No", "Each"], ["A-1", "pad set", 1, 48.5], ["A-1", "grease", 0.01, None],
        ["A-2", "rotor", 2, 61],
    ):  # fmt: skip
        sheet.append(row)
    book.save(source)
    mapping = MAP[: MAP.index("parts:")] + (
        "table: { sheet: Labour }\n"
        "parts_table: { sheet: Parts, code: Job, name: Part, quantity: No, price: Each, "
        "kind: { column: Part, values: { pad set: part, grease: fluid, rotor: part } } }\n"
    )
    outcome = bring(tmp_path, source, mapping)
    assert outcome.written, told(outcome)
    first, second, third = load_catalogue(tmp_path / "shop/catalogue.csv").operations
    assert [(p.name, p.kind, p.price) for p in first.parts] == [
        ("pad set", "part", Decimal("48.5")),
        ("grease", "fluid", None),
    ]
    assert (len(second.parts), len(third.parts)) == (1, 0)
    sheet.append(["A-9", "rotor", 1, 5])
    book.save(source)
    assert "“A-9”, which no operation has" in told(bring(tmp_path, source, mapping))


# -- all or nothing, and what changes ------------------------------------------------------------------------

SPOILT = ["brake padz", "", "2024", "#REF!", "R&R"]


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from("ABCDEFGH"), st.integers(2, 4), st.sampled_from(SPOILT))
def test_with_any_fault_nothing_is_written(tmp_path: Path, column: str, row: int, value: str) -> None:
    shop = tmp_path / "shop"
    bring(tmp_path, write_csv(tmp_path / "t.csv", table()))
    before = {p: p.read_bytes() for p in shop.rglob("*") if p.is_file()}
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", table(**{f"{column}{row}": value})))
    after = {p: p.read_bytes() for p in shop.rglob("*") if p.is_file()}
    if outcome.errors:
        assert not outcome.written
        assert after == before
    else:
        assert outcome.changes is not None
        assert outcome.written == outcome.changes.any
        load_catalogue(shop / "catalogue.csv", component_ids=words().components.keys())
        (shop / "catalogue.csv").unlink()


def test_a_dry_run_writes_nothing_and_tells_the_same(tmp_path: Path) -> None:
    source = write_csv(tmp_path / "t.csv", table())
    dry = bring(tmp_path, source, dry_run=True)
    assert not (tmp_path / "shop").exists()
    wet = bring(tmp_path, source)
    assert dry.changes == wet.changes
    assert (dry.written, wet.written) == (False, True)


def test_changes_are_told_row_by_row_and_field_by_field(tmp_path: Path) -> None:
    bring(tmp_path, write_csv(tmp_path / "t.csv", table()))
    rows = [*table(A3="A-7", E2=90, H2=50)]
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", rows))
    changes = outcome.changes
    assert changes is not None
    assert (changes.new, changes.gone, changes.unchanged) == (("A-7",), ("A-2",), 1)
    (change,) = changes.changed
    assert change.key == "A-1"
    assert ("hours", "1.2", "1.5") in change.fields
    assert any(f == "parts" and "price 48.5" in a and "price 50" in b for f, a, b in change.fields)


def test_a_present_file_that_cannot_be_read_is_kept_all_the_same(tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    shop.mkdir()
    (shop / "catalogue.csv").write_text("not a catalogue\n")
    outcome = bring(tmp_path, write_csv(tmp_path / "t.csv", table()))
    assert outcome.written
    assert any("counts as new" in n for n in outcome.notes)
    assert outcome.kept is not None
    assert outcome.kept.read_text() == "not a catalogue\n"
