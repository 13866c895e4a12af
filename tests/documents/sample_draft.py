"""Hand-made, invented drafts: a rich one, one of typed notes in the UK, and an empty one.

The rich one is built from marked-up speech so that words, seconds, spans and ledger agree with each other:
``{heard|read}`` is a repaired word (either side may be empty), ``word~0.41`` a word with that certainty.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from voicecheck.records import (
    Ask,
    Candidate,
    Draft,
    Estimate,
    Finding,
    Job,
    Ledger,
    LedgerEntry,
    Line,
    Measure,
    RecordingInfo,
    Ref,
    Span,
    Totals,
    Transcript,
    Unheard,
    Unplaced,
    Vehicle,
    Word,
    span_of,
)

D = Decimal
CENT = D("0.01")
RATE = D("148.00")

# key: speech, going on in indented rows
_SPEECH = """\
intro: Okay, so this is the twenty sixteen that came in for a noise up front, eighty seven thousand
    four hundred and twelve miles on it.
tie: {Ride|Right} {out|outer} {or|tie} {tight|rod} {rodent|end} has play you can feel by hand, the
    boot is torn, that has to be replaced, I would not send it out like that.
tie_left: The left one is tight, no play.
align: It wants an alignment after that.
pads: Front pads, three~0.55 millimeters on the inners and four on the outers, and the rotors are
    down to twenty five point six, minimum is twenty six, so pads and rotors on the front, do those
    now.
rear_pads: Rear pads are at {430|4/32} {seconds|} all around, plan those for the next visit.
radio: Hang on, can somebody turn that radio down, thanks.
strut: {Passing|Passenger} {your|} side strut is leaking down~0.48 the body, do both of them or it
    will eat the new tires.
bearing: There might be a wheel bearing humming on the right rear, I would want to road test it
    before anyone buys parts.
nut: One lug nut is missing on the left rear, put one on before it leaves.
cover: Valve cover gasket is seeping on bank one, it is dripping onto the exhaust manifold, you will
    smell it, so I would do the gasket soon.
hanger: Rear exhaust hanger is broken~0.58 off, the welding place can do that one, if they want it
    quiet.
