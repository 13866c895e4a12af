"""A small invented lexicon, and short ways to write drafts and labels."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from voicecheck.lexicon.extras import ShopLexicon, WordForms
from voicecheck.lexicon.model import Component, Condition, GrammarTerm, PlaceTerm
from voicecheck.measure.gold import Gold
from voicecheck.records import (
    Ask,
    Draft,
    Estimate,
    Finding,
    Job,
    Ledger,
    Line,
    RecordingInfo,
    Ref,
    Span,
    Totals,
    Transcript,
    Unplaced,
    Vehicle,
    Word,
)

_NAMES: dict[str, str] = {}


def _component(id_: str, name: str, **more: Any) -> Component:
    _NAMES[id_] = name
    return Component(id=id_, name=name, **{"system": "suspension", "places": ("corners",), **more})


COMPONENTS = (
    _component("tie_rod_end", "tie rod end", uk=("track rod end",), places=("front corners",)),
    _component(
        "tie_rod_end_outer", "outer tie rod end", us=("tie rod end",), kind_of="tie_rod_end",
        places=("front sides",), place=("outer",),
    ),
    _component("ball_joint", "ball joint", places=("front corners",)),
    _component("brake_pads", "brake pads", us=("pads",), sets="axle set"),
    _component("tire", "tire", uk=("tyre",)),
    _component("headlamp", "headlight", uk=("headlamp",), places=("front sides",)),
    _component("differential", "differential", us=("diff",), places=("axles",)),
    _component("door", "sliding door", places=("sides",)),
    _component("battery", "battery", places=("one",)),
    _component("rear_wiper", "rear wiper blade", places=("rear",)),
    _component("u_joint", "universal joint", us=("U-joint",), places=("front", "rear")),
)  # fmt: skip


def small_lexicon() -> ShopLexicon:
    return ShopLexicon(
        market="US",
        components={c.id: c for c in COMPONENTS},
        conditions={
            "play": Condition(id="play", name="play", said=("loose", "has play"), fits=("any",)),
            "leaking": Condition(id="leaking", name="leaking", said=("leaks", "weeping"), fits=("any",)),
            "worn": Condition(id="worn", name="worn", said=("low", "worn out"), fits=("any",)),
        },
        actions=(),
        places=(
            PlaceTerm(said="left front", kind="position", value="front left"),
            PlaceTerm(said="right front", kind="position", value="front right"),
            PlaceTerm(said="inner", kind="qualifier", value="inner"),
            PlaceTerm(said="outer", kind="qualifier", value="outer"),
        ),
        cues=(),
        measures={},
        grammar=(
            GrammarTerm(kind="unit", said="millimeters", value="mm"),
            GrammarTerm(kind="unit", said="mm", value="mm"),
            GrammarTerm(kind="unit", said="percent", value="%"),
            GrammarTerm(kind="unit", said="%", value="%"),
        ),
        forms=WordForms(spellings=(("tire", "tyre"),)),
    )


def ask(field: str = "positions", code: str = "side_not_said") -> Ask:
    return Ask(code=code, message=f"About {field}?", field=field)


def finding(
    id_: str = "f1",
    component: str = "tie_rod_end",
    positions: Sequence[str] = ("front left",),
    state: str = "defect",
    *,
    action: str = "replace",
    conditions: Sequence[str] = ("play",),
    heard: str = "words",
    **more: Any,
) -> Finding:
    return Finding.model_validate(
        {
            "id": id_,
            "component": Ref(id=component, name=_NAMES[component]),
            "positions": positions,
            "state": state,
            "action": action,
            "conditions": [Ref(id=c, name=c) for c in conditions],
            "heard": (Span(first=0, last=1, start=None, end=None, heard=heard, read=heard),),
            **more,
        }
    )


def line(
    component: str = "tie_rod_end",
    positions: Sequence[str] = ("front left",),
    quantity: str = "1",
    *,
    operation: str = "replace",
    source: Sequence[str] = ("f1",),
    kind: str = "labour",
    **more: Any,
) -> Line:
    return Line.model_validate(
        {
            "kind": kind,
            "name": component,
            "operation": operation,
            "component": Ref(id=component, name=_NAMES[component]),
            "positions": positions,
            "quantity": Decimal(quantity),
            "from": source,
            **more,
        }
    )


def draft(
    findings: Sequence[Finding] = (),
    lines: Sequence[Line] = (),
    *,
    asks: Sequence[Ask] = (),
    unplaced: Sequence[Unplaced] = (),
) -> Draft:
    zero = Decimal("0.00")
    job = Job(title="Job", urgency="unstated", lines=tuple(lines), subtotal=zero)
    totals = Totals(labour=zero, parts=zero, sublet=zero, supplies=zero, tax=zero, total=zero, open_lines=0)
    words = (Word(heard="words", read="words"),)
    return Draft(
        market="US",
        recording=RecordingInfo(name="a.txt", seconds=None, sha256="0" * 64),
        vehicle=Vehicle(),
        transcript=Transcript(text="words", words=words, source="typed"),
        findings=tuple(findings),
        ledger=Ledger(entries=()),
        estimate=Estimate(currency="USD", jobs=(job,), totals=totals),
        unplaced=tuple(unplaced),
        asks=tuple(asks),
        timings={},
    )


def gold_finding(
    id_: str = "f1",
    component: str = "tie rod end",
    positions: Sequence[str] = ("front left",),
    state: str = "defect",
    *,
    action: str = "replace",
    **more: Any,
) -> dict[str, Any]:
    return {
        "id": id_,
        "component": component,
        "positions": positions,
        "state": state,
        "conditions": ["play"] if state == "defect" else [],
        "measures": [],
        "action": action,
        "urgency": "unstated",
        "quote": "words",
        **more,
    }


def gold_line(
    component: str = "tie rod end",
    positions: Sequence[str] = ("front left",),
    quantity: int = 1,
    *,
    operation: str = "replace",
    source: Sequence[str] = ("f1",),
) -> dict[str, Any]:
    return {
        "operation": operation,
        "component": component,
        "positions": positions,
        "quantity": quantity,
        "from": source,
    }


def gold(
    findings: Sequence[dict[str, Any]] = (),
    lines: Sequence[dict[str, Any]] = (),
    *,
    not_lines: Sequence[dict[str, str]] = (),
) -> Gold:
    return Gold.model_validate(
        {"name": "a", "market": "US", "findings": findings, "lines": lines, "not_lines": not_lines}
    )
