"""What the shop's words can learn: looked at, tried on past drafts, adopted, taken back."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Depends, FastAPI, Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from voicecheck.records import DataError, InputError
from voicecheck.shop import learning
from voicecheck.shop.learning import Previews
from voicecheck.shop.services import Services
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.shop.web.pages import back, page
from voicecheck.store import owner
from voicecheck.store.tables import Person

router = APIRouter(prefix="/owner/words")
Owner = Annotated[SignedInAs, Depends(require("owner"))]
SHOWN_SENTENCES = 3
_making = threading.Lock()


@router.get("")
def overview(request: Request, _: Owner) -> Response:
    """What waits for the owner, edits by hand, and the versions so far."""
    return _overview(request, {})


def _overview(request: Request, typed: Mapping[str, str], *, fault: str = "") -> Response:
    services = services_of(request)
    trouble = ""
    opened: list[learning.Open] = []
    edited: tuple[learning.Edited, ...] = ()
    parts: list[str] = []
    conditions: list[str] = []
    try:
        learning.collect(services)
        opened = learning.open_ones(services)
        lexicon = services.workshop(services.settings.market).lexicon
        parts = sorted({c.name for c in lexicon.components.values()})
        conditions = sorted({c.name for c in lexicon.conditions.values()})
        edited = learning.edited_by_hand(services)
    except DataError as error:
        trouble = f"{error.message} {error.hint}".strip()
    with services.database.reading() as session:
        versions = owner.lexicon_versions(session)
        names = {v.person: p.name for v in versions if v.person and (p := session.get(Person, v.person))}
        declined = owner.suggestions(session, state="declined", limit=200)
    context = {
        "opened": opened,
        "edited": edited,
        "parts": parts,
        "conditions": conditions,
        "versions": versions,
        "names": names,
        "declined": declined[-20:],
        "typed": typed,
        "fault": fault,
        "trouble": trouble,
        "folder": services.settings.shop_folder / "lexicon",
        "most": SHOWN_SENTENCES,
        "unplaced": learning.UNPLACED,
        "tell": lambda meant: learning.sentence_of(services, meant),
    }
    return page(request, "owner/words.html.j2", context, status=422 if fault else 200)


@router.post("/try")
async def try_out(request: Request, _: Owner) -> Response:
    """Tries what was marked on past drafts."""
    form = await request.form()
    fields = {key: str(form.get(key, "")) for key in form}
    chosen = [str(v) for v in form.getlist("chosen")]
    return await run_in_threadpool(_try, request, chosen, fields)


def _try(request: Request, chosen: list[str], fields: Mapping[str, str]) -> Response:
    services = services_of(request)
    try:
        choices = [
            learning.choice(
                services,
                id=id_,
                kind=fields.get(f"kind_{id_}", ""),
                words=fields.get(f"words_{id_}", ""),
                part=fields.get(f"part_{id_}", ""),
                condition=fields.get(f"condition_{id_}", ""),
            )
            for id_ in chosen
        ]
        preview = learning.start(services, previews_of(request.app), choices)
    except (InputError, DataError) as error:
        typed = {**fields, **{f"chosen_{id_}": "yes" for id_ in chosen}}
        return _overview(request, typed, fault=f"{error.message} {error.hint}".strip())
    return RedirectResponse(f"/owner/words/try/{preview.id}", status_code=303)


@router.get("/try/{preview}")
def tried(request: Request, preview: str, _: Owner) -> Response:
    """What would change, draft by draft."""
    services = services_of(request)
    found = previews_of(request.app).get(preview)
    context = {
        "preview": found,
        "sentences": [learning.sentence_of(services, c.meant) for c in found.choices],
        "most": learning.MOST_TRIED,
    }
    return page(request, "owner/tried.html.j2", context)


@router.get("/try/{preview}/state")
def state(request: Request, preview: str, _: Owner) -> Response:
    """How far the trying is, for the page."""
    found = previews_of(request.app).get(preview)
    ended = found.finished or bool(found.trouble)
    return JSONResponse({"done": found.done, "total": found.total, "ended": ended})


@router.post("/try/{preview}/adopt")
def adopt(
    request: Request, preview: str, me: Owner, note: Annotated[str, Form(max_length=2000)] = ""
) -> Response:
    """What was tried becomes the shop's words."""
    services = services_of(request)
    found = previews_of(request.app).get(preview)
    version = learning.adopt(services, found, person=me.id, note=note)
    return _back(f"Adopted as version {version.number}. New recordings are read with it.")


@router.post("/keep")
def keep(request: Request, me: Owner) -> Response:
    """What was edited by hand becomes a version."""
    kept = learning.keep_edits(services_of(request), person=me.id)
    return _back("Kept as a version." if kept else "The files are as in the last version.")


@router.post("/{suggestion}/decline")
async def decline(request: Request, suggestion: str, me: Owner) -> Response:
    """This is not to be learned."""
    form = await request.form()
    reason = str(form.get(f"reason_{suggestion}", "") or form.get("reason", ""))
    await run_in_threadpool(_decline, services_of(request), suggestion, reason, me.id)
    return _back("Declined. It will not be suggested again.")


def _decline(services: Services, suggestion: str, reason: str, person: str) -> None:
    learning.decline(services, id=suggestion, reason=reason, person=person)


@router.get("/versions/{number}")
def version(request: Request, number: int, _: Owner) -> Response:
    """What a version changed, file by file."""
    services = services_of(request)
    with services.database.reading() as session:
        found = owner.lexicon_version(session, number=number)
        assert found is not None
        before = owner.lexicon_version(session, number=number - 1) if number > 1 else None
        newest = owner.latest_lexicon_number(session)
    changes = learning.differences(before.files if before else {}, found.files, most=200)
    context = {"version": found, "changes": changes, "newest": newest}
    return page(request, "owner/version.html.j2", context)


@router.post("/versions/{number}/back")
def take_back(request: Request, number: int, me: Owner) -> Response:
    """The files of an earlier version again."""
    version = learning.take_back(services_of(request), number=number, person=me.id)
    return _back(f"The words are as in version {number} again (this is version {version.number}).")


def previews_of(app: FastAPI) -> Previews:
    """The looks at past drafts of this server; gone when it ends."""
    with _making:
        if not hasattr(app.state, "previews"):
            app.state.previews = Previews()
        found: Previews = app.state.previews
        return found


def _back(said: str) -> Response:
    return back("/owner/words", said)
