"""The general-purpose baseline of ``benchmarks/baseline.py``: fair enough to be compared with."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from cli_kit import ROOT, load_script

from voicecheck.pipeline import Workshop
from voicecheck.records import InputError

baseline = load_script(ROOT / "benchmarks" / "baseline.py")


@pytest.fixture(scope="module")
def simple(workshop: Workshop) -> Any:
    return baseline.Baseline(workshop.lexicon)


def found(simple: Any, text: str) -> list[tuple[str, tuple[str, ...], str, str]]:
    return [(f.component.id, f.positions, f.state, f.action) for f in simple.findings(text)]


def test_a_part_with_place_condition_and_action(simple: Any) -> None:
    assert found(simple, "The left front strut is leaking, replace it. Horn is fine.") == [
        ("strut", ("front left",), "defect", "replace"),
        ("horn", (), "ok", "none"),
    ]


def test_denials_doubts_and_their_window(simple: Any) -> None:
    assert found(simple, "The water pump is not leaking.") == [("water_pump", (), "ok", "none")]
    assert found(simple, "The water pump might be leaking.") == [("water_pump", (), "suspect", "none")]
    assert found(simple, "No noise, but the water pump is leaking.")[0][2] == "defect"
    assert found(simple, "No, I had a look and it says that the water pump is leaking.")[0][2] == "defect"


def test_words_go_to_the_nearest_part_of_their_sentence(simple: Any) -> None:
    both = found(simple, "The water pump is leaking and the radiator is fine.")
    assert both == [("water_pump", (), "defect", "none"), ("radiator", (), "ok", "none")]
    # What names no part in its own sentence goes nowhere: that is what the product's mechanisms are for.
    assert found(simple, "There is the water pump. It is leaking.") == []


def test_evidence_is_the_sentence(simple: Any) -> None:
    second = simple.findings("Horn is fine.  Left front strut's\nleaking – badly.")[1]
    assert second.heard[0].read == "Left front strut's leaking – badly."


def test_the_same_part_twice_is_one_finding(simple: Any) -> None:
    (one,) = simple.findings("The water pump is fine. The water pump is leaking, replace it.")
    assert (one.state, one.action, len(one.heard)) == ("defect", "replace", 2)


def test_a_trigger_of_no_kind_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "triggers.csv"
    path.write_text("kind,said\n# a comment\npre,no\nbefore,not\n")
    with pytest.raises(InputError, match="“before” is not one of"):
        baseline.read_triggers(path)


def test_it_prints_both_beside_each_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.txt").write_text("Left front strut is leaking. Replace it.")
    (tmp_path / "a.gold.yaml").write_text(
        "name: a\nmarket: US\nfindings:\n"
        "- {id: f1, component: strut, positions: [front left], state: defect, conditions: [leaking], "
        "measures: [], action: replace, urgency: unstated, quote: Left front strut is leaking}\n"
        "lines:\n"
        "- {operation: replace, component: strut, positions: [front left], quantity: 1, from: [f1]}\n"
    )
    assert baseline.main([str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "| strict finding F1 | 0.0 % | 100.0 % |" in out  # "Replace it" is in another sentence
    assert "| components found | 100.0 % | 100.0 % |" in out


def test_a_folder_without_labels_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert baseline.main([str(tmp_path)]) == 2
    assert "There are no labels" in capsys.readouterr().err
