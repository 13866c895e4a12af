"""The second reader as shipped: its files, its windows, and what it does with odd talk."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.findings.candidates import Candidate
from voicecheck.records import DataError
from voicecheck.records.vocabulary import ACTIONS, POSITIONS, STATES
from voicecheck.resources import shared_dir
from voicecheck.second import load_second
from voicecheck.second.layout import LONGEST, REACH, TIES, arrays, distances, features, windows
from voicecheck.second.model import TaughtReader, word_pieces

HOME = shared_dir() / "second"
CORNERS = frozenset({"front left", "front right"})


def two_each(words: Sequence[str]) -> tuple[list[int], list[int]]:
    """Every word in two pieces."""
    return [1000 + at for at in range(2 * len(words))], [at // 2 for at in range(2 * len(words))]


def mention(first: int, last: int) -> Candidate:
    return Candidate("mention", "horn", "horn", ((first, last),), ((first, last),), CORNERS)


@pytest.fixture(scope="module")
def shipped() -> TaughtReader:
    return load_second(HOME)[0]


@given(words=st.integers(1, 1500), at=st.lists(st.integers(0, 1499), min_size=1, max_size=8))
def test_every_candidate_lies_in_one_window_with_its_own_pieces(words: int, at: list[int]) -> None:
    candidates = [mention(one % words, one % words + 1) for one in at]
    made = windows([f"w{number}" for number in range(words)], candidates, two_each)
    assert sorted(number for window in made for number, _, _ in window.candidates) == list(range(len(at)))
    for window in made:
        assert len(window.ids) <= LONGEST + 2
        for number, spans, parts in window.candidates:
            word = candidates[number].parts[0][0]
            assert [window.ids[piece] for first, last in parts for piece in range(first, last)] == [
                1000 + 2 * word, 1001 + 2 * word,
            ]  # fmt: skip
            assert spans == parts


def test_a_candidate_far_into_a_long_talk_has_talk_on_both_sides() -> None:
    (window,) = windows([f"w{number}" for number in range(1000)], [mention(500, 501)], two_each)
    (_, _, ((first, last),)) = window.candidates[0]
    assert first > REACH
    assert len(window.ids) - last > REACH


def test_arrays_point_at_the_part_and_tell_what_is_near() -> None:
    (window,) = windows(["the", "horn", "is", "fine"], [mention(1, 2)], two_each)
    made = arrays(window, [mention(1, 2)], ["ok"], two_each)
    assert made["idx"].shape == made["near"].shape == (1, 2 * REACH + 1)
    assert made["near"].sum() == len(window.ids)
    assert [window.ids[at] for at in made["idx"][0][made["part"][0] > 0]] == [1002, 1003]
    assert list(made["feat"][0]) == features(mention(1, 2), ["ok"])


def test_candidates_know_how_far_the_others_are_and_which_are_of_their_part() -> None:
    pads = Candidate("mention", "brake_pads", "brake pads", ((3, 4),), ((3, 4),), CORNERS)
    (window,) = windows(["horn", "fine,", "horn", "pads"], [mention(0, 1), mention(2, 3), pads], two_each)
    tie = np.asarray(
        arrays(window, [mention(0, 1), mention(2, 3), pads], ["ok"], two_each)["tie"], dtype=np.int64
    )
    same = tie >= TIES
    assert same.tolist() == [[True, True, False], [True, True, False], [False, False, True]]
    middle = distances()[REACH]
    assert (tie % TIES).diagonal().tolist() == [middle] * 3
    assert tie[0, 1] % TIES > middle > tie[1, 0] % TIES
    assert tie[0, 2] > tie[1, 2] > middle


def test_distances_grow_to_both_sides() -> None:
    steps = distances()
    assert (np.diff(steps) >= 0).all()
    assert steps[REACH] == (steps[0] + steps[-1]) / 2


def test_the_shipped_reader_judges_in_order_and_in_shares(shipped: TaughtReader) -> None:
    words = [
        "Left",
        "front",
        "tie",
        "rod",
        "end",
        "is",
        "loose,",
        "replace",
        "it.",
        "The",
        "horn",
        "is",
        "fine.",
    ]
    rod = Candidate(
        "draft", "outer_tie_rod_end", "outer tie rod end", ((0, 9),), ((2, 5),), CORNERS,
        seats=frozenset({"front left"}), state="defect", action="replace", urgency="unstated",
        conditions=True,
    )  # fmt: skip
    horn = Candidate("draft", "horn", "horn", ((9, 13),), ((10, 11),), frozenset(), state="ok", action="none")
    first, second = shipped.judge(words, [rod, horn])
    assert shipped.judge(words, [horn, rod])[0].states["ok"] == pytest.approx(second.states["ok"], abs=1e-4)
    for one in (first, second):
        assert sum(one.states.values()) == pytest.approx(1)
        assert sum(one.actions.values()) == pytest.approx(1)
        assert set(one.states) == set(STATES)
        assert set(one.actions) == set(ACTIONS)
        assert set(one.seats) == set(POSITIONS)
    assert max(first.actions, key=lambda name: first.actions[name]) == "replace"
    assert max(second.states, key=lambda name: second.states[name]) == "ok"


@pytest.mark.parametrize("word", ["", "…", "\x00", "刹车", "🔧", "a" * 5000])
def test_odd_words_are_judged_as_well(shipped: TaughtReader, word: str) -> None:
    (judged,) = shipped.judge([word], [mention(0, 1)])
    assert 0 <= judged.stands <= 1


def test_no_candidates_no_judgements(shipped: TaughtReader) -> None:
    assert shipped.judge(["the", "horn"], []) == []
    assert shipped.judge([], []) == []


@pytest.mark.parametrize("file", ["second.json", "vocab.txt", "weights.onnx", "base-1.bin", "base-3.bin"])
@pytest.mark.parametrize("fault", ["missing", "broken"])
def test_files_that_cannot_be_read_are_named(tmp_path: Path, file: str, fault: str) -> None:
    folder = tmp_path / "second"
    shutil.copytree(HOME, folder)
    if fault == "missing":
        (folder / file).unlink()
    else:
        (folder / file).write_bytes(b"\xff\xfe not this")
    named = "weights.onnx" if file.startswith("base-") else file
    with pytest.raises(DataError, match=named.replace(".", r"\.")):
        load_second(folder)


def test_the_vocabulary_splits_words_into_pieces() -> None:
    ids, owners = word_pieces(HOME / "vocab.txt")(["Tie", "rods", "unbelievably"])
    assert len(ids) == len(owners)
    assert sorted(set(owners)) == [0, 1, 2]
