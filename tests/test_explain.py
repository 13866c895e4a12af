"""``voicecheck explain``: every word once, every finding, every reason; watching changes nothing."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from cli_kit import ROOT, run
from media_kit import write_media
from rich.console import Console

from voicecheck.documents import explanation_html, explanation_json, explanation_table
from voicecheck.documents.explained import change_text, mood_text, outcome_text
from voicecheck.findings.trace import Trail, trace
from voicecheck.pipeline import (
    Workshop,
    draft_from_transcript,
    explain_transcript,
    text_recording,
    transcript_from_text,
)
from voicecheck.records.explanation import ClauseSeen, Explanation, FieldSeen, FindingSeen
from voicecheck.speech.double import ScriptedRecogniser

TUNE = sorted((ROOT / "samples_synthetic" / "tune").glob("*.txt"))
TALK = (
    "Okay, left front. Outer tie rod end has play, replace it. No, sorry, the right. "
    "Customer says it shakes at sixty. Front pads are at three mil. Water pump might be seeping. "
    "A bad one would be dripping by now. Odometer is 87,400 miles. Radiator is leaking. Scratch that. "
    "Front struts are leaking both sides. Replace them soon. Lovely weather out there."
)


def explained(workshop: Workshop, text: str) -> Explanation:
    return explain_transcript(workshop, transcript_from_text(text), recording=text_recording("notes", text))


def clause_with(told: Explanation, words: str) -> ClauseSeen:
    (found,) = [clause for clause in told.clauses if words in clause.words]
    return found


def finding_of(told: Explanation, name: str) -> FindingSeen:
    (found,) = [finding for finding in told.findings if finding.title.startswith(name)]
    return found


def field_of(finding: FindingSeen, name: str) -> FieldSeen:
    (found,) = [field for field in finding.fields if field.field == name]
    return found


@pytest.fixture(scope="module")
def told(workshop: Workshop) -> Explanation:
    return explained(workshop, TALK)


@pytest.fixture(scope="module")
def traced(workshop: Workshop) -> Callable[[Path], tuple[bool, Trail]]:
    """A tune narration: whether watching left the result as it is, and the trail."""

    @cache
    def of(path: Path) -> tuple[bool, Trail]:
        transcript = transcript_from_text(path.read_text(encoding="utf-8"))
        reading = workshop.reader.read(transcript)
        seen, trail = trace(workshop.finder, reading, transcript)
        return seen == workshop.finder.find(reading, transcript), trail

    return of


# -- clauses -----------------------------------------------------------------------------------------------


def test_every_word_stands_in_one_clause(told: Explanation) -> None:
    assert " ".join(clause.words for clause in told.clauses) == TALK
    edges = [(clause.first, clause.last) for clause in told.clauses]
    assert [first for first, _ in edges] == [0, *(last for _, last in edges[:-1])]
    assert edges[-1][1] == len(TALK.split())
    assert [clause.number for clause in told.clauses] == list(range(1, len(edges) + 1))


def test_punctuation_and_words_of_several_tokens_stay_whole(workshop: Workshop) -> None:
    text = "– Front-left tie-rod end's loose – if it were a bad one, it'd clunk – rear pads are fine ."
    assert " ".join(c.words for c in explained(workshop, text).clauses if c.words) == text


def test_a_mark_names_its_row(told: Explanation) -> None:
    marks = {
        mark.words: mark for mark in clause_with(told, "Outer tie rod end").marks if mark.kind != "measure"
    }
    assert marks["Outer tie rod end"].row == "components/steering.csv: tie_rod_end_outer"
    assert marks["has play"].row == "conditions.csv: play"
    assert marks["replace"].row == "actions.csv: replace"
    seeping = next(mark for mark in clause_with(told, "Water pump").marks if mark.words == "seeping")
    assert seeping.hedged
    assert seeping.by == "maybe: might be"


@pytest.mark.parametrize(
    ("words", "mood", "by"),
    [("A bad one would", "hypothetical", "A bad one would"), ("Customer says", "reported", "Customer says")],
)
def test_a_clause_that_states_nothing_says_why(told: Explanation, words: str, mood: str, by: str) -> None:
    clause = clause_with(told, words)
    assert clause.mood == mood
    assert by in clause.mood_by
    assert f"“{by}" in mood_text(clause)
    assert mood_text(clause).endswith("it makes no finding")
    assert not any(outcome.finding for outcome in clause.outcomes)


def test_a_question_says_so(workshop: Workshop) -> None:
    (clause,) = explained(workshop, "Is the water pump leaking?").clauses
    assert clause.mood == "question"
    assert mood_text(clause).startswith("asked and not stated")


def test_every_clause_says_what_became_of_it(told: Explanation) -> None:
    kinds = {clause.words: {outcome.kind for outcome in clause.outcomes} for clause in told.clauses}
    assert all(kinds.values())
    assert kinds["Okay, left front."] == {"talk"}
    assert kinds["Odometer is 87,400 miles."] == {"vehicle"}
    assert kinds["Lovely weather out there."] == {"idle"}
    assert kinds["Replace them soon."] == {"changed"}
    assert "taken_back" in kinds["Radiator is leaking."]
    assert "taken_back" in kinds["Scratch that."]


def test_words_without_a_place_are_told(workshop: Workshop) -> None:
    told = explained(workshop, "Leaking.")
    (outcome,) = told.clauses[0].outcomes
    assert outcome.kind == "unplaced"
    assert "names a condition" in outcome_text(outcome)


# -- findings ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", TUNE[::4], ids=lambda path: path.stem)
def test_every_finding_of_the_draft_is_there_with_its_values(workshop: Workshop, path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    transcript, recording = transcript_from_text(text), text_recording(path.name, text)
    draft = draft_from_transcript(workshop, transcript, recording=recording)
    told = explain_transcript(workshop, transcript, recording=recording)
    assert " ".join(clause.words for clause in told.clauses) == draft.transcript.text
    assert [finding.id for finding in told.findings] == [finding.id for finding in draft.findings]
    for seen, finding in zip(told.findings, draft.findings, strict=True):
        assert field_of(seen, "component").value == finding.component.name
        assert field_of(seen, "state").value == finding.state.replace("_", " ")
        assert field_of(seen, "action").value == finding.action
        assert seen.asks == finding.asks
        if finding.positions:
            assert field_of(seen, "positions").value == ", ".join(finding.positions)
        # The trail leads where the finding ends: the last step of a field shows its value, merging aside.
        for name in ("component", "state", "action"):
            own = [c for c in field_of(seen, name).changes if c.statement == seen.statement and c.after]
            assert own, (finding.id, name)
            assert own[-1].after == field_of(seen, name).value, (finding.id, name)


def test_a_correction_shows_its_earlier_word(told: Explanation) -> None:
    positions = field_of(finding_of(told, "outer tie rod end"), "positions")
    assert positions.value == "front right"
    first, second = positions.changes
    assert (first.clause, first.after) == (2, "front left")
    assert "talked about since clause 1" in first.note
    assert (second.clause, change_text(second)) == (3, "front left → front right")
    assert second.words == "“right”"
    assert second.rule == "Noter.move"


def test_a_replaced_statement_stays_in_the_trail(workshop: Workshop) -> None:
    told = explained(workshop, "Left front strut is leaking. Sorry, not the strut, it's the shock.")
    shock = finding_of(told, "shock")
    (before,) = shock.joined
    assert before.how == "replaced"
    assert before.title.startswith("strut")
    assert before.rule.startswith("Corrections.")


def test_what_was_said_twice_is_told_as_merged(workshop: Workshop) -> None:
    told = explained(workshop, "Water pump is leaking. Horn works. Water pump, replace it.")
    (joined,) = finding_of(told, "water pump").joined
    assert (joined.how, joined.clause) == ("merged", None)
    action = field_of(finding_of(told, "water pump"), "action")
    assert (action.changes[0].clause, action.changes[0].after) == (3, "replace")


def test_a_hedge_and_a_doubt_are_reasons(told: Explanation) -> None:
    state = field_of(finding_of(told, "water pump"), "state")
    assert state.value == "suspect"
    assert "maybe: might be" in state.changes[0].words
    pads = field_of(finding_of(told, "brake pads"), "state")
    assert any(change.note == "in doubt: reading only" for change in pads.changes)


def test_work_on_the_draft_is_named(told: Explanation) -> None:
    assert finding_of(told, "outer tie rod end").lines == ("Replace outer tie rod end, one × 1",)
    assert finding_of(told, "water pump").lines == ()


# -- watching ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", TUNE, ids=lambda path: path.stem)
def test_watching_changes_nothing_and_misses_nothing(
    traced: Callable[[Path], tuple[bool, Trail]], path: Path
) -> None:
    same, trail = traced(path)
    assert same
    nameless = [step.field for step in trail.steps if not step.rule.name]
    assert not nameless


@pytest.mark.parametrize("path", TUNE, ids=lambda path: path.stem)
def test_every_rule_that_changes_a_statement_says_what_it_does(
    traced: Callable[[Path], tuple[bool, Trail]], path: Path
) -> None:
    silent = {step.rule.name for step in traced(path)[1].steps if not step.rule.says}
    assert not silent, f"{silent}: write a docstring, explain shows it"


def test_a_profiler_that_was_there_is_there_again(workshop: Workshop) -> None:
    def mine(frame: FrameType, event: str, arg: Any) -> None:
        return None

    before = sys.getprofile()
    sys.setprofile(mine)
    try:
        explained(workshop, "Horn works.")
        assert sys.getprofile() is mine
    finally:
        sys.setprofile(before)


# -- documents ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_text_fits_and_says_all(told: Explanation, width: int) -> None:
    console = Console(width=width, force_terminal=False, color_system=None)
    with console.capture() as capture:
        console.print(explanation_table(told))
    lines = capture.get().splitlines()
    assert max(map(len, lines)) <= width
    flat = re.sub(r"\s+", " ", " ".join(lines))
    for clause in told.clauses:
        assert f"“{clause.words}”" in flat
    for finding in told.findings:
        assert f"{finding.id} {finding.title[:1].upper()}{finding.title[1:]}" in flat
    for rule in told.rules:
        assert rule.says[:20] in flat
    assert "front left → front right" in flat


def test_square_brackets_in_the_talk_are_no_styling(workshop: Workshop) -> None:
    console = Console(width=100, force_terminal=False, color_system=None)
    with console.capture() as capture:
        console.print(explanation_table(explained(workshop, "[red]Water pump[/red] is leaking.")))
    assert "[red]Water pump[/red]" in capture.get()


def test_the_page_stands_alone_and_its_links_lead_somewhere(told: Explanation) -> None:
    page = explanation_html(told)
    assert "<script" not in page
    assert not re.search(r"""(?:src|href)=["'](?!#|data:)""", page)
    targets = set(re.findall(r'id="([^"]+)"', page))
    links = set(re.findall(r'href="#([^"]+)"', page))
    assert links <= targets
    assert {f"clause-{clause.number}" for clause in told.clauses} <= targets
    assert {finding.id for finding in told.findings} <= targets
    assert {f"rule-{rule.name}" for rule in told.rules} <= targets


