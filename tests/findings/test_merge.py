"""One finding for one thing."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.findings.merge import Merger
from voicecheck.findings.notes import Note
from voicecheck.lexicon import Lexicon
from voicecheck.records import Measure
from voicecheck.records.vocabulary import CORNERS, Position


@pytest.fixture(scope="module")
def merger(lexicon: Lexicon) -> Merger:
    return Merger(lexicon)


def note(component: str, *positions: Position, **fields: Any) -> Note:
    at = fields.pop("at", 0)
    return Note(component=component, positions=positions, placed="said" if positions else "none",
                ranges=[(at, at + 1)], **fields)  # fmt: skip


def thickness(value: int) -> Measure:
    return Measure(what="pad thickness", value=Decimal(value), unit="mm")


def test_the_same_thing_twice_is_one(merger: Merger) -> None:
    (one,) = merger.merge(
        [
            note("strut", "front left", state="defect", conditions=["leaking"]),
            note("strut", "front left", state="defect", conditions=["bent"], at=5),
        ]
    )
    assert one.conditions == ["leaking", "bent"]
    assert one.ranges == [(0, 1), (5, 6)]


def test_elsewhere_is_another(merger: Merger) -> None:
    merged = merger.merge(
        [note("strut", "front left", state="defect"), note("strut", "front right", state="defect")]
    )
    assert [n.positions for n in merged] == [("front left",), ("front right",)]


def test_another_part_is_another(merger: Merger) -> None:
    merged = merger.merge([note("strut", "front left", state="ok"), note("shock", "front left", state="ok")])
    assert len(merged) == 2


def test_inner_and_outer_are_two(merger: Merger) -> None:
    merged = merger.merge(
        [
            note("tyre", "front left", state="ok", place=["inner"]),
            note("tyre", "front left", state="ok", place=["outer"]),
        ]
    )
    assert len(merged) == 2


def test_advice_joins_the_fault_told_before(merger: Merger) -> None:
    (one,) = merger.merge(
        [note("strut", "front left", state="defect"), note("strut", action="replace", urgency="soon", at=4)]
    )
    assert (one.positions, one.state, one.action, one.urgency) == (
        ("front left",),
        "defect",
        "replace",
        "soon",
    )


def test_later_advice_stands(merger: Merger) -> None:
    (one,) = merger.merge(
        [
            note("strut", "front left", state="defect", action="monitor"),
            note("strut", "front left", action="replace"),
        ]
    )
    assert one.action == "replace"


def test_a_fault_is_not_talked_away(merger: Merger) -> None:
    (one,) = merger.merge(
        [note("strut", "front left", state="defect"), note("strut", "front left", state="ok")]
    )
    assert one.state == "defect"


def test_what_was_not_checked_and_then_was_is_settled(merger: Merger) -> None:
    (one,) = merger.merge(
        [note("strut", "front left", state="not_checked"), note("strut", "front left", state="ok")]
    )
    assert one.state == "ok"


def test_what_was_taken_back_is_gone(merger: Merger) -> None:
    assert merger.merge([note("strut", "front left", state="defect", withdrawn=True)]) == []


def test_what_says_nothing_is_no_finding(merger: Merger) -> None:
    assert merger.merge([note("strut", "front left")]) == []


def test_advice_without_a_fault_is_a_fault(merger: Merger) -> None:
    (one,) = merger.merge([note("strut", "front left", action="replace")])
    assert one.state == "defect"


def test_a_missing_thing_is_installed(merger: Merger) -> None:
    (one,) = merger.merge([note("strut", "front left", state="missing", action="replace")])
    assert one.action == "install"


def test_readings_are_kept_in_order_and_once(merger: Merger) -> None:
    (one,) = merger.merge(
        [
            note(
                "brake_pads", "front", state="ok", measures=[thickness(4)], doubts={"state": "reading only"}
            ),
            note("brake_pads", "front", state="defect", measures=[thickness(4), thickness(3)], at=3),
        ]
    )
    assert one.measures == [thickness(4), thickness(3)]
    assert one.state == "defect"


def test_advice_for_both_sides_gathers_the_faults(merger: Merger) -> None:
    (one,) = merger.merge(
        [
            note("strut", "front left", state="defect", conditions=["leaking"]),
            note("strut", "front right", state="defect", conditions=["bent"], at=3),
            note("strut", "front left", "front right", action="replace", at=6),
        ]
    )
    assert set(one.positions) == {"front left", "front right"}
    assert one.conditions == ["leaking", "bent"]
    assert one.action == "replace"


def test_a_bare_boot_is_no_name_for_every_boot(merger: Merger) -> None:
    merged = merger.merge(
        [note("cv_boot", "front left", state="defect"), note("rubber_boot", state="defect", at=3)]
    )
    assert len(merged) == 2


_NOTES = st.lists(
    st.builds(
        lambda component, positions, state, action: (component, positions, state, action),
        st.sampled_from(["strut", "shock", "brake_pads", "battery"]),
        st.lists(st.sampled_from(CORNERS), unique=True, max_size=2).map(tuple),
        st.sampled_from([None, "ok", "defect", "suspect", "missing", "not_checked"]),
        st.sampled_from([None, "replace", "monitor", "none"]),
    ),
    max_size=6,
)


@given(_NOTES)
def test_merging_loses_no_words_and_ends_settled(
    merger: Merger, drafts: list[tuple[str, Any, Any, Any]]
) -> None:
    notes = [
        Note(
            component=c, positions=p, placed="said" if p else "none", state=s, action=a, ranges=[(at, at + 1)]
        )
        for at, (c, p, s, a) in enumerate(drafts)
    ]
    spoken = {r for n in notes if n.says_something for r in n.ranges}
    faulty = {n.component for n in notes if n.state == "defect"}
    merged = merger.merge(notes)
    assert {r for n in merged for r in n.ranges} == spoken
    assert all(n.state is not None and n.action is not None for n in merged)
    assert faulty <= {n.component for n in merged if n.state in ("defect", "missing", "suspect")}
    firsts = [min(n.ranges) for n in merged]
    assert firsts == sorted(firsts)
