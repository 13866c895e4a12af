"""The wheel holds everything that is needed, and works where there is no checkout. Uses no network."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest
from cli_kit import ROOT, Ran

from voicecheck import __version__
from voicecheck.documents import from_json
from voicecheck.resources import lexicon_dir, shared_dir


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [
            *(sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation"),
            *("--no-index", "--disable-pip-version-check", "--wheel-dir", str(folder), str(ROOT)),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (path,) = folder.glob("*.whl")
    return path


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of programs of a new environment that has the wheel, and this environment's packages."""
    home = tmp_path_factory.mktemp("installed") / "venv"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(home)], check=True)
    programs = home / ("Scripts" if os.name == "nt" else "bin")
    (own,) = [path for path in home.rglob("site-packages") if path.is_dir()]
    # A plain path: the .pth files over there are not followed, so that an editable install is not seen.
    (own / "packages.pth").write_text(sysconfig.get_path("purelib") + "\n")
    subprocess.run(
        [
            *(sys.executable, "-m", "pip", "--python", str(programs / "python"), "install", "--quiet"),
            *("--no-deps", "--no-index", "--disable-pip-version-check", str(wheel)),
        ],
        check=True,
    )
    return programs


def run_installed(programs: Path, *arguments: str, cwd: Path, stdin: bytes = b"") -> Ran:
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    done = subprocess.run(
        [str(programs / arguments[0]), *arguments[1:]],
        input=stdin,
        capture_output=True,
        cwd=cwd,
        env=clean,
        timeout=120,
        check=False,
    )
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())


def test_everything_is_inside(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    ours = ROOT / "voicecheck"
    expected = {
        f"voicecheck/{path.relative_to(ours).as_posix()}"
        for path in ours.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    for folder in (lexicon_dir(), shared_dir()):
        expected |= {
            f"voicecheck/_data/{folder.name}/{path.relative_to(folder).as_posix()}"
            for path in folder.rglob("*")
            if path.is_file()
        }
    assert {
        "voicecheck/_data/lexicon/components/brakes.csv",
        "voicecheck/_data/shared/catalogue.csv",
        "voicecheck/documents/schema/voicecheck-draft-1.schema.json",
        "voicecheck/speech/selftest.opus",
        "voicecheck/speech/weights.json",
        "voicecheck/py.typed",
    } <= expected
    assert any(name.startswith("voicecheck/documents/templates/") for name in expected)
    packed = {name for name in names if not name.startswith(f"voicecheck-{__version__}.dist-info/")}
    assert packed == expected
    assert f"voicecheck-{__version__}.dist-info/licenses/LICENSE" in names


def test_it_runs_from_another_folder(installed: Path, tmp_path: Path) -> None:
    said = b"Front pads at two mil, replace them."
    ran = run_installed(
        installed,
        "voicecheck",
        "draft",
        "--text",
        "-",
        "--json",
        "--html",
        "a.html",
        cwd=tmp_path,
        stdin=said,
    )
    assert ran.status == 0, ran.err
    made = from_json(ran.out)
    assert made.findings
    assert made.estimate.totals.total > 0
    assert (tmp_path / "a.html").stat().st_size > 1000


def test_it_is_the_installed_one_that_ran(installed: Path, tmp_path: Path) -> None:
    code = (
        "import voicecheck, voicecheck.resources as r, voicecheck.speech.doctor as d\n"
        "print(voicecheck.__file__); print(r.lexicon_dir()); print(r.shared_dir())\n"
        "print(d.sample_sound().seconds > 0.5)"
    )
    ran = run_installed(installed, "python", "-c", code, cwd=tmp_path)
    assert ran.status == 0, ran.err
    *places, heard = ran.out.splitlines()
    assert len(places) == 3
    assert all(place.startswith(str(installed.parent)) for place in places)
    assert heard == "True"


def test_its_version(installed: Path, tmp_path: Path) -> None:
    ran = run_installed(installed, "voicecheck", "--version", cwd=tmp_path)
    assert (ran.status, ran.out.strip()) == (0, f"voicecheck, version {__version__}")
