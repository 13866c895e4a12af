"""The whole run over a small folder, with a recogniser that is told what to hear; and its tables."""

from __future__ import annotations

import json
import math
import struct
import wave
from pathlib import Path

import pytest
from measure_helpers import draft, finding, gold, gold_finding, gold_line, line, small_lexicon
from rich.console import Console

from voicecheck.findings import Finder
from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon, SimpleMatcher
from voicecheck.lexicon.model import ActionTerm
from voicecheck.measure import FolderReport, measure_folder, report_json, report_markdown, report_tables
from voicecheck.measure.counts import Counts, Hearing
from voicecheck.measure.run import Speed
from voicecheck.measure.score import pool, score_draft
from voicecheck.measure.tables import score_rows
from voicecheck.pipeline import Workshop
from voicecheck.records import Catalogue, DataError, InputError, Market, PriceProfile, ShopData
from voicecheck.speech import ScriptedRecogniser

TEXT = "Left front tie rod end is loose."
LABEL = """\
name: {name}
market: {market}
findings:
- {{id: f1, component: tie rod end, positions: [front left], state: defect, conditions: [loose], measures: [],
   action: none, urgency: unstated, quote: "{text}"}}
lines: []
"""


def workshop_for(market: Market) -> Workshop:
    actions = (ActionTerm(action="replace", said=("replace",)),)
    lexicon = small_lexicon().model_copy(update={"market": market, "actions": actions})
    prices = PriceProfile.model_validate(
        {"name": "demo", "market": market, "currency": "USD", "labour_rate": "100"}
    )
    return Workshop(
        lexicon=lexicon,
        shop=ShopData(catalogue=Catalogue(name="none", operations=()), prices=prices, limits=()),
        cautions=(),
        reader=Reader(lexicon, SimpleMatcher(lexicon)),
        finder=Finder(lexicon),
    )


def narration(folder: Path, name: str, *, text: str = TEXT, market: str = "US") -> None:
    (folder / f"{name}.txt").write_text(text, encoding="utf-8")
    label = LABEL.format(name=name, market=market, text=text)
    (folder / f"{name}.gold.yaml").write_text(label, encoding="utf-8")


def tone(path: Path, *, seconds: float = 1.0) -> None:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(16000)
        samples = (int(8000 * math.sin(n / 6)) for n in range(int(16000 * seconds)))
        out.writeframes(b"".join(struct.pack("<h", s) for s in samples))


def test_texts_alone(tmp_path: Path) -> None:
    narration(tmp_path, "a")
    narration(tmp_path, "b", market="UK")
    narration(tmp_path, "c")
    asked: list[Market] = []

    def workshop(market: Market) -> Workshop:
        asked.append(market)
        return workshop_for(market)

    told: list[tuple[str, float]] = []
    report = measure_folder(tmp_path, workshop_for=workshop, progress=lambda *step: told.append(step))
    assert sorted(asked) == ["UK", "US"]
    assert report.text.counts.strict_f1 == 1.0
    assert [n.name for n in report.text.narrations] == ["a", "b", "c"]
    assert (report.sound, report.voices) == (None, {})
    assert report.speed.words == 3 * len(TEXT.split())
    assert report.speed.words_per_second is not None
    assert report.speed.words_per_second > 0
    assert told[-1] == ("texts", 1.0)


def test_recordings_pooled_and_by_voice(tmp_path: Path) -> None:
    narration(tmp_path, "a")
    tone(tmp_path / "a.low.opus", seconds=1.0)
    tone(tmp_path / "a.high.opus", seconds=2.0)
    (tmp_path / "a.torn.opus").write_bytes(b"not a recording")
    recogniser = ScriptedRecogniser("Left front tie rod end is tight.")
    report = measure_folder(tmp_path, workshop_for=workshop_for, recogniser=recogniser)
    assert report.text.counts.hearing is None
    assert report.sound is not None
    assert set(report.voices) == {"low", "high", "torn"}
    low, torn = report.voices["low"].counts, report.voices["torn"].counts
    assert low.hearing is not None
    assert (low.hearing.errors, low.hearing.words) == (1, 7)
    assert (low.hearing.terms_missed, low.hearing.terms) == (1, 3)
    # a recording that cannot be used is not left out: everything in it is missed
    assert torn.hearing is not None
    assert torn.hearing.word_error_rate == 1.0
    assert (torn.gold_findings, torn.draft_findings) == (1, 0)
    assert report.sound.counts.gold_findings == 3
    assert [bool(n.failure) for n in report.sound.narrations if n.voice == "torn"] == [True]
    assert report.speed.sound_s == pytest.approx(3.0, abs=0.1)
    assert report.speed.real_time_factor is not None
    console = Console(width=160, record=True)
    for part in report_tables(report):
        console.print(part)
    shown = console.export_text()
    assert "No draft of a.torn" in shown
    assert "by voice" in shown


