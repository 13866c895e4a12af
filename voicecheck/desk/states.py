"""What the desk shows: the draft with all decisions in it, and how every piece of it stands."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from voicecheck.records import Ask, Draft, Finding, Line, Record


class LineState(Record):
    """A line of the estimate.

    ``content`` is what a confirmation is tied to; ``confirmed`` the number of the decision that holds, and
    ``lapsed`` says why an earlier one does not any more. ``machine`` is the line as the machine made it
    (``None`` where there was none), ``changed`` the fields that differ from it, ``why`` who changed it and
    why. ``to_be_priced``: its price stays open on purpose.
    """

    line: Line
    job: str
    put_off: bool = False
    content: str
    confirmed: int | None = None
    lapsed: str = ""
    changed: tuple[str, ...] = ()
    machine: Line | None = None
    why: str = ""
    to_be_priced: bool = False

    @property
    def id(self) -> str:
        return self.line.id


class FindingState(Record):
    """A finding on the draft.

    ``origins`` are the ids of the machine's findings that it stands for (of a typed one: its own),
    ``machine`` these as the machine made them. ``changed`` are fields that a person changed. ``stands``:
    "work" is on the draft for it (or was left off on purpose); "noted" needs none; "covered" by other work;
    "open" where something is still missing.
    """

    finding: Finding
    origins: tuple[str, ...]
    machine: tuple[Finding, ...] = ()
    made: Literal["machine", "typed", "split", "merged"] = "machine"
    changed: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    stands: Literal["work", "noted", "covered", "open"] = "noted"
    why: str = ""

    @property
    def id(self) -> str:
        return self.finding.id


class AskState(Record):
    """A question. ``about`` is the id of a finding or line, or "recording"; ``name`` what that is called.

    ``choices`` are all ready answers. Of an open one, ``answer`` is what was said already and ``todo`` what
    that still needs. ``how``: by an answer, or settled by another decision; ``seq`` is that decision.
    """

    key: str
    ask: Ask
    about: str
    name: str
    choices: tuple[str, ...] = ()
    state: Literal["open", "answered"] = "open"
    answer: str = ""
    todo: str = ""
    how: Literal["", "answer", "change"] = ""
    seq: int | None = None


class UnplacedState(Record):
    """Words of the recording without a place, and what became of them (``seq``: the decision)."""

    first: int
    last: int
    start: float | None
    end: float | None
    text: str
    why: str
    state: Literal["open", "settled"] = "open"
    how: str = ""
    finding: str = ""
    seq: int | None = None


class AsideState(Record):
    """A finding or line that was put aside, as it was then."""

    target: str
    kind: Literal["finding", "line"]
    name: str
    reason: str
    seq: int
    finding: Finding | None = None
    line: Line | None = None
    origins: tuple[str, ...] = ()


class TypedState(Record):
    """A sentence typed at the desk and the ids of the findings it gave (none: it was not understood)."""

    seq: int
    text: str
    findings: tuple[str, ...]


class Idle(Record):
    """A decision that changes nothing (any more), and why in one sentence."""

    seq: int
    text: str


class Hindrance(Record):
    """One thing that keeps the estimate from being issued; ``target`` is the id of what it is about.

    That is a line's, a finding's or a job's id, an ask's key, or "first-last" of unplaced words.
    """

    kind: Literal["line", "price", "ask", "unplaced", "finding"]
    target: str
    text: str


class Summary(Record):
    """Counts for a list of walk-arounds."""

    open_asks: int
    unconfirmed: int
    unplaced: int
    hindrances: int
    total: Decimal
    total_high: Decimal | None
    currency: str
    open_lines: int


class Worktop(Record):
    """A draft on the desk. ``draft`` carries only questions that are open, and words still without a place.

    ``undone`` are the numbers of decisions that were taken back, ``seq`` that of the last decision.
    """

    draft: Draft
    lines: tuple[LineState, ...]
    findings: tuple[FindingState, ...]
    asks: tuple[AskState, ...]
    unplaced: tuple[UnplacedState, ...]
    aside: tuple[AsideState, ...]
    typed: tuple[TypedState, ...]
    hindrances: tuple[Hindrance, ...]
    idle: tuple[Idle, ...]
    undone: tuple[int, ...]
    seq: int
    summary: Summary

    def line(self, id_: str) -> LineState | None:
        return next((x for x in self.lines if x.id == id_), None)

    def finding(self, id_: str) -> FindingState | None:
        return next((x for x in self.findings if x.id == id_), None)

    def ask(self, key: str) -> AskState | None:
        return next((x for x in self.asks if x.key == key), None)
