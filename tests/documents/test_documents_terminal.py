"""The terminal: everything fits, nothing is cut, nothing in a recording is taken for styling."""

from __future__ import annotations

import re

import pytest
from rich.console import Console, RenderableType
from sample_draft import empty_draft, sample_draft, uk_draft

from voicecheck.documents import draft_table, transcript_table
from voicecheck.documents.plain import money
from voicecheck.records import Draft


def shown(renderable: RenderableType, width: int) -> list[str]:
    console = Console(
        width=width, force_terminal=False, color_system=None, record=True, file=None, quiet=False
    )
    with console.capture() as capture:
        console.print(renderable)
    return capture.get().splitlines()


def flat(lines: list[str]) -> str:
    return re.sub(r"\s+", " ", " ".join(lines))


@pytest.mark.parametrize("width", [80, 100, 120])
def test_draft_fits_and_says_all(width: int) -> None:
    draft = sample_draft()
    lines = shown(draft_table(draft), width)
    assert max(map(len, lines)) <= width
    text = flat(lines)
    for finding in draft.findings:
        for ask in finding.asks:
            assert ask.message in text
    for ask in draft.asks:
        assert ask.message in text
    for job in draft.estimate.jobs:
        assert job.title in text
        for line in job.lines:
            for ask in line.asks:
                assert ask.message in text
            if line.amount is not None:
                assert money(line.amount, "USD", "US") in text
    for words in ("Do now", "Plan soon", "Can wait", "Not said", "plus 4 lines to be priced"):
        assert words in text
    assert draft.unplaced[0].text in text
    assert draft.cautions[0] in text
    assert "$0.00" not in text
    assert "…" not in text


def test_amounts_stand_under_each_other_over_all_jobs() -> None:
    lines = shown(draft_table(sample_draft()), 100)
    ends = {len(line) for line in lines if re.match(r"(Labor|Part|Fluid|Sublet): .*(\.\d\d|priced)$", line)}
    assert ends == {100}


@pytest.mark.parametrize("make", [uk_draft, empty_draft])
def test_other_drafts_fit(make: object) -> None:
    assert callable(make)
    draft: Draft = make()
    assert max(map(len, shown(draft_table(draft), 80))) <= 80
    text = flat(shown(draft_table(draft), 80))
    assert draft.transcript.note in text
    assert ("£1,516.80" in text) == bool(draft.estimate.jobs)


def test_brackets_and_terminal_commands_are_only_text() -> None:
    draft = uk_draft()
    name = "[bold red]x[/] \x1b[31m.wav"
    draft = draft.model_copy(update={"recording": draft.recording.model_copy(update={"name": name})})
    first = shown(draft_table(draft), 80)[0]
    assert first.startswith("[bold red]x[/] �[31m.wav")


@pytest.mark.parametrize("width", [80, 120])
def test_transcript_has_every_word_time_and_certainty(width: int) -> None:
    transcript = sample_draft().transcript
    lines = shown(transcript_table(transcript), width)
    assert max(map(len, lines)) <= width
    text = flat(lines)
    assert "430 seconds → 4/32" in text
    assert "three (0.55)" in text
    assert "covered by an air tool" in flat(lines)
    assert "0:28" in text
    words = set(re.findall(r"[\w/]+", text))
    for word in transcript.words:
        assert set(re.findall(r"[\w/]+", word.read)) <= words


def test_transcript_without_words_gives_the_reason() -> None:
    transcript = empty_draft().transcript
    assert transcript.note in flat(shown(transcript_table(transcript), 80))
