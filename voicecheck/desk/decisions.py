"""What people decide over a draft: frozen values, one class per kind, saved and read back as JSON.

A decision names what it is about by the ids of the draft at that time (findings, lines, jobs, asks, words)
and says what is wanted; ``worktop`` works out what follows. Nothing is ever deleted: ``Undo`` takes one back.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Any, Literal, get_args

from pydantic import Field, TypeAdapter, ValidationError, field_validator, model_validator

from voicecheck.records import (
    Action,
    AddedLine,
    Finding,
    InputError,
    LineChange,
    Position,
    Record,
    State,
    Urgency,
)
from voicecheck.records.vocabulary import expand

LONGEST_TEXT = 10_000  # characters a person may type into one decision
MOST_MONEY = Decimal(1_000_000)  # of one line; more is a slip of the keyboard
MOST_HOURS = Decimal(1_000)

Text = Annotated[str, Field(max_length=LONGEST_TEXT)]
HowSettled = Literal["not about the vehicle", "already covered", "added"]


class Confirm(Record):
    """A person has looked at a line and stands for it.

    ``content`` is the ``LineState.content`` that was on the screen; empty, it is the line's content as the
    decisions before left it. The confirmation holds as long as the line has that content.
    """

    kind: Literal["confirm"] = "confirm"
    line: str
    content: str = ""


class Unconfirm(Record):
    """A confirmation is taken away."""

    kind: Literal["unconfirm"] = "unconfirm"
    line: str


class ChangeFinding(Record):
    """New values for a finding; fields that stay ``None`` stay as they were.

    ``component`` and ``conditions`` are lexicon ids. A field that changes settles the questions about it; a
    value that is there already settles nothing (that is what answers are for). ``words`` are the
    technician's words that name the part (or the condition), where the lexicon should learn from it.
    """

    kind: Literal["change_finding"] = "change_finding"
    finding: str
    component: str | None = None
    positions: tuple[Position, ...] | None = None
    place: tuple[str, ...] | None = None
    state: State | None = None
    conditions: tuple[str, ...] | None = None
    action: Action | None = None
    action_positions: tuple[Position, ...] | None = None
    urgency: Urgency | None = None
    only_if: Text | None = None
    words: Text = ""
    reason: Text = ""


class ChangeLine(Record):
    """New values for a line. ``to_be_priced`` says on purpose that the price stays open when issued."""

    kind: Literal["change_line"] = "change_line"
    change: LineChange
    to_be_priced: bool = False

    @field_validator("change")
    @classmethod
    def _sensible(cls, change: LineChange) -> LineChange:
        _sensible(change.hours, change.unit_price, change.quantity)
        return change


class AddLine(Record):
    """A line that nobody spoke of. An empty ``line.id`` becomes "a" and the number of the decision."""

    kind: Literal["add_line"] = "add_line"
    line: AddedLine

    @field_validator("line")
    @classmethod
    def _sensible(cls, line: AddedLine) -> AddedLine:
        _sensible(line.hours, line.unit_price, line.quantity)
        if not line.name.strip():
            raise ValueError("an added line needs a name")
        return line


class PutAside(Record):
    """A line or finding (``target`` is its id) goes off the draft and stays in sight, with the reason."""

    kind: Literal["put_aside"] = "put_aside"
    target: str
    reason: Text

    @field_validator("reason")
    @classmethod
    def _given(cls, reason: str) -> str:
        if not reason.strip():
            raise ValueError("say why it is put aside")
        return reason


class BringBack(Record):
    """What was put aside is on the draft again."""

    kind: Literal["bring_back"] = "bring_back"
    target: str


class Split(Record):
    """One finding becomes several, one per entry of ``into``, at those positions ("f3" → "f3a", "f3b").

    Each keeps all evidence, measures and questions. Together they must cover every place that the finding
    has.
    """

    kind: Literal["split"] = "split"
    finding: str
    into: tuple[tuple[Position, ...], ...] = Field(min_length=2, max_length=8)

    @field_validator("into")
    @classmethod
    def _different(cls, into: tuple[tuple[Position, ...], ...]) -> tuple[tuple[Position, ...], ...]:
        if not all(into):
            raise ValueError("each part of a split needs a place")
        if len({frozenset(part) for part in into}) < len(into):
            raise ValueError("two parts of a split have the same place")
        return into


class Merge(Record):
    """Several findings become one, under the smallest of their ids; nothing of them is lost."""

    kind: Literal["merge"] = "merge"
    findings: tuple[str, ...] = Field(min_length=2)

    @field_validator("findings")
    @classmethod
    def _different(cls, findings: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(findings)) < len(findings):
            raise ValueError("a finding cannot be merged with itself")
        return findings


class Say(Record):
    """A sentence typed at the desk, with the findings that it gave.

    The caller makes them from ``text.split()`` through the pipeline; their spans count these words from 0.
    ``answers`` is the key of a question (``asks.ask_key``) that the sentence answers.
    """

    kind: Literal["say"] = "say"
    text: Text
    findings: tuple[Finding, ...] = ()
    answers: str = ""

    @model_validator(mode="after")
    def _fits(self) -> Say:
        words = len(self.text.split())
        if not words:
            raise ValueError("nothing was typed")
        if any(not 0 <= s.first < s.last <= words for f in self.findings for s in f.heard):
            raise ValueError("a finding's words are not those of the typed sentence")
        if len({f.id for f in self.findings}) < len(self.findings):
            raise ValueError("two findings of the typed sentence have the same id")
        return self


class Answer(Record):
    """An answer to the question ``key``: one of its ready answers, typed words, or both."""

    kind: Literal["answer"] = "answer"
    key: str
    choice: Text = ""
    text: Text = ""

    @model_validator(mode="after")
    def _says_something(self) -> Answer:
        if not self.choice.strip() and not self.text.strip():
            raise ValueError("an answer needs a choice or some words")
        return self


class SettleUnplaced(Record):
    """What became of words ``first:last`` that had found no place.

    ``finding`` names the finding or ``words`` the phrase that covers them, where the lexicon should learn it.
    """

    kind: Literal["settle_unplaced"] = "settle_unplaced"
    first: int = Field(ge=0)
    last: int
    how: HowSettled
    text: Text = ""
    finding: str = ""
    words: Text = ""


class PlaceWords(Record):
    """Words ``first:last`` of the recording are evidence of a finding too."""

    kind: Literal["place_words"] = "place_words"
    first: int = Field(ge=0)
    last: int
    finding: str
    words: Text = ""


class PutOff(Record):
    """A job is not done this time; ``by`` says who wants that ("customer", "advisor", a name)."""

    kind: Literal["put_off"] = "put_off"
    job: str
    by: Text = ""


class Undo(Record):
    """Takes back exactly the decision with the number ``seq``, which may be an undo itself."""

    kind: Literal["undo"] = "undo"
    seq: int


Decision = Annotated[
    Confirm
    | Unconfirm
    | ChangeFinding
    | ChangeLine
    | AddLine
    | PutAside
    | BringBack
    | Split
    | Merge
    | Say
    | Answer
    | SettleUnplaced
    | PlaceWords
    | PutOff
    | Undo,
    Field(discriminator="kind"),
]

KINDS: tuple[str, ...] = tuple(
    get_args(member.model_fields["kind"].annotation)[0] for member in get_args(get_args(Decision)[0])
)

_ADAPTER: TypeAdapter[Decision] = TypeAdapter(Decision)


class Numbered(Record):
    """A decision with its number (from 1, rising) and the name of who made it."""

    seq: int = Field(ge=1)
    decision: Decision
    by: str = ""


def parse_decision(value: Mapping[str, Any] | str | bytes) -> Decision:
    """A decision from its JSON (text, or already read).

    Raises ``InputError`` with one sentence where the kind is not known or a value cannot be.
    """
    try:
        if isinstance(value, (str, bytes)):
            return _ADAPTER.validate_json(value)
        return _ADAPTER.validate_python(value)
    except ValidationError as error:
        raise InputError(_sentence(error), hint=f"Kinds of decisions: {', '.join(KINDS)}.") from error


def decision_json(decision: Decision) -> dict[str, Any]:
    """The JSON of a decision, as ``parse_decision`` reads it; money and hours as decimal strings."""
    found: dict[str, Any] = _ADAPTER.dump_python(decision, mode="json", by_alias=True)
    return found


def covers(parts: tuple[tuple[Position, ...], ...], positions: tuple[Position, ...]) -> tuple[str, ...]:
    """The places of ``positions`` that ``parts`` leave out, in words; empty when none is lost."""
    kept = expand([p for part in parts for p in part])
    named = {p for part in parts for p in part}
    return tuple(p for p in positions if p not in named and not expand((p,)) <= kept)


def _sensible(hours: Decimal | None, unit_price: Decimal | None, quantity: Decimal | None) -> None:
    if hours is not None and not 0 <= hours <= MOST_HOURS:
        raise ValueError(f"hours must be between 0 and {MOST_HOURS}, not {hours}")
    if unit_price is not None and not 0 <= unit_price <= MOST_MONEY:
        raise ValueError(f"a price must be between 0 and {MOST_MONEY}, not {unit_price}")
    if quantity is not None and not 0 < quantity <= MOST_MONEY:
        raise ValueError(f"a quantity must be more than 0, not {quantity}")


def _sentence(error: ValidationError) -> str:
    first = error.errors(include_url=False, include_context=False)[0]
    where = ".".join(str(part) for part in first["loc"] if part not in KINDS)
    if first["type"] in ("union_tag_invalid", "union_tag_not_found"):
        given = first["input"]
        kind = given.get("kind") if isinstance(given, Mapping) else None
        if kind is None:
            return "This is no decision: it says no kind."
        return f"“{kind}” is not a kind of decision."
    what = first["msg"].removeprefix("Value error, ")
    return f"The decision cannot be used: {where + ': ' if where else ''}{what}."
