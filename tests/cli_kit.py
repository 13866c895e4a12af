"""Runs commands in this process, where that is enough, or in one of their own."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

from click.testing import CliRunner

from voicecheck.cli import main

ROOT = Path(__file__).resolve().parent.parent


def load_script(path: Path) -> ModuleType:
    """A script that is no part of the package, as a module named after its file."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


class Ran(NamedTuple):
    """How a command ended, and what it wrote."""

    status: int
    out: str
    err: str

    @property
    def complaint(self) -> str:
        """The one sentence of a refusal, after checking that it is one, on stderr, with at most a hint."""
        assert self.status == 2, f"status {self.status}: {self.out}{self.err}"
        assert self.out == ""
        lines = self.err.splitlines()
        assert 1 <= len(lines) <= 2, self.err
        assert lines[0].startswith("voicecheck: ")
        assert "Traceback" not in self.err
        return lines[0].removeprefix("voicecheck: ")


def run(*arguments: str | Path, stdin: bytes = b"", env: Mapping[str, str] | None = None) -> Ran:
    """Runs a command in this process."""
    done = CliRunner().invoke(main, [str(a) for a in arguments], input=stdin, env=env, prog_name="voicecheck")
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception  # what a person would see as a stack trace
    return Ran(done.exit_code, done.stdout, done.stderr)


def command(*arguments: str | Path) -> list[str]:
    """The command line of a process of its own."""
    return [sys.executable, "-m", "voicecheck", *(str(a) for a in arguments)]


def environment(**more: str) -> dict[str, str]:
    """This process's environment, in which the checkout is found from any folder."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8", **more}


def run_alone(
    arguments: Sequence[str | Path], *, stdin: bytes = b"", cwd: Path | None = None, **more: str
) -> Ran:
    """Runs a command in a process of its own; ``more`` is added to its environment."""
    done = subprocess.run(
        command(*arguments),
        input=stdin,
        capture_output=True,
        cwd=cwd,
        env=environment(**more),
        timeout=120,
        check=False,
    )
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())
