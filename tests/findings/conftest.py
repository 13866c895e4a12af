"""The shipped vocabulary for the findings tests."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from findings_kit import find

from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import Workshop
from voicecheck.records import FindingsResult


@pytest.fixture(scope="session")
def lexicon(workshop: Workshop) -> Lexicon:
    return workshop.lexicon


@pytest.fixture(scope="session")
def found(workshop: Workshop) -> Callable[[str], FindingsResult]:
    """Typed words to findings, in the US market."""
    return lambda text: find(workshop, text)
