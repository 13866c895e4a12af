"""Clauses with their marked words: what the language stage says, before anything is decided."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from voicecheck.records.base import Record
from voicecheck.records.vocabulary import Bound, Unit

MarkKind = Literal[
    "component", "condition", "action", "place", "measure", "quantity", "cue", "grammar",
]  # fmt: skip

Opening = Literal["start", "stop", "pause", "cue", "comma", "dash"]


class Token(Record):
    """One normalised sub-token of a word: ``word`` is the index of its word in the transcript.

    ``stop`` marks a sentence end after it, ``comma`` a comma-like mark, ``pause_s`` the silence that follows.
    """

    text: str
    word: int
    stop: bool = False
    comma: bool = False
    pause_s: float = 0.0


class Mark(Record):
    """Tokens ``first:last`` carry a meaning: lexicon id, quantity, cue or closed-class word.

    ``detail`` is the place kind, cue kind or grammar kind; ``negated`` and ``hedged`` come from cues;
    ``by`` names the cue or rule that said so, for whoever asks why.
    """

    kind: MarkKind
    first: int
    last: int
    id: str
    detail: str = ""
    value: Decimal | None = None
    high: Decimal | None = None
    unit: Unit | None = None
    bound: Bound = "="
    negated: bool = False
    hedged: bool = False
    by: str = ""


class Clause(Record):
    """A stretch of tokens ``first:last`` between strong boundaries; ``opened_by`` tells what opened it.

    ``mood`` is "said" for plain statements; "hypothetical", "general", "question" or "reported" clauses are
    not findings.
    """

    first: int
    last: int
    opened_by: Opening
    mood: Literal["said", "hypothetical", "general", "question", "reported"] = "said"
    marks: tuple[Mark, ...] = ()


class Reading(Record):
    """All tokens of a transcript and the clauses over them, in order, without gaps."""

    tokens: tuple[Token, ...]
    clauses: tuple[Clause, ...]
