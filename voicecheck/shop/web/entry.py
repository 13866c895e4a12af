"""The way in: sign in and out, and the one-time links that make people."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, HTTPException, Request
from fastapi.responses import RedirectResponse, Response

from voicecheck.records.errors import InputError
from voicecheck.shop.services import Services
from voicecheck.shop.web import auth, limits
from voicecheck.shop.web.auth import require, services_of
from voicecheck.shop.web.pages import page
from voicecheck.store import people
from voicecheck.store.tables import Invitation

router = APIRouter()
HOME = {"technician": "/t", "advisor": "/desk", "owner": "/desk"}


@router.get("/")
def start(request: Request) -> Response:
    me = auth.who(request)
    return RedirectResponse(HOME[me.role] if me else "/sign-in", status_code=303)


@router.get("/sign-in")
def sign_in_page(request: Request, to: str = "") -> Response:
    return page(request, "sign_in.html.j2", {"to": _inside(to), "login": "", "fault": ""})


@router.post("/sign-in")
def sign_in(
    request: Request,
    login: Annotated[str, Form(max_length=120)],
    password: Annotated[str, Form(max_length=200)],
    to: Annotated[str, Form(max_length=300)] = "",
) -> Response:
    limiter: limits.Limiter = request.app.state.limiter
    limiter.check(limits.SIGN_IN, "sign-in", limits.address_of(request))
    name = login.strip().casefold()
    limiter.check(limits.SIGN_IN_NAME, "sign-in-name", name)
    services = services_of(request)
    with services.database.reading() as session:
        person = people.person_by_login(session, login=name)
    if person is not None and person.left_at is not None:
        person = None
    if not auth.password_fits(password, person.password_hash if person else None) or person is None:
        fault = "That name and password do not belong together."
        context = {"to": _inside(to), "login": login, "fault": fault}
        return page(request, "sign_in.html.j2", context, status=401)
    response = RedirectResponse(_inside(to) or HOME[person.role], status_code=303)
    auth.start_session(request, response, person=person.id)
    return response


@router.post("/sign-out", dependencies=[Depends(require("technician"))])
def sign_out(request: Request) -> Response:
    response = RedirectResponse("/sign-in", status_code=303)
    auth.end_session(request, response)
    return response


@router.get("/join/{token}")
def join_page(request: Request, token: str) -> Response:
    invitation = _invitation(request, token)
    context = _join_context(token, invitation, name=invitation.name)
    return page(request, "join.html.j2", context)


@router.post("/join/{token}")
def join(
    request: Request,
    token: str,
    name: Annotated[str, Form(max_length=120)],
    password: Annotated[str, Form(max_length=400)],
    again: Annotated[str, Form(max_length=400)],
    login: Annotated[str, Form(max_length=120)] = "",
) -> Response:
    invitation = _invitation(request, token)
    services, login = services_of(request), login.strip().casefold()
    name = " ".join(name.split()) or invitation.name
    fault = ""
    if password != again:
        fault = "The two passwords are not the same."
    else:
        fault = auth.password_faults(password, login=login, name=name)
    identity = ""
    if not fault:
        try:
            identity = _become(services, token, invitation, name=name, login=login, password=password)
        except InputError as error:
            fault = f"{error.message} {error.hint}".strip()
    if fault:
        context = _join_context(token, invitation, name=name, login=login, fault=fault)
        return page(request, "join.html.j2", context, status=422)
    response = RedirectResponse(HOME[invitation.role], status_code=303)
    auth.start_session(request, response, person=identity)
    return response


def _become(
    services: Services, token: str, invitation: Invitation, *, name: str, login: str, password: str
) -> str:
    """Uses the invitation and makes the person, or sets the new password, in one go. The person's id."""
    hashed, now = auth.hash_password(password), services.clock()
    with services.database.session() as session:
        people.use_invitation(session, token=token, now=now)
        if invitation.person is not None:
            people.set_password(
                session, id=invitation.person, password_hash=hashed, now=now, by=invitation.person
            )
            return invitation.person
        person = people.add_person(
            session, name=name, login=login, role=invitation.role, password_hash=hashed, now=now
        )
        return person.id


def _join_context(
    token: str, invitation: Invitation, *, name: str, login: str = "", fault: str = ""
) -> dict[str, object]:
    return {
        "token": token,
        "role": invitation.role,
        "name": name,
        "login": login,
        "fault": fault,
        "renewing": invitation.person is not None,
    }


def _invitation(request: Request, token: str) -> Invitation:
    limiter: limits.Limiter = request.app.state.limiter
    limiter.check(limits.TOKEN, "join", limits.address_of(request))
    services = services_of(request)
    with services.database.reading() as session:
        found = people.invitation(session, token=token, now=services.clock())
    if found is None:
        raise HTTPException(404, "This link has been used or is too old. Ask the owner for a new one.")
    return found


def _inside(to: str) -> str:
    """``to`` if it is a path of this server, else ""."""
    fine = to.startswith("/") and not to.startswith("//") and "\\" not in to
    return quote(to, safe="/?&=#%-._~") if fine else ""
