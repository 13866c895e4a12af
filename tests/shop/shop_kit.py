"""A whole shop for tests: the real application over a temporary folder, people who are signed in, a browser.

    shop = make_shop(tmp_path)                             # work is done at once, the recogniser hears WORDS
    tess = shop.person("technician")
    client = shop.client(tess)                             # a TestClient with cookie and X-CSRF header
    client.post("/t/walkarounds", json={"title": "blue van"})

    shop = make_shop(tmp_path, work="none")                # nothing is drafted; see shop.submitted
    shop = make_shop(tmp_path, work="durable")             # the real queue; running() starts a worker thread
    shop.clock.forward(hours=13)                           # the shop's clock stands still until it is moved

    with running(shop) as address:                         # uvicorn on a free port
        with sync_playwright() as playwright:
            browser = chromium(playwright)                 # skips the test where Chromium is not installed
            context = browser.new_context()
            shop.sign_in(context, tess, address)
            page = context.new_page(); page.goto(address + "/t")

    drafted(shop, tess, words="left outer tie rod end has play, replace it")   # a walk-around in review

Every function may be given its own recogniser, words, settings (``Settings`` fields) or clock.
"""

from __future__ import annotations

import io
import secrets
import threading
import time
import wave
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, Literal

import uvicorn
from fastapi import FastAPI
from fastapi.testclient import TestClient
from playwright.sync_api import BrowserContext

from voicecheck.shop.services import Services
from voicecheck.shop.settings import Settings
from voicecheck.shop.web.app import create_app
from voicecheck.shop.web.auth import COOKIE, STAYS
from voicecheck.shop.work.direct import DirectWork
from voicecheck.shop.work.make import durable_work
from voicecheck.shop.work.port import Work, WorkState
from voicecheck.shop.work.steps import Drafting
from voicecheck.shop.workshops import Workshops
from voicecheck.speech import Recogniser
from voicecheck.speech.double import ScriptedRecogniser
from voicecheck.store import people, recordings, walkarounds
from voicecheck.store.database import Database
from voicecheck.store.media import MediaStore
from voicecheck.store.migrate import migrate

WORDS = "The left outer tie rod end has play, replace it. Rear brake pads are at three mil, replace soon."
MORNING = datetime(2031, 5, 6, 8, 0, tzinfo=UTC)


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self, now: datetime = MORNING) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def forward(self, **much: float) -> None:
        self.now += timedelta(**much)


@dataclass(frozen=True)
class Member:
    """Somebody who is signed in: ``token`` is the cookie's value, ``csrf`` goes with every change."""

    id: str
    name: str
    login: str
    role: str
    token: str
    csrf: str


class NoWork:
    """Takes walk-arounds and does nothing with them."""

    def __init__(self) -> None:
        self.submitted: list[str] = []

    def submit(self, walkaround_id: str) -> None:
        self.submitted.append(walkaround_id)

    def state(self, walkaround_id: str) -> WorkState:
        return "queued" if walkaround_id in self.submitted else "none"

    def run_forever(self, stop: threading.Event) -> bool:
        return stop.wait()

    def recover(self) -> int:
        return 0


class CountedWork:
    """Another work, with what was submitted to it."""

    def __init__(self, behind: Work) -> None:
        self.behind = behind
        self.submitted: list[str] = []

    def submit(self, walkaround_id: str) -> None:
        self.submitted.append(walkaround_id)
        self.behind.submit(walkaround_id)

    def state(self, walkaround_id: str) -> WorkState:
        return self.behind.state(walkaround_id)

    def run_forever(self, stop: threading.Event) -> bool:
        return self.behind.run_forever(stop)

    def recover(self) -> int:
        return self.behind.recover()


@dataclass
class Shop:
    """The parts of a shop, and ways to look at it as somebody."""

    services: Services
    app: FastAPI
    clock: Clock
    worker: bool  # whether ``running`` has to start one
    members: list[Member] = field(default_factory=list)

    @property
    def submitted(self) -> list[str]:
        """The walk-arounds that were handed to the work, in order."""
        work = self.services.work
        assert isinstance(work, NoWork | CountedWork)
        return work.submitted

    def person(self, role: str = "technician", name: str = "") -> Member:
        """A new person with a session that began now. They have no usable password."""
        number = len(self.members) + 1
        name = name or f"{role.capitalize()} {number}"
        with self.services.database.session() as session:
            row = people.add_person(
                session, name=name, login=f"{role}{number}", role=role, password_hash="-", now=self.clock()
            )
        return self.again(Member(row.id, row.name, row.login, role, "", ""))

    def again(self, member: Member) -> Member:
        """The same person with a new session."""
        token, csrf = secrets.token_urlsafe(32), secrets.token_urlsafe(24)
        with self.services.database.session() as session:
            people.begin_session(
                session, token=token, person=member.id, csrf=csrf, now=self.clock(),
                expires=self.clock() + STAYS,
            )  # fmt: skip
        made = Member(member.id, member.name, member.login, member.role, token, csrf)
        self.members.append(made)
        return made

    def client(self, member: Member | None = None, *, csrf: bool = True) -> TestClient:
        """A client that follows no redirects; with the ``X-CSRF`` header errors come as JSON."""
        client = TestClient(self.app, base_url="http://testserver", follow_redirects=False)
        if member is not None:
            client.cookies.set(COOKIE, member.token)
            if csrf:
                client.headers["X-CSRF"] = member.csrf
        return client

    def sign_in(self, context: BrowserContext, member: Member, address: str) -> None:
        """Gives a browser the session of ``member``."""
        context.add_cookies(
            [{"name": COOKIE, "value": member.token, "url": address, "httpOnly": True, "sameSite": "Lax"}]
        )


