"""Who may do what: passwords, sessions, roles, and the guard against forged requests.

Passwords are hashed with argon2id (argon2-cffi's defaults follow RFC 9106). The session cookie holds 256
random bits, the database only their sha256. A request that changes something must come from a page of ours:
its ``Origin`` or ``Sec-Fetch-Site`` must say so, and where somebody is signed in it must carry the session's
token (form field ``csrf`` or header ``X-CSRF``).
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal, cast
from urllib.parse import urlsplit

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from fastapi import HTTPException, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from voicecheck.shop.services import Services
from voicecheck.store import people
from voicecheck.store.values import new_token

Role = Literal["technician", "advisor", "owner"]
COOKIE = "voicecheck"
STAYS = timedelta(hours=12)  # from the last request
LONGEST = timedelta(days=7)  # from signing in
TOUCH = timedelta(minutes=5)  # how exactly "the last request" is kept
LEAST_PASSWORD = 10
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

# Who may do the work of which role.
_MAY: dict[Role, frozenset[str]] = {
    "technician": frozenset({"technician", "advisor", "owner"}),
    "advisor": frozenset({"advisor", "owner"}),
    "owner": frozenset({"owner"}),
}

_hasher = PasswordHasher()
# Verified when nobody has the login, so that the answer takes as long as for one that exists.
_NOBODY = _hasher.hash(secrets.token_hex(16))


@dataclass(frozen=True, slots=True)
class SignedInAs:
    """The person behind a request and the token that their forms carry."""

    id: str
    name: str
    role: Role
    csrf: str

    def may(self, role: Role) -> bool:
        return self.role in _MAY[role]


class SignInNeededError(Exception):
    """Nobody is signed in; the app answers with the way to the sign-in page."""


def services_of(request: Request) -> Services:
    services: Services = request.app.state.services
    return services


def hash_password(password: str) -> str:
    return _hasher.hash(password)


def password_faults(password: str, *, login: str, name: str) -> str:
    """One sentence on why a password cannot be used, or ""."""
    if len(password) < LEAST_PASSWORD:
        return f"The password needs at least {LEAST_PASSWORD} characters; a few words in a row are fine."
    if len(password) > 200:
        return "The password is longer than 200 characters."
    if len(set(password)) < 4 or password.casefold() in {login.casefold(), name.casefold()}:
        return "That password is too easy to guess: take a few words that do not belong together."
    return ""


def password_fits(password: str, stored: str | None) -> bool:
    """Whether ``password`` is the one behind ``stored``; takes as long when there is none."""
    try:
        return _hasher.verify(stored or _NOBODY, password) and stored is not None
    except (VerificationError, InvalidHashError):
        return False


def start_session(request: Request, response: Response, *, person: str) -> None:
    """Sign ``person`` in: a new token each time, so that one planted before is worth nothing."""
    services, token = services_of(request), new_token()
    now = services.clock()
    with services.database.session() as session:
        people.begin_session(
            session,
            token=token,
            person=person,
            csrf=secrets.token_urlsafe(24),
            now=now,
            expires=now + STAYS,
        )
    _set_cookie(request, response, token)


def _set_cookie(request: Request, response: Response, token: str) -> None:
    response.set_cookie(
        COOKIE,
        token,
        max_age=int(LONGEST.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=request.url.scheme == "https",
        path="/",
    )


def end_session(request: Request, response: Response) -> None:
    token = request.cookies.get(COOKIE)
    if token:
        services = services_of(request)
        with services.database.session() as session:
            people.end_session(session, token=token, now=services.clock())
    response.delete_cookie(COOKIE, path="/")


def who(request: Request) -> SignedInAs | None:
    """The person who is signed in, or ``None``; looked up once per request."""
    if not hasattr(request.state, "signed_in"):
        request.state.signed_in = _look_up(request)
    found: SignedInAs | None = request.state.signed_in
    return found


def _look_up(request: Request) -> SignedInAs | None:
    token = request.cookies.get(COOKIE)
    if not token:
        return None
    services = services_of(request)
    now = services.clock()
    with services.database.reading() as session:
        visit = people.visit(session, token=token, now=now)
    if visit is None:
        return None
    if now - visit.session.seen > TOUCH:
        end = min(now + STAYS, visit.session.created + LONGEST)
        with services.database.session() as session:
            people.touch_session(session, token=token, now=now, expires=end)
    role = cast(Role, visit.person.role)
    return SignedInAs(id=visit.person.id, name=visit.person.name, role=role, csrf=visit.session.csrf)


class Require:
    """A dependency: somebody is signed in who may do the work of ``role``, and the request is no forgery."""

    def __init__(self, role: Role) -> None:
        self.role = role

    async def __call__(self, request: Request) -> SignedInAs:
        person = await run_in_threadpool(who, request)
        if person is None:
            raise SignInNeededError
        if not person.may(self.role):
            raise HTTPException(403, "This page is for somebody else in the shop.")
        if request.method not in _SAFE_METHODS:
            await _check_token(request, person)
        return person


def require(role: Role) -> Require:
    return Require(role)


async def _check_token(request: Request, person: SignedInAs) -> None:
    given = request.headers.get("x-csrf", "")
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if not given and kind in ("application/x-www-form-urlencoded", "multipart/form-data"):
        form: FormData = await request.form()
        value = form.get("csrf", "")
        given = value if isinstance(value, str) else ""
    if not hmac.compare_digest(given.encode(), person.csrf.encode()):
        raise HTTPException(403, "The page was too old to be trusted. Load it again and repeat what you did.")


def comes_from_us(request: Request, *, also: Sequence[str] = ()) -> bool:
    """Whether a request that changes something was sent by a page of this server.

    Browsers say it in ``Sec-Fetch-Site``, older ones in ``Origin``. A request with neither is not a browser's
    form, and can bring no cookie that a browser holds.
    """
    if request.method in _SAFE_METHODS:
        return True
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = request.headers.get("origin")
    if origin is None:
        return True
    return urlsplit(origin).netloc in {request.headers.get("host", ""), *also}
