"""The commands, as a person calls them."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from cli_kit import ROOT, Ran, environment, run, run_alone
from media_kit import KINDS, write_media

from voicecheck import __version__, cli
from voicecheck.documents import from_json
from voicecheck.records import Word
from voicecheck.speech import ScriptedRecogniser

NOTES = b"Front pads at two mil, replace them. Left outer tie rod end has play."

pytestmark = pytest.mark.usefixtures("quick_shop")


@pytest.fixture
def scripted(monkeypatch: pytest.MonkeyPatch) -> ScriptedRecogniser:
    """Commands hear the notes in every recording."""
    recogniser = ScriptedRecogniser(NOTES.decode())
    monkeypatch.setattr(cli, "_recogniser", lambda model, **_: recogniser)
    return recogniser


# -- what is imported and shown at once --------------------------------------------------------------------


def test_help_loads_nothing_heavy() -> None:
    """--help must be there at once: of the packages only click may be imported for it."""
    code = (
        "import sys; before = set(sys.modules)\n"
        "from voicecheck.cli import main\n"
        "try: main(['draft', '--help'])\n"
        "except SystemExit as end: assert end.code == 0, end.code\n"
        "print(sorted({m.split('.')[0] for m in set(sys.modules) - before} - set(sys.stdlib_module_names)))\n"
        "ours = sorted(m for m in sys.modules if m.startswith('voicecheck'))\n"
        "print([m for m in ours if not m.startswith('voicecheck.cli_')])\n"
    )

    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment()
    )
    packages, ours = done.stdout.splitlines()[-2:]
    assert packages == "['click', 'voicecheck']"
    assert ours == "['voicecheck', 'voicecheck.cli']"


def test_the_commands_that_are_promised() -> None:
    shown = run("--help")
    assert shown.status == 0
    commands = {"draft", "listen", "lexicon", "catalogue", "measure", "weights", "doctor"}
    assert commands <= set(re.findall(r"^  (\w+)", shown.out, re.MULTILINE))
    assert run().out == shown.out
    assert run("--version").out == f"voicecheck, version {__version__}\n"


@pytest.mark.parametrize(
    ("command", "options"),
    [
        ("draft", "--text --json --html --csv --json-out --model --lexicon --catalogue --prices --market"),
        ("listen", "--plain --json --model --lexicon --market"),
        (
            "measure",
            "--json --audio --no-audio --detail --model --lexicon --catalogue "
            "--ear --conditions --limit-minutes --recordings --noise --keep",
        ),
        ("catalogue check", "--lexicon"),
        ("lexicon check", ""),
        ("weights", ""),
        ("doctor", "--model"),
    ],
)
def test_every_option_is_in_the_help(command: str, options: str) -> None:
    shown = run(*command.split(), "--help")
    assert shown.status == 0
    assert set(re.findall(r"--[a-z-]+", shown.out)) == {*options.split(), "--help"}


# -- draft -------------------------------------------------------------------------------------------------


def test_draft_of_text_from_standard_input() -> None:
    ran = run("draft", "--text", "-", stdin=NOTES)
    assert ran.status == 0
    assert "brake pads" in ran.out
    assert "Total so far" in ran.out
    assert "typed notes" in ran.out
    assert re.search(r"^Time: loading [\d.]+ s, reading [\d.]+ s, finding .* s, estimating .* s\.$", ran.err)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_draft_of_a_text_file(encoding: str, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("Rear pads – three mil. Front tires fine…", encoding=encoding)
    ran = run("draft", tmp_path / "notes.txt", "--text", "--json")
    made = from_json(ran.out)
    assert made.recording.name == "notes.txt"
    assert made.transcript.text == "Rear pads – three mil. Front tires fine…"
    assert made.recording.seconds is None


def test_draft_json_is_the_document_and_nothing_else() -> None:
    ran = run("draft", "--text", "-", "--json", stdin=NOTES)
    made = from_json(ran.out)
    assert json.loads(ran.out)["format"] == "voicecheck-draft/1"
    assert set(made.timings) == {"loading", "reading", "finding", "estimating"}
    assert "Time: " in ran.err


def test_json_is_utf8_on_a_terminal_that_is_not() -> None:
    ran = run_alone(
        ["draft", "--text", "-", "--json"], stdin="Front pads – 2 mil".encode(), PYTHONIOENCODING="ascii"
    )
    assert ran.status == 0
    assert from_json(ran.out).transcript.text == "Front pads – 2 mil"


def test_table_on_a_terminal_without_the_characters() -> None:
    ran = run_alone(
        ["draft", "--text", "-"], stdin="Front pads – 2 mil, replace".encode(), PYTHONIOENCODING="ascii"
    )
    assert ran.status == 0
    assert "?Front pads ? 2 mil, replace?" in ran.out


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_draft_of_every_kind_of_recording(kind: str, tmp_path: Path, scripted: ScriptedRecogniser) -> None:
    picture = kind in ("mp4", "mov", "webm")
    path = write_media(tmp_path / f"walk.{kind}", seconds=2.0, picture=picture)
    ran = run("draft", path, "--json")
    made = from_json(ran.out)
    assert made.recording.name == path.name
    assert made.recording.seconds == pytest.approx(2.0, abs=0.15)
    assert made.findings
    assert set(made.timings) == {"loading", "decoding", "listening", "reading", "finding", "estimating"}
    assert "2 s of recording took" in ran.err
    assert all(0 <= s.start < s.end <= made.recording.seconds + 0.01 for f in made.findings for s in f.heard)  # type: ignore[operator]


def test_draft_hears_with_the_hot_words_of_the_shop(tmp_path: Path, scripted: ScriptedRecogniser) -> None:
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "hotwords.csv").write_text("phrase,market\nflux dampener,\n")
    recording = write_media(tmp_path / "a.wav", seconds=1.0)
    assert run("draft", recording, "--lexicon", tmp_path / "own", "--json").status == 0
    assert run("listen", recording, "--lexicon", tmp_path / "own").status == 0
    first, second = (hot for _, hot in scripted.asked)
    assert first[0] == "flux dampener"
    assert first == second


def test_draft_writes_every_document(tmp_path: Path) -> None:
    page, sheet, document = tmp_path / "a.html", tmp_path / "a.csv", tmp_path / "a.json"
    ran = run("draft", "--text", "-", "--html", page, "--csv", sheet, "--json-out", document, stdin=NOTES)
    assert ran.status == 0
    made = from_json(document.read_text(encoding="utf-8"))
    lines = [line for job in made.estimate.jobs for line in job.lines]
    assert lines
    assert page.read_text(encoding="utf-8").lower().startswith("<!doctype html>")
    rows = list(csv.reader(io.StringIO(sheet.read_text(encoding="utf-8-sig"))))
    assert len(rows) > len(lines)
    assert {p.name for p in tmp_path.iterdir()} == {"a.html", "a.csv", "a.json"}
    assert [line for line in ran.err.splitlines() if line.startswith("Wrote ")] == [
        f"Wrote {page}",
        f"Wrote {sheet}",
        f"Wrote {document}",
    ]


@pytest.mark.parametrize(("given", "market", "currency"), [("US", "US", "USD"), ("uk", "UK", "GBP")])
def test_market(given: str, market: str, currency: str) -> None:
    made = from_json(run("draft", "--text", "-", "--json", "--market", given, stdin=NOTES).out)
    assert (made.market, made.estimate.currency) == (market, currency)


def test_the_shops_own_files_are_used(tmp_path: Path) -> None:
    (tmp_path / "own" / "components").mkdir(parents=True)
    (tmp_path / "own" / "components" / "engine.csv").write_text(
        "id,name,us,uk,kind_of,part_of,places,place,sets\nflux_dampener,flux dampener,,,,,one,,each\n"
    )
    (tmp_path / "own.csv").write_text(
        "code,name,system,component,action,per,hours\nX-1,Renew it,engine,flux_dampener,replace,vehicle,2.0\n"
    )
    prices = Path(cli.__file__).parent.parent / "shared" / "prices.us.yaml"
    (tmp_path / "own.yaml").write_text(
        prices.read_text().replace("labour_rate: 135.00", "labour_rate: 10.00")
    )
    ran = run(
        "draft", "--text", "-", "--json", "--lexicon", tmp_path / "own", "--catalogue", tmp_path / "own.csv",
        "--prices", tmp_path / "own.yaml", stdin=b"The flux dampener is broken, replace it.",
    )  # fmt: skip
    made = from_json(ran.out)
    (labour,) = [line for job in made.estimate.jobs for line in job.lines if line.kind == "labour"]
    assert (labour.catalogue, str(labour.amount)) == ("X-1", "20.00")


def test_a_bar_on_a_terminal_and_none_elsewhere(tmp_path: Path, scripted: ScriptedRecogniser) -> None:
    path = write_media(tmp_path / "a.wav", seconds=1.0)
    quiet = run("draft", path)
    shown = run("draft", path, env={"FORCE_COLOR": "1", "TERM": "xterm"})
    assert "\x1b" not in quiet.err
    for stage in ("loading", "decoding", "listening"):
        assert re.search(rf"{stage} .*100%", shown.err)
    assert "\x1b[2K" in shown.err  # and is wiped away again


def test_a_file_name_that_is_no_text(tmp_path: Path, scripted: ScriptedRecogniser) -> None:
    path = write_media(tmp_path / "a.wav", seconds=1.0)
    odd = path.rename(tmp_path / "b\udcff.wav")
    ran = run("draft", odd, "--json")
    assert from_json(ran.out).recording.name == "b\ufffd.wav"


# -- listen ------------------------------------------------------------------------------------------------


def test_listen_shows_times_and_certainties(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    words = [
        Word(heard="left", read="left", start=0.5, end=0.9, certainty=0.91),
        Word(heard="idler.", read="idler.", start=1.0, end=1.6, certainty=0.42),
    ]
    monkeypatch.setattr(cli, "_recogniser", lambda model, **_: ScriptedRecogniser(words))
    path = write_media(tmp_path / "a.wav", seconds=2.0)
    table = run("listen", path)
    assert table.status == 0
    assert re.search(r"0:00 +left idler\. \(0\.42\) +0\.42 +0\.91", table.out)
    assert "decoding" in table.err
    told = json.loads(run("listen", path, "--json").out)
    assert [w["certainty"] for w in told["words"]] == [0.91, 0.42]
    assert [w["start"] for w in told["words"]] == [0.5, 1.0]


# -- checks ------------------------------------------------------------------------------------------------


def own_terms(tmp_path: Path, **files: str) -> Path:
    folder = tmp_path / "own"
    folder.mkdir()
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def test_lexicon_check_names_every_fault_of_the_shop_and_only_counts_ours(tmp_path: Path) -> None:
    folder = own_terms(
        tmp_path,
        conditions=(
            "id,name,said,fits,state,severity\n"
            "furry,furry,furry|fuzzy,no_such_part,defect,soon\n"
            "odd,odd,odd,any,perhaps,soon\n"
        ),
        cues="kind,said,value\nnegaton,nope,\n",
    )
    ran = run("lexicon", "check", folder)
    assert ran.status == 2
    lines = ran.out.splitlines()
    assert all(line.startswith(("error: own/", "warning: own/")) for line in lines)
    for where in ("own/conditions.csv:2 [fits]", "own/conditions.csv:3 [state]", "own/cues.csv:2 [kind]"):
        assert any(line.startswith(f"error: {where}: ") for line in lines), where
    assert re.search(r"\(\d+ warnings about the shipped term files alone", ran.err)
    assert "The term files cannot be used: 3 errors" in ran.err


def test_lexicon_check_of_good_terms(tmp_path: Path) -> None:
    folder = own_terms(
        tmp_path, conditions="id,name,said,fits,state,severity\nfurry,furry,furry,any,defect,soon\n"
    )
    ran = run("lexicon", "check", folder)
    assert (ran.status, ran.out) == (0, "")
    assert "The term files can be used." in ran.err


def test_lexicon_check_tells_what_the_shop_shadows(tmp_path: Path) -> None:
    """The doubt is about a shipped row, and comes up only with the shop's file."""
    folder = own_terms(tmp_path, cues="kind,said,value\nfiller,seeping,\n")
    ran = run("lexicon", "check", folder)
    assert ran.status == 0
    assert "own/cues.csv:2" in ran.out
    assert "The term files can be used: " in ran.err


