from __future__ import annotations

from pathlib import Path

import pytest

from voicecheck import resources
from voicecheck.records.errors import InputError


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty package folder that the module believes to be its own."""
    found = tmp_path / "site" / "voicecheck"
    found.mkdir(parents=True)
    monkeypatch.setattr(resources, "_PACKAGE", found)
    return found


def test_this_checkout() -> None:
    top = Path(__file__).resolve().parents[1]
    assert resources.lexicon_dir() == top / "lexicon"
    assert resources.shared_dir() == top / "shared"


def test_in_a_wheel(package: Path) -> None:
    for name in ("lexicon", "shared"):
        (package / "_data" / name).mkdir(parents=True)
    assert resources.lexicon_dir() == package / "_data" / "lexicon"
    assert resources.shared_dir() == package / "_data" / "shared"


def test_a_wheel_does_not_take_what_lies_beside_it(package: Path) -> None:
    (package.parent / "shared").mkdir()
    with pytest.raises(InputError, match="shared"):
        resources.shared_dir()


def test_neither(package: Path) -> None:
    (package.parent / "pyproject.toml").touch()
    with pytest.raises(InputError, match="lexicon") as caught:
        resources.lexicon_dir()
    assert str(package / "_data" / "lexicon") in caught.value.message
    assert str(package.parent / "lexicon") in caught.value.message
    assert caught.value.hint
