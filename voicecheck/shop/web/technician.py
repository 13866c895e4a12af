"""The technician's pages, for a phone at the lift: which vehicle, record, what was understood."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Annotated, Any
from urllib.parse import quote, urlencode, urlsplit

from fastapi import APIRouter, Form, HTTPException, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool

from voicecheck.desk.decisions import Answer, Decision, Undo
from voicecheck.records import InputError, RefusedError, StaleError
from voicecheck.shop import bench as benches
from voicecheck.shop.bench import Bench
from voicecheck.shop.web import limits, technician_upload
from voicecheck.shop.web.auth import SignedInAs, services_of
from voicecheck.shop.web.media import may_see
from voicecheck.shop.web.pages import page
from voicecheck.shop.web.qr import qr_svg
from voicecheck.shop.web.technician_upload import OPEN_STATES, SENT_BYTES, Id, Technician
from voicecheck.shop.web.technician_view import TYPE_WHAT_WAS_SAID, is_technicians, view
from voicecheck.store import desk, vehicles, walkarounds
from voicecheck.store.tables import Walkaround, new_id
from voicecheck.store.walkarounds import Listed

router = APIRouter(prefix="/t")
PER_PAGE = 20
RECENT = 6  # vehicles offered without searching: what fits on a phone
_TRIES = 4  # of an answer, while others decide at the desk
_MOST_CODES = 24  # on one sheet
NOT_RECOGNISED = "No part of a vehicle was recognised in that."
NAME_THE_PART = "Name the part, what is wrong, what to do: “left front brake hose is cracked, replace it”."
_HOME_WORDS = {"recording": "not handed in yet", "review": "understood: look whether it is right"}
_PROGRESS = {"waiting": "Waiting for the shop to begin.", "working": "The shop is working on it."}


class Beginning(BaseModel):
    """A walk-around to begin: a vehicle that is known, or the plate or name of another one."""

    model_config = ConfigDict(extra="ignore")
    vehicle: str = Field(default="", max_length=32)
    plate: str = Field(default="", max_length=20)
    title: str = Field(default="", max_length=120)
    complaint: str = Field(default="", max_length=1000)
    lift: str = Field(default="", max_length=60)
    id: str | None = Field(default=None, max_length=32)  # chosen by the phone, so that asking twice is once


# -- which vehicle -------------------------------------------------------------------------------------------


@router.get("")
def home(request: Request, me: Technician, after: str = "") -> Response:
    """Own walk-arounds, the newest first."""
    with services_of(request).database.reading() as session:
        found = walkarounds.page(session, technician=me.id, after=after or None, limit=PER_PAGE)
    context = {"rows": found.rows, "after": found.after, "title_of": title_of, "words": _HOME_WORDS}
    return page(request, "technician/home.html.j2", context)


@router.get("/begin")
def begin(
    request: Request,
    _: Technician,
    q: Annotated[str, Query(max_length=60)] = "",
    lift: Annotated[str, Query(max_length=60)] = "",
) -> Response:
    """Which vehicle? The page behind the code at the lift."""
    return _begin_page(request, q=q.strip(), given={"lift": " ".join(lift.split())})


def _begin_page(
    request: Request, *, q: str = "", given: Mapping[str, str], fault: str = "", status: int = 200
) -> Response:
    with services_of(request).database.reading() as session:
        if q:
            found = vehicles.search_vehicles(session, words=q)
        else:
            lately = walkarounds.page(session, limit=10 * RECENT).rows
            found = list({row.vehicle.id: row.vehicle for row in lately if row.vehicle is not None}.values())
    context: dict[str, Any] = {"vehicles": found[: 20 if q else RECENT], "q": q, "fault": fault}
    context["new_id"] = new_id
    context |= {name: given.get(name, "") for name in ("lift", "plate", "title", "complaint")}
    if q and not found and not context["plate"]:
        context["plate"] = q  # what was searched for need not be typed again
    return page(request, "technician/begin.html.j2", context, status=status)


@router.post("/walkarounds")
async def create(request: Request, me: Technician) -> Response:
    """A new walk-around, from the form (leads to its page) or from JSON (answers its id)."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    as_json = kind == "application/json"
    try:
        if as_json:
            given = await request.json()
        else:
            given = {name: value for name, value in (await request.form()).items() if isinstance(value, str)}
        beginning = Beginning.model_validate(given)
    except ValidationError as error:
        fields = ", ".join(sorted({str(e["loc"][0]) for e in error.errors() if e["loc"]}))
        raise HTTPException(422, f"This cannot be used: look at {fields or 'the form'}.") from error
    except ValueError as error:  # JSON that is none
        raise HTTPException(400, "This is not JSON.") from error
    return await run_in_threadpool(_create, request, me, beginning, as_json)