def test_lexicon_check_of_the_shipped_files() -> None:
    ran = run("lexicon", "check")
    assert ran.status == 0
    assert all(line.startswith("warning: ") for line in ran.out.splitlines())


def test_catalogue_check_names_every_fault(tmp_path: Path) -> None:
    (tmp_path / "c.csv").write_text(
        "code,name,system,component,action,per,hours\n"
        "A-1,One,brakes,brake_pads,replace,axle,1.0\n"
        "A-1,Two,brakes,brake_padz,replace,axle,x\n"
        "A-3,Three,brakez,brake_pads,replace,axel,1.0\n"
    )
    ran = run("catalogue", "check", tmp_path / "c.csv")
    assert ran.status == 2
    for where in ("3 [code]", "3 [component]", "3 [hours]", "4 [system]", "4 [per]"):
        assert f"c.csv:{where}" in ran.out, where
    assert "The catalogue cannot be used: 5 errors" in ran.err


def test_catalogue_check_of_the_shipped_catalogue() -> None:
    ran = run("catalogue", "check", ROOT / "shared" / "catalogue.csv")
    assert ran.status == 0
    assert "error" not in ran.out
    assert "The catalogue can be used" in ran.err


# -- measure -----------------------------------------------------------------------------------------------


@pytest.fixture
def labelled(tmp_path: Path) -> Path:
    folder = tmp_path / "labelled"
    folder.mkdir()
    (folder / "one.txt").write_text("Front pads at two millimeters, replace them.\n")
    (folder / "one.gold.yaml").write_text(
        "name: one\nmarket: US\nstyle: short\nfindings:\n"
        "- {id: f1, component: brake pads, also: [], positions: [front], place: [], state: defect,\n"
        "   conditions: [], measures: [], action: replace, urgency: unstated, quote: 'Front pads'}\n"
        "lines:\n- {operation: replace, component: brake pads, positions: [front], quantity: 1, from: [f1]}\n"
        "not_lines: []\n"
    )
    return folder


