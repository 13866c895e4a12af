"""Wear still left, and when a limit will be reached."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.estimate.wear import ASSUMPTION, Bound, Forecast, Worn, forecast, wear_left

D = Decimal
PADS = Bound(value=D(3), unit="mm")


def worn(value: str, odometer: int, unit: str = "mm", road: str = "mi", **more: Any) -> Worn:
    fields = {"value": D(value), "unit": unit, "odometer": D(odometer), "odometer_unit": road, **more}
    return Worn.model_validate(fields)


def told(earlier: Worn, later: Worn, bound: Bound = PADS) -> Forecast:
    found = forecast(earlier, later, bound)
    assert isinstance(found, Forecast), found
    return found


def test_an_interval_by_hand() -> None:
    """8 mm to 5 mm in 30,000 mi, each within 0.5 mm; 2 mm are left above 3 mm.

    Soonest: 1.5 mm left, 4 mm worn in 30,000 mi: 11,250 mi on. Latest: 2.5 mm left, 2 mm worn: 37,500 mi on.
    """
    found = told(worn("8", 20_000), worn("5", 50_000))
    assert (found.left, found.earliest, found.latest) == (D(2), D(61_250), D(87_500))
    assert found.message == (f"2 mm left. The limit will be reached between 61250 and 87500 mi. {ASSUMPTION}")


def test_what_is_measured_more_exactly_is_forecast_more_closely() -> None:
    rough = told(worn("8", 20_000), worn("5", 50_000))
    fine = told(worn("8.0", 20_000), worn("5.0", 50_000))
    assert rough.earliest < fine.earliest < (fine.latest or D(0)) < (rough.latest or D(0))


def test_readings_that_may_be_the_same_name_no_latest() -> None:
    found = told(worn("5", 20_000), worn("4", 50_000))
    assert (found.latest, found.reached) == (None, False)
    assert "too close to name a latest" in found.message


def test_beyond_the_limit_it_is_reached() -> None:
    found = told(worn("5", 20_000), worn("2", 50_000))
    assert (found.left, found.reached, found.earliest, found.latest) == (D(-1), True, D(50_000), D(50_000))


def test_units_are_those_of_the_later_reading() -> None:
    """10/32 in to 5/32 in of tread in 20,000 km against 1.6 mm, the first odometer in miles."""
    limit = Bound(value=D("1.5875"), unit="mm")
    found = told(worn("10", 10_000, "1/32 in"), worn("5", 36_094, "1/32 in", "km"), limit)
    assert (found.left, found.left_unit, found.unit) == (D(3), "1/32 in", "km")
    assert 36_094 < found.earliest < 50_000


@pytest.mark.parametrize(
    ("earlier", "later", "why"),
    [
        (worn("8", 50_000), worn("5", 50_000), "not taken at a higher mileage"),
        (worn("5", 20_000), worn("9", 50_000), "renewed in between"),
    ],
)
def test_two_readings_that_do_not_tell(earlier: Worn, later: Worn, why: str) -> None:
    found = forecast(earlier, later, PADS)
    assert isinstance(found, str)
    assert why in found


def test_a_largest_value_is_worn_towards_from_below() -> None:
    drum = Bound(value=D("230.0"), unit="mm", bound="max")
    assert wear_left(D("229.2"), "mm", drum) == D("0.8")
    found = told(worn("228.6", 20_000), worn("229.2", 60_000), drum)
    assert (found.earliest, found.latest) == (D(102_857), D(128_000))


def test_units_without_a_common_scale_are_refused() -> None:
    with pytest.raises(ValueError, match="psi cannot be said in mm"):
        forecast(worn("8", 1, "psi"), worn("5", 2), PADS)


whole = st.integers(0, 300).map(lambda n: D(n) / 10)


@given(whole, whole, st.integers(0, 200_000), st.integers(1, 100_000))
def test_even_wear_reaches_the_limit_within_the_interval(
    then: Decimal, now: Decimal, start: int, driven: int
) -> None:
    found = forecast(worn(str(then), start), worn(str(now), start + driven), PADS)
    if isinstance(found, str) or found.reached:
        return
    assert found.earliest >= start + driven
    if then > now:
        at = D(start + driven) + (now - 3) / (then - now) * driven
        assert found.earliest <= at
        assert found.latest is None or at <= found.latest
