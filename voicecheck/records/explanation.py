"""Why the findings of a draft look as they do: what ``voicecheck explain`` shows.

Clauses and statements are numbered from 1; word numbers are those of the transcript, from 0.
"""

from __future__ import annotations

from typing import Literal

from voicecheck.records.asks import Ask
from voicecheck.records.base import Record
from voicecheck.records.draft import RecordingInfo
from voicecheck.records.finding import Vehicle
from voicecheck.records.reading import MarkKind, Opening
from voicecheck.records.vocabulary import Market

EXPLANATION_FORMAT = "voicecheck-explanation/1"

OutcomeKind = Literal[
    "made",  # a statement that became a finding, or joined one
    "changed",  # more about a statement of an earlier clause
    "taken_back",  # a statement that was withdrawn, in this clause or later
    "unused",  # named, and nothing said of it that stands
    "talk",  # understood, and about no part's state
    "unplaced",  # names a part, a condition or advice, and no rule took it
    "vehicle",  # a fact about the vehicle itself
    "idle",  # nothing in it is of the vocabulary that finds anything
]


class MarkSeen(Record):
    """Words ``first:last`` that a vocabulary row or a rule marked.

    ``row`` names the row ("conditions.csv: play") or the rule, ``name`` says the meaning in words; ``by``
    tells which words turned it ("not: no", "maybe: might be").
    """

    kind: MarkKind
    detail: str
    id: str
    name: str
    row: str
    first: int
    last: int
    words: str
    negated: bool = False
    hedged: bool = False
    by: str = ""


class Change(Record):
    """One field of one statement, set or changed by a rule.

    ``clause`` is ``None`` where statements were merged after the last clause. ``words`` are those that the
    rule went by, ``note`` says what they do not. ``statement`` counts them in the order of making.
    """

    clause: int | None
    statement: int
    field: str
    before: str
    after: str
    rule: str
    words: str = ""
    note: str = ""


class Outcome(Record):
    """What became of a clause, or of a part of it. ``finding`` is "" where none stands on it."""

    kind: OutcomeKind
    text: str
    finding: str = ""
    statement: int | None = None
    rule: str = ""
    changes: tuple[Change, ...] = ()


class ClauseSeen(Record):
    """Words ``first:last`` that were read as one clause; together the clauses hold every word once.

    ``items`` are the parts and what was said of each, as the clause was cut. ``mood_by`` are the words for
    which the clause is no plain statement.
    """

    number: int
    first: int
    last: int
    start: float | None
    words: str
    opened_by: Opening
    mood: Literal["said", "hypothetical", "general", "question", "reported"]
    mood_by: str = ""
    marks: tuple[MarkSeen, ...] = ()
    items: tuple[str, ...] = ()
    outcomes: tuple[Outcome, ...] = ()


class FieldSeen(Record):
    """A field of a finding as it ended, and everything that led there, in order."""

    field: str
    value: str
    certainty: float | None = None
    changes: tuple[Change, ...] = ()


class Joined(Record):
    """A statement that went into a finding: merged with it, or replaced by it (``how``)."""

    statement: int
    title: str
    how: Literal["merged", "replaced"]
    clause: int | None
    rule: str


class FindingSeen(Record):
    """A finding of the draft with its trail. ``clauses`` are those that told of it, ``lines`` its work."""

    id: str
    title: str
    statement: int
    clauses: tuple[int, ...]
    fields: tuple[FieldSeen, ...]
    joined: tuple[Joined, ...] = ()
    asks: tuple[Ask, ...] = ()
    lines: tuple[str, ...] = ()


class RuleSeen(Record):
    """A rule that was at work: its name in the code, its file, and what it says of itself."""

    name: str
    file: str
    says: str


class Explanation(Record):
    """The whole trail of one draft, from words to findings."""

    format: Literal["voicecheck-explanation/1"] = "voicecheck-explanation/1"
    market: Market
    recording: RecordingInfo
    vehicle: Vehicle
    clauses: tuple[ClauseSeen, ...]
    findings: tuple[FindingSeen, ...]
    rules: tuple[RuleSeen, ...]
