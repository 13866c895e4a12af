"""Scores of tiny drafts against tiny labels."""

from __future__ import annotations

from decimal import Decimal
from itertools import permutations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from measure_helpers import ask, draft, finding, gold, gold_finding, gold_line, line

from voicecheck.lexicon import Lexicon
from voicecheck.measure.counts import Counts, Tally
from voicecheck.measure.pairing import best_pairs
from voicecheck.measure.score import pool, score_draft, score_nothing
from voicecheck.records import Ledger, LedgerEntry, Measure, Transcript, Unplaced, Word

OK: dict[str, Any] = {"state": "ok", "action": "none", "conditions": ()}


def test_a_perfect_draft(lexicon: Lexicon) -> None:
    made = draft(
        [finding(), finding("f2", "battery", (), **OK)],
        [line(), line(kind="part")],
    )
    label = gold(
        [gold_finding(), gold_finding("f2", "battery", (), "ok", action="none")],
        [gold_line()],
    )
    score = score_draft(made, label, lexicon)
    c = score.counts
    assert (c.strict_f1, c.line_f1) == (1.0, 1.0)
    assert (c.strict, c.matched, c.draft_lines) == (2, 2, 1)  # the part's line is not scored
    assert (c.silent, c.wrong_lines, c.wrong_side, c.flips, c.asks) == (0, 0, 0, 0, 0)
    assert c.urgency == Tally(right=2, total=2)
    assert score.misses == ()


def test_a_swapped_side_is_wrong_and_silent(lexicon: Lexicon) -> None:
    made = draft([finding(positions=("front right",))], [line(positions=("front right",))])
    c = score_draft(made, gold([gold_finding()], [gold_line()]), lexicon).counts
    assert (c.matched, c.strict, c.wrong_side) == (1, 0, 1)
    assert c.positions == Tally(right=0, total=1)
    assert c.state == Tally(right=1, total=1)
    assert (c.right_lines, c.silent) == (0, 1)


def test_both_sides_swapped_are_two_wrong_sides_and_no_flip(lexicon: Lexicon) -> None:
    bad, good = "the right one has play", "the left one is tight"
    made = draft(
        [
            finding("f1", positions=("front left",), heard=bad),
            finding("f2", positions=("front right",), heard=good, **OK),
        ]
    )
    label = gold(
        [
            gold_finding("f1", positions=["front right"], quote=bad),
            gold_finding("f2", positions=["front left"], state="ok", action="none", quote=good),
        ]
    )
    c = score_draft(made, label, lexicon).counts
    assert (c.wrong_side, c.flips, c.strict) == (2, 0, 0)


def test_good_taken_for_bad_is_a_flip_and_its_line_prices_what_was_fine(lexicon: Lexicon) -> None:
    made = draft([finding()], [line()])
    label = gold([gold_finding(state="ok", action="none")], [])
    c = score_draft(made, label, lexicon).counts
    assert (c.flips, c.strict, c.fine_priced, c.silent) == (1, 0, 1, 1)


def test_a_missed_finding_lowers_recall_only(lexicon: Lexicon) -> None:
    label = gold([gold_finding(), gold_finding("f2", "battery", (), "ok", action="none")])
    score = score_draft(draft([finding()]), label, lexicon)
    assert score.counts.strict_precision == 1.0
    assert score.counts.strict_recall == 0.5
    assert [(m.of, m.kind) for m in score.misses] == [("finding", "missed")]
    assert "battery" in score.misses[0].gold


