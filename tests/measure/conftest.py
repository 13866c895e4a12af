"""The small lexicon as a fixture."""

from __future__ import annotations

import pytest
from measure_helpers import small_lexicon

from voicecheck.lexicon.extras import ShopLexicon


@pytest.fixture(scope="session")
def lexicon() -> ShopLexicon:
    return small_lexicon()
