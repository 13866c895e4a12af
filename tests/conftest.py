"""Shared by all tests."""

from __future__ import annotations

import os
from collections.abc import Generator
from typing import Any

import pytest


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Generator[None, Any, Any]:
    """With VOICECHECK_NO_SKIP=1 a skipped test is a failed one: the machine should have all that is needed."""
    report = yield
    if report.skipped and os.environ.get("VOICECHECK_NO_SKIP") == "1" and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be skipped: {item.nodeid}: {report.longrepr}"
    return report
