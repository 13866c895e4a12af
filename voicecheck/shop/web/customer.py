"""The customer's page: one estimate behind a long link. No account, no cookie; the link is the key."""

from __future__ import annotations

import io
import wave
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from voicecheck.documents import customer, plain
from voicecheck.records import Estimate
from voicecheck.records.money import of_units
from voicecheck.shop import issuing
from voicecheck.shop.services import Services
from voicecheck.shop.sound import playable
from voicecheck.shop.web import limits
from voicecheck.shop.web.auth import services_of
from voicecheck.shop.web.issue import document
from voicecheck.shop.web.media import GONE, picture_of, still_of
from voicecheck.shop.web.pages import page
from voicecheck.store import papers
from voicecheck.store.papers import Opened
from voicecheck.store.tables import Photo, Take

router = APIRouter(prefix="/c")
LONGEST_CLIP = 30.0  # seconds
PRIVATE = {"X-Robots-Tag": "noindex, nofollow", "Referrer-Policy": "no-referrer"}
CLOSED = {
    "revoked": "The shop has closed this link. Ask the shop for a new one.",
    "expired": "This link is too old. Ask the shop for a new one.",
}


def _open(request: Request, token: str, *, to_act: bool = False) -> Opened:
    """What the link leads to. 404 for an unknown one, 410 for one that is closed or too old."""
    request.app.state.limiter.check(limits.TOKEN, "link", limits.address_of(request))
    services = services_of(request)
    with services.database.reading() as session:
        opened = papers.look_up(session, token=token, now=services.clock())
    if opened.state != "good":
        raise HTTPException(410, CLOSED[opened.state])
    if to_act and not opened.newest:
        raise HTTPException(409, "The shop has made a newer estimate. Ask for the link to that one.")
    return opened


@router.get("/{token}")
def estimate_page(request: Request, token: str) -> Response:
    """The estimate, with a yes or not now for each job."""
    services = services_of(request)
    opened = _open(request, token)
    row = opened.issued
    if opened.link.opened is None:
        with services.database.session() as session:
            papers.mark_opened(session, token=token, now=services.clock())
    with services.database.reading() as session:
        said = papers.consents(session, walkaround=row.walkaround)
    view, draft = issuing.view_of(row), issuing.draft_of(row)
    standing = issuing.standing_of(services, row.walkaround)
    states = {j.job: j for j in standing.jobs} if opened.newest else {}
    clips = list(enumerate(row.draft.get("clips", [])))
    mine = [c for c in said if c.issued == row.id]
    answered = [c for c in mine if c.kind == "answer"]
    decided = [c for c in mine if c.kind in ("answer", "withdrawal")]
    response = page(
        request,
        "customer/estimate.html.j2",
        {
            "p": plain,
            "token": token,
            "issued": row,
            "view": view,
            "draft": draft,
            "newest": opened.newest,
            "states": states,
            "again": standing.ask_again if opened.newest else (),
            "clips": clips,
            "lines_of": {job.id: {f for x in job.lines for f in x.findings} for job in draft.estimate.jobs},
            "photos": row.draft.get("photos", []),
            "said_before": mine,
            "answered": answered,
            "last_total": _amount(answered[-1].amount, answered[-1].currency, draft.market)
            if answered
            else "",
            "withdrawn": decided[-1:] != [] and decided[-1].kind == "withdrawal",
        },
    )
    response.headers.update(PRIVATE)
    return response


def _amount(units: int | None, currency: str, market: str) -> str:
    if units is None:
        return ""
    return plain.money(of_units(units, currency), currency, "UK" if market == "UK" else "US")


@router.get("/{token}/total")
def total(request: Request, token: str, job: Annotated[list[str] | None, Query()] = None) -> Response:
    """What the jobs named cost together, shared labour, supplies and tax included."""
    services = services_of(request)
    opened = _open(request, token)
    estimate = issuing.estimate_for(services, opened.issued, agreed=list(job or ()))
    return JSONResponse(_priced(estimate, opened, chosen=set(job or ())), headers=PRIVATE)


def _priced(estimate: Estimate, opened: Opened, *, chosen: set[str]) -> dict[str, object]:
    issued = issuing.draft_of(opened.issued)
    market, totals = issued.market, estimate.totals
    before = {job.id: job.subtotal for job in issued.estimate.jobs}
    return {
        "total": plain.money(totals.total, estimate.currency, market) if chosen else "",
        "open": totals.open_lines if chosen else 0,
        "jobs": {
            job.id: plain.money(job.subtotal, estimate.currency, market)
            for job in estimate.jobs
            if job.id in chosen and any(x.amount is not None for x in job.lines)
        },
        "moved": [
            f"{job.title} is {plain.money(job.subtotal, estimate.currency, market)} instead of "
            f"{plain.money(before[job.id], estimate.currency, market)}: work that it shared with a job you "
            "put off is done for it alone."
            for job in estimate.jobs
            if job.id in chosen and job.subtotal > before.get(job.id, job.subtotal)
        ],
    }


