"""Ears side by side: who hears what, how long, what is kept, and what is made of it."""

from __future__ import annotations

import json
import math
import struct
import wave
from collections.abc import Sequence
from pathlib import Path

import pytest
import yaml
from measure_helpers import gold_finding, small_lexicon
from rich.console import Console

from voicecheck.lexicon import Lexicon
from voicecheck.lexicon.model import PlaceTerm
from voicecheck.measure.ear import EarReport, Heard, measure_ear, term_ratio, together
from voicecheck.measure.ear_conditions import conditions_named
from voicecheck.measure.ear_process import EarProcess, Ears, ear_mark
from voicecheck.measure.ear_tables import ear_grids, ear_json, ear_markdown, ear_tables, ear_targets
from voicecheck.recording import Sound, read_sound
from voicecheck.records import InputError, Market, MissingModelError, RecordingError, Transcript, Word
from voicecheck.speech import SpeechSettings

TEXT = "Left front tie rod end is loose."
MISHEARD = "Left front tie rot end is lose."


def lexicon_for(market: Market) -> Lexicon:
    made = small_lexicon()
    side = PlaceTerm(said="left", kind="side", value="left")
    return made.model_copy(update={"market": market, "places": (*made.places, side)})


def narration(folder: Path, name: str, voices: Sequence[str], *, seconds: float = 1.0) -> None:
    folder.mkdir(exist_ok=True)
    (folder / f"{name}.txt").write_text(TEXT, encoding="utf-8")
    label = {
        "name": name,
        "market": "US",
        "style": "short",
        "findings": [gold_finding(action="none", positions=["front left"], quote=TEXT)],
        "lines": [],
        "not_lines": [],
    }
    (folder / f"{name}.gold.yaml").write_text(yaml.safe_dump(label), encoding="utf-8")
    for number, voice in enumerate(voices):
        tone(folder / f"{name}.{voice}.opus", seconds=seconds, pitch=6 + len(name) + number)


def tone(path: Path, *, seconds: float, pitch: float) -> None:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(16000)
        samples = (int(8000 * math.sin(n / pitch)) for n in range(int(16000 * seconds)))
        out.writeframes(b"".join(struct.pack("<h", s) for s in samples))


class Fake:
    """Hears one text in everything, and remembers what it was given."""

    def __init__(
        self, said: str, *, reads: str | None = None, seconds: float = 2.0, failure: str = ""
    ) -> None:
        pairs = zip(said.split(), (reads or said).split(), strict=True)
        self.words = tuple(Word(heard=one, read=two, certainty=0.9) for one, two in pairs)
        self.seconds, self.failure = seconds, failure
        self.given: list[tuple[str, float]] = []

    def listen(self, path: Path, *, market: Market) -> Heard:
        self.given.append((path.stem, read_sound(path).seconds))
        text = " ".join(word.read for word in self.words)
        return Heard(
            transcript=Transcript(text=text, words=self.words),
            wall_s=self.seconds,
            cpu_s=2 * self.seconds,
            peak_mb=500.0,
            failure=self.failure,
        )


def measured(folder: Path, *conditions: str, **more: object) -> tuple[EarReport, dict[str, Fake]]:
    ears = {"plain": Fake(MISHEARD), "full": Fake(MISHEARD, reads=TEXT, seconds=3.0)}
    report = measure_ear(
        folder,
        listeners=ears,
        lexicon_for=lexicon_for,
        conditions=conditions_named(conditions or ("clean",)),
        **more,  # type: ignore[arg-type]
    )
    return report, ears


