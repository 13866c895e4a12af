"""Recall by phenomenon: what the tags of the labels' findings are for."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from cli_kit import run
from measure_helpers import draft, finding, gold, gold_finding

from voicecheck.lexicon import Lexicon
from voicecheck.measure.counts import Counts, Tally
from voicecheck.measure.score import pool, score_draft, score_nothing
from voicecheck.measure.tables import PhenomenonRow, phenomenon_rows

LABEL = gold(
    [
        gold_finding("f1", tags=["correction", "place_carried"]),
        gold_finding("f2", "battery", (), "ok", action="none", tags=["negation", "correction"]),
        gold_finding("f3", "tire", ("rear left",)),
    ]
)
OK: dict[str, Any] = {"state": "ok", "action": "none", "conditions": ()}


def test_a_finding_counts_under_each_of_its_tags_if_strictly_right(lexicon: Lexicon) -> None:
    made = draft([finding(positions=("front right",)), finding("f2", "battery", (), **OK)])
    counts = score_draft(made, LABEL, lexicon).counts
    assert dict(counts.phenomena) == {
        "correction": Tally(right=1, total=2),
        "place_carried": Tally(right=0, total=1),
        "negation": Tally(right=1, total=1),
        "no tag": Tally(right=0, total=1),
    }
    assert phenomenon_rows(counts) == [
        PhenomenonRow("correction", 2, 1, 0.5),
        PhenomenonRow("negation", 1, 1, 1.0),
        PhenomenonRow("place_carried", 1, 0, 0.0),
        PhenomenonRow("no tag", 1, 0, 0.0),
    ]


def test_a_tag_said_twice_counts_once(lexicon: Lexicon) -> None:
    label = gold([gold_finding(tags=["negation", "negation"])])
    assert score_draft(draft([finding()]), label, lexicon).counts.phenomena == {
        "negation": Tally(right=1, total=1)
    }


def test_phenomena_are_summed_over_narrations_and_missed_without_a_draft(lexicon: Lexicon) -> None:
    right = score_draft(draft([finding()]), LABEL, lexicon)
    lost = score_nothing(LABEL, lexicon, failure="no words")
    pooled = pool([right, lost]).counts
    assert pooled.phenomena["correction"] == Tally(right=1, total=4)
    assert (pooled + Counts()).phenomena == pooled.phenomena


def test_labels_without_tags_have_no_such_section(lexicon: Lexicon) -> None:
    counts = score_draft(draft([finding()]), gold([gold_finding()]), lexicon).counts
    assert phenomenon_rows(counts) == []


def test_the_command_shows_it_in_both_forms(tmp_path: Path, quick_shop: None) -> None:
    (tmp_path / "a.txt").write_text("Left front strut is leaking. Horn is fine.")
    (tmp_path / "a.gold.yaml").write_text(
        "name: a\nmarket: US\nfindings:\n"
        "- {id: f1, component: strut, positions: [front left], state: defect, conditions: [leaking], "
        "measures: [], action: none, urgency: unstated, quote: strut is leaking, tags: [leak_path]}\n"
        "- {id: f2, component: horn, positions: [], state: defect, conditions: [], measures: [], "
        "action: none, urgency: unstated, quote: Horn is fine, tags: ['[odd] tag']}\nlines: []\n"
    )
    shown = run("measure", tmp_path, "--no-audio")
    assert shown.status == 0, shown.err
    assert "by phenomenon" in " ".join(shown.out.split())  # a long folder's name breaks the title
    assert "[odd] tag" in shown.out
    told = json.loads(run("measure", tmp_path, "--no-audio", "--json").out)["text"]
    assert told["by_phenomenon"] == [
        {"tag": "[odd] tag", "findings": 1, "found": 0, "recall": 0.0},
        {"tag": "leak_path", "findings": 1, "found": 1, "recall": 1.0},
    ]
    assert told["pooled"]["phenomena"]["leak_path"]["right"] == 1
