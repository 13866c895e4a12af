"""The owner's pages: where everything is, and the people who work here."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import RedirectResponse, Response

from voicecheck.records import InputError
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.shop.web.pages import page
from voicecheck.shop.web.qr import qr_inline
from voicecheck.store import people
from voicecheck.store.tables import ROLES
from voicecheck.store.values import new_token

router = APIRouter(prefix="/owner")
Owner = Annotated[SignedInAs, Depends(require("owner"))]
INVITED_FOR = timedelta(days=3)


@router.get("")
def overview(_: Owner) -> Response:
    return RedirectResponse("/owner/people", status_code=303)


@router.get("/people")
def everybody(request: Request, _: Owner) -> Response:
    """Who works here, who was invited, and the form to invite somebody."""
    services = services_of(request)
    with services.database.reading() as session:
        found = people.people(session, with_left=True)
        invited = people.open_invitations(session, now=services.clock())
    return page(
        request,
        "owner/people.html.j2",
        {"people": found, "invited": invited, "roles": ROLES, "link": "", "picture": ""},
    )


@router.post("/people/invite")
def invite(
    request: Request,
    me: Owner,
    role: Annotated[str, Form(max_length=16)],
    name: Annotated[str, Form(max_length=120)] = "",
    person: Annotated[str, Form(max_length=32)] = "",
) -> Response:
    """A one-time link, shown once: to join, or for ``person`` to set a new password."""
    services = services_of(request)
    if role not in ROLES:
        raise InputError("Choose what they do here.")
    now, token = services.clock(), new_token()
    with services.database.session() as session:
        if person:
            known = people.person(session, id=person)
            role, name = known.role, known.name
        people.invite(
            session,
            token=token,
            role=role,
            name=name,
            person=person or None,
            now=now,
            expires=now + INVITED_FOR,
            by=me.id,
        )
        found = people.people(session, with_left=True)
        invited = people.open_invitations(session, now=now)
    link = f"{request.url.scheme}://{request.headers.get('host', '')}/join/{token}"
    return page(
        request,
        "owner/people.html.j2",
        {
            "people": found,
            "invited": invited,
            "roles": ROLES,
            "link": link,
            "link_for": name or role,
            "picture": qr_inline(link),
        },
    )


@router.post("/people/withdraw")
def withdraw(request: Request, me: Owner, invitation: Annotated[str, Form(max_length=64)]) -> Response:
    services = services_of(request)
    with services.database.session() as session:
        people.withdraw_invitation(session, token_hash=invitation, now=services.clock(), by=me.id)
    return RedirectResponse("/owner/people", status_code=303)


@router.post("/people/{person}/change")
def change(
    request: Request,
    me: Owner,
    person: str,
    role: Annotated[str, Form(max_length=16)],
    name: Annotated[str, Form(max_length=120)],
) -> Response:
    services = services_of(request)
    with services.database.session() as session:
        people.change_person(session, id=person, role=role, name=name, now=services.clock(), by=me.id)
    return RedirectResponse("/owner/people", status_code=303)


@router.post("/people/{person}/leave")
def leave(request: Request, me: Owner, person: str) -> Response:
    services = services_of(request)
    with services.database.session() as session:
        people.person_leaves(session, id=person, now=services.clock(), by=me.id)
    return RedirectResponse("/owner/people", status_code=303)


@router.post("/people/{person}/return")
def come_back(request: Request, me: Owner, person: str) -> Response:
    services = services_of(request)
    with services.database.session() as session:
        people.person_returns(session, id=person, now=services.clock(), by=me.id)
    return RedirectResponse("/owner/people", status_code=303)
