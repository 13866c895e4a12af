"""What was said of the vehicle itself."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from findings_kit import Found, find

from voicecheck.pipeline import Workshop
from voicecheck.records import Market, Vehicle

WorkshopOf = Callable[[Market], Workshop]


@pytest.mark.parametrize(
    ("text", "expected", "unit"),
    [
        ("Mileage is eighty seven thousand four hundred.", 87400, "mi"),
        ("Mileage eighty seven four.", 87400, "mi"),
        ("Mileage is ninety eight five hundred.", 98500, "mi"),
        ("Odometer reads one twenty two thousand.", 122000, "mi"),
        ("Odometer is at 87,400.", 87400, "mi"),
        ("It's got 87,400 miles on it.", 87400, "mi"),
        ("Eighty seven thousand miles on the clock, pads are good.", 87000, "mi"),
        ("Mileage 54k.", 54000, "mi"),
        ("140,000 kilometres on the clock.", 140000, "km"),
        ("87,400 miles. Pads are good.", 87400, "mi"),
        ("Mileage is 87,400. No, sorry, 87,500 miles.", 87500, "mi"),
        ("87,400 miles. Service is due every ten thousand miles.", 87400, "mi"),
        ("It's a 2014 model with 87,400 miles on it.", 87400, "mi"),
    ],
)
def test_odometer(found: Found, text: str, expected: int, unit: str) -> None:
    odometer = found(text).vehicle.odometer
    assert odometer is not None
    assert (odometer.value, odometer.unit) == (Decimal(expected), unit)


@pytest.mark.parametrize(
    "text",
    [
        "Left front strut is leaking, it was replaced 20,000 miles ago.",
        "Belt is due every 60,000 miles.",
        "Come back in five hundred miles.",
        "Do it within the next ten thousand miles.",
        "Battery tested at 650.",
        "It's a 2014 model.",
    ],
)
def test_no_odometer(found: Found, text: str) -> None:
    assert found(text).vehicle.odometer is None


@pytest.mark.parametrize(
    ("text", "year"),
    [
        ("It's a 2014 model.", 2014),
        ("It's a twenty fourteen model, pads are good.", 2014),
        ("It's a two thousand and eight model.", 2008),
        ("Model year is nineteen ninety eight.", 1998),
        ("Year is twenty oh eight.", 2008),
        ("Model year 2021.", 2021),
        ("Pads are 2014 something.", None),
        ("The year is fourteen.", None),
        ("Battery is two years old.", None),
        ("This model has drum brakes.", None),
    ],
)
def test_year(found: Found, text: str, year: int | None) -> None:
    assert found(text).vehicle.year == year


@pytest.mark.parametrize(
    ("market", "text", "plate"),
    [
        ("UK", "Reg is AB12 CDE.", "AB12CDE"),
        ("UK", "Registration number is A B one two C D E.", "AB12CDE"),
        (
            "UK",
            "Registration is alpha bravo one two charlie delta echo, nearside front tyre is worn.",
            "AB12CDE",
        ),
        ("UK", "Reg is L nine five eight kay you why.", "L958KUY"),
        ("UK", "Reg is A B oh seven C D oh.", "AB07CDO"),
        ("UK", "Reg is missing.", None),
        ("UK", "Number plate is cracked.", None),
        ("US", "Plate number is a b c one two three four.", "ABC1234"),
        ("US", "Tag number is 7 X Y Z 1 2 3.", "7XYZ123"),
        ("US", "Plate is bent.", None),
        ("US", "License plate light is out.", None),
        ("US", "License plate is a bit loose.", None),
    ],
)
def test_plate(rules_of: WorkshopOf, market: Market, text: str, plate: str | None) -> None:
    assert find(rules_of(market), text).vehicle.plate == plate


@pytest.mark.parametrize(
    ("market", "text", "vin"),
    [
        ("US", "VIN is 1M8GDM9AXKP042788. Left front strut is leaking.", "1M8GDM9AXKP042788"),
        (
            "US",
            "The vin number is um one m eight g d m nine a x k p oh four two seven eight eight.",
            "1M8GDM9AXKP042788",
        ),
        ("US", "VIN is 1M8GDM9A0KP042788.", None),
        ("UK", "VIN is 1M8GDM9A0KP042788.", "1M8GDM9A0KP042788"),
        ("US", "Last eight of the vin is KP042788.", None),
        ("US", "VIN plate is missing.", None),
    ],
)
def test_vin(rules_of: WorkshopOf, market: Market, text: str, vin: str | None) -> None:
    assert find(rules_of(market), text).vehicle.vin == vin


def test_nothing_said_nothing_known(found: Found) -> None:
    assert found("Left front strut is leaking at four thirty-seconds.").vehicle == Vehicle()


def test_the_vehicle_is_no_finding(found: Found) -> None:
    result = found("Mileage is 87,400. VIN is 1M8GDM9AXKP042788.")
    assert result.findings == ()