def test_every_ear_hears_every_clean_recording_in_every_condition(tmp_path: Path) -> None:
    folder = tmp_path / "some"
    narration(folder, "a", ["low", "high", "low-noise10"])
    narration(folder, "b", ["low"])
    report, ears = measured(folder, "clean", "speed1.2")
    for ear in ears.values():
        assert sorted(name for name, _ in ear.given) == sorted(["a.low", "a.high", "b.low"] * 2)
        assert sorted(round(s, 2) for _, s in ear.given) == [0.83] * 3 + [1.0] * 3
    assert (report.folders, report.voices) == (("some",), ("high", "low"))
    plain, full = report.pool("plain"), report.pool("full")
    assert plain.counts.recordings == 6
    assert plain.sound_s == pytest.approx(3 * (1 + 1 / 1.2), abs=0.01)
    assert (plain.counts.hearing.errors, full.counts.hearing.errors) == (12, 0)
    assert (full.counts.repairs.right, full.counts.repairs.false) == (12, 0)
    assert full.counts.sides.total == 6
    assert report.pool("full", voice="high").counts.recordings == 2
    assert report.pool("full", conditions=["clean"], voice="high").counts.recordings == 1
    assert report.pool("full", folder="other").counts.recordings == 0
    assert report.ratio("full") == pytest.approx((1.5, 1.5))
    assert term_ratio(report, condition="clean") == 0.0
    assert term_ratio(report, condition="noise10") is None


def test_the_limit_takes_voices_in_turn_and_at_least_one_recording(tmp_path: Path) -> None:
    for name in ("a", "b", "c"):
        narration(tmp_path, name, ["low", "high"])
    _, ears = measured(tmp_path, limit_s=2.5)
    assert [name for name, _ in ears["full"].given] == ["a.high", "a.low"]
    _, ears = measured(tmp_path, limit_s=0.1)
    assert [name for name, _ in ears["full"].given] == ["a.high"]


def test_more_recordings_from_another_folder(tmp_path: Path) -> None:
    folder, more = tmp_path / "some", tmp_path / "more"
    narration(folder, "a", ["low"])
    more.mkdir()
    for name in ("a.high.opus", "a.low.opus", "a.low-noise10.opus", "ab.low.opus"):
        tone(more / name, seconds=2.0, pitch=9)
    _, ears = measured(folder, recordings=more)
    # the folder's own comes before one of the same voice elsewhere
    assert sorted(ears["plain"].given) == [("a.high", 2.0), ("a.low", 1.0)]


def test_what_was_heard_is_kept_and_used_under_the_same_mark_only(tmp_path: Path) -> None:
    folder, keep = tmp_path / "some", tmp_path / "kept.jsonl"
    narration(folder, "a", ["low", "high"])
    first, _ = measured(folder, keep=keep, mark="one")
    again, ears = measured(folder, keep=keep, mark="one")
    assert not ears["plain"].given
    assert not ears["full"].given
    assert again == first
    keep.write_text(keep.read_text(encoding="utf-8")[:-20], encoding="utf-8")  # cut off while writing
    again, ears = measured(folder, keep=keep, mark="one")
    assert sum(len(ear.given) for ear in ears.values()) == 1
    _, ears = measured(folder, keep=keep, mark="other")
    assert len(ears["full"].given) == 2


def test_a_file_that_was_not_kept_by_a_run_is_refused(tmp_path: Path) -> None:
    narration(tmp_path, "a", ["low"])
    keep = tmp_path / "kept.jsonl"
    keep.write_text("once\ntwice\n", encoding="utf-8")
    with pytest.raises(InputError, match="row 1"):
        measured(tmp_path, keep=keep)


def test_without_clean_recordings_there_is_nothing_to_measure(tmp_path: Path) -> None:
    narration(tmp_path, "a", ["low-noise10"])
    with pytest.raises(InputError, match="without noise"):
        measured(tmp_path)


def test_what_cannot_be_heard_counts_as_all_missed(tmp_path: Path) -> None:
    narration(tmp_path, "a", ["low"])
    ears = {"plain": Fake(TEXT), "full": Fake("", failure="no speech")}
    report = measure_ear(
        tmp_path, listeners=ears, lexicon_for=lexicon_for, conditions=conditions_named(["clean"])
    )
    full = report.pool("full").counts
    assert (full.failures, full.hearing.word_error_rate, full.sides.missing) == (1, 1.0, 1)
    console = Console(width=110, record=True)
    for part in ear_tables(report):
        console.print(part)
    assert "1 could not be heard at all" in console.export_text()


