"""Labels: right ones, and every kind of fault named with file, row and field."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from voicecheck.measure.gold import load_gold, load_narrations, read_gold
from voicecheck.records import DataError, InputError

TEXT = "Right front outer tie rod end has\nplay, replace it. Pads three millimeters. Left one is fine.\n"
GOLD = """\
name: a
market: US
style: terse
findings:
- id: f1
  component: outer tie rod end
  also: [tie rod end]
  positions: [front right]
  place: [lower]
  state: defect
  conditions: [play, loose]
  measures: [{what: pad thickness, value: 3.10, unit: mm, position: front left}]
  action: replace
  action_positions: [front left, front right]
  urgency: now
  quote: "outer tie rod end has play"
  with: f2
- {id: f2, component: tie rod end, positions: [front left], state: ok, conditions: [], measures: [],
   action: none, urgency: unstated, quote: "Left one is fine."}
lines:
- {operation: replace, component: outer tie rod end, positions: [front], quantity: 2, from: [f1]}
not_lines:
- {component: brake calipers, why: said dry and fine}
"""

Write = Callable[[str], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def write(content: str) -> Path:
        path = tmp_path / "a.gold.yaml"
        path.write_text(content, encoding="utf-8")
        return path

    return write


def test_a_label_is_read_whole(write: Write) -> None:
    gold = load_gold(write(GOLD), text=TEXT)
    first, second = gold.findings
    assert first.names == ("outer tie rod end", "tie rod end")
    assert first.place == ("lower",)
    assert first.action_positions == ("front left", "front right")
    assert (first.done_with, second.done_with) == ("f2", None)
    assert first.measures[0].value == Decimal("3.10")
    assert str(first.measures[0].value) == "3.10"  # as written, never through a binary fraction
    assert gold.lines[0].findings == ("f1",)
    assert gold.not_lines[0].component == "brake calipers"


def test_real_labels_of_the_repository_are_read() -> None:
    folder = Path(__file__).parents[2] / "samples_synthetic" / "tune"
    narrations = load_narrations(folder)
    assert len(narrations) == len(list(folder.glob("*.txt"))) > 0
    recordings = {path for n in narrations for _, path in n.recordings}
    assert recordings == set(folder.glob("*.opus"))


def test_empty_lists_may_be_left_blank(write: Write) -> None:
    gold = load_gold(write("name: a\nmarket: UK\nfindings:\nlines: []\n"))
    assert (gold.findings, gold.lines, gold.not_lines, gold.market) == ((), (), (), "UK")


@pytest.mark.parametrize(
    ("old", "new", "row", "field", "message"),
    [
        ("market: US", "market: FR", 1, "market", "“FR” is not one of US or UK"),
        ("market: US\n", "", 1, "market", "is missing"),
        ("name: a", "name: b", None, "name", "the file is a.gold.yaml"),
        ("style: terse", "stile: terse", 1, "stile", "unknown key; allowed: name, market, style"),
        ("findings:", "finding:", 1, "finding", "unknown key"),
        ("  urgency: now\n", "", 5, "findings[f1].urgency", "is missing"),
        ("urgency: now", "urgency: asap", 5, "findings[f1].urgency", "“asap” is not one of now, soon"),
        ("state: defect", "state: bad", 5, "findings[f1].state", "“bad” is not one of defect"),
        ("[front right]\n", "[front rihgt]\n", 5, "findings[f1].positions[1]", "“front rihgt” is not one of"),
        ("[front right]\n", "front right\n", 5, "findings[f1].positions", "write [front right]"),
        ("[front right]\n", "[front right, right]\n", 5, "findings[f1].positions", "covers another"),
        ("[front left, front right]\n", "[front left]\n", 5, "findings[f1].action_positions", "more than"),
        ("  with: f2", "  with: f9", 5, "findings[f1].with", "“f9” is not another finding"),
        ("  with: f2", "  wiht: f2", 5, "findings[f1].wiht", "unknown key; allowed: id, component"),
        ("unit: mm", "unit: mil", 5, "findings[f1].measures[1].unit", "“mil” is not one of mm"),
        ("value: 3.10", "value: thin", 5, "findings[f1].measures[1].value", "“thin”"),
        ("value: 3.10", "valeu: 3.10", 5, "findings[f1].measures[1].valeu", "allowed: what, value, unit"),
        ("has play\"", "has slop\"", 5, "findings[f1].quote", "not in the text"),
        ("id: f2,", "id: f1,", 18, "findings[f1].id", "used 2 times"),
        ("conditions: [], ", "conditions: [play], ", 18, "findings[f2].conditions", "must be []"),
        ("action: none", "action: repair", 18, "findings[f2].action", "“repair” is in no line"),
        ("operation: replace", "operation: monitor", 21, "lines[1].operation", "makes no line"),
        ("operation: replace", "operation: repair", 21, "lines[1].from", "none of these findings"),
        ("from: [f1]", "from: [f7]", 21, "lines[1].from", "no finding “f7”"),
        ("from: [f1]", "from: []", 21, "lines[1].from", "is empty"),
        ("quantity: 2", "quantity: 0", 21, "lines[1].quantity", "greater than or equal to 1"),
        ("quantity: 2", "quantity: 1.5", 21, "lines[1].quantity", "“1.5”"),
        (", why: said dry and fine", "", 23, "not_lines[1].why", "is missing"),
        ("style: terse", "name: c", 3, "", "“name” is set twice"),
        ("also: [tie rod end]", "also: [tie rod end", 8, "", "not readable as YAML"),
    ],
)  # fmt: skip
def test_faults_are_named(
    write: Write, old: str, new: str, row: int | None, field: str, message: str
) -> None:
    assert old in GOLD
    path = write(GOLD.replace(old, new, 1))
    _, problems = read_gold(path, text=TEXT)
    named = [p for p in problems if p.field == field and message in p.message]
    assert named, [str(p) for p in problems]
    assert ("a.gold.yaml", row) in {(p.file, p.row) for p in named}
    with pytest.raises(DataError) as raised:
        load_gold(path, text=TEXT)
    assert raised.value.problems == problems


def test_all_faults_are_told_at_once(write: Write) -> None:
    broken = GOLD.replace("state: defect", "state: bad").replace("state: ok", "state: fine")
    broken = broken.replace("quantity: 2", "quantity: none")
    _, problems = read_gold(write(broken))
    assert {p.field for p in problems} == {"findings[f1].state", "findings[f2].state", "lines[1].quantity"}


@pytest.mark.parametrize(
    "content", ["", "- a\n", "just words\n", "findings: 3\nname: a\nmarket: US\nlines: []\n"]
)
def test_other_files_are_refused(write: Write, content: str) -> None:
    gold, problems = read_gold(write(content))
    assert gold is None
    assert problems


def test_bytes_that_are_no_text_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.gold.yaml"
    path.write_bytes(b"name: \xff\xfe")
    _, (problem,) = read_gold(path)
    assert "UTF-8" in problem.message


def test_a_folder_of_narrations(write: Write) -> None:
    folder = write(GOLD).parent
    (folder / "a.txt").write_text(TEXT, encoding="utf-8")
    for name in ("a.joe.opus", "a.joe-noise10.opus", "ab.joe.opus", "a.b.joe.opus", "a.opus"):
        (folder / name).touch()
    (narration,) = load_narrations(folder)
    assert narration.text == TEXT
    assert [voice for voice, _ in narration.recordings] == ["joe", "joe-noise10"]


def test_no_narration_is_left_out_in_silence(write: Write) -> None:
    folder = write(GOLD).parent
    (folder / "b.txt").write_text(TEXT, encoding="utf-8")
    with pytest.raises(DataError) as raised:
        load_narrations(folder)
    told = {(p.file, p.message) for p in raised.value.problems}
    assert told == {
        ("a.gold.yaml", "there is no text a.txt beside it"),
        ("b.txt", "there is no label b.gold.yaml beside it"),
    }


def test_folders_without_labels_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no labels"):
        load_narrations(tmp_path)
    with pytest.raises(InputError, match="not a folder"):
        load_narrations(tmp_path / "nowhere")