@pytest.mark.parametrize(
    ("on_line", "on_finding", "silent", "beside"),
    [
        ((), (), 1, 0),
        ((ask(),), (), 0, 0),
        ((), (ask("action"),), 0, 0),
        ((ask("unit_price", "price_open"),), (), 0, 1),
        ((ask("unit_price", "price_open"),), (ask(),), 0, 0),
    ],
)
def test_a_surplus_priced_line_is_silent_unless_asked(
    lexicon: Lexicon, on_line: tuple[object, ...], on_finding: tuple[object, ...], silent: int, beside: int
) -> None:
    made = draft(
        [finding(), finding("f2", "tire", asks=on_finding)],
        [line(), line("tire", source=("f2",), asks=on_line)],
    )
    score = score_draft(made, gold([gold_finding()], [gold_line()]), lexicon)
    c = score.counts
    assert (c.silent, c.beside) == (silent, beside)
    assert (c.line_precision, c.line_recall) == (0.5, 1.0)
    (miss,) = [m for m in score.misses if m.of == "line"]
    assert (miss.kind, miss.asked) == ("surplus", not silent)


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"quantity": "2"}, ("quantity",)),
        ({"operation": "repair"}, ("operation",)),
        ({"positions": ("front",), "quantity": "2"}, ("positions", "quantity")),
    ],
)
def test_a_line_must_be_right_in_every_field(
    lexicon: Lexicon, changes: dict[str, object], wrong: tuple[str, ...]
) -> None:
    made = draft([finding()], [line(**changes)])  # type: ignore[arg-type]
    score = score_draft(made, gold([gold_finding()], [gold_line()]), lexicon)
    assert score.counts.right_lines == 0
    assert score.counts.silent == 1
    assert [m.fields for m in score.misses if m.of == "line"] == [wrong]


def test_an_ask_about_the_price_does_not_bear_on_a_wrong_quantity(lexicon: Lexicon) -> None:
    made = draft([finding()], [line(quantity="2", asks=(ask("unit_price"),))])
    c = score_draft(made, gold([gold_finding()], [gold_line()]), lexicon).counts
    assert (c.silent, c.beside) == (0, 1)


def test_sublet_lines_are_scored_and_lines_without_a_component_are_surplus(lexicon: Lexicon) -> None:
    made = draft([finding()], [line(kind="sublet"), line(kind="fee"), line(component="tire")])
    nameless = made.estimate.jobs[0].lines[2].model_copy(update={"component": None})
    jobs = (made.estimate.jobs[0].model_copy(update={"lines": (*made.estimate.jobs[0].lines[:2], nameless)}),)
    made = made.model_copy(update={"estimate": made.estimate.model_copy(update={"jobs": jobs})})
    c = score_draft(made, gold([gold_finding()], [gold_line()]), lexicon).counts
    assert (c.draft_lines, c.right_lines, c.silent) == (2, 1, 1)


def test_the_line_may_be_called_by_any_name_of_its_finding(lexicon: Lexicon) -> None:
    label = gold(
        [gold_finding(component="steering knuckle end", also=["track rod ends"])],
        [gold_line(component="steering knuckle end")],
    )
    c = score_draft(draft([finding()], [line()]), label, lexicon).counts
    assert (c.strict, c.right_lines) == (1, 1)


def test_the_good_half_of_a_pair_that_is_replaced_is_no_wrong_line(lexicon: Lexicon) -> None:
    label = gold(
        [gold_finding(), gold_finding("f2", positions=["front right"], state="ok", action="none")],
        [gold_line(positions=["front left", "front right"], quantity=2)],
    )
    both = ("front left", "front right")
    found = [finding(), finding("f2", positions=("front right",), **OK)]
    c = score_draft(draft(found, [line(positions=both, quantity="1")]), label, lexicon).counts
    assert (c.right_lines, c.fine_priced) == (0, 0)  # the quantity is wrong, the place is not
    c = score_draft(draft(found, [line(positions=both, quantity="2")]), label, lexicon).counts
    assert (c.right_lines, c.wrong_lines) == (1, 0)


def test_a_line_on_the_good_side_prices_what_was_fine(lexicon: Lexicon) -> None:
    label = gold(
        [gold_finding(), gold_finding("f2", positions=["front right"], state="ok", action="none")],
        [gold_line()],
    )
    made = draft([finding()], [line(positions=("front",), quantity="2")])
    assert score_draft(made, label, lexicon).counts.fine_priced == 1
    assert score_draft(draft([finding()], [line()]), label, lexicon).counts.fine_priced == 0


def test_withdrawn_work_that_is_priced_is_counted(lexicon: Lexicon) -> None:
    label = gold(
        [gold_finding()],
        [gold_line()],
        not_lines=[
            {"component": "tires", "why": "taken back"},
            {"component": "tie rod end", "why": "no repair"},
        ],
    )
    made = draft([finding()], [line(), line("tire"), line(operation="repair"), line("battery", ())])
    c = score_draft(made, label, lexicon).counts
    assert (c.right_lines, c.wrong_lines, c.fine_priced) == (1, 3, 2)