def test_the_page_escapes_what_was_said(workshop: Workshop) -> None:
    page = explanation_html(explained(workshop, "<b>Water pump</b> is leaking."))
    assert "<b>" not in page
    assert "&lt;b&gt;Water" in page


def test_json_reads_back(told: Explanation) -> None:
    text = explanation_json(told)
    assert Explanation.model_validate_json(text) == told
    assert json.loads(text)["format"] == "voicecheck-explanation/1"


# -- the command -------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("quick_shop")
def test_the_command_on_typed_words(tmp_path: Path) -> None:
    page = tmp_path / "why.html"
    done = run("explain", "--text", "-", "--html", page, stdin=b"Left front strut is leaking, replace it.")
    assert done.status == 0
    assert "f1 Strut, front left" in done.out
    assert f"Wrote {page}" in done.err
    assert 'id="f1"' in page.read_text(encoding="utf-8")


@pytest.mark.usefixtures("quick_shop")
def test_the_command_prints_json() -> None:
    done = run("explain", "--text", "-", "--json", "--market", "UK", stdin=b"Offside front tyre is worn.")
    told = Explanation.model_validate_json(done.out)
    assert told.market == "UK"
    assert [finding.title for finding in told.findings] == ["tire, front right"]


@pytest.mark.usefixtures("quick_shop")
def test_the_command_on_a_recording(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    heard = transcript_from_text("Water pump is leaking.").words
    timed = [word.model_copy(update={"start": 61.0 + n, "end": 61.5 + n}) for n, word in enumerate(heard)]
    monkeypatch.setattr("voicecheck.cli._recogniser", lambda model, **more: ScriptedRecogniser(timed))
    done = run("explain", write_media(tmp_path / "a.wav", seconds=1.0), "--json")
    assert done.status == 0, done.err
    told = Explanation.model_validate_json(done.out)
    assert told.clauses[0].start == 61.0
    assert told.recording.name == "a.wav"


@pytest.mark.parametrize(
    ("arguments", "stdin", "says"),
    [
        (("explain", "--text", "no-such.txt"), b"", "There is no file no-such.txt."),
        (("explain", "no-such.wav"), b"", "There is no file no-such.wav."),
        (("explain", "-"), b"", "A recording cannot come from standard input."),
        (("explain", "--text", "-"), b" \n ", "The text holds no words."),
        (("explain", "--text", "-"), b"\x00\x01", "Standard input is not plain text in UTF-8."),
        (("explain", "--text", "-", "--html", "/no/such/folder/x.html"), b"Horn works.", "folder"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("quick_shop")
def test_bad_input_is_one_sentence(arguments: tuple[str, ...], stdin: bytes, says: str) -> None:
    assert says in run(*arguments, stdin=stdin).complaint


def test_a_page_over_its_own_source_is_refused(tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("Horn works.")
    assert "would be overwritten" in run("explain", "--text", notes, "--html", notes).complaint
    assert notes.read_text() == "Horn works."
