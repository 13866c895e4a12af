"""Whatever is sent to a route, the answer is never a broken server: inputs made up from the routes' schema.

https://schemathesis.readthedocs.io (the library that makes them up).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.core.result import Ok
from shop_kit import make_shop

from voicecheck.shop.web.auth import COOKIE

pytestmark = pytest.mark.external
EXAMPLES = 5  # for each route


class _NoLimit:
    """Lets everything through: what is tried here is what comes after."""

    def check(self, *_: object) -> None:
        return None


@pytest.mark.parametrize("signed_in", [True, False])
def test_no_input_breaks_the_server(tmp_path: Path, signed_in: bool) -> None:
    shop = make_shop(tmp_path, work="none")
    owner = shop.person("owner")
    for market in ("US", "UK"):
        shop.services.workshop(market)  # seconds, and not part of any request
    shop.app.state.limiter = _NoLimit()
    # the product keeps the description of its routes to itself
    shop.app.add_api_route("/openapi.json", shop.app.openapi, include_in_schema=False)
    schema = schemathesis.openapi.from_asgi("/openapi.json", shop.app)
    headers = {"X-CSRF": owner.csrf, "Cookie": f"{COOKIE}={owner.token}"} if signed_in else {}
    tried: set[str] = set()
    for found in schema.get_all_operations():
        assert isinstance(found, Ok), found
        operation = found.ok()

        @given(case=operation.as_strategy())
        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            database=None,
            phases=[Phase.explicit, Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        def attempt(case: schemathesis.Case[Any]) -> None:
            if case.path == "/sign-out":
                return  # would end the session that the others need
            case.call_and_validate(headers=headers, checks=[not_a_server_error], timeout=60)

        attempt()
        tried.add(operation.label)
    assert len(tried) > 45
