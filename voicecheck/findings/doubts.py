"""How sure a finding is, and what is asked about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from voicecheck.findings.notes import FINE_OR_FAULT, Note
from voicecheck.findings.places import doubtful, sits
from voicecheck.lexicon.model import Component, Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.transcript import Span, Word
from voicecheck.records.vocabulary import CORNERS, UNPRICED_ACTIONS
from voicecheck.records.wording import capital

_CARRIED = 0.8  # of a place taken from the talk around, against one that was said
_READING_ONLY = 0.8  # of "fine" where only a number was read out
_NO_PLACE = 0.5  # of a part without a place
_NO_FIT = 0.5  # of a condition that is not said of such a part
_SPANS_SHOWN = 3  # stretches of speech that a question repeats
_UNSURE_WORD = 0.5  # below it a part is asked about


_CLEARLY = 0.85  # heard above it, a word's own certainty tells nothing against what was learned from texts


def certainty_of(
    note: Note,
    part: Component,
    spans: Sequence[Span],
    words: Sequence[Word],
    *,
    learned: Mapping[str, float] | None = None,
) -> dict[str, float]:
    """The certainty of each field, 0–1: that of the words heard, less where the rules had to infer.

    ``learned`` are the shares of such findings that were right, by field; they go in place of what is set
    here, and bring "finding": that part, place, state and action are right together.
    """
    sure = [words[at].certainty for span in spans for at in range(span.first, span.last)]
    base = min(1.0, sum(sure) / len(sure)) if sure else 0.0
    low = min(sure, default=0.0)
    place = base if note.placed == "said" else base * _CARRIED
    nowhere = base * _NO_PLACE if note.placed == "none" and sits(part) else base
    stated = {
        "component": round(base, 3),
        "positions": round(place if note.positions else nowhere, 3),
        "state": round(base * (_READING_ONLY if "state" in note.doubts else 1.0), 3),
        "conditions": round(base * (_NO_FIT if "conditions" in note.doubts else 1.0), 3),
        "measures": round((base + low) / 2, 3),
        "action": round(base, 3),
        "urgency": round(base, 3),
    }
    heard = min(1.0, base / _CLEARLY)
    return stated | {field: round(heard * share, 3) for field, share in (learned or {}).items()}


def unsure(note: Note, part: Component, spans: Sequence[Span]) -> Ask:
    """Whether work is meant that was read out of words like those which are often read wrongly."""
    said = " … ".join(span.read for span in spans[:_SPANS_SHOWN])
    where = f" at {' and '.join(note.action_positions or note.positions)}" if note.positions else ""
    message = f"“{said}” was taken to mean: {note.action} {part.name}{where}. Is that right?"
    choices = ("yes", "another part or place", "no such work")
    return Ask(code="unsure", field="", message=message, choices=choices)


def asks_of(note: Note, lexicon: Lexicon, spans: Sequence[Span], *, sure: float) -> tuple[Ask, ...]:
    """What a person has to settle about a note. ``sure`` is the certainty that its part was heard right."""
    part = lexicon.components[note.component]
    asks: list[Ask] = []
    if doubtful(part, note.positions):
        where = ", ".join(note.positions)
        message = f"“{spans[0].read}”: {part.name} is not usually found at {where}. Which side was meant?"
        asks.append(Ask(code="place_does_not_fit", field="positions", message=message, choices=CORNERS))
    if "conditions" in note.doubts:
        names = ", ".join(lexicon.conditions[c].name for c in note.conditions)
        message = f"“{names}” is not usually said of {part.name}. Is that what was meant?"
        choices = ("yes", "no, another part")
        asks.append(Ask(code="condition_does_not_fit", field="conditions", message=message, choices=choices))
    if note.doubts.get("state") == FINE_OR_FAULT and note.action in (None, *UNPRICED_ACTIONS):
        said = " … ".join(span.read for span in spans[:_SPANS_SHOWN])
        message = (
            f"“{said}”: {part.name} was taken for fine, though the words may tell of a fault. Is it fine?"
        )
        choices = ("fine", "faulty, price the work")
        asks.append(Ask(code="fine_or_fault", field="state", message=message, choices=choices))
    if sure < _UNSURE_WORD:
        message = f"The words “{spans[0].heard}” were not clear. Is this about {part.name}?"
        asks.append(Ask(code="heard_unclearly", field="component", message=message, choices=("yes", "no")))
    if note.action not in (None, *UNPRICED_ACTIONS):
        asks.extend(_asks_of_reference(note, part))
    return tuple(asks)


def _asks_of_reference(note: Note, part: Component) -> list[Ask]:
    """Where work is advised, and its part or place was not said with it but taken from what went before."""
    asks = []
    if note.doubts.get("positions") == "carried over" and note.positions:
        where = " and ".join(note.positions)
        message = f"No side was said with {part.name}; {where} is taken from before. Is that right?"
        choices: tuple[str, ...] = ("yes", "another side", "all of them")
        asks.append(Ask(code="place_carried", field="positions", message=message, choices=choices))
    if note.doubts.get("action") == "said later":
        message = f"“{note.action}” was said some sentences after {part.name}. Does it belong to it?"
        choices = ("yes", "no, to another part")
        asks.append(Ask(code="advice_said_later", field="action", message=message, choices=choices))
    if note.doubts.get("action") == "listed":
        name = capital(part.name)
        message = f"{name} stands in a list of work without what is to be done. {capital(note.action or '')}?"
        choices = ("yes", "other work")
        asks.append(Ask(code="work_not_named", field="action", message=message, choices=choices))
    return asks
