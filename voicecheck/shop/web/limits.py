"""How often something may be tried. Counted per process, forgotten at restart."""

from __future__ import annotations

from fastapi import HTTPException, Request
from limits import RateLimitItem, RateLimitItemPerHour, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

SIGN_IN = RateLimitItemPerMinute(10)  # tries of one address
SIGN_IN_NAME = RateLimitItemPerHour(30)  # tries of one login, from anywhere
TOKEN = RateLimitItemPerMinute(60)  # links of customers and invitations, of one address
UPLOAD = RateLimitItemPerMinute(600)  # parts of recordings, of one person
CHANGE = RateLimitItemPerMinute(300)  # decisions at the desk, of one person


class Limiter:
    def __init__(self) -> None:
        self._limiter = MovingWindowRateLimiter(MemoryStorage())

    def check(self, limit: RateLimitItem, *keys: str) -> None:
        """Counts one try. Raises 429 with a plain sentence when there were too many."""
        if not self._limiter.hit(limit, *keys):
            raise HTTPException(429, "That was tried too often. Wait a minute, then try again.")


def address_of(request: Request) -> str:
    return request.client.host if request.client else "unknown"
