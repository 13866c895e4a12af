"""The web application: routers, headers, errors as plain pages."""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable
from http import HTTPStatus
from urllib.parse import quote

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse, RedirectResponse
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.responses import Response

from voicecheck import __version__
from voicecheck.records.errors import (
    NotThereError,
    OutputError,
    RefusedError,
    StaleError,
    StoreError,
    VoicecheckError,
)
from voicecheck.shop.services import Services
from voicecheck.shop.web import entry
from voicecheck.shop.web.auth import SignInNeededError, comes_from_us
from voicecheck.shop.web.limits import Limiter
from voicecheck.shop.web.pages import HERE, page

log = logging.getLogger("voicecheck.shop")

# Routes that need nobody signed in, each with why. A test walks all routes: every other requires a role.
PUBLIC = {
    "/": "sends everybody where they belong",
    "/sign-in": "the way in",
    "/join/{token}": "the token is the key",
    "/c/{token}": "the token is the key",
    "/c/{token}/total": "the token is the key",
    "/c/{token}/answer": "the token is the key",
    "/c/{token}/withdraw": "the token is the key",
    "/c/{token}/ask": "the token is the key",
    "/c/{token}/estimate.{form}": "the token is the key",
    "/c/{token}/photo/{photo}": "the token is the key, and only to pictures that were chosen",
    "/c/{token}/clip/{number}.wav": "the token is the key, and only to seconds that were chosen",
    "/c/{token}/clip/{number}.jpg": "the token is the key, and only to seconds that were chosen",
    "/healthz": "says only that the server answers",
}

_POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "media-src 'self' blob:; connect-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; "
    "frame-ancestors 'none'"
)
# What a refusal is called in HTTP; any other error of ours is 422.
_STATUS: dict[type[VoicecheckError], int] = {
    NotThereError: 404,
    StaleError: 409,
    RefusedError: 409,
    StoreError: 503,
    OutputError: 503,
}
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(self), geolocation=(), payment=()",
    "X-Frame-Options": "DENY",
}


def create_app(services: Services) -> FastAPI:
    """The application over ``services``. Every area brings its own router."""
    app = FastAPI(title="Voicecheck", version=__version__, docs_url=None, redoc_url=None, openapi_url=None)
    app.state.services = services
    app.state.limiter = Limiter()
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    for router in _routers():
        app.include_router(router)

    @app.get("/healthz")
    def healthy() -> PlainTextResponse:
        return PlainTextResponse("fine\n")

    @app.middleware("http")
    async def guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
        if not comes_from_us(request):
            return PlainTextResponse("This request did not come from a page of this server.\n", 403)
        response = await call_next(request)
        for name, value in _HEADERS.items():
            response.headers.setdefault(name, value)
        if request.url.scheme == "https":  # browsers take it nowhere else
            response.headers.setdefault("Cross-Origin-Opener-Policy", "same-origin")
        static = request.url.path.startswith("/static/")
        # scripts of two versions must not be mixed after an update: ask each time, load only what is new
        response.headers.setdefault("Cache-Control", "no-cache" if static else "no-store")
        return response

    @app.exception_handler(SignInNeededError)
    async def sign_in(request: Request, _: SignInNeededError) -> Response:
        if wants_json(request):
            return JSONResponse({"message": "Sign in first."}, 401)
        return RedirectResponse(f"/sign-in?to={quote(request.url.path)}", status_code=303)

    @app.exception_handler(HTTPException)
    async def refused(request: Request, error: HTTPException) -> Response:
        return _trouble(request, error.status_code, str(error.detail))

    @app.exception_handler(RequestValidationError)
    async def unusable(request: Request, error: RequestValidationError) -> Response:
        fields = sorted({str(e["loc"][-1]) for e in error.errors() if e.get("loc")})
        return _trouble(request, 422, f"The form could not be used: look at {', '.join(fields)}.")

    @app.exception_handler(VoicecheckError)
    async def told(request: Request, error: VoicecheckError) -> Response:
        status = next((code for kind, code in _STATUS.items() if isinstance(error, kind)), 422)
        return _trouble(request, status, f"{error.message} {error.hint}".strip())

    @app.exception_handler(Exception)
    async def broken(request: Request, error: Exception) -> Response:
        log.exception("%s %s", request.method, request.url.path, exc_info=error)
        return _trouble(
            request, 500, "Something broke in the program; nothing you saved is lost. Load the page again."
        )

    return app


def _routers() -> list[APIRouter]:
    from voicecheck.shop.web.areas import routers

    return [entry.router, *routers()]


def wants_json(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "") or "x-csrf" in request.headers


def _trouble(request: Request, status: int, message: str) -> Response:
    if status == HTTPStatus.NOT_FOUND and message == "Not Found":
        message = "There is no such page here."
    if wants_json(request):
        return JSONResponse({"message": message}, status)
    return page(request, "trouble.html.j2", {"message": message, "status": status}, status=status)