def test_asks_count_once_where_line_and_finding_share_them(lexicon: Lexicon) -> None:
    shared, own = ask(), ask("quantity")
    made = draft([finding(asks=(shared,))], [line(asks=(shared, own))], asks=[ask("market")])
    c = score_draft(made, gold([gold_finding()], [gold_line()]), lexicon).counts
    assert c.asks == 3
    assert c.asks_per_right_line == 3.0


def test_unplaced_stretches_are_counted(lexicon: Lexicon) -> None:
    words = Unplaced(first=0, last=1, start=None, end=None, text="words", why="names a part")
    assert score_draft(draft(unplaced=[words]), gold(), lexicon).counts.unplaced == 1


def test_conditions_any_one_of_those_accepted(lexicon: Lexicon) -> None:
    def right(predicted: tuple[str, ...], accepted: list[str]) -> int:
        made = draft([finding(conditions=predicted)])
        return score_draft(made, gold([gold_finding(conditions=accepted)]), lexicon).counts.conditions.right

    assert right(("play",), ["wobbles", "loose"]) == 1  # a phrase said for it
    assert right(("leaking", "play"), ["play"]) == 1
    assert right(("leaking",), ["play", "loose"]) == 0
    assert right((), ["play"]) == 0
    assert right((), []) == 1
    assert right(("play",), []) == 0


def test_measures_by_value_unit_and_position(lexicon: Lexicon) -> None:
    def tally(label: list[dict[str, object]], *found: tuple[str, str, str | None]) -> Tally:
        measures = [
            Measure.model_validate({"what": "depth", "value": Decimal(v), "unit": u, "position": p})
            for v, u, p in found
        ]
        front = ("front left", "front right")
        made = draft([finding(component="tire", positions=front, measures=measures)])
        wanted = gold_finding(component="tire", positions=front, measures=label)
        return score_draft(made, gold([wanted]), lexicon).counts.measures

    def reading(value: str, unit: str, **more: str) -> dict[str, object]:
        return {"what": "tread", "value": value, "unit": unit, **more}

    left = reading("4", "1/32 in", position="front left")
    assert tally([left], ("4", "1/32 in", "front left")) == Tally(right=1, total=1)
    assert tally([left], ("4", "1/32 in", None)) == Tally(right=1, total=1)
    assert tally([left], ("4", "1/32 in", "front")) == Tally(right=1, total=1)
    assert tally([left], ("4", "1/32 in", "left")) == Tally(right=1, total=1)
    assert tally([left], ("4", "1/32 in", "front right")) == Tally(right=0, total=2)
    assert tally([left], ("5", "1/32 in", "front left")) == Tally(right=0, total=2)
    assert tally([left], ("4", "mm", "front left")) == Tally(right=0, total=2)
    assert tally([left], ("4", "psi", "front left")) == Tally(right=0, total=2)
    assert tally([left], ("3.175", "mm", "front left")) == Tally(right=1, total=1)
    assert tally([left]) == Tally(right=0, total=1)
    assert tally([], ("4", "mm", None)) == Tally(right=0, total=1)
    front = reading("4", "mm", position="front")
    assert tally([front], ("4", "mm", "front left"), ("4", "mm", "front right")) == Tally(right=1, total=1)
    assert tally([front], ("4", "mm", "front left")) == Tally(right=0, total=1)
    both = [reading("3", "mm", position="front left"), reading("3", "mm", position="front right")]
    assert tally(both, ("3", "mm", "front")) == Tally(right=2, total=2)
    assert tally(both, ("3", "mm", "front left")) == Tally(right=1, total=2)