def test_a_folder_without_recordings_is_refused_when_they_are_asked_for(tmp_path: Path) -> None:
    narration(tmp_path, "a")
    with pytest.raises(InputError, match="no recordings"):
        measure_folder(tmp_path, workshop_for=workshop_for, recogniser=ScriptedRecogniser(""))


def test_a_broken_label_stops_the_run(tmp_path: Path) -> None:
    narration(tmp_path, "a")
    label = tmp_path / "a.gold.yaml"
    label.write_text(label.read_text(encoding="utf-8").replace("defect", "bad"), encoding="utf-8")
    with pytest.raises(DataError, match=r"findings\[f1\].state"):
        measure_folder(tmp_path, workshop_for=workshop_for)


@pytest.fixture
def report(lexicon: Lexicon) -> FolderReport:
    label = gold([gold_finding()], [gold_line()])
    made = draft([finding(positions=("front right",))], [line(positions=("front right",))])
    score = score_draft(made, label, lexicon)
    heard = score.counts.model_copy(update={"hearing": Hearing(words=10, errors=1, terms=4, terms_missed=2)})
    sound = pool([score.model_copy(update={"voice": "joe", "counts": heard})])
    return FolderReport(
        folder="tune",
        text=pool([score]),
        sound=sound,
        voices={"joe": sound},
        speed=Speed(words=100, extraction_s=0.05, drafting_s=0.1, sound_s=10, listening_s=2, peak_mb=300),
    )


def _printed(report: FolderReport, *, detail: bool) -> str:
    console = Console(width=200, record=True)
    for part in report_tables(report, detail=detail):
        console.print(part)
    return console.export_text()


def test_differences_are_listed_only_when_asked_for(report: FolderReport) -> None:
    brief, long = _printed(report, detail=False), _printed(report, detail=True)
    assert "[front left]" not in brief
    assert "f1 tie rod end [front left] defect (play) replace" in long
    assert "f1 tie rod end [front right] defect (play) replace" in long
    assert "line wrong, NOT ASKED" in long
    assert "silent errors" in brief


def test_json_has_counts_rates_and_differences(report: FolderReport) -> None:
    plain = json.loads(json.dumps(report_json(report)))
    pooled = plain["text"]["pooled"]
    assert (pooled["strict"], pooled["gold_findings"], pooled["strict_f1"], pooled["silent"]) == (
        0,
        1,
        0.0,
        1,
    )
    assert pooled["positions"] == {"right": 0, "total": 1, "rate": 0.0}
    assert pooled["hearing"] is None
    assert plain["voices"]["joe"]["hearing"]["term_error_rate"] == 0.5
    assert plain["text"]["narrations"][0]["misses"][0]["fields"] == ["positions"]
    assert plain["speed"]["words_per_second"] == 2000
    assert plain["speed"]["real_time_factor"] == 0.2


def test_markdown_has_the_same_figures(report: FolderReport) -> None:
    text = report_markdown(report)
    assert "| silent errors | 1 | of 1 wrong lines, 1 in all |" in text
    assert "| trade-term error rate | 50.0 % | 2 of 4 |" in text
    assert "| extraction, words per second | 2,000 |" in text
    tables = [block for block in text.split("\n\n") if block.startswith("|")]
    assert tables
    for block in tables:
        columns = {row.count("|") for row in block.strip().splitlines()}
        assert len(columns) == 1


def test_rates_of_nothing_are_a_dash_and_counts_a_nought() -> None:
    shown = {row.label: row.value for row in score_rows(Counts(hearing=Hearing()))}
    assert shown["strict finding F1"] == shown["line F1"] == shown["asks per right line"] == "–"
    assert shown["word error rate, as written"] == shown["trade-term error rate"] == "–"
    assert shown["silent errors"] == shown["wrong side or axle"] == "0"
