"""``limits.csv``: every kind of fault."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from voicecheck.catalogue import check_limits, load_limits
from voicecheck.records import DataError

HEADER = "id,component,measure,bound,value,unit,market,scope,source,status"
FIRST = "tread,tire,tread_depth,min,1.6,mm,UK,,a rule,secondary"
BASE = {
    "id": "pads", "component": "brake_pads", "measure": "pad_thickness", "bound": "min", "value": "3",
    "unit": "mm", "market": "", "scope": "", "source": "trade advice", "status": "common practice",
}  # fmt: skip
COMPONENTS = frozenset({"tire", "brake_pads"})
MEASURES = frozenset({"tread_depth", "pad_thickness"})


def write(tmp_path: Path, **changes: str) -> Path:
    path = tmp_path / "limits.csv"
    path.write_text("\n".join((HEADER, FIRST, ",".join((BASE | changes).values()))), encoding="utf-8")
    return path


def test_good_limits(tmp_path: Path) -> None:
    path = write(tmp_path)
    assert check_limits(path, component_ids=COMPONENTS, measure_ids=MEASURES) == []
    tread, pads = load_limits(path, component_ids=COMPONENTS)
    assert (tread.value, tread.unit, tread.market, tread.status) == (Decimal("1.6"), "mm", "UK", "secondary")
    assert (pads.market, pads.scope, pads.source) == (None, "", "trade advice")


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"id": ""}, "id", "empty"),
        ({"id": "tread"}, "id", "already used in row 2"),
        ({"component": "brake_pad"}, "component", "nearest: brake_pads"),
        ({"bound": "at least"}, "bound", "allowed: min, max"),
        ({"value": ""}, "value", "empty"),
        ({"value": "3/32"}, "value", "not a plain number"),
        ({"value": "-3"}, "value", "negative"),
        ({"unit": "mil"}, "unit", "allowed: mm, cm"),
        ({"market": "EU"}, "market", "allowed: US, UK"),
        ({"source": ""}, "source", "empty"),
        ({"status": ""}, "status", "empty"),
        ({"status": "true"}, "status", "allowed: verified, secondary"),
    ],
)
def test_a_broken_cell_is_one_error(tmp_path: Path, changes: dict[str, str], field: str, words: str) -> None:
    path = write(tmp_path, **changes)
    found = check_limits(path, component_ids=COMPONENTS, measure_ids=MEASURES)
    assert [(p.row, p.field, p.severity) for p in found] == [(3, field, "error")], [str(p) for p in found]
    assert words in found[0].message
    with pytest.raises(DataError):
        load_limits(path, component_ids=COMPONENTS, measure_ids=MEASURES)


def test_a_measure_that_no_one_can_say_is_doubtful(tmp_path: Path) -> None:
    path = write(tmp_path, measure="pad_thicknes")
    found = check_limits(path, component_ids=COMPONENTS, measure_ids=MEASURES)
    assert [(p.row, p.field, p.severity) for p in found] == [(3, "measure", "warning")]
    assert "nearest: pad_thickness; the limit is never used" in found[0].message
    assert len(load_limits(path, measure_ids=MEASURES)) == 2


def test_below_zero_is_right_for_a_temperature(tmp_path: Path) -> None:
    assert check_limits(write(tmp_path, value="-18", unit="°C"), component_ids=COMPONENTS) == []


def test_two_values_for_one_thing_are_doubtful(tmp_path: Path) -> None:
    path = write(tmp_path, component="tire", measure="tread_depth", market="UK", value="3")
    found = check_limits(path, component_ids=COMPONENTS)
    assert [(p.row, p.severity) for p in found] == [(3, "warning")]
    assert len(load_limits(path, component_ids=COMPONENTS)) == 2


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="no such file"):
        load_limits(tmp_path / "limits.csv")
