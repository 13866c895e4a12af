"""Drafts of the tune narrations as they were last looked at.

A change of a rule shows here as a readable difference. When it is meant, write them anew and read the diff:
``python -m pytest tests/golden --update-golden``
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import yaml
from golden_kit import snapshot

from voicecheck.pipeline import Workshop, draft_from_transcript, text_recording, transcript_from_text
from voicecheck.records import Draft, Market

HERE = Path(__file__).resolve().parent
TUNE = HERE.parents[1] / "samples_synthetic" / "tune"
NARRATIONS = sorted(path.stem for path in TUNE.glob("*.txt"))
UPDATE = "python -m pytest tests/golden --update-golden"

WorkshopOf = Callable[[Market], Workshop]


def draft_of(workshop_of: WorkshopOf, name: str) -> Draft:
    text = (TUNE / f"{name}.txt").read_text(encoding="utf-8")
    market = yaml.safe_load((TUNE / f"{name}.gold.yaml").read_text(encoding="utf-8"))["market"]
    return draft_from_transcript(
        workshop_of(market), transcript_from_text(text), recording=text_recording(name, text)
    )


@pytest.mark.parametrize("name", NARRATIONS)
def test_draft_is_as_it_was(name: str, workshop_of: WorkshopOf, update_golden: bool) -> None:
    path = HERE / "tune" / f"{name}.yaml"
    made = snapshot(draft_of(workshop_of, name))
    if update_golden:
        path.parent.mkdir(exist_ok=True)
        path.write_text(made, encoding="utf-8")
    assert path.exists(), f"no snapshot yet; write it with: {UPDATE}"
    assert made == path.read_text(encoding="utf-8"), f"the draft changed; if that is meant: {UPDATE}"


def test_there_are_narrations_and_no_other_snapshots() -> None:
    assert NARRATIONS
    assert {path.stem for path in (HERE / "tune").glob("*.yaml")} == set(NARRATIONS)


def test_the_same_words_make_the_same_snapshot(workshop_of: WorkshopOf) -> None:
    name = NARRATIONS[0]
    assert snapshot(draft_of(workshop_of, name)) == snapshot(draft_of(workshop_of, name))


def test_a_changed_draft_is_seen(workshop_of: WorkshopOf) -> None:
    draft = draft_of(workshop_of, NARRATIONS[0])
    first = draft.findings[0]
    other = first.model_copy(update={"state": "ok" if first.state != "ok" else "defect"})
    assert snapshot(draft.model_copy(update={"findings": (other, *draft.findings[1:])})) != snapshot(draft)
