"""The shipped vocabulary for the language tests."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from language_kit import Numbers, typed

from voicecheck.language import Reader
from voicecheck.lexicon import Lexicon
from voicecheck.pipeline import Workshop
from voicecheck.records.reading import Reading


@pytest.fixture(scope="session")
def lexicon(workshop: Workshop) -> Lexicon:
    return workshop.lexicon


@pytest.fixture(scope="session")
def reader(workshop: Workshop) -> Reader:
    return workshop.reader


@pytest.fixture(scope="session")
def read(reader: Reader) -> Callable[[str], Reading]:
    """Typed words to a reading."""
    return lambda text: reader.read(typed(text))


@pytest.fixture(scope="session")
def numbers(lexicon: Lexicon) -> Numbers:
    return Numbers(lexicon)
