"""Papers at the desk: who and whose, what the law wants, issuing, the link, answers by phone or in person."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, get_args

from fastapi import APIRouter, Depends, Form, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool

from voicecheck.documents import customer, parts_list, plain, to_html, work
from voicecheck.documents.draft_pdf import draft_to_pdf
from voicecheck.records import InputError
from voicecheck.records.papers import Particulars
from voicecheck.shop import issuing
from voicecheck.shop.bench import Bench, look
from voicecheck.shop.issuing import Chosen, Paperwork, paperwork
from voicecheck.shop.services import Services
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.shop.web.pages import page
from voicecheck.shop.web.qr import qr_inline
from voicecheck.store import papers, walkarounds
from voicecheck.store.tables import Issued
from voicecheck.store.values import new_token

router = APIRouter(prefix="/desk")
Advisor = Annotated[SignedInAs, Depends(require("advisor"))]
PaperKind = Literal["estimate", "draft", "work", "parts"]

# fields of the form, by the part of the particulars that they are in
FIELDS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "customer": (
        ("name", "Name", "text"),
        ("phone", "Phone", "tel"),
        ("email", "E-mail", "email"),
        ("address", "Address, one line each", "lines"),
    ),
    "vehicle": (
        ("year", "Year", "number"),
        ("make", "Make", "text"),
        ("model", "Model", "text"),
        ("plate", "Plate", "text"),
        ("vin", "VIN", "text"),
        ("odometer", "Odometer, with its unit", "text"),
    ),
    "document": (
        ("number", "Number", "text"),
        ("given_in", "Given in", "datetime-local"),
        ("complaint", "What is wrong, as the customer told it", "lines"),
        ("proposed_completion", "Ready by", "date"),
        ("valid_until", "Valid until", "date"),
    ),
    "authorised_other": (
        ("name", "Somebody else who may agree", "text"),
        ("phone", "Their phone", "tel"),
    ),
}
TITLES = {
    "customer": "Customer",
    "vehicle": "Vehicle",
    "document": "Document",
    "authorised_other": "Another person",
}


@router.get("/{walkaround}/issue")
def issue_page(request: Request, walkaround: str, _: Advisor) -> Response:
    return _show(request, walkaround)


@router.post("/{walkaround}/particulars")
async def particulars(request: Request, walkaround: str, me: Advisor) -> Response:
    """Keeps what was typed for the papers."""
    form = await request.form()
    fields = {key: str(form.get(key, "")) for key in form}
    return await run_in_threadpool(_keep, request, walkaround, me, fields)


def _keep(request: Request, walkaround: str, me: SignedInAs, fields: Mapping[str, str]) -> Response:
    services = services_of(request)
    typed = _typed(fields)
    try:
        Particulars.model_validate(
            {k: v for k, v in typed.items() if k != "authorised_other" or v.get("name")}
        )
    except ValidationError as error:
        where = [str(part) for part in error.errors()[0]["loc"]]
        label = next((words for name, words, _ in FIELDS.get(where[0], ()) if where[-1] == name), where[-1])
        raise InputError(f"“{label}” cannot be used as it was typed.", hint="Look at it again.") from None
    with services.database.session() as session:
        walkarounds.describe(
            session,
            id=walkaround,
            now=services.clock(),
            person=me.id,
            particulars={"papers": typed, "place": fields.get("place", "")},
        )
    return RedirectResponse(f"/desk/{walkaround}/issue?said=Kept.", status_code=303)


def _typed(fields: Mapping[str, str]) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for part, rows in FIELDS.items():
        values: dict[str, Any] = {}
        for name, _, kind in rows:
            text = fields.get(f"{part}.{name}", "").strip()[:1000]
            if not text:
                continue
            if name == "address":
                values[name] = [line.strip() for line in text.splitlines() if line.strip()]
            elif kind == "number":
                values[name] = int(text) if text.isdecimal() else text
            else:
                values[name] = text
        if values:
            found[part] = values
    return found


@router.post("/{walkaround}/issue")
def issue(
    request: Request,
    walkaround: str,
    me: Advisor,
    seq: Annotated[int, Form()],
    photo: Annotated[list[str] | None, Form()] = None,
    hear: Annotated[list[str] | None, Form()] = None,
) -> Response:
    """Issues the estimate and shows the customer's link, this once."""
    services = services_of(request)
    row, token = issuing.issue(
        services,
        walkaround=walkaround,
        seq=seq,
        person=me.id,
        chosen=Chosen(photos=tuple(photo or ()), findings=tuple(hear or ())),
    )
    return _show(request, walkaround, link=_address(request, token), fresh=row)


