"""What the phone at the lift sends: takes in parts, photos, and that this was all.

Everything can be sent twice: a take has the phone's own key, a part its number and sha256, a photo its key.
So a phone that does not know whether something has arrived sends it again, and nothing counts twice.
"""

from __future__ import annotations

import hashlib
from collections.abc import Awaitable, Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, HTTPException, Path, Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from voicecheck.records.wording import counted, joined
from voicecheck.shop import pictures
from voicecheck.shop.signatures import container_of
from voicecheck.shop.web import limits
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.shop.web.media import may_see
from voicecheck.shop.web.pages import STATE_WORDS
from voicecheck.store import recordings
from voicecheck.store.tables import Take

router = APIRouter()
PART_BYTES = 8 * 1024**2  # of one part, where the settings do not say less
SENT_BYTES = 2 * 1024**2  # what the pages cut recordings into: under three minutes at 0.1 Mbit/s
OPEN_STATES = ("recording", "waiting", "working", "review", "failed")  # where more may be recorded
_NAMED = 12  # missing parts that a sentence names

Technician = Annotated[SignedInAs, Depends(require("technician"))]
Id = Annotated[str, Path(pattern="^[0-9a-f]{32}$")]


def body_of(most: int, what: str) -> Callable[[Request], Awaitable[bytes]]:
    """A dependency: the request's bytes, at most ``most``; never more than that in memory."""

    async def read(request: Request) -> bytes:
        message = f"The {what} is larger than {most / 1024**2:.0f} MB."
        declared = request.headers.get("content-length", "")
        if declared.isdigit() and int(declared) > most:
            raise HTTPException(413, message)
        content = bytearray()
        async for block in request.stream():
            content += block
            if len(content) > most:
                raise HTTPException(413, message)
        return bytes(content)

    return read


class NewTake(BaseModel):
    """A recording that the phone has begun; ``client_key`` is its own name for it."""

    model_config = ConfigDict(extra="forbid")
    client_key: str = Field(min_length=8, max_length=64, pattern="^[A-Za-z0-9_-]+$")
    kind: str = Field(default="", max_length=100)
    name: str = Field(default="", max_length=300)


class Finish(BaseModel):
    """How many parts a take has, and how long it is by the phone's clock (not known of a chosen file)."""

    model_config = ConfigDict(extra="forbid")
    parts: int = Field(ge=1, le=recordings.MOST_PARTS)
    seconds: float | None = Field(default=None, ge=0, lt=1e6, allow_inf_nan=False)


def own_take(session: Session, me: SignedInAs, take: str) -> Take:
    """The take, if it belongs to a walk-around that ``me`` may see; else 404."""
    row = session.get(Take, take)
    if row is None:
        raise HTTPException(404, "There is no such recording here.")
    may_see(session, me, walkaround=row.walkaround)
    return row


def open_for_more(session: Session, me: SignedInAs, walkaround: str) -> None:
    """Raises 404 or 409 unless more may be recorded about this walk-around."""
    row = may_see(session, me, walkaround=walkaround)
    if row.state not in OPEN_STATES:
        raise HTTPException(
            409,
            f"The estimate of this vehicle is {STATE_WORDS.get(row.state, row.state)} already. "
            "Begin a new walk-around for what came up since.",
        )


@router.get("/me")
def me_now(me: Technician) -> dict[str, str]:
    """Who is signed in, and the token for requests: for pages that outlive a session."""
    return {"id": me.id, "name": me.name, "csrf": me.csrf}


@router.get("/walkarounds/{walkaround}/state")
def state(request: Request, walkaround: Id, me: Technician) -> dict[str, Any]:
    """How far a walk-around is, and what of its recordings is there."""
    with services_of(request).database.reading() as session:
        row = may_see(session, me, walkaround=walkaround)
        takes = recordings.takes(session, walkaround=walkaround)
        return {
            "state": row.state,
            "words": STATE_WORDS.get(row.state, row.state),
            "stage": row.stage,
            "share": round(row.share, 3),
            "trouble": row.trouble,
            "takes": [_take_json(session, take) for take in takes],
            "photos": len(recordings.photos(session, walkaround=walkaround)),
        }


def _take_json(session: Session, take: Take) -> dict[str, Any]:
    return {
        "take": take.id,
        "number": take.number,
        "client_key": take.client_key,
        "parts": [part.number for part in recordings.parts(session, take=take.id)],
        "parts_expected": take.parts_expected,
        "complete": take.complete is not None,
    }


@router.post("/walkarounds/{walkaround}/takes", status_code=201)
def begin_take(request: Request, walkaround: Id, me: Technician, new: NewTake) -> dict[str, Any]:
    """A new take, or, with a key that is known, the take of that key."""
    services = services_of(request)
    with services.database.session() as session:
        may_see(session, me, walkaround=walkaround)
        if recordings.take_by_key(session, client_key=new.client_key) is None:
            open_for_more(session, me, walkaround)
        take = recordings.begin_take(
            session,
            walkaround=walkaround,
            client_key=new.client_key,
            kind=new.kind[:64],
            name=new.name,
            now=services.clock(),
            person=me.id,
        )
        return _take_json(session, take)


@router.get("/takes/{take}")
def take_state(request: Request, take: Id, me: Technician) -> dict[str, Any]:
    """Which parts are there."""
    with services_of(request).database.reading() as session:
        return _take_json(session, own_take(session, me, take))


