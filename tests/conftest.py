"""Shared by all tests."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from voicecheck.pipeline import Workshop
    from voicecheck.records import Market


# The same examples on every run, so that a red test is red again; HYPOTHESIS_PROFILE=explore tries others.
settings.register_profile("repeat", derandomize=True)
settings.register_profile("explore", max_examples=1000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeat"))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Generator[None, Any, Any]:
    """With VOICECHECK_NO_SKIP=1 a skipped test is a failed one: the machine should have all it needs."""
    report = yield
    if report.skipped and os.environ.get("VOICECHECK_NO_SKIP") == "1" and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be skipped: {item.nodeid}: {report.longrepr}"
    return report


@pytest.fixture(scope="session")
def workshop_of() -> Callable[[Market], Workshop]:
    """The shipped vocabulary and shop data of a market, loaded once for all tests."""
    return _loaded_once(rules_alone=False)


@pytest.fixture(scope="session")
def rules_of() -> Callable[[Market], Workshop]:
    """``workshop_of`` without the second reader: for tests of what one rule makes of one sentence, and of
    what is made of findings later.
    """
    return _loaded_once(rules_alone=True)


def _loaded_once(*, rules_alone: bool) -> Callable[[Market], Workshop]:
    from voicecheck.pipeline import load_workshop

    made: dict[Market, Workshop] = {}

    def of(market: Market) -> Workshop:
        if market not in made:
            made[market] = load_workshop(market=market, rules_alone=rules_alone)
        return made[market]

    return of


@pytest.fixture(scope="session")
def workshop(rules_of: Callable[[Market], Workshop]) -> Workshop:
    """The US workshop, the rules alone."""
    return rules_of("US")


@pytest.fixture
def quick_shop(monkeypatch: pytest.MonkeyPatch, workshop_of: Callable[[Market], Workshop]) -> None:
    """Commands that name no files of a shop's own take the workshop that is loaded already."""
    from voicecheck import pipeline

    load = pipeline.load_workshop

    def quick(*, market: Market = "US", rules_alone: bool = False, **files: Path | None) -> Workshop:
        if rules_alone or any(files.values()):
            return load(market=market, rules_alone=rules_alone, **files)
        return workshop_of(market)

    monkeypatch.setattr(pipeline, "load_workshop", quick)