def _create(request: Request, me: SignedInAs, new: Beginning, as_json: bool) -> Response:
    services = services_of(request)
    if not as_json and not (new.vehicle or vehicles.tidy_mark(new.plate) or new.title.strip()):
        fault = "Type the plate, or a name for the vehicle: one of the two is enough."
        return _begin_page(request, given=new.model_dump(exclude={"id"}), fault=fault, status=422)
    if not (new.vehicle or vehicles.tidy_mark(new.plate) or new.title.strip()):
        raise HTTPException(422, "A vehicle needs a plate or a name.")
    particulars = {
        name: value
        for name, value in (("complaint", new.complaint.strip()), ("lift", " ".join(new.lift.split())))
        if value
    }
    with services.database.session() as session:
        now = services.clock()
        known = session.get(Walkaround, new.id) if new.id else None
        if known is not None and known.technician == me.id and _means(session, known, new):
            return _created(known.id, as_json)  # a second tap on the same button
        if new.vehicle:
            vehicle = vehicles.vehicle(session, id=new.vehicle)
        elif vehicles.tidy_mark(new.plate):
            vehicle = vehicles.note_vehicle(
                session, now=now, plate=new.plate, title=new.title.strip(), person=me.id
            )
        else:
            vehicle = vehicles.note_vehicle(session, now=now, title=new.title.strip(), person=me.id)
        row = walkarounds.create(
            session,
            now=now,
            market=services.settings.market,
            technician=me.id,
            vehicle=vehicle.id,
            title=vehicle.title or vehicle.plate,
            particulars=particulars,
            person=me.id,
            # the page was gone back to and another vehicle named: that is another walk-around
            id=None if known is not None and known.technician == me.id else new.id,
        )
    return _created(row.id, as_json)


def _created(walkaround: str, as_json: bool) -> Response:
    if as_json:
        return JSONResponse({"id": walkaround}, 201)
    return RedirectResponse(f"/t/walkarounds/{walkaround}/record", status_code=303)


def _means(session: Session, known: Walkaround, new: Beginning) -> bool:
    """Whether ``new`` names the vehicle of ``known``."""
    if new.vehicle or known.vehicle is None:
        return new.vehicle == (known.vehicle or "")
    vehicle = vehicles.vehicle(session, id=known.vehicle)
    named = new.title.strip() or vehicle.title
    return (vehicle.plate, vehicle.title) == (vehicles.tidy_mark(new.plate), named)


# -- one walk-around -----------------------------------------------------------------------------------------


@router.get("/walkarounds/{walkaround}/record")
def record(request: Request, walkaround: Id, me: Technician) -> Response:
    """Record here or with the phone's own camera or recorder; see what is safe; hand it in."""
    services = services_of(request)
    listed = _listed(request, me, walkaround)
    if listed.walkaround.state not in OPEN_STATES:
        return RedirectResponse(f"/t/walkarounds/{walkaround}", status_code=303)
    settings = services.settings
    context = {
        **_frame(listed),
        "lift": listed.walkaround.particulars.get("lift", ""),
        "part_bytes": min(SENT_BYTES, settings.part_bytes),
        "take_bytes": settings.take_bytes,
        "take_seconds": int(settings.take_seconds),
        "photo_bytes": settings.photo_bytes,
    }
    return page(request, "technician/record.html.j2", context)


@router.post("/walkarounds/{walkaround}/complaint")
def complaint(
    request: Request,
    walkaround: Id,
    me: Technician,
    complaint: Annotated[str, Form(max_length=1000)] = "",
) -> Response:
    """What the customer says is wrong, for the papers."""
    services = services_of(request)
    with services.database.session() as session:
        may_see(session, me, walkaround=walkaround)
        walkarounds.describe(
            session,
            id=walkaround,
            now=services.clock(),
            person=me.id,
            particulars={"complaint": complaint.strip()},
        )
    said = quote("Kept what the customer says.")
    return RedirectResponse(f"/t/walkarounds/{walkaround}/record?said={said}", status_code=303)


@router.get("/walkarounds/{walkaround}")
def one(request: Request, walkaround: Id, me: Technician) -> Response:
    """How far it is; then what was understood, with the questions for the technician."""
    listed = _listed(request, me, walkaround)
    context = _frame(listed)
    if listed.walkaround.state in ("review", "issued", "answered", "closed"):
        context |= _understood(request, me, benches.look(services_of(request), walkaround))
    context["progress"] = _PROGRESS.get(listed.walkaround.state, "")
    return page(request, "technician/walkaround.html.j2", context)


