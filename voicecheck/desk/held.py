"""What a replay keeps between two decisions."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from voicecheck.records import (
    AddedLine,
    Ask,
    Finding,
    LineChange,
)

Made = Literal["machine", "typed", "split", "merged"]


@dataclass(slots=True)
class Held:
    """A finding on the draft, without the questions that the estimate asks about it."""

    finding: Finding
    origins: tuple[str, ...]
    made: Made = "machine"
    changed: dict[str, int] = field(default_factory=dict)
    why: str = ""
    no_work: int | None = None  # the decision that says it needs none


@dataclass(slots=True)
class Closing:
    """A question that a decision closed.

    One that only vanished with a change (not ``lasting``) is open again when it comes back.
    """

    ask: Ask
    about: str
    name: str
    seq: int
    answer: str
    how: Literal["answer", "change"]
    lasting: bool = True


@dataclass(slots=True)
class Waiting:
    """An answer that is not enough by itself, and what is still to be done."""

    seq: int
    answer: str
    todo: str


@dataclass(slots=True)
class Added:
    """A line that was added; ``about`` is the line or finding it rests on, "" where on nothing."""

    line: AddedLine
    seq: int
    about: str = ""


@dataclass(slots=True)
class Aside:
    """What was put aside."""

    kind: Literal["finding", "line"]
    name: str
    reason: str
    seq: int
    held: Held | None = None


@dataclass(slots=True)
class LineEdit:
    """Everything that was changed on one line, in one change, and by which decisions."""

    change: LineChange
    seqs: list[int]


@dataclass(slots=True)
class Confirmed:
    """A confirmation and the content it is of."""

    seq: int
    content: str


@dataclass(slots=True)
class Settled:
    """What became of a stretch of words that had no place."""

    how: str
    seq: int
    finding: str = ""


@dataclass(slots=True)
class Typed:
    """A sentence typed at the desk; its words stand at ``first`` of the lengthened transcript."""

    seq: int
    text: str
    first: int
    findings: tuple[str, ...]
