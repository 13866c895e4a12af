"""The option that rewrites the snapshots: ``python -m pytest tests/golden --update-golden``."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--update-golden",
        action="store_true",
        default=False,
        help="write the golden drafts anew instead of comparing with them",
    )


@pytest.fixture(scope="session")
def update_golden(request: pytest.FixtureRequest) -> bool:
    """Whether snapshots are to be written. The option is there only where this folder was named."""
    return bool(request.config.getoption("--update-golden", default=False))