@router.post("/{walkaround}/link")
def another_link(request: Request, walkaround: str, me: Advisor) -> Response:
    """A new link to the newest version; the ones before end."""
    services = services_of(request)
    token, now = new_token(), services.clock()
    with services.database.session() as session:
        row = _newest(papers.latest_issued(session, walkaround=walkaround))
        papers.revoke_links(session, issued=row.id, now=now, person=me.id)
        papers.make_link(
            session,
            issued=row.id,
            token=token,
            now=now,
            expires=now + issuing.LINK_LASTS,
            person=me.id,
        )
    return _show(request, walkaround, link=_address(request, token), fresh=row)


@router.post("/{walkaround}/revoke")
def revoke(request: Request, walkaround: str, me: Advisor) -> Response:
    services = services_of(request)
    with services.database.session() as session:
        row = _newest(papers.latest_issued(session, walkaround=walkaround))
        papers.revoke_links(session, issued=row.id, now=services.clock(), person=me.id)
    return RedirectResponse(f"/desk/{walkaround}/issue?said=The link is closed.", status_code=303)


@router.post("/{walkaround}/answer")
async def answer(request: Request, walkaround: str, me: Advisor) -> Response:
    """Writes down what the customer said on the phone or in person."""
    form = await request.form()
    fields = {key: str(form.get(key, "")) for key in form}
    return await run_in_threadpool(_answer, request, walkaround, me, fields)


def _answer(request: Request, walkaround: str, me: SignedInAs, fields: Mapping[str, str]) -> Response:
    services = services_of(request)
    with services.database.reading() as session:
        row = _newest(papers.latest_issued(session, walkaround=walkaround))
    means = fields.get("means", "phone")
    if means == "phone" and not fields.get("contact", "").strip():
        raise InputError(
            "Write down the number that was called.", hint="It belongs to the record of consent."
        )
    issuing.answer(
        services,
        issued=row,
        agreed=[key[4:] for key, value in fields.items() if key.startswith("job:") and value == "yes"],
        declined=[key[4:] for key, value in fields.items() if key.startswith("job:") and value == "no"],
        name=fields.get("name", ""),
        means=means,
        fingerprint=fields.get("fingerprint", ""),
        contact=fields.get("contact", ""),
        person=me.id,
    )
    return RedirectResponse(f"/desk/{walkaround}/issue?said=Written down.", status_code=303)


@router.post("/{walkaround}/reply")
def reply(
    request: Request, walkaround: str, me: Advisor, text: Annotated[str, Form(max_length=2000)]
) -> Response:
    """Answers a customer's question; the customer reads it behind the same link."""
    services = services_of(request)
    if not text.strip():
        raise InputError("Type the reply.")
    with services.database.session() as session:
        row = _newest(papers.latest_issued(session, walkaround=walkaround))
        papers.add_consent(
            session,
            issued=row.id,
            kind="reply",
            name=me.name,
            means="link",
            fingerprint=row.fingerprint,
            now=services.clock(),
            person=me.id,
            text=text,
        )
    return RedirectResponse(f"/desk/{walkaround}/issue?said=Sent.", status_code=303)


@router.post("/{walkaround}/put-off/{put_off}")
def settle_put_off(
    request: Request,
    walkaround: str,
    put_off: str,
    me: Advisor,
    how: Annotated[str, Form(max_length=200)],
) -> Response:
    """Work put off earlier is done or no matter any more."""
    services = services_of(request)
    with services.database.session() as session:
        papers.settle_put_off(session, id=put_off, how=how, now=services.clock(), person=me.id)
    return RedirectResponse(f"/desk/{walkaround}", status_code=303)


