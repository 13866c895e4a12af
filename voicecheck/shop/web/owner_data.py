"""The shop's work, prices, policies and name: seen, changed as text, brought as a table, put back."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from fastapi.responses import FileResponse, Response

from voicecheck.bring import KINDS, Kind, report_lines
from voicecheck.catalogue import load_catalogue
from voicecheck.records import DataError, InputError, NotThereError, Operation, Problem
from voicecheck.shop import data_files
from voicecheck.shop.data_files import DataFile, Name, Tried
from voicecheck.shop.services import Services
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.shop.web.pages import back, page

router = APIRouter(prefix="/owner/data")
Owner = Annotated[SignedInAs, Depends(require("owner"))]
Text = Annotated[str, Form(max_length=data_files.MOST_TEXT)]
Short = Annotated[str, Form(max_length=64)]
MOST_ROWS = 100


@router.get("")
def overview(request: Request, _: Owner) -> Response:
    """The four files: whose they are, since when, and what is wrong with them."""
    services = services_of(request)
    lexicon = data_files.words_of(services)
    files = [data_files.look(services, name, lexicon=lexicon) for name in data_files.NAMES]
    return page(
        request,
        "owner/data.html.j2",
        {"files": files, "folder": services.settings.shop_folder, "kinds": KINDS},
    )


@router.post("/table")
def send_table(
    request: Request,
    _: Owner,
    table: UploadFile,
    kind: Short,
    mapping: UploadFile | None = None,
) -> Response:
    """A spreadsheet of the shop, tried: nothing is written yet."""
    services = services_of(request)
    content = table.file.read(data_files.MOST_TABLE + 1)
    if len(content) > data_files.MOST_TABLE:
        raise InputError(f"The table is larger than {data_files.MOST_TABLE // 1024**2} MB.")
    text = b""
    if mapping is not None and mapping.filename:
        text = mapping.file.read(data_files.MOST_TEXT + 1)
    try:
        told = text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError("The mapping is not text in UTF-8.") from error
    chosen = _kind(kind)
    token = data_files.stash(services, file=table.filename or "", content=content)
    tried = data_files.try_table(services, kind=chosen, token=token, mapping=told)
    return _tried(request, tried)


@router.post("/table/try")
def try_table(request: Request, _: Owner, token: Short, kind: Short, mapping: Text = "") -> Response:
    """The table that was sent, with another mapping."""
    services = services_of(request)
    return _tried(request, data_files.try_table(services, kind=_kind(kind), token=token, mapping=mapping))


@router.post("/table/adopt")
def adopt_table(
    request: Request, me: Owner, token: Short, kind: Short, mapping: Text, seen: Short = ""
) -> Response:
    """The table that was looked at becomes the shop's file."""
    services = services_of(request)
    tried = data_files.adopt_table(
        services, kind=_kind(kind), token=token, mapping=mapping, seen=seen, person=me.id
    )
    if tried.outcome is None or tried.outcome.errors:
        return _tried(request, tried)
    what = "is in use now" if tried.outcome.written else "says the same already; nothing was written"
    return back("/owner/data", f"{tried.outcome.target.name} {what}.")


def _kind(text: str) -> Kind:
    if text not in KINDS:
        raise InputError("Say what the table is to become.")
    return text


def _tried(request: Request, tried: Tried) -> Response:
    outcome = tried.outcome
    context: dict[str, Any] = {"tried": tried, "faults": [], "doubts": [], "lines": [], "ready": False}
    if outcome is not None:
        context["faults"] = [f for f in outcome.faults if f.severity == "error"][:MOST_ROWS]
        context["doubts"] = [f for f in outcome.faults if f.severity != "error"][:MOST_ROWS]
        quiet = outcome.model_copy(update={"faults": ()})
        context["lines"] = [line for line in list(report_lines(quiet))[:-1] if line.strip()]
        context["ready"] = not outcome.errors and outcome.changes is not None and outcome.changes.any
    refused = bool(tried.problem or context["faults"])
    return page(request, "owner/table.html.j2", context, status=422 if refused else 200)


