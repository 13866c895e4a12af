"""A saying weighed for one part: state, conditions, advice, urgency."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from voicecheck.findings.notes import Saying
from voicecheck.findings.state import Statement, Weigher, urgency_of
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import Workshop, transcript_from_text

Weigh = Callable[[str, str], Statement]


@pytest.fixture(scope="module")
def weigh(workshop: Workshop, lexicon: Lexicon) -> Weigh:
    """All marks of a text weighed for one component."""

    def of(component: str, text: str) -> Statement:
        reading = workshop.reader.read(transcript_from_text(text))
        marks = [m for clause in reading.clauses for m in clause.marks]
        return Weigher(lexicon, reading.tokens).weigh(
            component, Saying(marks), has_reading=False, strict=True
        )

    return of


@pytest.mark.parametrize(
    ("component", "text", "state", "conditions"),
    [
        ("strut", "is leaking", "defect", ["leaking"]),
        ("strut", "is leaking and bent", "defect", ["leaking", "bent"]),
        ("strut", "is not leaking", "ok", []),
        ("strut", "isn't leaking but it is bent", "defect", ["bent"]),
        ("strut", "looks good", "ok", []),
        ("strut", "might be leaking", "suspect", ["leaking"]),
        ("brake_pads", "are worn", "defect", ["worn"]),
        ("dust_cap", "is missing", "missing", ["missing"]),
        ("strut", "not checked", "not_checked", []),
        ("strut", "is there", None, []),
    ],
)
def test_states(weigh: Weigh, component: str, text: str, state: str | None, conditions: list[str]) -> None:
    said = weigh(component if component != "dust_cap" else "strut", text)
    assert said.state == state
    assert said.conditions == conditions


def test_a_reading_alone_is_fine(workshop: Workshop, lexicon: Lexicon) -> None:
    reading = workshop.reader.read(transcript_from_text("at four mil"))
    marks = [m for clause in reading.clauses for m in clause.marks]
    said = Weigher(lexicon, reading.tokens).weigh("brake_pads", Saying(marks), has_reading=True, strict=True)
    assert said.state == "ok"


def test_a_condition_that_does_not_fit_is_only_a_misfit(weigh: Weigh) -> None:
    said = weigh("windscreen", "won't hold a charge")
    assert said.state is None
    assert [m.id for m in said.misfits] == ["wont_hold_charge"]


@pytest.mark.parametrize(
    ("text", "action"),
    [
        ("replace it", "replace"),
        ("needs replacing", "replace"),
        ("should be replaced", "replace"),
        ("recommend a replacement", "replace"),
        ("was replaced last year", None),
        ("has been replaced", None),
        ("tested fine", None),
        ("keep an eye on it", "monitor"),
        ("leave it", "none"),
        ("don't replace it", "none"),
        ("clean and adjust it", "adjust"),
        ("is worn", None),
    ],
)
def test_advice(weigh: Weigh, text: str, action: str | None) -> None:
    assert weigh("brake_pads", text).action == action


@pytest.mark.parametrize(
    ("text", "urgency"),
    [
        ("must be replaced today", "now"),
        ("not safe", "now"),
        ("should be replaced soon", "soon"),
        ("whenever", "later"),
        ("at the next service", "later"),
        ("is worn", None),
        ("replace it whenever, no, right away", "now"),
    ],
)
def test_urgency(workshop: Workshop, text: str, urgency: str | None) -> None:
    reading = workshop.reader.read(transcript_from_text(text))
    assert urgency_of(Saying([m for clause in reading.clauses for m in clause.marks])) == urgency
