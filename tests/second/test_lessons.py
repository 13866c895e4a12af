"""The lessons of the second reader: what is right of a candidate, and texts with their sides exchanged."""

from __future__ import annotations

from types import ModuleType

import pytest
from cli_kit import ROOT, load_script

from voicecheck.measure.gold import GoldFinding
from voicecheck.records import Position


@pytest.fixture(scope="module")
def prepare() -> ModuleType:
    return load_script(ROOT / "benchmarks" / "second" / "prepare.py")


def gold(component: str, positions: list[Position], state: str, action: str, quote: str) -> GoldFinding:
    return GoldFinding.model_validate(
        {
            "id": "f1", "component": component, "positions": positions, "state": state, "action": action,
            "urgency": "unstated", "conditions": [], "measures": [], "quote": quote,
        }
    )  # fmt: skip


SAID = "The left front tie rod end is loose, replace it. Driver side mirror is fine."
LABELS = [
    gold("tie rod end", ["front left"], "defect", "replace", "left front tie rod end is loose"),
    gold("side mirror", ["left"], "ok", "none", "Driver side mirror is fine."),
]


def test_sides_are_exchanged_in_words_and_labels(prepare: ModuleType) -> None:
    turned = prepare.mirrored(prepare.Text("t", "US", SAID, LABELS))
    assert turned.words == "The right front tie rod end is loose, replace it. passenger side mirror is fine."
    assert [list(one.positions) for one in turned.gold] == [["front right"], ["right"]]
    assert turned.gold[0].quote == "right front tie rod end is loose,"
    assert [one.state for one in turned.gold] == ["defect", "ok"]
    back = prepare.mirrored(turned)
    assert [list(one.positions) for one in back.gold] == [["front left"], ["left"]]


def test_a_text_without_sides_has_no_mirror_image(prepare: ModuleType) -> None:
    horn = gold("horn", [], "ok", "none", "Horn works")
    assert prepare.mirrored(prepare.Text("t", "US", "Horn works. All right then.", [horn])) is None


def test_a_label_that_is_not_in_the_text_gives_no_mirror_image(prepare: ModuleType) -> None:
    lost = gold("horn", [], "ok", "none", "the bell rings")
    assert prepare.mirrored(prepare.Text("t", "US", SAID, [lost])) is None


def test_candidates_stand_where_the_label_has_a_finding(prepare: ModuleType) -> None:
    _, made = prepare.lessons(prepare.Text("t", "US", SAID, [LABELS[0]]))
    stands = {
        lesson.candidate.component: lesson.gold is not None
        for lesson in made
        if lesson.candidate.kind == "draft"
    }
    assert stands == {"tie_rod_end": True, "side_mirror": False}


def test_words_apart_stand_for_the_finding_whose_quote_has_them(prepare: ModuleType) -> None:
    text = (
        "Rear shocks, left is leaking, replace it. We drove it. The horn is loud, that lever there is worn."
    )
    labels = [
        gold(
            "shock absorber", ["rear left"], "defect", "replace", "Rear shocks, left is leaking, replace it"
        ),
        gold("horn", [], "ok", "none", "The horn is loud"),
    ]
    words, made = prepare.lessons(prepare.Text("t", "US", text, labels))
    rights = [lesson.gold.component for lesson in made if lesson.gold and lesson.candidate.kind == "draft"]
    assert sorted(rights) == ["horn", "shock absorber"]
    apart = [lesson for lesson in made if lesson.candidate.kind == "apart"]
    for lesson in apart:
        said = " ".join(words[slice(*lesson.candidate.parts[0])])
        assert (lesson.gold is labels[0]) == ("left" in said), said


@pytest.mark.parametrize(
    ("positions", "stands"),
    [(["rear left"], False), (["rear right"], True), (["rear left", "rear right"], True)],
)
def test_words_that_say_another_side_do_not_stand_for_a_finding(
    prepare: ModuleType, positions: list[Position], stands: bool
) -> None:
    text = "Rear shocks, left is leaking, and the right one too."
    label = gold("shock absorber", positions, "defect", "none", text)
    words, made = prepare.lessons(prepare.Text("t", "US", text, [label]))
    (right,) = [
        lesson
        for lesson in made
        if lesson.candidate.kind == "apart" and "right" in words[slice(*lesson.candidate.parts[0])]
    ]
    assert (right.gold is not None) == stands


def test_what_is_told_twice_stands_twice(prepare: ModuleType) -> None:
    text = "Left front tire is bald. Horn is fine. So the left front tire is bald."
    label = gold("tire", ["front left"], "defect", "none", "Left front tire is bald.")
    _, made = prepare.lessons(prepare.Text("t", "US", text, [label]))
    drafts = [lesson for lesson in made if lesson.candidate.kind == "draft"]
    tires = [lesson.gold is not None for lesson in drafts if lesson.candidate.component == "tyre"]
    assert tires
    assert all(tires)