def test_targets_are_met_or_not(tmp_path: Path) -> None:
    narration(tmp_path, "a", ["low"])
    report, _ = measured(tmp_path, "clean", "noise10")
    assert [target.met for target in ear_targets(report)] == [True] * 6
    worse = {"plain": Fake(TEXT), "full": Fake(TEXT, reads=TEXT.replace("Left", "Rear"), seconds=4.0)}
    bad = measure_ear(
        tmp_path, listeners=worse, lexicon_for=lexicon_for, conditions=conditions_named(["clean"])
    )
    verdicts = {target.what: target.met for target in ear_targets(bad)}
    assert verdicts == {
        "trade-term error rate, clean": None,  # nothing was missed plain: there is no share of it
        "trade-term error rate, noise10": None,
        "false repairs per 1,000 words": False,
        "sides and numbers silently changed by a repair": False,
        "time of the full ear, times plain, on the clock": False,
        "time of the full ear, times plain, CPU": False,
    }
    one = bad.model_copy(update={"ears": ("plain",)})
    assert ear_targets(one) == []


def test_tables_json_and_markdown_say_the_same(tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    narration(one, "a", ["low", "high"])
    narration(two, "b", ["low"])
    report = together([measured(one, "clean", "phone")[0], measured(two, "clean", "phone")[0]])
    assert report.folders == ("one", "two")
    grids = {grid.title: grid for grid in ear_grids(report)}
    pooled = grids["all folders, by condition"]
    assert [row[:2] for row in pooled.rows] == [
        (condition, ear) for condition in ("clean", "phone", "all") for ear in ("plain", "full")
    ]
    assert pooled.rows[0][2] == "28.6"
    assert pooled.rows[1][2] == "0.0"
    for grid in grids.values():
        assert all(len(row) == len(grid.head) for row in grid.rows)
    both = grids["every voice in every condition"]
    assert [row[:2] for row in both.rows] == [
        (condition, voice) for condition in ("clean", "phone") for voice in ("high", "low")
    ]
    plain = json.loads(json.dumps(ear_json(report)))
    assert plain["folders"] == ["one", "two"]
    cells = [c for c in plain["cells"] if c["ear"] == "plain" and c["condition"] == "clean"]
    assert sum(c["counts"]["hearing"]["errors"] for c in cells) == 6
    assert "a.low" not in json.dumps(plain)
    written = ear_markdown(report)
    assert "| clean | plain | 28.6 |" in written
    assert "### one, by voice" in written
    console = Console(width=110, record=True)
    for part in ear_tables(report):
        console.print(part)
    assert "NOT" not in console.export_text()
    with pytest.raises(ValueError, match="no reports"):
        together([])


class Refusing:
    """A recogniser that takes no recording."""

    def hear(self, sound: Sound, **_: object) -> Transcript:
        raise RecordingError(f"{sound.name} sounds like another language.")


def test_a_refused_recording_is_a_failure_with_its_sentence(tmp_path: Path) -> None:
    tone(tmp_path / "a.wav", seconds=1.0, pitch=6)
    heard = Ears(Refusing(), warm=False).listen(tmp_path / "a.wav", market="US")
    assert heard.failure == "a.wav sounds like another language."
    assert heard.transcript.words == ()
    assert heard.wall_s > 0


def test_a_missing_model_is_told_from_the_other_process(tmp_path: Path) -> None:
    with pytest.raises(MissingModelError):
        EarProcess(SpeechSettings(model=str(tmp_path / "none")))


def test_the_mark_changes_with_model_and_terms(tmp_path: Path) -> None:
    (tmp_path / "places.csv").write_text("said,kind,value,market,notes\n", encoding="utf-8")
    marks = {
        ear_mark(model="base"),
        ear_mark(model="tiny.en"),
        ear_mark(model="base", lexicon_folder=tmp_path),
    }
    assert len(marks) == 3
    assert ear_mark(model="base") in marks
