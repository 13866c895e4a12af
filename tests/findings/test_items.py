"""How a clause is cut into parts, what leads them and what trails them."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicecheck.findings.items import ClauseItems, Cutter
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import Workshop, transcript_from_text
from voicecheck.records.reading import Clause

Cut = Callable[[str], ClauseItems]
AllCut = Callable[[str], list[tuple[Clause, ClauseItems]]]


@pytest.fixture(scope="module")
def cut(workshop: Workshop, lexicon: Lexicon) -> Cut:
    """The items of the first clause of a text."""
    cutter = Cutter(lexicon)

    def of(text: str) -> ClauseItems:
        reading = workshop.reader.read(transcript_from_text(text))
        return cutter.cut(reading.tokens, reading.clauses[0])

    return of


@pytest.fixture(scope="module")
def all_cut(workshop: Workshop, lexicon: Lexicon) -> AllCut:
    """Every clause of a text with its items."""
    cutter = Cutter(lexicon)

    def of(text: str) -> list[tuple[Clause, ClauseItems]]:
        reading = workshop.reader.read(transcript_from_text(text))
        return [(clause, cutter.cut(reading.tokens, clause)) for clause in reading.clauses]

    return of


def parts(items: ClauseItems) -> list[list[str]]:
    return [[part.component for part in item.parts] for item in items.items]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("pads and rotors are worn", [["brake_pads", "brake_rotor"]]),
        ("pads, rotors and calipers are good", [["brake_pads", "brake_rotor", "brake_caliper"]]),
        ("the strut and the tire are worn", [["strut", "tyre"]]),
        ("pads are worn and rotors are scored", [["brake_pads"], ["brake_rotor"]]),
        ("pads are good, rotors are scored", [["brake_pads"], ["brake_rotor"]]),
        ("torn wipers good tires", [["wiper_blade"], ["tyre"]]),
        ("the battery is dead", [["battery"]]),
    ],
)
def test_lists_and_statements(cut: Cut, text: str, expected: list[list[str]]) -> None:
    assert parts(cut(text)) == expected


@pytest.mark.parametrize(
    ("text", "component", "whole"),
    [
        ("the boot from the lower ball joint is torn", "rubber_boot", "ball_joint_lower"),
        ("the gasket at the oil pan is leaking", "gasket", "oil_pan"),
        ("the boot at the rack is split", "rubber_boot", "steering_rack"),
    ],
)
def test_a_piece_remembers_its_whole(cut: Cut, text: str, component: str, whole: str) -> None:
    (item,) = cut(text).items
    (part,) = item.parts
    assert (part.component, part.wholes) == (component, [whole])


def test_what_stands_before_a_part_leads_it(cut: Cut) -> None:
    (item,) = cut("the torn left front strut boot").items
    lead = {(m.kind, m.id) for m in item.parts[0].lead if m.kind != "grammar"}
    assert {("condition", "torn"), ("place", "front left")} <= lead


def test_what_stands_after_the_last_part_trails_it(cut: Cut) -> None:
    first, second = cut("pads are worn and rotors are scored").items
    assert [m.id for m in first.trail if m.kind == "condition"] == ["worn"]
    assert [m.id for m in second.trail if m.kind == "condition"] == ["scored"]


def test_words_before_the_first_part_are_the_head(cut: Cut) -> None:
    items = cut("leaking badly, and the pads are worn")
    assert [m.id for m in items.head if m.kind == "condition"] == ["leaking"]
    assert parts(items) == [["brake_pads"]]


def test_no_part_no_items(cut: Cut) -> None:
    items = cut("that is leaking")
    assert items.items == []
    assert any(m.kind == "condition" for m in items.head)


_WORDS = (
    "the left front pads rotors and boot strut on tie rod end is are torn leaking worn onto exhaust from , "
    "four mil no replace good might be both"
)


@settings(max_examples=80, deadline=None)
@given(st.lists(st.sampled_from(_WORDS.split()), min_size=1, max_size=16).map(" ".join))
def test_items_are_in_order_inside_their_clause_and_lose_no_part(all_cut: AllCut, text: str) -> None:
    if not any(letter.isalnum() for letter in text):
        return
    for clause, result in all_cut(text):
        last = clause.first
        for item in result.items:
            assert clause.first <= item.first < item.last <= clause.last
            assert item.first >= last or item.parts[0].mark.first >= last
            last = item.parts[-1].mark.last
        said = {m.id for m in clause.marks if m.kind == "component"}
        kept = {c for item in result.items for part in item.parts for c in (part.component, *part.wholes)}
        named = [m for m in clause.marks if m.kind == "component"]
        run_on = any(a.last == b.first for a, b in pairwise(named))  # a part of a part, or a kind of it
        landed = run_on or any(m.detail in ("target", "preposition", "source") for m in clause.marks)
        assert kept <= said
        assert landed or kept == said


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("front pads rotors worn", 2),
        ("rotors pads calipers are good", 3),
        ("left rear pads rotors hoses all need replaced", 3),
        ("wipers washers horn good", 3),
        ("ball joints tie rods struts tight", 3),
        ("control arms bushings are cracked", 1),
        ("brake pads sensor is broken", 1),
        ("brakes pads are low", 1),
        ("oil pan gasket leaks", 1),
    ],
)
def test_a_list_without_list_words(cut: Cut, text: str, expected: int) -> None:
    assert len([part for item in cut(text).items for part in item.parts]) == expected
