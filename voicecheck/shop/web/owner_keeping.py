"""How long recordings stay, copies of everything, and how this machine is doing."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import chain
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import Response, StreamingResponse

from voicecheck import __version__
from voicecheck.records.wording import counted
from voicecheck.shop import backup, retention
from voicecheck.shop.retention import Rule
from voicecheck.shop.services import Services
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.shop.web.pages import back, page
from voicecheck.store import history, owner, walkarounds, workers
from voicecheck.store.history import Chain

router = APIRouter(prefix="/owner")
Owner = Annotated[SignedInAs, Depends(require("owner"))]
Days = Annotated[str, Form(max_length=8)]


@router.get("/keeping")
def keeping(request: Request, _: Owner) -> Response:
    """The rule, what it would take away now, and the last copy."""
    return _keeping(request, retention.rule_of(services_of(request)))


def _keeping(request: Request, rule: Rule, *, only_shown: bool = False) -> Response:
    services = services_of(request)
    with services.database.reading() as session:
        copy = owner.last_of(session, what=backup.MADE)
    last = retention.last_run(services)
    planned = retention.plan(services, rule)
    held: dict[str, int] = {}
    for aged in planned.held:
        held[aged.held] = held.get(aged.held, 0) + 1
    context = {
        "rule": rule,
        "only_shown": only_shown,
        "plan": planned,
        "held": held,
        "last": {**last, "at": datetime.fromisoformat(last["at"])} if last else None,
        "copy": copy,
        "shown_days": retention.SHOWN_FOR.days,
        "data": services.settings.data,
        "now": services.clock(),
        "old": timedelta(days=7),
    }
    return page(request, "owner/keeping.html.j2", context)


@router.post("/keeping/rule")
def set_rule(
    request: Request, me: Owner, recordings: Days = "", photos: Days = "", do: Days = "save"
) -> Response:
    """Sets the days, or only shows what they would take away."""
    rule = Rule(retention.days_of(recordings, what="recordings"), retention.days_of(photos, what="photos"))
    if do == "show":
        return _keeping(request, rule, only_shown=True)
    retention.set_rule(services_of(request), rule, person=me.id)
    return back("/owner/keeping", "The rule is set. It runs once a day.")


@router.post("/keeping/run")
def run(request: Request, me: Owner) -> Response:
    """The rule now, not only tonight."""
    done = retention.apply(services_of(request), person=me.id)
    said = f"{counted(done.takes, 'recording')} and {counted(done.photos, 'photo')} deleted. {done.trouble}"
    return back("/owner/keeping", said)


@router.post("/keeping/copy")
def copy(request: Request, me: Owner) -> Response:
    """Everything as one file, sent as it is made."""
    services = services_of(request)
    blocks = backup.stream(services, person=me.id)
    first = next(blocks)  # what cannot be read is told in words, before the file begins
    headers = {"Content-Disposition": f'attachment; filename="{backup.file_name(services)}"'}
    return StreamingResponse(chain((first,), blocks), media_type="application/zip", headers=headers)


# -- this machine --------------------------------------------------------------------------------------------


@router.get("/machine")
def machine(request: Request, _: Owner) -> Response:
    """Workers, queue, failures, room on the disk, what is in use."""
    return _machine(request, None)


@router.post("/machine/check")
def check(request: Request, _: Owner) -> Response:
    """Reads the whole history and says whether a row was changed, moved or taken out."""
    services = services_of(request)
    with services.database.reading() as session:
        return _machine(request, history.check(session))


def _machine(request: Request, chain_: Chain | None) -> Response:
    services = services_of(request)
    settings = services.settings
    now = services.clock()
    with services.database.reading() as session:
        every = workers.all_of_them(session)
        counts = walkarounds.counts(session)
        failed = owner.in_trouble(session)
        number = owner.latest_lexicon_number(session)
    silent = timedelta(seconds=workers.SILENT_S)
    context = {
        "workers": [
            {
                "row": w,
                "state": "stopped" if w.stopped else "at work" if now - w.seen <= silent else "gives no sign",
                "ago": max(0, round((now - w.seen).total_seconds())),
            }
            for w in every[:20]
        ],
        "counts": counts,
        "failed": failed,
        "version": __version__,
        "database": services.database.shown,
        "kind": "SQLite, one file on this machine" if services.database.sqlite else "Postgres",
        "media": services.media.shown,
        "model": settings.model,
        "market": settings.market,
        "lexicon": number,
        "folders": _folders(services),
        "free": _free(settings.data),
        "chain": chain_,
        "troubles": services.workshop.troubles(),
    }
    return page(request, "owner/machine.html.j2", context)


def _folders(services: Services) -> list[tuple[str, str, int]]:
    """What lies in the data folder, in bytes, the largest first."""
    data = services.settings.data
    names = {
        "media": "Recordings and photos",
        "cache": "Copies for playing (can be made again)",
        "shop": "The shop’s own files",
    }
    found: dict[str, int] = {}
    for path in data.iterdir() if data.is_dir() else ():
        name = path.name if path.is_dir() else "database" if path.name.startswith("voicecheck.db") else "else"
        found[name] = found.get(name, 0) + sum(_sizes(path))
    names |= {"database": "Rows", "else": "Settings and queue"}
    listed = [(names.get(name, name), name, size) for name, size in found.items()]
    return sorted(listed, key=lambda entry: -entry[2])


def _sizes(path: Path) -> Iterator[int]:
    for found in path.rglob("*") if path.is_dir() else (path,):
        try:
            if found.is_file() and not found.is_symlink():
                yield found.stat().st_size
        except OSError:  # gone meanwhile
            continue


def _free(path: Path) -> tuple[int, int] | None:
    """Bytes free, and in all, on the disk of the data."""
    try:
        usage = shutil.disk_usage(path)
    except OSError:
        return None
    return usage.free, usage.total
