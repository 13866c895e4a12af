"""The narrations in ``samples_synthetic``: texts, labels and recordings are sound, and the check can fail."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from cli_kit import load_script

SAMPLES = Path(__file__).resolve().parents[2] / "samples_synthetic"
TEXTS = sorted(path for folder in ("tune", "hold") for path in (SAMPLES / folder).glob("*.txt"))


script = load_script(SAMPLES / "make_audio.py")


def test_there_are_samples_in_both_folders() -> None:
    folders = {path.parent.name for path in TEXTS}
    assert folders == {"tune", "hold"}


PRACTICE = sorted((SAMPLES / "practice").glob("*.txt"))


def test_there_are_narrations_to_practise_on() -> None:
    assert len(PRACTICE) >= 30


@pytest.mark.parametrize("path", [*TEXTS, *PRACTICE], ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_sample_is_sound(path: Path) -> None:
    faults = script.check_sample(path)
    assert not faults, "\n".join(faults)


TAUGHT = ("lessons", "fresh")
WRITERS = sorted(
    {
        (path.parent.name, path.name.split("-")[0])
        for folder in TAUGHT
        for path in (SAMPLES / folder).iterdir()
    }
    | {(folder, writer) for folder in TAUGHT for writer in "ghijklmn"}
)


@pytest.mark.parametrize(("folder", "writer"), WRITERS)
def test_what_the_second_reader_is_taught_and_judged_on_is_sound(folder: str, writer: str) -> None:
    paths = sorted((SAMPLES / folder).glob(f"{writer}-*.txt"))
    assert paths
    assert not [fault for path in paths for fault in script.check_sample(path)]
    named = {path.stem for path in paths}
    assert named == {
        path.name.removesuffix(".gold.yaml") for path in (SAMPLES / folder).glob(f"{writer}-*.yaml")
    }


def test_nothing_that_is_judged_on_is_taught() -> None:
    names = {folder: {path.stem for path in (SAMPLES / folder).glob("*.txt")} for folder in TAUGHT}
    assert len(names["lessons"]) > 400
    assert len(names["fresh"]) > 50
    assert not names["lessons"] & names["fresh"]


def test_every_label_has_a_text() -> None:
    count, faults = script.check_texts(SAMPLES, script.FOLDERS)
    assert count == len(TEXTS)
    assert not faults, "\n".join(faults)


def test_committed_recordings_are_those_planned_and_current(tmp_path: Path) -> None:
    settings = script.load_settings(SAMPLES / "voices.yaml")
    narrations, notices = script.find_narrations(SAMPLES, script.FOLDERS)
    assert not notices
    versions = script.plan(narrations, settings=settings, everything=False)
    faults = script.check_recordings(SAMPLES, versions, settings=settings, cache=tmp_path)
    assert not faults, "\n".join(faults)


def test_every_narration_is_spoken_and_each_folder_by_three_voices_and_in_noise() -> None:
    settings = script.load_settings(SAMPLES / "voices.yaml")
    for folder in script.FOLDERS:
        narrations, _ = script.find_narrations(SAMPLES, [folder])
        versions = script.plan(narrations, settings=settings, everything=False)
        assert {version.narration.name for version in versions} == {one.name for one in narrations}
        assert len({version.voice.name for version in versions if version.noise is None}) >= 3
        assert any(version.noise for version in versions)


def test_a_new_narration_changes_nothing_for_the_others() -> None:
    settings = script.load_settings(SAMPLES / "voices.yaml")
    narrations, _ = script.find_narrations(SAMPLES, script.FOLDERS)
    whole = script.plan(narrations, settings=settings, everything=False)
    fewer = script.plan(narrations[1:], settings=settings, everything=False)
    assert fewer == [version for version in whole if version.narration != narrations[0]]


# --- the check can fail ---

TEXT = "Left front strut is leaking, replace it. The right one's dry. Front pads, three millimeters, low."
GOLD: dict[str, Any] = {
    "name": "small",
    "market": "US",
    "style": "short",
    "findings": [
        {
            "id": "f1",
            "component": "strut",
            "also": ["strut assembly"],
            "positions": ["front left"],
            "state": "defect",
            "conditions": ["leaking"],
            "measures": [],
            "action": "replace",
            "urgency": "unstated",
            "quote": "Left front strut is leaking, replace it.",
        },
        {
            "id": "f2",
            "component": "brake pads",
            "also": [],
            "positions": ["front"],
            "state": "defect",
            "conditions": ["low"],
            "measures": [{"what": "pad thickness", "value": 3, "unit": "mm", "position": "front"}],
            "action": "none",
            "urgency": "unstated",
            "quote": "Front pads, three millimeters, low.",
        },
    ],
    "lines": [
        {
            "operation": "replace",
            "component": "strut",
            "positions": ["front left"],
            "quantity": 1,
            "from": ["f1"],
        }
    ],
    "not_lines": [{"component": "brake pads", "why": "nothing advised"}],
}


def write_sample(folder: Path, *, gold: dict[str, Any], text: str = TEXT) -> Path:
    path = folder / "small.txt"
    path.write_text(text, encoding="utf-8")
    (folder / "small.gold.yaml").write_text(yaml.safe_dump(gold), encoding="utf-8")
    return path


def test_small_sample_is_sound(tmp_path: Path) -> None:
    assert script.check_sample(write_sample(tmp_path, gold=GOLD)) == []


@pytest.mark.parametrize(
    ("where", "value", "expected"),
    [
        (("name",), "other", "name:"),
        (("market",), "FR", "market:"),
        (("style",), " ", "style:"),
        (("colour",), "red", "unknown 'colour'"),
        (("findings", 0, "id"), "f2", "used 2 times"),
        (("findings", 0, "positions"), ["left front"], "findings[f1].positions:"),
        (("findings", 0, "positions"), ["front", "front left"], "one position covers another"),
        (("findings", 0, "action_positions"), ["front left"], "action_positions: must cover more"),
        (("findings", 0, "place"), ["side"], "findings[f1].place:"),
        (("findings", 0, "state"), "bad", "findings[f1].state:"),
        (("findings", 0, "state"), "ok", "conditions: must be [] for ok"),
        (("findings", 0, "action"), "swap", "findings[f1].action:"),
        (("findings", 0, "action"), "repair", "none of these findings has this action"),
        (("findings", 0, "urgency"), "today", "findings[f1].urgency:"),
        (("findings", 0, "quote"), "Left front strut leaks", "findings[f1].quote:"),
        (("findings", 0, "with"), "f1", "findings[f1].with:"),
        (("findings", 0, "also"), "strut", "findings[f1].also:"),
        (("findings", 1, "measures", 0, "unit"), "millimeter", "findings[f2].measures[1].unit:"),
        (("findings", 1, "measures", 0, "value"), "three", "findings[f2].measures[1].value:"),
        (("findings", 1, "measures", 0, "position"), "axle", "findings[f2].measures[1].position:"),
        (("findings", 1, "action"), "replace", "findings[f2].action: replace is in no line"),
        (("lines", 0, "operation"), "monitor", "lines[1].operation:"),
        (("lines", 0, "component"), "shock", "lines[1].component:"),
        (("lines", 0, "positions"), ["front"], "lines[1].positions:"),
        (("lines", 0, "quantity"), 0, "lines[1].quantity:"),
        (("lines", 0, "from"), ["f9"], "lines[1].from:"),
        (("lines", 0, "from"), [], "lines[1].from:"),
        (("not_lines", 0, "why"), "", "not_lines[1].why:"),
    ],
)
def test_a_fault_is_named_with_its_field(
    tmp_path: Path, where: tuple[str | int, ...], value: object, expected: str
) -> None:
    gold = yaml.safe_load(yaml.safe_dump(GOLD))
    target = gold
    for step in where[:-1]:
        target = target[step]
    target[where[-1]] = value
    faults = script.check_sample(write_sample(tmp_path, gold=gold))
    assert any(fault.startswith("small.gold.yaml: ") and expected in fault for fault in faults), faults


def test_a_line_said_twice_is_a_fault(tmp_path: Path) -> None:
    gold = yaml.safe_load(yaml.safe_dump(GOLD))
    gold["lines"].append(gold["lines"][0])
    faults = script.check_sample(write_sample(tmp_path, gold=gold))
    assert faults == ["small.gold.yaml: lines[2]: same operation, component and place as lines[1]"]


def test_digits_and_broken_yaml_are_faults(tmp_path: Path) -> None:
    path = write_sample(tmp_path, gold=GOLD, text=TEXT + " At 90 thousand.")
    assert script.check_sample(path) == ["small.txt: digits; numbers are written in words"]
    (tmp_path / "small.gold.yaml").write_text("findings: [", encoding="utf-8")
    assert any("cannot be read" in fault for fault in script.check_sample(path))


# --- sound ---


def test_noise_is_mixed_at_the_ratio_stated_and_the_same_each_time() -> None:
    rate, rng = 16_000, np.random.default_rng(1)
    speech = np.concatenate([np.zeros(rate), 0.1 * rng.standard_normal(4 * rate), np.zeros(rate)])
    speech = speech.astype(np.float32)
    noise = script.shop_noise(speech.size, rate=rate, seed=7)
    assert np.array_equal(noise, script.shop_noise(speech.size, rate=rate, seed=7))
    assert not np.array_equal(noise, script.shop_noise(speech.size, rate=rate, seed=8))
    mixed = script.mix(speech, noise, snr_db=10, rate=rate)
    # The mix may be turned down as a whole; least squares finds by how much.
    gains, *_ = np.linalg.lstsq(np.stack([speech, noise], axis=1), mixed, rcond=None)
    added = gains[1] * noise
    spoken = gains[0] * speech[rate : 5 * rate]
    ratio = 10 * np.log10(np.mean(spoken**2) / np.mean(added**2))
    assert ratio == pytest.approx(10, abs=0.2)
    assert np.abs(mixed).max() <= 0.98


def test_opus_is_byte_for_byte_the_same_and_carries_its_recipe(tmp_path: Path) -> None:
    settings = script.load_settings(SAMPLES / "voices.yaml")
    sound = (0.1 * np.sin(np.arange(32_000) / 8)).astype(np.float32)
    for name in ("one.opus", "two.opus"):
        script.write_opus(tmp_path / name, sound, settings=settings, tags={"recipe": "abc"})
    assert (tmp_path / "one.opus").read_bytes() == (tmp_path / "two.opus").read_bytes()
    tags = script.read_opus_tags(tmp_path / "one.opus")
    assert tags["recipe"] == "abc"
    assert tags["channels"] == "1"
    assert float(tags["seconds"]) == pytest.approx(2.0, abs=0.1)


def test_pauses_follow_the_sentence() -> None:
    text = "Okay. Left front is worn, replace it. Right?\n\nAll of that."
    kinds = [kind for _, kind in script.sentences(text)]
    assert kinds == ["fragment", "sentence", "paragraph", "paragraph"]
    said = [part for part, _ in script.sentences(text)]
    assert " ".join(said).split() == text.split()


def test_respelling_changes_whole_words_only() -> None:
    say = {"CV": "C V", "U": "you"}
    assert script.respell("CV boot, U joint, CVT, UK, U's", say=say) == "C V boot, you joint, CVT, UK, you's"


# --- command ---


def copy_script_folder(tmp_path: Path) -> Path:
    root = tmp_path / "samples"
    for folder in ("tune", "hold"):
        (root / folder).mkdir(parents=True)
    shutil.copy(SAMPLES / "voices.yaml", root)
    write_sample(root / "tune", gold=GOLD)
    return root


def test_missing_tools_are_named_and_exit_code_is_2(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    root = copy_script_folder(tmp_path)
    monkeypatch.setattr(script.shutil, "which", lambda name: None)
    assert script.main(["--all", "--cache", str(tmp_path / "cache")], root=root) == 2
    said = capsys.readouterr().err
    for part in ("piper", "--setup", "apt-get install flite", "apt-get install espeak-ng"):
        assert part in said
    assert not list(root.rglob("*.opus"))


def test_check_reports_missing_recordings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = copy_script_folder(tmp_path)
    assert script.main(["--check", "--cache", str(tmp_path / "cache")], root=root) == 1
    said = capsys.readouterr().err
    assert said.startswith("tune/small.")
    assert "missing, run make_audio.py" in said


def test_recordings_not_asked_for_go_to_the_cache_and_come_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root, cache = copy_script_folder(tmp_path), tmp_path / "cache"
    settings = script.load_settings(root / "voices.yaml")
    narrations, _ = script.find_narrations(root, ("tune",))
    version, *_ = script.plan(narrations, settings=settings, everything=False)
    tags = {"recipe": script.recipe(version, settings=settings)}
    script.write_opus(version.cached(cache), np.zeros(16_000, np.float32), settings=settings, tags=tags)
    surplus = root / "tune" / "small.us.opus"
    surplus.write_bytes(b"x")
    script.put_away(root, ("tune",), settings=settings, cache=cache)
    assert not surplus.exists()
    assert (cache / "audio" / "tune" / "small.us.opus").read_bytes() == b"x"
    assert script.make([version], settings=settings, cache=cache, force=False) == 1
    assert script.read_opus_tags(version.path(cache))["recipe"] == tags["recipe"]
    assert "from the cache" in capsys.readouterr().out


def test_a_changed_text_makes_its_recording_stale(tmp_path: Path) -> None:
    root = copy_script_folder(tmp_path)
    settings = script.load_settings(root / "voices.yaml")
    narrations, _ = script.find_narrations(root, ("tune",))
    versions = script.plan(narrations, settings=settings, everything=False)
    silence = np.zeros(16_000, dtype=np.float32)
    for version in versions:
        tags = {"recipe": script.recipe(version, settings=settings)}
        script.write_opus(version.path(tmp_path), silence, settings=settings, tags=tags)
    assert script.check_recordings(root, versions, settings=settings, cache=tmp_path) == []
    (root / "tune" / "small.txt").write_text(TEXT + " That is all.", encoding="utf-8")
    faults = script.check_recordings(root, versions, settings=settings, cache=tmp_path)
    assert len(faults) == len(versions)
    assert all("made from other words" in fault for fault in faults)


def test_unknown_voice_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = copy_script_folder(tmp_path)
    voices = (root / "voices.yaml").read_text(encoding="utf-8").replace("[awb, joe-noise10]", "[awb, jim]")
    (root / "voices.yaml").write_text(voices, encoding="utf-8")
    assert script.main(["--list"], root=root) == 2
    assert "unknown voice 'jim'" in capsys.readouterr().err
