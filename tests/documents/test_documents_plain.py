"""Values in plain words."""

from __future__ import annotations

from decimal import Decimal

import pytest

from voicecheck.documents import plain
from voicecheck.records import UNITS, Measure


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"value": "4", "unit": "1/32 in"}, "4/32 in"),
        ({"value": "2", "unit": "1/32 in", "high": "3"}, "2/32 to 3/32 in"),
        ({"value": "3", "unit": "mm"}, "3 mm"),
        ({"value": "3.0", "unit": "mm", "bound": "<"}, "under 3 mm"),
        ({"value": "12.40", "unit": "V"}, "12.4 V"),
        ({"value": "2", "unit": "mm", "high": "3", "bound": "~"}, "about 2 to 3 mm"),
        ({"value": "35", "unit": "0.001 in"}, "0.035 in"),
        ({"value": "87412", "unit": "mi"}, "87,412 mi"),
        ({"value": "300", "unit": "code"}, "code 300"),
        ({"value": "2", "unit": "count"}, "2"),
        ({"value": "1", "unit": "year"}, "1 year"),
        ({"value": "5", "unit": "year"}, "5 years"),
        ({"value": "1E+2", "unit": "%", "bound": ">"}, "over 100 %"),
    ],
)
def test_amounts(fields: dict[str, str], expected: str) -> None:
    assert plain.amount_of(Measure.model_validate({"what": "x", **fields})) == expected


def test_every_unit_can_be_said() -> None:
    for unit in UNITS:
        assert "7" in plain.amount_of(Measure(what="x", value=Decimal(7), unit=unit))


def test_a_whole_measure_says_where() -> None:
    measure = Measure(what="pad thickness", value=Decimal(3), unit="mm", position="front left", place="inner")
    assert plain.measure_text(measure) == "pad thickness 3 mm (inner, front left)"


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [(None, ""), (0.0, "0:00"), (42.99, "0:42"), (60.0, "1:00"), (3661.0, "1:01:01"), (-0.2, "0:00")],
)
def test_clock(seconds: float | None, expected: str) -> None:
    assert plain.clock(seconds) == expected


def test_placed_puts_qualifiers_where_they_are_said() -> None:
    assert plain.placed("ball joint", ["lower"], ["front left", "front right"]) == (
        "lower ball joint, front left and front right"
    )
    assert plain.placed("valve cover gasket", ["bank 1"], []) == "valve cover gasket, bank 1"


def test_money_follows_the_market_and_unknown_is_words() -> None:
    assert plain.money(Decimal("1234.5"), "USD", "US") == "$1,234.50"
    assert plain.money(Decimal("1234.5"), "GBP", "UK") == "£1,234.50"
    assert plain.money_or_open(None, "USD", "US") == "to be priced"
    assert plain.money_or_open(Decimal("0"), "USD", "US") == "$0.00"
