"""Templates, and what every page shows: the person, the ways they have, a message."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from fastapi import Request
from fastapi.templating import Jinja2Templates
from starlette.responses import RedirectResponse, Response

from voicecheck.documents import plain
from voicecheck.shop.web.auth import SignedInAs, services_of, who

HERE = Path(__file__).parent
STATE_WORDS = {
    "recording": "being recorded",
    "waiting": "waiting to be listened to",
    "working": "being listened to",
    "review": "to review",
    "issued": "with the customer",
    "answered": "answered",
    "closed": "closed",
    "failed": "needs another recording",
}
URGENCY_WORDS = {"now": "do now", "soon": "plan soon", "later": "can wait", "unstated": "not said"}


@cache
def templates() -> Jinja2Templates:
    made = Jinja2Templates(directory=HERE / "templates")
    made.env.autoescape = True  # the default looks at the ending, and ours is .j2
    made.env.filters["capital"] = plain.capital
    made.env.filters["clock"] = plain.clock
    made.env.globals["state_words"] = STATE_WORDS
    made.env.globals["urgency_words"] = URGENCY_WORDS
    made.env.globals["money"] = money
    made.env.globals["when"] = when
    made.env.globals["size"] = size
    made.env.trim_blocks = True
    made.env.lstrip_blocks = True
    return made


def money(amount: Decimal | str | None, currency: str, market: str = "US") -> str:
    """An amount as written in the market; an unknown one in words, never as a zero."""
    if amount is None:
        return "to be priced"
    return plain.money(Decimal(amount), currency, "UK" if market == "UK" else "US")


def when(moment: datetime | None) -> str:
    """A moment in the time of the machine, as people write it."""
    return "" if moment is None else f"{moment.astimezone():%d %b %Y, %H:%M}"


def size(count: int) -> str:
    """Bytes as people read them."""
    for unit, bound in (("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if count >= bound:
            return f"{count / bound:,.1f} {unit}"
    return f"{count} bytes"


def back(path: str, said: str) -> Response:
    """After a form: to ``path``, with a message for the person."""
    return RedirectResponse(f"{path}?said={quote(said[:300])}", status_code=303)


def page(
    request: Request, name: str, context: Mapping[str, Any] | None = None, *, status: int = 200
) -> Response:
    """Renders a template with the person who is signed in (``me``), and the message of the last form."""
    me = who(request)
    return templates().TemplateResponse(
        request,
        name,
        {
            "me": me,
            "file_trouble": _trouble(request, me),
            "said": request.query_params.get("said", "")[:300],
            **(context or {}),
        },
        status_code=status,
    )


def _trouble(request: Request, me: SignedInAs | None) -> str:
    """What keeps the shop's newest files from being used, for those who can do something about it."""
    if me is None or not me.may("advisor"):
        return ""
    troubles = services_of(request).workshop.troubles()
    return next((error.message for error in troubles.values()), "")
