"""Desks with real drafts, made once."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from desk_kit import Desk, desk_of, tune_desk

from voicecheck.pipeline import Workshop
from voicecheck.records import Market


@pytest.fixture(scope="session")
def desk_named(workshop_of: Callable[[Market], Workshop]) -> Callable[[str], Desk]:
    """The desk of a narration of ``samples_synthetic/tune``."""
    made: dict[str, Desk] = {}

    def of(name: str) -> Desk:
        if name not in made:
            made[name] = tune_desk(workshop_of("UK" if name.startswith("uk-") else "US"), name)
        return made[name]

    return of


@pytest.fixture(scope="session")
def desk_saying(workshop: Workshop) -> Callable[..., Desk]:
    """The desk of a typed (or, with ``spoken``, timed) narration."""
    made: dict[tuple[str, bool], Desk] = {}

    def of(text: str, *, spoken: bool = False) -> Desk:
        if (text, spoken) not in made:
            made[text, spoken] = desk_of(workshop, text, spoken=spoken)
        return made[text, spoken]

    return of
