"""Which of several overlapping marks stands."""

from __future__ import annotations

from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from voicecheck.language.overlap import settle
from voicecheck.records.reading import Mark, MarkKind

SIZE = 12


def mark(kind: MarkKind, first: int, last: int, *, id: str = "x", detail: str = "") -> Mark:
    return Mark(kind=kind, first=first, last=last, id=id, detail=detail)


def kept(*marks: Mark) -> list[tuple[str, int, int]]:
    return [(m.kind, m.first, m.last) for m in settle(marks, size=SIZE)]


def test_the_longest_stands() -> None:
    assert kept(mark("action", 0, 1), mark("component", 0, 2)) == [("component", 0, 2)]
    assert kept(mark("cue", 1, 2), mark("condition", 0, 3)) == [("condition", 0, 3)]


def test_over_the_same_words_all_stand() -> None:
    assert kept(mark("condition", 2, 3), mark("measure", 2, 3)) == [("condition", 2, 3), ("measure", 2, 3)]


def test_at_equal_length_a_part_beats_a_verb() -> None:
    assert kept(mark("action", 0, 2), mark("component", 1, 3)) == [("component", 1, 3)]


def test_apart_all_stand() -> None:
    assert kept(mark("place", 0, 1, detail="side"), mark("component", 1, 3), mark("condition", 4, 5)) == [
        ("place", 0, 1),
        ("component", 1, 3),
        ("condition", 4, 5),
    ]


def test_grammar_and_measure_names_never_compete() -> None:
    assert sorted(kept(mark("grammar", 0, 1), mark("measure", 1, 2), mark("component", 0, 2))) == [
        ("component", 0, 2),
        ("grammar", 0, 1),
        ("measure", 1, 2),
    ]


def test_a_part_inside_a_condition_is_named_by_it() -> None:
    """ "no oil on the stick" says of the oil that it is low."""
    assert sorted(kept(mark("component", 1, 2), mark("condition", 0, 4))) == [
        ("component", 1, 2),
        ("condition", 0, 4),
    ]


def test_a_place_beside_a_name_keeps_what_the_name_leaves() -> None:
    """ "offside rear | rear wheel cylinder": the words before the name still place it."""
    assert ("place", 0, 1) in kept(mark("place", 0, 2, detail="position"), mark("component", 1, 4))
    assert ("place", 3, 4) in kept(mark("place", 2, 4, detail="position"), mark("component", 0, 3))


def test_a_place_inside_a_name_still_places_it() -> None:
    assert ("place", 0, 1) in kept(mark("place", 0, 1, detail="axle"), mark("component", 0, 3))


def test_a_qualifier_inside_a_name_belongs_to_the_name() -> None:
    assert kept(mark("place", 0, 1, detail="qualifier"), mark("component", 0, 3)) == [("component", 0, 3)]


def test_advice_inside_an_urgency_phrase_is_kept() -> None:
    """ "must be replaced" presses and names the action in it."""
    assert kept(mark("cue", 0, 3, detail="urgency"), mark("action", 2, 3)) == [
        ("cue", 0, 3),
        ("action", 2, 3),
    ]
    assert kept(mark("cue", 0, 3, detail="hedge"), mark("action", 2, 3)) == [("cue", 0, 3)]


# The kinds without a rule of their own.
_KINDS: st.SearchStrategy[MarkKind] = st.sampled_from(["component", "action", "cue", "quantity"])
_MARKS = st.lists(
    st.tuples(_KINDS, st.integers(0, SIZE - 3), st.integers(1, 3)).map(
        lambda t: mark(t[0], t[1], t[1] + t[2], id=f"{t}")
    ),
    max_size=6,
    unique_by=lambda m: m.id,
)


@given(_MARKS)
def test_kept_marks_share_all_their_words_or_none(marks: list[Mark]) -> None:
    result = settle(marks, size=SIZE)
    assert all(m in marks for m in result)
    assert [m.first for m in result] == sorted(m.first for m in result)
    for number, a in enumerate(result):
        for b in result[number + 1 :]:
            overlap = a.first < b.last and b.first < a.last
            assert not overlap or (a.first, a.last) == (b.first, b.last)


@given(_MARKS)
def test_every_dropped_mark_gave_way_to_one_at_least_as_long(marks: list[Mark]) -> None:
    result = settle(marks, size=SIZE)
    for gone in (m for m in marks if m not in result):
        assert any(
            k.first < gone.last and gone.first < k.last and k.last - k.first >= gone.last - gone.first
            for k in result
        )


def test_the_order_of_marks_does_not_matter() -> None:
    marks = [mark("component", 0, 2), mark("action", 1, 2), mark("condition", 2, 5), mark("measure", 4, 5)]
    assert len({tuple(kept(*order)) for order in permutations(marks)}) == 1