def test_bound_range_and_place_of_a_reading_count_where_the_label_gives_them(lexicon: Lexicon) -> None:
    def right(label: dict[str, str], **found: object) -> int:
        values = {"what": "thickness", "value": Decimal(2), "unit": "mm", **found}
        wanted = gold_finding(measures=[{"what": "x", "value": "2", "unit": "mm", **label}])
        made = draft([finding(measures=[Measure.model_validate(values)])])
        return score_draft(made, gold([wanted]), lexicon).counts.measures.right

    assert right({}, bound="<", high=Decimal(3), place="inner") == 1
    assert right({"bound": "<"}) == 0
    assert right({"high": "3"}, high=Decimal(3)) == 1
    assert right({"high": "3"}) == 0
    assert right({"place": "inner"}, place="outer") == 0


def test_scores_of_several_narrations_are_summed(lexicon: Lexicon) -> None:
    label = gold([gold_finding()], [gold_line()])
    whole = pool(
        [
            score_draft(draft([finding()], [line()]), label, lexicon),
            score_nothing(label, lexicon, failure="no sound"),
        ]
    )
    assert whole.counts.strict_recall == 0.5
    assert whole.counts.strict_precision == 1.0
    assert whole.counts.line_f1 == pytest.approx(2 / 3)
    assert [n.failure for n in whole.narrations] == ["", "no sound"]
    assert pool([]).counts == Counts()
    assert pool([]).counts.strict_f1 is None


def test_right_pairs_are_not_given_up_for_more_pairs(lexicon: Lexicon) -> None:
    """One finding that is right, one that is about another corner: the right one keeps its partner."""
    made = draft([finding("f1"), finding("f2", positions=("front right",), state="suspect")])
    label = gold([gold_finding("f1"), gold_finding("f2", "tie rod end", [], "not_checked", action="none")])
    for order in permutations(made.findings):
        c = score_draft(made.model_copy(update={"findings": order}), label, lexicon).counts
        assert (c.matched, c.strict) == (2, 1)


@given(
    st.integers(1, 4).flatmap(
        lambda columns: st.lists(
            st.lists(st.integers(0, 9), min_size=columns, max_size=columns), min_size=1, max_size=4
        )
    )
)
def test_the_pairing_is_the_best_of_all(weights: list[list[int]]) -> None:
    pairs = best_pairs(weights)
    assert len({r for r, _ in pairs}) == len({c for _, c in pairs}) == len(pairs)
    assert all(weights[r][c] > 0 for r, c in pairs)
    rows, columns = len(weights), len(weights[0])
    size = max(rows, columns)
    square = [[weights[r][c] if r < rows and c < columns else 0 for c in range(size)] for r in range(size)]
    best = max(sum(square[r][c] for r, c in enumerate(order)) for order in permutations(range(size)))
    assert sum(weights[r][c] for r, c in pairs) == best


def test_no_rows_no_pairs() -> None:
    assert best_pairs([]) == []
    assert best_pairs([[]]) == []


@pytest.mark.parametrize(
    ("kinds", "quote", "lost"),
    [
        (("talk", "talk", "talk"), "ball joint lifts", 1),
        (("talk", "unplaced", "talk"), "ball joint lifts", 0),
        (("evidence", "talk", "talk"), "Ball joint lifts.", 0),
        (("unplaced", "talk", "talk"), "joint lifts", 1),
        (("talk", "talk", "talk"), "bald joint lifts", 0),  # heard otherwise
    ],
)
def test_a_missed_finding_is_lost_where_all_its_words_are_talk(
    lexicon: Lexicon, kinds: tuple[Any, ...], quote: str, lost: int
) -> None:
    words = tuple(Word(heard=word, read=word) for word in ("ball", "joint", "lifts."))
    ledger = Ledger(entries=tuple(
        LedgerEntry(first=at, last=at + 1, kind=kind, findings=(), why="") for at, kind in enumerate(kinds)
    ))  # fmt: skip
    made = draft().model_copy(
        update={"transcript": Transcript(text="", words=words, source="typed"), "ledger": ledger}
    )
    label = gold([gold_finding(component="ball joint", quote=quote)])
    assert score_draft(made, label, lexicon).counts.lost == lost


def test_what_was_found_is_not_lost(lexicon: Lexicon) -> None:
    made = draft([finding()])
    talk = LedgerEntry(first=0, last=1, kind="talk", findings=(), why="")
    made = made.model_copy(update={"ledger": Ledger(entries=(talk,))})
    assert score_draft(made, gold([gold_finding()]), lexicon).counts.lost == 0
