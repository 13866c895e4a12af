"""``prices.….yaml`` and ``cautions.yaml``: faults with their lines, and values kept exact."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from voicecheck.catalogue import check_cautions, check_prices, load_cautions, load_prices
from voicecheck.records import DataError

GOOD = """\
name: a shop
market: UK
currency: GBP
labour_rate: 75.10
markup:
  - {up_to: 10.00, factor: 1.8}
  - {up_to: null, factor: 1.2}
supplies_percent: 2.5
supplies_cap: 15
tax_percent: 20
taxed: [labour, part]
"""


def prices(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "prices.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_good_profile_is_exact(tmp_path: Path) -> None:
    path = prices(tmp_path, GOOD)
    assert check_prices(path) == []
    profile = load_prices(path)
    assert profile.labour_rate == Decimal("75.10")
    assert [(b.up_to, b.factor) for b in profile.markup] == [
        (Decimal("10.00"), Decimal("1.8")),
        (None, Decimal("1.2")),
    ]
    assert (profile.supplies_percent, profile.supplies_cap) == (Decimal("2.5"), Decimal(15))
    assert profile.taxed == ("labour", "part")
    assert profile.diagnostic_rate is None


@pytest.mark.parametrize(
    ("old", "new", "row", "field", "words"),
    [
        ("name: a shop\n", "", None, "name", "missing; needed: name, market"),
        ("name: a shop", "name:", 1, "name", "empty"),
        ("name: a shop", "name: [a, shop]", 1, "name", "not a list"),
        ("market: UK", "market: NO", 2, "market", "allowed: US, UK"),
        ("GBP", "GPB", 3, "currency", "ISO 4217"),
        ("75.10", "75,10", 4, "labour_rate", "decimal comma"),
        ("75.10", "-75", 4, "labour_rate", "negative"),
        ("75.10", "0", 4, "labour_rate", "above nought"),
        ("75.10", ".inf", 4, "labour_rate", "not a plain number"),
        ("{up_to: 10.00, factor: 1.8}", "10.00", 6, "markup", "needs “up_to”"),
        ("{up_to: 10.00, factor: 1.8}", "{up_to: 10.00}", 6, "factor", "missing in a markup band"),
        ("factor: 1.8", "factr: 1.8, factor: 1.8", 6, "factr", "nearest: factor"),
        ("factor: 1.8", "factor: 0", 6, "markup", "not above 0"),
        ("factor: 1.8", "factor: 180", 6, "markup", "up to 10"),
        ("up_to: 10.00", "up_to: null", 7, "markup", "no band can follow"),
        ("up_to: null,", "up_to: 9.00, factor: 1.5}\n  - {up_to: null,", 7, "markup", "must rise"),
        ("supplies_percent: 2.5", "supplies_percent: 101", 8, "supplies_percent", "0 to 100"),
        ("tax_percent: 20", "tax_percent: -1", 10, "tax_percent", "0 to 100"),
        ("[labour, part]", "[labour, parts]", 11, "taxed", "nearest: part; allowed: labour, part"),
        ("[labour, part]", "labour", 11, "taxed", "a list is needed"),
        ("supplies_cap: 15", "suplies_cap: 15", 9, "suplies_cap", "nearest: supplies_cap"),
        ("supplies_cap: 15", "name: again", 9, "name", "already set in line 1"),
    ],
)
def test_a_broken_value_is_one_error_with_its_line(
    tmp_path: Path, old: str, new: str, row: int | None, field: str, words: str
) -> None:
    assert GOOD.count(old) >= 1
    path = prices(tmp_path, GOOD.replace(old, new, 1))
    found = check_prices(path)
    assert [(p.row, p.field, p.severity) for p in found] == [(row, field, "error")], [str(p) for p in found]
    assert words in found[0].message
    with pytest.raises(DataError) as caught:
        load_prices(path)
    assert list(caught.value.problems) == found


@pytest.mark.parametrize(
    ("old", "new", "field", "words"),
    [
        ("  - {up_to: null, factor: 1.2}\n", "", "markup", "above 10.00"),
        ("factor: 1.8", "factor: 0.8", "markup", "below cost"),
        ("taxed: [labour, part]", "taxed: []", "taxed", "nothing that it applies to"),
        ("[labour, part]", "[part, part]", "taxed", "twice"),
    ],
)
def test_a_doubtful_value_is_one_warning(tmp_path: Path, old: str, new: str, field: str, words: str) -> None:
    path = prices(tmp_path, GOOD.replace(old, new, 1))
    found = check_prices(path)
    assert [(p.field, p.severity) for p in found] == [(field, "warning")]
    assert words in found[0].message
    assert load_prices(path).name == "a shop"


@pytest.mark.parametrize(
    ("text", "row", "words"),
    [
        ("", None, "empty"),
        ("# only a note\n", None, "nothing but comments"),
        ("- a\n- b\n", 1, "key: value"),
        ("name: a\nmarket: [US\ncurrency: USD\n", 3, "not readable as YAML"),
        ("name: a\n\tmarket: US\n", 2, "not readable as YAML"),
        ("name: a\nmarket: \x01\n", 2, "not readable as YAML"),
        ("name: a\n---\nname: b\n", 2, "not readable as YAML"),
        ("name: *nowhere\n", 1, "not readable as YAML"),
        ("[" * 20000, None, "nested too deeply"),
    ],
)
def test_a_file_that_is_no_mapping(tmp_path: Path, text: str, row: int | None, words: str) -> None:
    found = check_prices(prices(tmp_path, text))
    assert len(found) == 1, [str(p) for p in found]
    assert found[0].row == row
    assert words in found[0].message


def test_an_alias_that_holds_itself_ends(tmp_path: Path) -> None:
    found = check_prices(prices(tmp_path, GOOD.replace("[labour, part]", "&a [*a]")))
    assert any("nested too deeply" in p.message for p in found)


def test_cautions_by_market(tmp_path: Path) -> None:
    path = tmp_path / "cautions.yaml"
    path.write_text(
        "cautions:\n- {id: a, text: For all.}\n- {id: b, text: For one., markets: [UK]}\n", encoding="utf-8"
    )
    assert check_cautions(path) == []
    assert load_cautions(path, market="US") == ("For all.",)
    assert load_cautions(path, market="UK") == ("For all.", "For one.")


@pytest.mark.parametrize(
    ("text", "row", "words"),
    [
        ("cautions: []\n", 1, "at least one"),
        ("warnings: []\n", None, "missing"),
        ("cautions:\n- plain\n", 2, "needs “id”"),
        ("cautions:\n- {id: a, text: A.}\n- {id: a, text: B.}\n", 3, "already used in line 2"),
        ("cautions:\n- {id: a, text: ''}\n", 2, "empty"),
        ("cautions:\n- {id: a, text: A., markets: [FR]}\n", 2, "allowed: US, UK"),
        ("cautions:\n- {id: a, text: A., markets: UK}\n", 2, "list of markets"),
        ("cautions:\n- {id: a, text: A., colour: x}\n", 2, "unknown key “colour” in a caution"),
    ],
)
def test_broken_cautions(tmp_path: Path, text: str, row: int | None, words: str) -> None:
    path = tmp_path / "cautions.yaml"
    path.write_text(text, encoding="utf-8")
    found = check_cautions(path)
    assert any(p.row == row and words in p.message for p in found), [str(p) for p in found]
    with pytest.raises(DataError):
        load_cautions(path, market="US")