@router.post("/{token}/answer")
async def answer(request: Request, token: str) -> Response:
    """Keeps what the customer says to each job."""
    form = await request.form(max_fields=500)
    fields = {key: str(form.get(key, ""))[:500] for key in form}
    return await run_in_threadpool(_answer, request, token, fields)


def _answer(request: Request, token: str, fields: Mapping[str, str]) -> Response:
    services = services_of(request)
    opened = _open(request, token, to_act=True)
    name = fields.get("name", "").strip()
    if not name:
        raise HTTPException(422, "Type your name: it stands for your signature.")
    issuing.answer(
        services,
        issued=opened.issued,
        agreed=[key[4:] for key, value in fields.items() if key.startswith("job:") and value == "yes"],
        declined=[key[4:] for key, value in fields.items() if key.startswith("job:") and value == "no"],
        name=name,
        means="link",
        fingerprint=fields.get("fingerprint", ""),
        contact=limits.address_of(request),
    )
    return RedirectResponse(
        f"/c/{token}?said=Thank you. Your answer is kept, word for word.", status_code=303
    )


@router.post("/{token}/withdraw")
def withdraw(request: Request, token: str, name: Annotated[str, Form(max_length=120)]) -> Response:
    services = services_of(request)
    opened = _open(request, token, to_act=True)
    issuing.withdraw(services, issued=opened.issued, name=name, fingerprint=opened.issued.fingerprint)
    return RedirectResponse(
        f"/c/{token}?said=Taken back. Please also call the shop: work may have begun.", status_code=303
    )


@router.post("/{token}/ask")
def ask(
    request: Request,
    token: str,
    text: Annotated[str, Form(max_length=2000)],
    name: Annotated[str, Form(max_length=120)] = "",
) -> Response:
    """A question to the shop; it changes nothing that was agreed."""
    services = services_of(request)
    opened = _open(request, token)
    if not text.strip():
        raise HTTPException(422, "Type your question.")
    with services.database.session() as session:
        papers.add_consent(
            session,
            issued=opened.issued.id,
            kind="question",
            name=name.strip() or "The customer",
            means="link",
            fingerprint=opened.issued.fingerprint,
            now=services.clock(),
            text=text,
        )
    return RedirectResponse(f"/c/{token}?said=The shop has your question.", status_code=303)


@router.get("/{token}/estimate.{form}")
def paper(request: Request, token: str, form: str) -> Response:
    """The same estimate as a page to keep, or as PDF."""
    opened = _open(request, token)
    if form not in ("html", "pdf"):
        raise HTTPException(404, "There is no such paper.")
    view = issuing.view_of(opened.issued)
    made = document(
        customer.to_html(view) if form == "html" else customer.to_pdf(view),
        name=f"estimate-{view.head.number}",
    )
    made.headers.update(PRIVATE)
    return made


@router.get("/{token}/photo/{photo}")
def picture(request: Request, token: str, photo: str) -> Response:
    """A picture that the advisor chose to show, and no other."""
    services = services_of(request)
    opened = _open(request, token)
    if photo not in opened.issued.draft.get("photos", []):
        raise HTTPException(404, "There is no such picture here.")
    with services.database.reading() as session:
        row = session.get(Photo, photo)
    if row is None:
        raise HTTPException(404, "There is no such picture here.")
    return picture_of(services, row.media, row.kind)


@router.get("/{token}/clip/{number}.wav")
def clip(request: Request, token: str, number: int) -> Response:
    """The spoken seconds that the advisor chose to let the customer hear, and not one more."""
    services = services_of(request)
    opened = _open(request, token)
    clips = opened.issued.draft.get("clips", [])
    if not 0 <= number < len(clips):
        raise HTTPException(404, "There is nothing to hear here.")
    chosen = clips[number]
    with services.database.reading() as session:
        take = session.get(Take, str(chosen["take"]))
    if take is None or take.media is None or take.deleted is not None:
        raise HTTPException(410, GONE)
    return Response(
        _cut(services, take.media, float(chosen["from"]), float(chosen["to"])), media_type="audio/wav"
    )


@router.get("/{token}/clip/{number}.jpg")
def clip_picture(request: Request, token: str, number: int) -> Response:
    """The picture where those seconds begin, of a video."""
    services = services_of(request)
    opened = _open(request, token)
    clips = opened.issued.draft.get("clips", [])
    if not 0 <= number < len(clips) or not clips[number].get("video"):
        raise HTTPException(404, "There is no such picture here.")
    with services.database.reading() as session:
        take = session.get(Take, str(clips[number]["take"]))
    if take is None or take.media is None or take.deleted is not None:
        raise HTTPException(410, GONE)
    return still_of(services, take.media, float(clips[number]["from"]))


def _cut(services: Services, key: str, begin: float, end: float) -> bytes:
    """Those seconds of a take as a WAV file of their own."""
    path = playable(services.media, key, cache=services.settings.sound_cache)
    made = io.BytesIO()
    with wave.open(str(path)) as whole, wave.open(made, "wb") as part:
        rate = whole.getframerate()
        whole.setpos(min(whole.getnframes(), int(begin * rate)))
        part.setparams(whole.getparams())
        part.writeframes(whole.readframes(int(min(end - begin, LONGEST_CLIP) * rate)))
    return made.getvalue()