@router.get("/{walkaround}/paper/{kind}.{form}")
def paper(request: Request, walkaround: str, kind: str, form: str, _: Advisor) -> Response:
    """A paper as it would be now: page or PDF."""
    if kind not in get_args(PaperKind) or form not in ("html", "pdf"):
        raise HTTPException(404, "There is no such paper.")
    services = services_of(request)
    bench = look(services, walkaround)
    made = paperwork(services, bench)
    content: str | bytes
    if kind == "estimate":
        view = made.view()
        content = customer.to_html(view) if form == "html" else customer.to_pdf(view)
    elif kind == "draft":
        content = to_html(made.draft) if form == "html" else draft_to_pdf(made.draft)
    elif kind == "work":
        listed = work.view(
            made.draft,
            shop=made.shop,
            particulars=made.particulars,
            words=made.words,
            cautions=made.laws.cautions,
            agreed=_agreed(services, bench),
        )
        content = work.to_html(listed) if form == "html" else work.to_pdf(listed)
    else:
        parts = parts_list.view(
            made.draft,
            shop=made.shop,
            particulars=made.particulars,
            cautions=made.laws.cautions,
            agreed=_agreed(services, bench),
        )
        content = parts_list.to_html(parts) if form == "html" else parts_list.to_pdf(parts)
    return document(content, name=f"{kind}-{walkaround[:8]}")


def document(content: str | bytes, *, name: str) -> Response:
    """A self-contained page (styles inside, no script) or a PDF."""
    if isinstance(content, bytes):
        return Response(
            content,
            media_type="application/pdf",
            headers={"Content-Disposition": f'inline; filename="{name}.pdf"'},
        )
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'"
    return HTMLResponse(content, headers={"Content-Security-Policy": policy})


def _agreed(services: Services, bench: Bench) -> tuple[str, ...] | None:
    """The jobs that may be done, once something was issued."""
    if bench.row.state not in ("issued", "answered"):
        return None
    return issuing.standing_of(services, bench.row.id).agreed


def _newest(row: Issued | None) -> Issued:
    if row is None:
        raise HTTPException(409, "Nothing has been issued yet.")
    return row


def _address(request: Request, token: str) -> str:
    return f"{request.url.scheme}://{request.headers.get('host', '')}/c/{token}"


def _show(request: Request, walkaround: str, *, link: str = "", fresh: Issued | None = None) -> Response:
    services = services_of(request)
    bench = look(services, walkaround)
    made = paperwork(services, bench)
    with services.database.reading() as session:
        versions = papers.versions(session, walkaround=walkaround)
        said = papers.consents(session, walkaround=walkaround)
        links = papers.links(session, issued=versions[-1].id) if versions else []
    now = services.clock()
    assert bench.top is not None
    return page(
        request,
        "desk/issue.html.j2",
        {
            "p": plain,
            "row": bench.row,
            "title": bench.title,
            "fields": FIELDS,
            "titles": TITLES,
            "values": _values(made),
            "laws": made.laws,
            "profile": made.profile,
            "lacks": made.lacks,
            "hindrances": bench.top.hindrances,
            "draft": made.draft,
            "photos": bench.photos,
            "versions": versions,
            "newest": versions[-1] if versions else None,
            "jobs": [j for j in issuing.estimate_of(versions[-1]).jobs if not j.put_off] if versions else [],
            "standing": issuing.standing_of(services, walkaround) if versions else None,
            "said_by_customer": said,
            "open_links": [x for x in links if x.revoked is None and x.expires > now],
            "changed_since": bool(versions) and versions[-1].seq != bench.row.seq,
            "link": link,
            "fresh": fresh,
            "picture": qr_inline(link) if link else "",
        },
    )


def _values(made: Paperwork) -> dict[str, str]:
    dumped = made.particulars.model_dump(mode="json")
    found = {}
    for part, rows in FIELDS.items():
        values = dumped.get(part) or {}
        for name, _, _kind in rows:
            value = values.get(name)
            text = "\n".join(value) if isinstance(value, list) else "" if value is None else str(value)
            found[f"{part}.{name}"] = text
    return found