@router.get("/{name}")
def one(
    request: Request, name: str, _: Owner, q: str = "", example: bool = False, earlier: int | None = None
) -> Response:
    """One file: as text to change, or, of the work, the rows that are looked for."""
    services = services_of(request)
    found = data_files.look(services, data_files.name_of(name))
    if found.name == "catalogue":
        return _catalogue(request, found, q)
    text = found.text
    if example:
        text = data_files.example_of(services, found.name).read_text(encoding="utf-8")
    if earlier is not None:
        chosen = next((e for e in found.earlier if e.number == earlier), None)
        if chosen is None:
            raise NotThereError("There is no such earlier file.")
        text = chosen.path.read_text(encoding="utf-8-sig", errors="replace")
    return _edited(request, found, text=text, problems=found.problems, other=example or earlier is not None)


def _edited(
    request: Request,
    found: DataFile,
    *,
    text: str,
    problems: tuple[Problem, ...],
    other: bool = False,
    fault: str = "",
) -> Response:
    context = {
        "file": found,
        "text": text,
        "problems": problems,
        "other": other,
        "fault": fault,
        "rows": min(40, max(12, text.count("\n") + 2)),
    }
    return page(request, "owner/file.html.j2", context, status=422 if fault else 200)


def _catalogue(request: Request, found: DataFile, q: str) -> Response:
    rows: list[Operation] = []
    total = 0
    if not found.faults:
        wanted = q.casefold().split()
        every = load_catalogue(found.path).operations
        total = len(every)
        rows = [
            o
            for o in every
            if all(w in f"{o.code} {o.name} {o.component} {o.action}".casefold() for w in wanted)
        ]
    context = {"file": found, "rows": rows[:MOST_ROWS], "found": len(rows), "total": total, "q": q}
    return page(request, "owner/catalogue.html.j2", context)


@router.post("/{name}")
def save(request: Request, name: str, me: Owner, text: Text = "", seen: Short = "") -> Response:
    """The text as the shop's file; with faults it comes back as it was typed."""
    services = services_of(request)
    chosen = data_files.name_of(name)
    try:
        doubts = data_files.save_text(services, chosen, text=text, seen=seen, person=me.id)
    except DataError as error:
        found = _seen(data_files.look(services, chosen), seen)
        return _edited(request, found, text=text, problems=error.problems, fault=error.message)
    more = f" Look at: {doubts[0]}" if doubts else ""
    return back(f"/owner/data/{chosen}", f"Saved. It is in use from now on.{more}")


def _seen(found: DataFile, seen: str) -> DataFile:
    """The page keeps the sum of what was seen first: it must not pass over somebody's change."""
    from dataclasses import replace

    return replace(found, sha256=seen)


@router.post("/{name}/back")
def put_back(
    request: Request, name: str, me: Owner, number: Annotated[int, Form()], seen: Short = ""
) -> Response:
    """An earlier file again."""
    services = services_of(request)
    chosen = data_files.name_of(name)
    restored = data_files.put_earlier_back(services, chosen, number=number, seen=seen, person=me.id)
    said = f"The file of {restored.day} (number {restored.number}) is in use again."
    return back(f"/owner/data/{chosen}", said)


@router.get("/{name}/file")
def download(request: Request, name: str, _: Owner) -> Response:
    """The file that is in use."""
    chosen: Name = data_files.name_of(name)
    path = _in_use(services_of(request), chosen)
    kind = "text/csv" if path.suffix == ".csv" else "application/yaml"
    return FileResponse(path, media_type=kind, filename=path.name)


def _in_use(services: Services, name: Name) -> Any:
    own = data_files.path_of(services, name)
    return own if own.exists() else data_files.example_of(services, name)