wipers: Wiper blades are streaking, whenever.
shackle: And that {either|idler} shackle thing is a bit loose there as well.
battery: Battery tested twelve point six volts, good.
hoses: Coolant hoses are fine, just keep an eye on the upper one.
tread: Tires have six thirty seconds up front and seven in the rear, so those are good.
filter: Cabin filter I did not get to, the glove box is full of their stuff.
scratch: Rear bumper cover is cracked at the corner, just so you know.
coolant: Coolant is a little low, top it up.
belt: Drive belt replace.
outro: And that is it, I am going to lunch.
"""
CLAUSES: tuple[tuple[str, str], ...] = tuple(
    (key, " ".join(speech.split()))
    for key, speech in re.findall(r"^(\w+): (.*(?:\n    .*)*)", _SPEECH, re.MULTILINE)
)

_TOKEN = re.compile(
    r"\{(?P<heard>[^|}]*)\|(?P<read>[^}]*)\}|(?P<word>[^\s~]+)(?:~(?P<certainty>0\.\d+))?(?P<tail>\S*)"
)


def _words() -> tuple[tuple[Word, ...], dict[str, tuple[int, int]]]:
    words: list[Word] = []
    where: dict[str, tuple[int, int]] = {}
    at = 0.8
    for key, speech in CLAUSES:
        first = len(words)
        for token in _TOKEN.finditer(speech):
            word = token["word"]
            heard = token["heard"] if word is None else word + token["tail"]
            read = token["read"] if word is None else heard
            length = 0.14 + 0.045 * len(heard)
            certainty = float(token["certainty"] or (0.41 if word is None else 0.93))
            words.append(
                Word(
                    heard=heard, read=read, start=round(at, 2), end=round(at + length, 2), certainty=certainty
                )
            )
            at += length + 0.05
        where[key] = (first, len(words))
        at += 6.0 if key == "radio" else 0.75
    return tuple(words), where


WORDS, WHERE = _words()


def _span(key: str) -> Span:
    return span_of(WORDS, *WHERE[key])


def _ref(name: str) -> Ref:
    return Ref(id=name.replace(" ", "_"), name=name)


def _cents(value: Decimal) -> Decimal:
    return value.quantize(CENT, rounding=ROUND_HALF_UP)


def _labour(
    operation: str, component: str, positions: tuple[str, ...], hours: str | None, ids: str, **more: object
) -> Line:
    time = None if hours is None else D(hours)
    amount = None if time is None else _cents(time * RATE)
    values: dict[str, object] = {
        "kind": "labour",
        "name": f"{operation} {component}",
        "operation": operation,
        "component": _ref(component),
        "positions": positions,
        "quantity": D(1),
        "unit": "h",
        "hours": time,
        "unit_price": RATE,
        "amount": amount,
        "from": ids.split(),
        "catalogue": f"{component[:3].upper()}-{len(component):02d}",
        "arithmetic": "" if time is None else f"{time} h × {RATE} = {amount}",
    }
    return Line.model_validate(values | more)


def _part(
    name: str,
    component: str,
    positions: tuple[str, ...],
    quantity: str,
    price: str | None,
    ids: str,
    **more: object,
) -> Line:
    each = None if price is None else D(price)
    amount = None if each is None else _cents(D(quantity) * each)
    values: dict[str, object] = {
        "kind": "part",
        "name": name,
        "operation": "replace",
        "component": _ref(component),
        "positions": positions,
        "quantity": D(quantity),
        "unit": "each",
        "unit_price": each,
        "amount": amount,
        "from": ids.split(),
        "arithmetic": "" if each is None else f"{quantity} × {each} = {amount}",
    }
    return Line.model_validate(values | more)


def _job(title: str, urgency: str, *lines: Line, only_if: str = "") -> Job:
    subtotal = sum((line.amount for line in lines if line.amount is not None), D("0.00"))
    return Job.model_validate(
        {"title": title, "urgency": urgency, "lines": lines, "subtotal": subtotal, "only_if": only_if}
    )


PRICE_ASK = Ask(
    code="price_not_known",
    message="What does the strut cost? The catalogue leaves its price open.",
    field="unit_price",
)
SIDE_ASK = Ask(
    code="side_doubtful",
    message="Is the leaking strut on the passenger side? “Passing your side” was read as “passenger side”.",
    field="positions",
    choices=("front right", "front left"),
)


def _findings() -> tuple[Finding, ...]:
    def make(fid: str, key: str, component: str, state: str, **more: object) -> Finding:
        base: dict[str, object] = {
            "id": fid,
            "component": _ref(component),
            "state": state,
            "heard": [_span(key)],
            "certainty": {"component": 0.96, "positions": 0.94, "state": 0.95, "action": 0.93},
        }
        return Finding.model_validate(base | more)

    def mm(value: str, what: str, **more: object) -> Measure:
        return Measure.model_validate({"what": what, "value": D(value), "unit": "mm", **more})

    return (
        make(
            "f1",
            "tie",
            "outer tie rod end",
            "defect",
            positions=["front right"],
            conditions=[_ref("play"), _ref("torn boot")],
            action="replace",
            urgency="now",
            otherwise="I would not send it out like that",
            certainty={"component": 0.71, "positions": 0.9},
        ),
        make("f2", "tie_left", "outer tie rod end", "ok", positions=["front left"]),
        make("f3", "align", "wheel alignment", "defect", action="adjust", urgency="now", **{"with": "f1"}),
        make(
            "f4",
            "pads",
            "brake pads",
            "defect",
            positions=["front"],
            action="replace",
            urgency="now",
            measures=[mm("3", "pad thickness", place="inner"), mm("4", "pad thickness", place="outer")],
        ),
        make(
            "f5",
            "pads",
            "brake rotor",
            "defect",
            positions=["front left", "front right"],
            conditions=[_ref("below minimum")],
            action="replace",
            urgency="now",
            measures=[mm("25.6", "rotor thickness")],
            limits_said=[mm("26", "rotor thickness")],
        ),
        make(
            "f6",
            "rear_pads",
            "brake pads",
            "defect",
            positions=["rear"],
            action="replace",
            urgency="soon",
            measures=[Measure(what="pad thickness", value=D(4), unit="1/32 in", bound="~")],
        ),
        make(
            "f7",
            "strut",
            "strut",
            "defect",
            positions=["front right"],
            conditions=[_ref("leaking")],
            action="replace",
            action_positions=["front left", "front right"],
            urgency="unstated",
            otherwise="it will eat the new tires",
            certainty={"positions": 0.58, "component": 0.97},
            asks=[SIDE_ASK],
        ),
        make(
            "f8",
            "bearing",
            "wheel bearing",
            "suspect",
            positions=["rear right"],
            conditions=[_ref("noise")],
            action="diagnose",
        ),
        make("f9", "nut", "lug nut", "missing", positions=["rear left"], action="install", urgency="now"),
        make(
            "f10",
            "cover",
            "valve cover gasket",
            "defect",
            place=["bank 1"],
            conditions=[_ref("seeping")],
            action="replace",
            urgency="soon",
            because="it is dripping onto the exhaust manifold",
            otherwise="you will smell it",
        ),
        make(
            "f11",
            "hanger",
            "exhaust hanger",
            "defect",
            positions=["rear"],
            conditions=[_ref("broken")],
            action="repair",
            urgency="later",
            only_if="they want it quiet",
            sublet=True,
        ),
        make(
            "f12",
            "wipers",
            "wiper blades",
            "defect",
            conditions=[_ref("streaking")],
            action="replace",
            urgency="later",
        ),
        make(
            "f13", "battery", "battery", "ok", measures=[Measure(what="voltage", value=D("12.6"), unit="V")]
        ),
        make("f14", "hoses", "coolant hose", "ok", place=["upper"], action="monitor"),
        make(
            "f15",
            "tread",
            "tire",
            "ok",
            measures=[
                Measure(what="tread depth", value=D(6), unit="1/32 in", position="front"),
                Measure(what="tread depth", value=D(7), unit="1/32 in", position="rear"),
            ],
        ),
        make("f16", "filter", "cabin filter", "not_checked", because="the glove box is full of their stuff"),
        make("f17", "scratch", "bumper cover", "defect", positions=["rear"], conditions=[_ref("cracked")]),
        make(
            "f18",
            "coolant",
            "coolant",
            "defect",
            conditions=[_ref("low")],
            action="top up",
            asks=[
                Ask(
                    code="cause_not_said",
                    message="Coolant is low: was a cause found?",
                    field="because",
                    choices=("no leak found", "leak not looked for"),
                )
            ],
        ),
        make(
            "f19",
            "belt",
            "drive belt",
            "defect",
            action="replace",
            asks=[
                Ask(
                    code="condition_not_said",
                    message="What is wrong with the drive belt? Only the advice was said.",
                    field="conditions",
                )
            ],
        ),
    )


def _jobs() -> tuple[Job, ...]:
    front = ("front left", "front right")
    return (
        _job(
            "Wiper blades",
            "later",
            _part("wiper blades, pair", "wiper blades", (), "1", "38.50", "f12", unit="pair"),
        ),
        _job(
            "Right outer tie rod end and alignment",
            "now",
            _labour("replace", "outer tie rod end", ("front right",), "1.2", "f1"),
            _part("outer tie rod end", "outer tie rod end", ("front right",), "1", "86.40", "f1"),
            _labour(
                "adjust",
                "wheel alignment",
                (),
                "1.0",
                "f3",
                arithmetic="1.3 h − 0.3 h shared with the tie rod end (wheel off) = 1.0 h × 148.00 = 148.00",
            ),
        ),
        _job(
            "Front brakes",
            "now",
            _labour(
                "replace",
                "brake pads",
                ("front",),
                "1.1",
                "f4",
                asks=[
                    Ask(
                        code="measure_against_advice",
                        message="Pads measure 3 and 4 mm; the shop’s limit is 3 mm. Replace them now?",
                        field="urgency",
                        choices=("yes, with the rotors", "no, plan them"),
                    )
                ],
            ),
            _part("brake pads, axle set", "brake pads", ("front",), "1", "112.00", "f4", unit="axle set"),
            _labour(
                "replace",
                "brake rotor",
                front,
                "0.6",
                "f5",
                quantity=D(2),
                arithmetic="1.2 h − 0.6 h shared with the pads (caliper off) = 0.6 h × 148.00 = 88.80",
            ),
            _part("brake rotor", "brake rotor", front, "2", "94.75", "f5"),
            _part(
                "brake fluid",
                "brake fluid",
                (),
                "0.5",
                "14.00",
                "f4",
                kind="fluid",
                unit="L",
                operation="top up",
                why="Goes with the operation in the catalogue",
            ),
        ),
        _job(
            "Left rear lug nut",
            "now",
            _part(
                "lug nut",
                "lug nut",
                ("rear left",),
                "1",
                None,
                "f9",
                operation="install",
                asks=[
                    Ask(
                        code="price_not_known",
                        message="What does the lug nut cost? The catalogue has none.",
                        field="unit_price",
                    )
                ],
            ),
        ),
        _job(
            "Rear brake pads",
            "soon",
            _labour("replace", "brake pads", ("rear",), "1.0", "f6"),
            _part("brake pads, axle set", "brake pads", ("rear",), "1", "98.00", "f6", unit="axle set"),
        ),
        _job(
            "Valve cover gasket, bank 1",
            "soon",
            _labour("replace", "valve cover gasket", (), "2.4", "f10", place=["bank 1"]),
            _part("valve cover gasket", "valve cover gasket", (), "1", "41.20", "f10"),
        ),
        _job(
            "Exhaust hanger",
            "later",
            Line.model_validate(
                {
                    "kind": "sublet",
                    "name": "weld exhaust hanger",
                    "operation": "repair",
                    "component": _ref("exhaust hanger"),
                    "positions": ["rear"],
                    "quantity": D(1),
                    "unit": "each",
                    "from": ["f11"],
                    "candidates": [
                        Candidate(code="EXH-07", name="replace exhaust hanger", score=83.4),
                        Candidate(code="EXH-02", name="replace rear muffler", score=51.0),
                    ],
                    "asks": [
                        Ask(
                            code="sublet_price",
                            message="What does the welding shop charge for the hanger?",
                            field="amount",
                        )
                    ],
                }
            ),
            only_if="they want it quiet",
        ),
        _job(
            "Front struts",
            "unstated",
            _labour("replace", "strut", front, "3.4", "f7", quantity=D(2), asks=[SIDE_ASK]),
            _part("strut", "strut", front, "2", None, "f7", asks=[PRICE_ASK]),
        ),
        _job(
            "Wheel bearing noise",
            "unstated",
            _labour("diagnose", "wheel bearing", ("rear right",), "0.5", "f8"),
        ),
        _job(
            "Coolant",
            "unstated",
            _labour("top up", "coolant", (), "0.2", "f18"),
            _part("coolant", "coolant", (), "1", "11.00", "f18", kind="fluid", unit="qt", operation="top up"),
        ),
        _job(
            "Drive belt",
            "unstated",
            _labour(
                "replace",
                "drive belt",
                (),
                None,
                "f19",
                catalogue=None,
                candidates=[
                    Candidate(code="BEL-10", name="replace drive belt", score=97.0),
                    Candidate(code="BEL-11", name="replace belt tensioner", score=64.5),
                ],
                asks=[
                    Ask(
                        code="which_operation",
                        message="Which belt is it? Two operations of the catalogue fit.",
                        field="component",
                        choices=("replace drive belt", "replace belt tensioner"),
                    )
                ],
            ),
        ),
    )


def _totals(jobs: tuple[Job, ...]) -> Totals:
    lines = [line for job in jobs for line in job.lines]

    def total(*kinds: str) -> Decimal:
        return sum((x.amount for x in lines if x.kind in kinds and x.amount is not None), D("0.00"))

    labour, parts, sublet = total("labour"), total("part", "fluid"), total("sublet")
    supplies = _cents(labour * D("0.05"))
    tax = _cents((parts + supplies) * D("0.0725"))
    return Totals(
        labour=labour,
        parts=parts,
        sublet=sublet,
        supplies=supplies,
        tax=tax,
        total=labour + parts + sublet + supplies + tax,
        open_lines=sum(x.amount is None for x in lines),
    )


def sample_draft() -> Draft:
    """A recording of about two minutes, US, with every state, urgency, kind of line and kind of ask."""
    findings, jobs = _findings(), _jobs()
    lost_at = WHERE["shackle"]
    evidence: dict[tuple[int, int], list[str]] = {}
    for finding in findings:
        for span in finding.heard:
            evidence.setdefault((span.first, span.last), []).append(finding.id)
    talk = {"intro": "about the vehicle", "radio": "to somebody else", "outro": "goodbye"}
    entries = []
    for key, (first, last) in WHERE.items():
        kind: Literal["evidence", "talk", "unplaced"] = (
            "talk" if key in talk else "unplaced" if key == "shackle" else "evidence"
        )
        why = talk.get(key, "no component of this name" if key == "shackle" else "")
        ids = tuple(evidence.get((first, last), ()))
        entries.append(LedgerEntry(first=first, last=last, kind=kind, findings=ids, why=why))
    lost = span_of(WORDS, lost_at[0] + 2, lost_at[0] + 9)
    gap_start = WORDS[WHERE["radio"][1] - 1].end or 0.0
    seconds = round((WORDS[-1].end or 0.0) + 1.2, 2)
    return Draft(
        market="US",
        recording=RecordingInfo(name="bay-3-walkaround.m4a", seconds=seconds, sha256="5d" * 32),
        vehicle=Vehicle(year=2016, odometer=Measure(what="odometer", value=D(87412), unit="mi")),
        transcript=Transcript(
            text=" ".join(w.read for w in WORDS if w.read),
            words=WORDS,
            seconds=seconds,
            unheard=(
                Unheard(
                    start=round(gap_start + 1, 2), end=round(gap_start + 4.5, 2), why="covered by an air tool"
                ),
            ),
        ),
        findings=findings,
        ledger=Ledger(entries=tuple(entries)),
        estimate=Estimate(currency="USD", jobs=jobs, totals=_totals(jobs)),
        unplaced=(
            Unplaced(
                first=lost.first,
                last=lost.last,
                start=lost.start,
                end=lost.end,
                text=lost.read,
                why="“loose” fits no component named here",
            ),
        ),
        asks=(
            Ask(
                code="speech_not_heard",
                message="3.5 seconds of speech under an air tool gave no words. What was said there?",
            ),
        ),
        cautions=("An air tool runs through part of the recording; words there may be missing.",),
        timings={"recording": 0.31, "speech": 21.84, "language": 0.12, "findings": 0.03, "estimate": 0.02},
    )


def uk_draft() -> Draft:
    """Typed notes, UK: no seconds anywhere, no ledger, one line, nothing open."""
    words = tuple(
        Word(heard=w, read=w)
        for w in ["Nearside", "front", "tyre", "is", "on", "1.4", "mm,", "replace", "it", "now."]
    )
    finding = Finding(
        id="f1",
        component=Ref(id="tyre", name="tyre"),
        positions=("front left",),
        state="defect",
        measures=(Measure(what="tread depth", value=D("1.4"), unit="mm", position="front left"),),
        action="replace",
        urgency="now",
        heard=(span_of(words, 0, len(words)),),
    )
    line = _part("tyre", "tyre", ("front left",), "1", "1264.00", "f1")
    job = _job("Nearside front tyre", "now", line)
    zero = D("0.00")
    totals = Totals(
        labour=zero,
        parts=D("1264.00"),
        sublet=zero,
        supplies=zero,
        tax=D("252.80"),
        total=D("1516.80"),
        open_lines=0,
    )
    return Draft(
        market="UK",
        recording=RecordingInfo(name="notes.txt", seconds=None, sha256="0a" * 32),
        vehicle=Vehicle(),
        transcript=Transcript(text=" ".join(w.read for w in words), words=words, source="typed"),
        findings=(finding,),
        ledger=Ledger(entries=()),
        estimate=Estimate(currency="GBP", jobs=(job,), totals=totals),
        unplaced=(),
        asks=(),
        timings={},
    )


def empty_draft() -> Draft:
    """A recording without words, with the reason."""
    zero = D("0.00")
    note = "No speech was heard in this recording: it holds 4 seconds of background noise."
    return Draft(
        market="UK",
        recording=RecordingInfo(name="silence.wav", seconds=4.0, sha256="00" * 32),
        vehicle=Vehicle(),
        transcript=Transcript(text="", words=(), seconds=4.0, note=note),
        findings=(),
        ledger=Ledger(entries=()),
        estimate=Estimate(
            currency="GBP",
            jobs=(),
            totals=Totals(
                labour=zero, parts=zero, sublet=zero, supplies=zero, tax=zero, total=zero, open_lines=0
            ),
        ),
        unplaced=(),
        asks=(),
        timings={},
    )