@router.post("/walkarounds/{walkaround}/answers")
def answer(
    request: Request,
    walkaround: Id,
    me: Technician,
    key: Annotated[str, Form(max_length=200)],
    choice: Annotated[str, Form(max_length=300)] = "",
    text: Annotated[str, Form(max_length=1000)] = "",
) -> Response:
    """An answer to one question: a ready one, or typed words."""
    services = services_of(request)
    _listed(request, me, walkaround)
    limiter: limits.Limiter = request.app.state.limiter
    limiter.check(limits.CHANGE, "decide", me.id)
    choice, text = choice.strip(), text.strip()

    def decision(bench: Bench) -> Decision:
        asked = bench.top.ask(key) if bench.top is not None else None
        if asked is None or asked.state != "open":
            raise RefusedError("This question is answered already, or not asked any more.")
        if not is_technicians(asked):
            raise RefusedError("This question is for the desk.")
        if not choice and not text:
            raise InputError("Type the answer first.")
        if asked.ask.code == TYPE_WHAT_WAS_SAID and text:
            typed = benches.said(services, market=bench.row.market, text=text, answers=key)
            if not typed.findings:  # closing the question over words nobody understands would lose them
                raise InputError(NOT_RECOGNISED, hint=NAME_THE_PART)
            return typed
        return Answer(key=key, choice=choice, text=text)

    return _decided(request, me, walkaround, decision)


@router.post("/walkarounds/{walkaround}/answers/take-back")
def take_back(request: Request, walkaround: Id, me: Technician, seq: Annotated[int, Form(ge=1)]) -> Response:
    """A slip of the thumb: takes one's own answer back."""
    services = services_of(request)
    _listed(request, me, walkaround)

    def decision(_: Bench) -> Decision:
        with services.database.reading() as session:
            rows = desk.decisions(session, walkaround=walkaround, after=seq - 1)
        if not rows or rows[0].seq != seq or rows[0].person != me.id or rows[0].kind not in ("answer", "say"):
            raise RefusedError("That was not your answer; the desk can take it back.")
        return Undo(seq=seq)

    return _decided(request, me, walkaround, decision)


def _decided(
    request: Request, me: SignedInAs, walkaround: str, decision_of: Callable[[Bench], Decision]
) -> Response:
    """Adds the decision over how things stand, again where the desk was faster; shows how they stand then."""
    services = services_of(request)
    fault = ""
    for tries in range(1, _TRIES + 1):
        bench = benches.look(services, walkaround)
        try:
            if bench.row.state != "review":
                raise RefusedError("The draft is not open for answers any more.")
            benches.decide(
                services,
                bench,
                expected_seq=bench.row.seq,
                person=me.id,
                decision=decision_of(bench),
            )
        except StaleError as error:
            if tries < _TRIES:
                continue
            fault = f"{error.message} {error.hint}".strip()
        except (InputError, RefusedError) as error:
            fault = f"{error.message} {error.hint}".strip()
        break
    if request.headers.get("x-part") == "understood":
        bench = benches.look(services, walkaround)
        context = {**_frame(bench.listed), **_understood(request, me, bench), "fault": fault}
        response = page(request, "technician/_understood.html.j2", context, status=409 if fault else 200)
        response.headers["X-Part"] = "understood"
        return response
    query = f"?{urlencode({'said': fault})}" if fault else ""
    return RedirectResponse(f"/t/walkarounds/{walkaround}{query}#asks", status_code=303)


# -- the code at the lift ------------------------------------------------------------------------------------


@router.get("/qr")
def sheet(request: Request, _: Technician, lifts: Annotated[str, Query(max_length=1000)] = "") -> Response:
    """A sheet to print: one code per lift."""
    names = [name for line in lifts.splitlines() if (name := " ".join(line.split())[:60])][:_MOST_CODES]
    base = str(request.base_url).rstrip("/")
    context = {
        "lifts": names,
        "base": base,
        "local": urlsplit(base).hostname in ("localhost", "127.0.0.1", "::1"),
        "sheets": [{"lift": name, "address": _address(request, name)} for name in names or [""]],
    }
    return page(request, "technician/qr.html.j2", context)


@router.get("/qr.svg")
def code(request: Request, _: Technician, lift: Annotated[str, Query(max_length=60)] = "") -> Response:
    """The code of one lift."""
    return Response(qr_svg(_address(request, " ".join(lift.split()))), media_type="image/svg+xml")


def _address(request: Request, lift: str) -> str:
    query = f"?{urlencode({'lift': lift})}" if lift else ""
    return f"{str(request.base_url).rstrip('/')}/t/begin{query}"


# -- helpers -------------------------------------------------------------------------------------------------


def title_of(listed: Listed) -> str:
    vehicle = listed.vehicle
    named = (vehicle.title or vehicle.plate) if vehicle is not None else ""
    return named or listed.walkaround.title or "Vehicle without a name"


def _listed(request: Request, me: SignedInAs, walkaround: str) -> Listed:
    with services_of(request).database.reading() as session:
        may_see(session, me, walkaround=walkaround)
        return walkarounds.listed(session, id=walkaround)


def _frame(listed: Listed) -> dict[str, Any]:
    return {
        "row": listed.walkaround,
        "title": title_of(listed),
        "plate": listed.vehicle.plate if listed.vehicle is not None else "",
    }


def _understood(request: Request, me: SignedInAs, bench: Bench) -> dict[str, Any]:
    if bench.top is None:
        return {}
    lexicon = services_of(request).workshop(bench.row.market).lexicon
    return {"understood": view(bench, lexicon, name=me.name, answering=bench.row.state == "review")}


router.include_router(technician_upload.router)
