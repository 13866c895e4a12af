"""The shipped vocabulary for the findings tests."""

from __future__ import annotations

import pytest
from findings_kit import Found, find

from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import Workshop


@pytest.fixture(scope="session")
def lexicon(workshop: Workshop) -> Lexicon:
    return workshop.lexicon


@pytest.fixture(scope="session")
def reader(workshop: Workshop) -> Reader:
    return workshop.reader


@pytest.fixture(scope="session")
def found(workshop: Workshop) -> Found:
    """Typed words to findings, in the US market."""
    return lambda text: find(workshop, text)