def make_shop(
    folder: Path,
    *,
    work: Literal["direct", "none", "durable"] = "direct",
    words: str = WORDS,
    recogniser: Callable[[], Recogniser] | None = None,
    clock: Clock | None = None,
    **settings: Any,
) -> Shop:
    """A shop in ``folder`` with nobody in it. ``settings`` are fields of ``Settings``."""
    told = Settings(data=folder / "data", **settings)
    database, media = Database(told.database), MediaStore(told.media)
    migrate(database)
    hears = recogniser or (lambda: ScriptedRecogniser(words))
    clock = clock or Clock()
    workshops = workshops_of(told.shop_folder)
    chosen: Work
    if work == "none":
        chosen = NoWork()
    elif work == "durable":
        chosen = CountedWork(
            durable_work(told, executor="test", recogniser=hears, database=database, media=media)
        )
    else:
        drafting = Drafting(
            database=database, media=media, workshop=workshops, recogniser=hears, clock=clock,
            max_seconds=told.take_seconds,
        )  # fmt: skip
        chosen = CountedWork(DirectWork(drafting))
    services = Services(
        settings=told, database=database, media=media, work=chosen, workshop=workshops, clock=clock
    )
    return Shop(services=services, app=create_app(services), clock=clock, worker=work == "durable")


def workshops_of(folder: Path) -> Workshops:
    """The shop's own words and prices; the shipped ones, loaded once for all tests, where it has none."""
    return Workshops(folder) if folder.exists() else _shipped()


@cache
def _shipped() -> Workshops:
    return Workshops(Path("/nonexistent/voicecheck-shop"))


@contextmanager
def running(shop: Shop) -> Iterator[str]:
    """The shop on a free port of this machine; its address. A durable one gets a worker thread."""
    config = uvicorn.Config(
        shop.app, host="127.0.0.1", port=0, log_level="warning", access_log=False, timeout_graceful_shutdown=1
    )
    server = uvicorn.Server(config)
    socket = config.bind_socket()
    stop = threading.Event()
    threads = [threading.Thread(target=server.run, kwargs={"sockets": [socket]}, daemon=True)]
    if shop.worker:
        threads.append(threading.Thread(target=shop.services.work.run_forever, args=(stop,), daemon=True))
    for thread in threads:
        thread.start()
    try:
        until = time.monotonic() + 20
        while not server.started:
            assert threads[0].is_alive(), "the server did not start"
            assert time.monotonic() < until, "the server did not start in time"
            time.sleep(0.02)
        yield f"http://127.0.0.1:{socket.getsockname()[1]}"
    finally:
        stop.set()
        server.should_exit = True
        for thread in threads:
            thread.join(20)


def drafted(
    shop: Shop, technician: Member, *, recording: bytes | None = None, title: str = "blue van"
) -> str:
    """The id of a walk-around with one complete take, handed in (with direct work: drafted)."""
    services, now = shop.services, shop.clock()
    content = recording if recording is not None else silence()
    with services.database.session() as session:
        row = walkarounds.create(
            session, now=now, market=services.settings.market, technician=technician.id, title=title
        )
        take = recordings.begin_take(session, walkaround=row.id, client_key=secrets.token_hex(8), now=now)
    recordings.receive_part(services.database, services.media, take=take.id, number=0, data=content, now=now)
    with services.database.session() as session:
        recordings.finish_take(session, take=take.id, parts=1, now=now)
        recordings.hand_in(session, walkaround=row.id, now=now)
    services.work.submit(row.id)
    return row.id


def silence(seconds: float = 20.0) -> bytes:
    """A WAV file (8 kHz, 16 bit, mono) with nothing to hear."""
    made = io.BytesIO()
    with wave.open(made, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes(bytes(2 * round(8000 * seconds)))
    return made.getvalue()
