"""The desk: the list of walk-arounds, and one of them as a page of work."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from voicecheck.desk.decisions import Decision, SettleUnplaced, parse_decision
from voicecheck.desk.states import Worktop
from voicecheck.lexicon import Lexicon
from voicecheck.records import InputError, StaleError
from voicecheck.shop import bench as benches
from voicecheck.shop.bench import Bench
from voicecheck.shop.web import limits
from voicecheck.shop.web.auth import SignedInAs, require, services_of
from voicecheck.shop.web.bench_view import KIND_WORDS, takes_json, view
from voicecheck.shop.web.pages import page
from voicecheck.store import history, papers, walkarounds
from voicecheck.store.tables import WALKAROUND_STATES, Person

router = APIRouter(prefix="/desk")
Advisor = Annotated[SignedInAs, Depends(require("advisor"))]
PER_PAGE = 50


@router.get("")
def listing(request: Request, _: Advisor, q: str = "", state: str = "", after: str = "") -> Response:
    """Walk-arounds, the newest first; by state, found by plate, VIN or name."""
    services = services_of(request)
    chosen = (state,) if state in WALKAROUND_STATES else ()
    with services.database.reading() as session:
        found = walkarounds.page(
            session, states=chosen, search=q.strip(), after=after or None, limit=PER_PAGE
        )
        counts = walkarounds.counts(session)
    context = {
        "rows": found.rows,
        "after": found.after,
        "counts": counts,
        "q": q.strip(),
        "state": chosen[0] if chosen else "",
    }
    return page(request, "desk/list.html.j2", context)


@router.get("/components.json")
def components(request: Request, _: Advisor, market: str = "US") -> Response:
    """The names of all parts, for typing one."""
    lexicon = services_of(request).workshop(market).lexicon
    return JSONResponse(sorted(c.name for c in lexicon.components.values()))


@router.get("/{walkaround}")
def one(request: Request, walkaround: str, _: Advisor) -> Response:
    bench = benches.look(services_of(request), walkaround)
    ready = bench.top is not None and bench.row.state not in ("recording", "waiting", "working", "failed")
    context = _frame(bench) | (view(bench) if ready else {})
    with services_of(request).database.reading() as session:
        said = [c for c in papers.consents(session, walkaround=walkaround) if c.kind in ("question", "reply")]
    question = said[-1] if said and said[-1].kind == "question" else None
    return page(request, "desk/bench.html.j2", {**context, "ready": ready, "question": question})


@router.get("/{walkaround}/bench")
def part(request: Request, walkaround: str, _: Advisor) -> Response:
    """Only the part of the page that decisions change."""
    return page(request, "desk/_bench.html.j2", view(benches.look(services_of(request), walkaround)))


@router.post("/{walkaround}/decide")
async def decide(request: Request, walkaround: str, me: Advisor) -> Response:
    """One decision from a form; the new part of the page, or back to it."""
    form = await request.form()
    fields = {key: [str(v) for v in form.getlist(key)] for key in form}
    return await run_in_threadpool(_decide, request, walkaround, me, fields)


def _decide(request: Request, walkaround: str, me: SignedInAs, fields: Mapping[str, list[str]]) -> Response:
    services = services_of(request)
    request.app.state.limiter.check(limits.CHANGE, "decide", me.id)
    bench = benches.look(services, walkaround)
    decision = decision_of(fields, bench.top, services.workshop(bench.row.market).lexicon)
    return _add(request, bench, me, _seq(fields), decision)


@router.post("/{walkaround}/say")
def say(
    request: Request,
    walkaround: str,
    me: Advisor,
    text: Annotated[str, Form(max_length=2000)],
    seq: Annotated[int, Form()],
    first: Annotated[int | None, Form()] = None,
    last: Annotated[int | None, Form()] = None,
) -> Response:
    """Adds what a typed sentence says; for unplaced words it also settles them."""
    services = services_of(request)
    request.app.state.limiter.check(limits.CHANGE, "decide", me.id)
    bench = benches.look(services, walkaround)
    typed = benches.said(services, market=bench.row.market, text=text)
    if not typed.findings:
        raise InputError(
            "No part was recognised in that sentence.",
            hint="Name the part, what is wrong, what to do: “left front brake hose is cracked, replace it”.",
        )
    response = _add(request, bench, me, seq, typed)
    if first is not None and last is not None:
        bench = benches.look(services, walkaround)
        settled = SettleUnplaced(first=first, last=last, how="added", text=text)
        response = _add(request, bench, me, seq + 1, settled)
    return response


@router.post("/{walkaround}/again")
def again(request: Request, walkaround: str, me: Advisor) -> Response:
    """Has a recording that failed listened to once more."""
    services = services_of(request)
    with services.database.session() as session:
        walkarounds.set_state(session, id=walkaround, to="waiting", now=services.clock(), person=me.id)
    services.work.submit(walkaround)
    return RedirectResponse(f"/desk/{walkaround}", status_code=303)


@router.get("/{walkaround}/history")
def done(request: Request, walkaround: str, _: Advisor) -> Response:
    """Who did what and when, newest first, with every decision in words."""
    services = services_of(request)
    bench = benches.look(services, walkaround)
    with services.database.reading() as session:
        rows = history.rows(session, walkaround=walkaround, limit=500)
        names = {
            row.person: (session.get(Person, row.person) or _Nobody()).name for row in rows if row.person
        }
    undone = set(bench.top.undone) if bench.top else set()
    return page(
        request,
        "desk/history.html.j2",
        {
            **_frame(bench),
            "rows": rows,
            "names": names,
            "undone": undone,
            "kind_words": KIND_WORDS,
            "decided": {n.seq: n.decision for n in bench.decided},
        },
    )


class _Nobody:
    name = "somebody"


def _add(request: Request, bench: Bench, me: SignedInAs, seq: int, decision: Decision) -> Response:
    services = services_of(request)
    walkaround = bench.row.id
    scripted = request.headers.get("x-part") == "bench"
    try:
        benches.decide(services, bench, expected_seq=seq, person=me.id, decision=decision)
    except StaleError as error:
        if scripted:
            return JSONResponse({"message": f"{error.message} {error.hint}", "stale": True}, 409)
        raise
    if scripted:
        return page(request, "desk/_bench.html.j2", view(benches.look(services, walkaround)))
    return RedirectResponse(f"/desk/{walkaround}", status_code=303)


def _frame(bench: Bench) -> dict[str, Any]:
    row, vehicle = bench.row, bench.listed.vehicle
    return {
        "row": row,
        "title": bench.title,
        "plate": vehicle.plate if vehicle else "",
        "technician": bench.listed.technician.name if bench.listed.technician else "",
        "takes_json": takes_json(bench),
        "top_seq": row.seq,
    }


# -- forms as decisions --------------------------------------------------------------------------------


def decision_of(fields: Mapping[str, list[str]], top: Worktop | None, lexicon: Lexicon) -> Decision:
    """The decision that a form of the page means. Raises ``InputError`` with one sentence."""
    kind = _one(fields, "kind")
    if kind == "change_finding":
        return _finding_change(fields, top, lexicon)
    if kind == "change_line":
        return _line_change(fields, top)
    if kind == "merge":
        return parse_decision({"kind": kind, "findings": fields.get("findings", [])})
    if kind == "split":
        finding = top.finding(_one(fields, "finding")) if top else None
        into = [[p] for p in finding.finding.positions] if finding else []
        return parse_decision({"kind": kind, "finding": _one(fields, "finding"), "into": into})
    if kind == "undo":
        return parse_decision({"kind": kind, "seq": _number(fields, "undo_seq")})
    if kind in ("settle_unplaced", "place_words"):
        value: dict[str, Any] = {
            "kind": kind,
            "first": _number(fields, "first"),
            "last": _number(fields, "last"),
        }
        rest = ("how", "text") if kind == "settle_unplaced" else ("finding", "words")
        return parse_decision(value | {name: _one(fields, name) for name in rest})
    names = {
        "confirm": ("line", "content"),
        "unconfirm": ("line",),
        "put_aside": ("target", "reason"),
        "bring_back": ("target",),
        "answer": ("key", "choice", "text"),
        "put_off": ("job", "by"),
    }.get(kind, ())
    return parse_decision({"kind": kind} | {name: _one(fields, name) for name in names})


def _finding_change(fields: Mapping[str, list[str]], top: Worktop | None, lexicon: Lexicon) -> Decision:
    """Only what differs from how the finding stands now."""
    state = top.finding(_one(fields, "finding")) if top else None
    if state is None:
        raise InputError("This finding is not on the draft any more.", hint="Load the page again.")
    now = state.finding
    value: dict[str, Any] = {"kind": "change_finding", "finding": now.id, "words": _one(fields, "words")}
    name = _one(fields, "component_name")
    if name and name != now.component.name:
        value["component"] = _component(name, lexicon)
    positions = fields.get("positions", [])
    if set(positions) != set(now.positions):
        value["positions"] = positions
    for field in ("action", "state", "urgency"):
        given = _one(fields, field)
        if given and given != getattr(now, field):
            value[field] = given
    return parse_decision(value)


def _component(name: str, lexicon: Lexicon) -> str:
    plain = " ".join(name.casefold().split())
    found = {c.id for c in lexicon.components.values() if plain in {n.casefold() for n in (c.name, *c.names)}}
    exact = {c.id for c in lexicon.components.values() if c.name.casefold() == plain}
    one = exact if len(exact) == 1 else found
    if len(one) != 1:
        what = "more than one part" if len(one) > 1 else "no part"
        raise InputError(f"The shop's words have {what} called “{name}”.", hint="Choose one from the list.")
    return one.pop()


def _line_change(fields: Mapping[str, list[str]], top: Worktop | None) -> Decision:
    state = top.line(_one(fields, "line")) if top else None
    if state is None:
        raise InputError("This line is not on the draft any more.", hint="Load the page again.")
    now = state.line
    change: dict[str, Any] = {"line": now.id, "reason": _one(fields, "reason")}
    for field in ("hours", "unit_price", "quantity"):
        text = _one(fields, field)
        if field in fields and text:
            value = _decimal(text, field)
            if value != getattr(now, field):
                change[field] = value
    name = _one(fields, "name")
    if name and name != now.name:
        change["name"] = name
    condition = _one(fields, "part_condition")
    if condition and condition != now.part_condition:
        change["part_condition"] = condition
    return parse_decision(
        {"kind": "change_line", "change": change, "to_be_priced": _one(fields, "to_be_priced") == "yes"}
    )


_CALLED = {"hours": "hours", "unit_price": "price", "quantity": "quantity"}


def _decimal(text: str, field: str) -> Decimal:
    try:
        value = Decimal(text.replace(" ", "").replace("$", "").replace("£", ""))
    except InvalidOperation:
        raise InputError(
            f"“{text}” is not a number for the {_CALLED[field]}.", hint="Write it like 1.5 or 84.00."
        ) from None
    if not value.is_finite():
        raise InputError(f"“{text}” is not a number for the {_CALLED[field]}.")
    return value


def _one(fields: Mapping[str, list[str]], name: str) -> str:
    values = fields.get(name) or [""]
    return values[0].strip()


def _number(fields: Mapping[str, list[str]], name: str) -> int:
    text = _one(fields, name)
    if not text.isdecimal():
        raise InputError("The form is damaged.", hint="Load the page again.")
    return int(text)


def _seq(fields: Mapping[str, list[str]]) -> int:
    return _number(fields, "seq")
