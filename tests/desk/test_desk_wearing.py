"""Readings beside those of an earlier visit. The arithmetic is checked by hand in the docstrings."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest

from voicecheck.desk.wearing import wear_since
from voicecheck.pipeline import Workshop, draft_from_transcript, text_recording, transcript_from_text
from voicecheck.records import Draft, Market

BEFORE = (
    "Eighty thousand miles on this one. Left front tire is at seven thirty-seconds. "
    "Front pads are at six mil."
)
NOW = "Ninety thousand miles on it. Left front tire is at four thirty-seconds. Front pads are at three mil."
Drafted = Callable[[str], Draft]


@pytest.fixture(scope="module")
def drafted(rules_of: Callable[[Market], Workshop]) -> Drafted:
    workshop = rules_of("US")

    def make(text: str) -> Draft:
        return draft_from_transcript(
            workshop, transcript_from_text(text), recording=text_recording("notes", text)
        )

    return make


def test_a_reading_of_both_visits_is_forecast(drafted: Drafted) -> None:
    """Three 32nds in 10,000 mi, two left, each reading exact to half a 32nd.

    Earliest: (2 - 0.5) / (3 + 1) x 10,000 = 3,750; latest: (2 + 0.5) / (3 - 1) x 10,000 = 12,500 mi from now.
    """
    found = {w.what: w for w in wear_since(drafted(NOW), [drafted(BEFORE)])}
    tire = found["Front left tire, tread depth"]
    assert (tire.then, tire.now, tire.unit) == (Decimal(7), Decimal(4), "1/32 in")
    assert tire.forecast is not None
    assert (tire.forecast.earliest, tire.forecast.latest) == (Decimal(93_750), Decimal(102_500))
    assert "Assumes" in tire.text
    assert "safe" not in tire.text


def test_the_newest_earlier_visit_counts(drafted: Drafted) -> None:
    between = BEFORE.replace("Eighty", "Eighty-five").replace("seven", "five")
    (tire, *_) = wear_since(drafted(NOW), [drafted(between), drafted(BEFORE)])
    assert tire.then == Decimal(5)


@pytest.mark.parametrize(
    ("now", "before"),
    [
        (NOW.replace("Ninety thousand miles on it. ", ""), BEFORE),  # no mileage now
        (NOW, BEFORE.replace("Eighty thousand miles on this one. ", "")),  # none then
        (NOW, "Eighty thousand miles. Right front tire is at seven thirty-seconds."),  # another corner
    ],
)
def test_without_the_same_reading_or_a_mileage_nothing_is_said(
    drafted: Drafted, now: str, before: str
) -> None:
    assert [w for w in wear_since(drafted(now), [drafted(before)]) if "tire" in w.what] == []


def test_a_renewed_part_is_no_forecast(drafted: Drafted) -> None:
    new = NOW.replace("at four", "at nine")
    tire = next(w for w in wear_since(drafted(new), [drafted(BEFORE)]) if "tire" in w.what)
    assert tire.forecast is None
    assert "renewed" in tire.text
