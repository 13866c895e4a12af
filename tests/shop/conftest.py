"""Shops for the tests of the pages; see ``shop_kit``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from shop_kit import Shop, make_shop

from voicecheck.pipeline import load_workshop
from voicecheck.shop import workshops


@pytest.fixture(autouse=True, scope="module")
def rules_alone(request: pytest.FixtureRequest) -> Iterator[None]:
    """What the pages show is tested on what the rules make of a few words; the whole way, on all there is.

    For the module, so that the shops its own fixtures make have it too.
    """
    with pytest.MonkeyPatch.context() as patch:
        if request.module.__name__ != "test_whole_way":
            patch.setattr(workshops, "load_workshop", partial(load_workshop, rules_alone=True))
        yield


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """A shop that drafts at once."""
    made = make_shop(tmp_path)
    yield made
    made.services.database.close()


@pytest.fixture
def idle_shop(tmp_path: Path) -> Iterator[Shop]:
    """A shop that only notes what it is asked to draft."""
    made = make_shop(tmp_path, work="none")
    yield made
    made.services.database.close()
