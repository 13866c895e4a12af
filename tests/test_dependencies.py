"""The list of dependencies is the lock file's, and no licence in it is strong copyleft."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
_LOCKED = re.compile(r"^([A-Za-z0-9_.-]+)==")
_ROW = re.compile(r"^\| ([A-Za-z0-9_.-]+) \| ([^|]+) \|")


def _listed() -> dict[str, str]:
    rows = (_ROW.match(line) for line in (ROOT / "DEPENDENCIES.md").read_text(encoding="utf-8").splitlines())
    return {row.group(1): row.group(2).strip() for row in rows if row and row.group(1) != "package"}


def test_list_and_lock_agree() -> None:
    lines = (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    locked = {match.group(1) for line in lines if (match := _LOCKED.match(line))}
    assert _listed().keys() == locked


def test_nothing_under_gpl() -> None:
    strong = {name: licence for name, licence in _listed().items() if re.search(r"(?<!L)GPL", licence)}
    assert strong == {}
    assert all(_listed().values()), "a package without a licence"
