"""Why a draft's findings look as they do: as one self-contained web page, as JSON, and the words for both."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.documents import plain
from voicecheck.documents.page import environment
from voicecheck.records.explanation import Change, ClauseSeen, Explanation, MarkSeen, Outcome, OutcomeKind

OPENED = {
    "start": "first", "stop": "after a stop", "pause": "after a pause", "cue": "at a phrase that opens",
    "comma": "where the mood turns", "dash": "after a dash",
}  # fmt: skip
MOODS = {
    "hypothetical": "supposed and not stated",
    "general": "a general remark, not about this vehicle",
    "question": "asked and not stated",
    "reported": "what someone else says",
}
KINDS: dict[OutcomeKind, str] = {
    "made": "makes",
    "changed": "adds to",
    "taken_back": "taken back",
    "unused": "makes nothing",
    "talk": "set aside",
    "unplaced": "without a place",
    "vehicle": "about the vehicle",
    "idle": "makes nothing",
}


def telling_marks(clause: ClauseSeen) -> list[MarkSeen]:
    """The marks of a clause that are more than closed-class words."""
    return [mark for mark in clause.marks if mark.kind != "grammar"]


def small_words(clause: ClauseSeen) -> str:
    """The closed-class words that rules lean on, in one line: "is (copula), the (determiner)"."""
    found = (f"{mark.words} ({mark.name})" for mark in clause.marks if mark.kind == "grammar")
    return ", ".join(dict.fromkeys(found))


def mood_text(clause: ClauseSeen) -> str:
    """Why a clause that is no plain statement makes no finding; "" for a plain statement."""
    if clause.mood == "said":
        return ""
    by = f" (“{clause.mood_by}”)" if clause.mood_by else ""
    return f"{MOODS[clause.mood]}{by}: it makes no finding"


def outcome_text(outcome: Outcome) -> str:
    """What became of a clause: "makes f3: brake pads, rear"."""
    of = f" {outcome.finding}" if outcome.finding else ""
    return f"{KINDS[outcome.kind]}{of}: {outcome.text}"


def change_text(change: Change) -> str:
    """A field's step in words: "front left → front right", "taken back", and what the words do not say."""
    if change.before and change.after:
        text = f"{change.before} → {change.after}"
    else:
        text = change.after or (f"{change.before} → nothing" if change.before else "")
    return "; ".join(part for part in (text, change.note) if part)


def field_name(name: str) -> str:
    """A field's name as a word."""
    return name.replace("_", " ")


def when(change: Change) -> str:
    """The clause of a step, or that it came about when all was read."""
    return "at the end" if change.clause is None else f"clause {change.clause}"


def stamp(clause: ClauseSeen) -> str:
    """Where a clause stands: its time, or its words where there are no times."""
    if clause.start is not None:
        return plain.clock(clause.start)
    return f"words {clause.first}–{max(clause.first, clause.last - 1)}"


def clauses_text(numbers: Sequence[int]) -> str:
    """ "clause 3", "clauses 3, 4 and 7"."""
    word = "clause" if len(numbers) == 1 else "clauses"
    return f"{word} {plain.joined(str(number) for number in numbers)}" if numbers else ""


def explanation_json(explanation: Explanation) -> str:
    """An explanation as indented JSON with a newline at the end; equal ones give equal text."""
    return explanation.model_dump_json(indent=2) + "\n"


def explanation_html(explanation: Explanation) -> str:
    """An explanation as one page: no script, no request, styles inside.

    Anchors: ``#clause-3``, ``#f2`` (a finding by its id), ``#rule-Noter.make``.
    """
    from voicecheck.documents import explained

    return (
        environment()
        .get_template("explain.html.j2")
        .render(
            e=explanation,
            language=plain.language_of(explanation.market),
            x=explained,
            p=plain,
            known={rule.name for rule in explanation.rules},
        )
    )