@router.put("/takes/{take}/parts/{number}")
def put_part(
    request: Request,
    take: Id,
    number: Annotated[int, Path(ge=0, lt=recordings.MOST_PARTS)],
    me: Technician,
    content: Annotated[bytes, Depends(body_of(PART_BYTES, "part"))],
    x_sha256: Annotated[str, Header(max_length=64)] = "",
) -> dict[str, int]:
    """One part. The same again is fine; other bytes under a number that is there are refused."""
    services = services_of(request)
    limiter: limits.Limiter = request.app.state.limiter
    limiter.check(limits.UPLOAD, "upload", me.id)
    if not content:
        raise HTTPException(422, f"Part {number} is empty.")
    if len(content) > services.settings.part_bytes:
        raise HTTPException(413, f"The part is larger than {services.settings.part_mb} MB.")
    if hashlib.sha256(content).hexdigest() != x_sha256.lower():
        raise HTTPException(400, f"Part {number} did not arrive as it was sent. Send it again.")
    with services.database.reading() as session:
        own_take(session, me, take)
    if number == 0 and not container_of(content[:256]):
        raise HTTPException(
            415, "This is neither a sound nor a video file that can be read. Record again, or choose another."
        )
    recordings.receive_part(
        services.database,
        services.media,
        take=take,
        number=number,
        data=content,
        now=services.clock(),
        most_bytes=services.settings.take_bytes,
    )
    return {"number": number, "size": len(content)}


@router.post("/takes/{take}/finish")
def finish_take(request: Request, take: Id, me: Technician, end: Finish) -> Response:
    """No more parts will come. 409 with ``missing`` (numbers) while some have not arrived."""
    services = services_of(request)
    longest = services.settings.take_seconds
    if end.seconds is not None and end.seconds > longest:
        raise HTTPException(
            422, f"The recording is longer than {longest / 60:.0f} minutes: record in several takes."
        )
    with services.database.session() as session:
        own_take(session, me, take)
        row = recordings.finish_take(
            session, take=take, parts=end.parts, seconds=end.seconds, now=services.clock(), person=me.id
        )
        missing = recordings.missing(session, take=take)
        complete = row.complete is not None
    if complete:
        return JSONResponse({"complete": True, "missing": []})
    named = joined(str(number) for number in missing[:_NAMED])
    more = f" and {len(missing) - _NAMED} more" if len(missing) > _NAMED else ""
    message = f"{counted(len(missing), 'part')} of this recording did not arrive yet: number {named}{more}."
    return JSONResponse({"complete": False, "missing": missing, "message": message}, 409)


@router.post("/takes/{take}/as-it-is")
def as_it_is(request: Request, take: Id, me: Technician) -> dict[str, bool]:
    """What has arrived becomes the whole: the rest is on a phone that will not send it any more."""
    services = services_of(request)
    with services.database.session() as session:
        own_take(session, me, take)
        recordings.cut_short(session, take=take, now=services.clock(), person=me.id)
    return {"complete": True}


@router.post("/walkarounds/{walkaround}/photos", status_code=201)
def add_photo(
    request: Request,
    walkaround: Id,
    me: Technician,
    content: Annotated[bytes, Depends(body_of(pictures.MOST_BYTES, "picture"))],
    key: Annotated[str, Query(min_length=8, max_length=64, pattern="^[A-Za-z0-9_-]+$")],
    take: Annotated[str | None, Query(pattern="^[0-9a-f]{32}$")] = None,
    at: Annotated[float | None, Query(ge=0, le=1e6, allow_inf_nan=False)] = None,
    x_sha256: Annotated[str, Header(max_length=64)] = "",
) -> dict[str, str]:
    """A photo, ``at`` seconds into ``take`` where it was taken while talking."""
    services = services_of(request)
    limiter: limits.Limiter = request.app.state.limiter
    limiter.check(limits.UPLOAD, "upload", me.id)
    if hashlib.sha256(content).hexdigest() != x_sha256.lower():
        raise HTTPException(400, "The picture did not arrive as it was sent. Send it again.")
    with services.database.reading() as session:
        may_see(session, me, walkaround=walkaround)
    picture = pictures.clean_photo(content, most_bytes=services.settings.photo_bytes)
    media = services.media.put(picture)
    with services.database.session() as session:
        row = recordings.add_photo(
            session,
            walkaround=walkaround,
            client_key=key,
            media=media,
            kind=pictures.KIND,
            now=services.clock(),
            at=at,
            take=take,
            person=me.id,
        )
        return {"photo": row.id}


@router.post("/walkarounds/{walkaround}/finish")
def hand_in(request: Request, walkaround: Id, me: Technician) -> Response:
    """That was all: a worker gets it. Said again it changes nothing."""
    services = services_of(request)
    with services.database.session() as session:
        may_see(session, me, walkaround=walkaround)
        done = recordings.hand_in(session, walkaround=walkaround, now=services.clock(), person=me.id)
        row = may_see(session, me, walkaround=walkaround)
        waiting = row.state == "waiting"
        open_takes = [
            take.number for take in recordings.takes(session, walkaround=walkaround) if take.complete is None
        ]
    if not done:
        which = joined(str(number) for number in open_takes)
        return JSONResponse(
            {
                "message": f"Not every part of take {which} has arrived. Keep the page open on the phone "
                "that recorded it, or use what has arrived.",
                "takes": open_takes,
            },
            409,
        )
    if waiting:  # asking for the same work twice is the same work
        services.work.submit(walkaround)
    return JSONResponse({"state": "waiting" if waiting else row.state})
