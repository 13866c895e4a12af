"""What a worker is doing, pushed to the page as server-sent events."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from voicecheck.shop.services import Services
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.shop.web.media import may_see
from voicecheck.store.tables import Walkaround

router = APIRouter(prefix="/live")
EVERY = 0.6  # seconds between looks
ALIVE = 15.0  # seconds of silence after which a comment keeps proxies from closing
LONGEST = 900.0  # seconds; the browser comes back by itself


def state_of(services: Services, walkaround: str) -> dict[str, Any] | None:
    with services.database.reading() as session:
        row = session.get(Walkaround, walkaround)
        if row is None:
            return None
        return {
            "state": row.state,
            "stage": row.stage,
            "share": round(row.share, 3),
            "trouble": row.trouble,
            "seq": row.seq,
            "asks": row.open_asks,
        }


@router.get("/walkaround/{walkaround}")
async def walkaround_events(
    request: Request, walkaround: str, me: Annotated[SignedInAs, Depends(require("technician"))]
) -> StreamingResponse:
    """One event ``state`` whenever something changed; its data is one JSON object."""
    services = services_of(request)

    def allowed() -> None:
        with services.database.reading() as session:
            may_see(session, me, walkaround=walkaround)

    await run_in_threadpool(allowed)

    async def events() -> AsyncIterator[str]:
        last: dict[str, Any] | None = None
        quiet = lived = 0.0
        yield "retry: 2000\n\n"
        while lived < LONGEST and not await request.is_disconnected():
            now = await run_in_threadpool(state_of, services, walkaround)
            if now is None:
                return
            if now != last:
                yield f"event: state\ndata: {json.dumps(now)}\n\n"
                last, quiet = now, 0.0
            elif quiet >= ALIVE:
                yield ": here\n\n"
                quiet = 0.0
            await asyncio.sleep(EVERY)
            quiet, lived = quiet + EVERY, lived + EVERY

    return StreamingResponse(events(), media_type="text/event-stream", headers={"X-Accel-Buffering": "no"})
