"""Sound and pictures, only for those who may see them: advisors and owners, and technicians their own."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi.responses import FileResponse, Response
from sqlalchemy.orm import Session

from voicecheck.records import NotThereError, RecordingError
from voicecheck.shop.services import Services
from voicecheck.shop.sound import picture, playable
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.store.tables import Photo, Take, Walkaround

router = APIRouter(prefix="/media")
GONE = (
    "The recording was removed by the shop's rule on how long recordings are kept. Its words are still here."
)


def may_see(session: Session, me: SignedInAs, *, walkaround: str) -> Walkaround:
    """The walk-around, if ``me`` may see it; else 404, as if it were not there."""
    row = session.get(Walkaround, walkaround)
    if row is None or not (me.may("advisor") or row.technician == me.id):
        raise HTTPException(404, "There is no such walk-around here.")
    return row


def sound_of(services: Services, key: str) -> Response:
    """The playable copy of a take, with ranges."""
    return _kept_copy(
        partial(playable, services.media, key, cache=services.settings.sound_cache), "audio/wav"
    )


def still_of(services: Services, key: str, at: float) -> Response:
    """The frame of a video at a second of it; 404 where there is none."""
    make = partial(picture, services.media, key, at=at, cache=services.settings.sound_cache)
    try:
        return _kept_copy(make, "image/jpeg")
    except RecordingError as error:
        raise HTTPException(404, error.message) from error


def _kept_copy(make: Callable[[], Path], kind: str) -> Response:
    try:
        made = make()
    except NotThereError as error:
        raise HTTPException(410, GONE) from error
    return FileResponse(made, media_type=kind, headers={"Cache-Control": "private, max-age=3600"})


@router.get("/take/{take}/sound.wav")
def sound(request: Request, take: str, me: Annotated[SignedInAs, Depends(require("technician"))]) -> Response:
    services = services_of(request)
    with services.database.reading() as session:
        row = session.get(Take, take)
        if row is None:
            raise HTTPException(404, "There is no such recording here.")
        may_see(session, me, walkaround=row.walkaround)
        key, deleted = row.media, row.deleted
    if key is None or deleted is not None:
        raise HTTPException(410, GONE)
    return sound_of(services, key)


@router.get("/take/{take}/still.jpg")
def still(
    request: Request,
    take: str,
    me: Annotated[SignedInAs, Depends(require("technician"))],
    at: Annotated[float, Query(ge=0, le=1e5, allow_inf_nan=False)] = 0.0,
) -> Response:
    """The picture at second ``at`` of a take that is a video."""
    services = services_of(request)
    with services.database.reading() as session:
        row = session.get(Take, take)
        if row is None:
            raise HTTPException(404, "There is no such recording here.")
        may_see(session, me, walkaround=row.walkaround)
        key, deleted = row.media, row.deleted
    if key is None or deleted is not None:
        raise HTTPException(410, GONE)
    return still_of(services, key, at)


def picture_of(services: Services, key: str, kind: str) -> Response:
    if not services.media.exists(key):
        raise HTTPException(
            410, "The picture was removed by the shop's rule on how long recordings are kept."
        )
    with services.media.open(key) as source:
        content = source.read()
    return Response(content, media_type=kind, headers={"Cache-Control": "private, max-age=3600"})


@router.get("/photo/{photo}")
def photo_file(
    request: Request, photo: str, me: Annotated[SignedInAs, Depends(require("technician"))]
) -> Response:
    services = services_of(request)
    with services.database.reading() as session:
        row = session.get(Photo, photo)
        if row is None:
            raise HTTPException(404, "There is no such picture here.")
        may_see(session, me, walkaround=row.walkaround)
        key, kind = row.media, row.kind
    return picture_of(services, key, kind)
