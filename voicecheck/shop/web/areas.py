"""The areas of the shop's pages, in one list."""

from __future__ import annotations

from fastapi import APIRouter


def routers() -> list[APIRouter]:
    """The routers of all areas."""
    from voicecheck.shop.web import (
        advisor,
        customer,
        issue,
        live,
        media,
        owner,
        owner_data,
        owner_keeping,
        owner_words,
        technician,
    )

    return [
        technician.router,
        advisor.router,
        issue.router,
        customer.router,
        owner.router,
        owner_data.router,
        owner_words.router,
        owner_keeping.router,
        live.router,
        media.router,
    ]