def test_measure_as_a_table_and_as_json(labelled: Path, scripted: ScriptedRecogniser) -> None:
    write_media(labelled / "one.tone.wav", seconds=1.0)
    (labelled / "one.tone.wav").rename(labelled / "one.tone.opus")
    table = run("measure", labelled)
    assert table.status == 0
    assert "strict" in table.out.lower()
    told = json.loads(run("measure", labelled, "--json").out)
    assert told["text"]
    assert told["sound"]
    assert len(scripted.asked) == 2


def test_measure_of_texts_alone_loads_no_weights(labelled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cli, "_recogniser", lambda model, **_: pytest.fail("weights were loaded"))
    ran = run("measure", labelled, "--no-audio", "--json")
    assert json.loads(ran.out)["sound"] is None


# -- doctor and weights ------------------------------------------------------------------------------------


def doctor(monkeypatch: pytest.MonkeyPatch, heard: str) -> Ran:
    import voicecheck.speech

    monkeypatch.setattr(voicecheck.speech, "find_model", lambda name: Path("/weights") / name)
    monkeypatch.setattr(voicecheck.speech, "verify", lambda name: None)
    monkeypatch.setattr(cli, "_recogniser", lambda model, **_: ScriptedRecogniser(heard))
    return run("doctor")


def test_doctor_of_a_sound_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    ran = doctor(monkeypatch, "Check the left front tyre.")
    assert ran.status == 0
    assert f"voicecheck {__version__}" in ran.out
    assert re.search(r"faster-whisper \d", ran.out)
    assert "Weights base: /weights/base" in ran.out
    assert "heard “Check the left front tyre.”" in ran.out


def test_doctor_of_a_deaf_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    ran = doctor(monkeypatch, "Thank you.")
    assert ran.status == 1
    assert "NOT as expected" in ran.out


def test_doctor_without_weights(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("VOICECHECK_CACHE", str(tmp_path))
    ran = run("doctor")
    assert ran.status == 2
    assert "Weights base: not usable." in ran.out
    assert "voicecheck weights base" in ran.err


@pytest.mark.audio
def test_doctor_hears(capfd: pytest.CaptureFixture[str]) -> None:
    ran = run("doctor")
    assert ran.status == 0, ran.err
    assert "Self-test with base: heard “" in ran.out
