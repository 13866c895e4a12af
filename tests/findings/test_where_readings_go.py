"""Readings told in a row, carried over to the other side, or left by a finding that another takes in."""

from __future__ import annotations

import pytest

from voicecheck.findings import Finder
from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import transcript_from_text
from voicecheck.records import Finding


def read(reader: Reader, lexicon: Lexicon, text: str) -> list[tuple[float, str, str | None]]:
    transcript = transcript_from_text(text)
    findings: tuple[Finding, ...] = Finder(lexicon).find(reader.read(transcript), transcript).findings
    return [(float(m.value), m.unit, m.position) for finding in findings for m in finding.measures]


ROUND = ["front left", "front right", "rear left", "rear right"]


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("Pads, nine, nine, eight, eight. All good.", [9, 9, 8, 8]),
        ("Pads are seven, seven, six, six millimeters.", [7, 7, 6, 6]),
        ("Tires, five, five, and four, four.", [5, 5, 4, 4]),
    ],
)
def test_four_readings_in_a_row_go_round_the_car(
    reader: Reader, lexicon: Lexicon, text: str, values: list[float]
) -> None:
    got = read(reader, lexicon, text)
    assert [(value, where) for value, _, where in got] == list(zip(values, ROUND, strict=True))


@pytest.mark.parametrize(
    "text",
    [
        "Pads are nine, eight, seven, six.",  # left and right of an axle are not told apart
        "Rear tires, five, five, four, four.",  # all of one axle
        "Pads, nine, nine, eight.",
        "Battery, twelve six, twelve six, twelve four, twelve four.",  # not at the wheels
    ],
)
def test_other_rows_of_readings_are_given_no_corner(reader: Reader, lexicon: Lexicon, text: str) -> None:
    got = read(reader, lexicon, text)
    assert got
    assert not {where for _, _, where in got} & set(ROUND)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            "Front pads, left has three millimeters, the right has the same.",
            [(3, "front left"), (3, "front right")],
        ),
        (
            "Front rotors, left is at twenty four, right is the same.",
            [(24, "front left"), (24, "front right")],
        ),
        (
            "Front pads, left has three millimeters, the right has five.",
            [(3, "front left"), (5, "front right")],
        ),
        ("Front pads, left has three millimeters. The right caliper is the same.", [(3, "front left")]),
    ],
)
def test_the_same_on_the_other_side_is_a_reading_there(
    reader: Reader, lexicon: Lexicon, text: str, wanted: list[tuple[float, str]]
) -> None:
    assert [(value, where) for value, _, where in read(reader, lexicon, text)] == wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("Battery, twelve six, seven hundred amps.", [(12.6, "V"), (700, "A")]),
        ("Battery, twelve four, four hundred amps, weak.", [(12.4, "V"), (400, "A")]),
        ("Battery tested at four fifty, five hundred amps.", [(450, "A"), (500, "A")]),
        ("Air conditioning is cold, forty two.", [(42, "°F")]),
        ("Air conditioning is blowing sixty eight.", [(68, "°F")]),
        ("Air conditioning, low side is forty two.", [(42, "psi")]),
    ],
)
def test_a_number_without_a_unit_has_that_of_what_is_read(
    reader: Reader, lexicon: Lexicon, text: str, wanted: list[tuple[float, str]]
) -> None:
    assert [(value, unit) for value, unit, _ in read(reader, lexicon, text)] == wanted
