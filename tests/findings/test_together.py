"""Work said to be done along with other work, and work that is not."""

from __future__ import annotations

import pytest
from findings_kit import Found

from voicecheck.records import FindingsResult


def ties(result: FindingsResult) -> list[tuple[str, str]]:
    """Which part's work goes with which."""
    by_id = {finding.id: finding.component.id for finding in result.findings}
    return [(f.component.id, by_id[f.done_with]) for f in result.findings if f.done_with is not None]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "Water pump is leaking, replace it. Replace the thermostat while we're in there.",
            ("thermostat", "water_pump"),
        ),
        (
            "Front pads need replacing. While we're in there, replace the rotors.",
            ("brake_rotor", "brake_pads"),
        ),
        (
            "Serpentine belt is cracked, needs replacing, and do the tensioner at the same time.",
            ("belt_tensioner", "serpentine_belt"),
        ),
    ],
)
def test_work_goes_with_the_work_just_told(found: Found, text: str, expected: tuple[str, str]) -> None:
    assert ties(found(text)) == [expected]


@pytest.mark.parametrize(
    "text",
    [
        "Water pump is leaking, replace it. Replace the thermostat.",
        "Water pump is fine. Replace the thermostat while we're in there.",
        "While I'm in here, ball joints are tight. Replace the battery.",
        "Replace the front pads as well as the wipers.",
        "Replace the water pump. Battery is good. Tires are good. Replace the wipers at the same time.",
    ],
)
def test_work_that_stands_alone(found: Found, text: str) -> None:
    assert ties(found(text)) == []


def test_the_tie_follows_a_finding_that_takes_in_another(found: Found) -> None:
    result = found(
        "Water pump is leaking, replace it. Replace the thermostat while we're in there. "
        "So again, the water pump is leaking, replace it."
    )
    assert ties(result) == [("thermostat", "water_pump")]
