"""The command: what it refuses before minutes of listening."""

from __future__ import annotations

from pathlib import Path

import pytest
from cli_kit import run


@pytest.mark.parametrize(
    "option",
    [
        ("--conditions", "clean"),
        ("--limit-minutes", "1"),
        ("--recordings", "."),
        ("--noise", "."),
        ("--keep", "k"),
    ],
)
def test_options_of_the_ear_go_with_it_only(tmp_path: Path, option: tuple[str, str]) -> None:
    assert run("measure", tmp_path, *option).complaint == f"{option[0]} goes with --ear only."


@pytest.mark.parametrize("option", ["--no-audio", "--detail"])
def test_options_of_drafts_do_not_go_with_the_ear(tmp_path: Path, option: str) -> None:
    assert run("measure", tmp_path, "--ear", option).complaint.startswith(f"{option} does not go with --ear")


def test_unknown_conditions_and_folders_are_refused_at_once(tmp_path: Path) -> None:
    said = run("measure", tmp_path, "--ear", "--conditions", "clean,loud").complaint
    assert said == "There is no condition 'loud'."
    assert "no folder" in run("measure", tmp_path / "none", "--ear").complaint
    assert "no folder" in run("measure", tmp_path, "--ear", "--noise", tmp_path / "none").complaint
    assert "no recordings of noise" in run("measure", tmp_path, "--ear", "--noise", tmp_path).complaint
    assert "0" in run("measure", tmp_path, "--ear", "--limit-minutes", "0").err
