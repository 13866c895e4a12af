"""What can be counted of the words that a note rests on, to tell how often such notes are right.

The counts know nothing of what the words mean beyond the marks: how many clauses a note was put together
from, whether its part, place, fault and advice were said in plain marks or inferred, how much of what was
said went by without a mark. What they are worth is learned from labelled narrations (``Sureness``), not set
here.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence

from voicecheck.findings.notes import Note
from voicecheck.findings.parts import PartTree
from voicecheck.findings.places import sits
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.reading import Clause, Mark, Reading
from voicecheck.records.vocabulary import UNPRICED_ACTIONS

_MOST = 4  # counts above it tell no more


class Evidence:
    """Counts the evidence of the notes of one reading."""

    def __init__(self, reading: Reading, lexicon: Lexicon, tree: PartTree) -> None:
        self._clauses = reading.clauses
        self._starts = [clause.first for clause in reading.clauses]
        self._lexicon = lexicon
        self._tree = tree

    def of(self, note: Note) -> dict[str, float]:
        """The counts of a note by name, each between 0 and about 2. ``const`` is always 1."""
        part = self._lexicon.components[note.component]
        touched = self._touched(note.ranges)
        marks = [m for c in touched for m in c.marks if _inside(m, note.ranges)]
        parts = [m for m in marks if m.kind == "component"]
        own = [m for m in parts if self._tree.related(m.id, note.component)]
        others = {m.id for m in parts} - {m.id for m in own}
        actions = [m for m in marks if m.kind == "action" and not m.negated]
        length = sum(last - first for first, last in _merged(note.ranges))
        told = len({at for m in marks for at in range(m.first, m.last)})
        priced = note.action is not None and note.action not in UNPRICED_ACTIONS
        good = any(m.detail == "ok" and not m.negated for m in marks)
        ids = {m.id for m in marks if m.kind == "condition" and not m.negated}
        return {
            "const": 1.0,
            "priced": float(priced),
            "bare": float(note.state in ("defect", "missing") and not note.conditions and not note.measures),
            "bare_priced": float(priced and not note.conditions and not note.measures),
            "good_priced": float(priced and note.state == "ok"),
            "reading_only": float(note.doubts.get("state") == "reading only"),
            "misfit": float("conditions" in note.doubts),
            "suspect": float(note.state == "suspect"),
            "ok": float(note.state == "ok"),
            "not_checked": float(note.state == "not_checked"),
            "good_and_bad": float(good and bool(ids) and note.state == "defect"),
            "carried": float(note.placed == "carried"),
            "nowhere": float(note.placed == "none" and bool(sits(part))),
            "unnamed": float(not own),
            "one_word": float(all(m.last - m.first == 1 for m in own)),
            "general": float(self._tree.is_general_piece(note.component)),
            "others": min(_MOST, len(others)) / _MOST,
            "clauses": min(_MOST, len(touched) - 1) / _MOST,
            "gaps": min(_MOST, len(_merged(note.ranges)) - 1) / _MOST,
            "length": min(2.0, math.log2(1 + length) / 4),
            "unmarked": 1.0 - told / length if length else 1.0,
            "said_action": float(any(m.id == note.action for m in actions)),
            "inferred_action": float(priced and not any(m.id == note.action for m in actions)),
            "many_actions": float(len({m.id for m in actions}) > 1),
            "hedged": float(any(m.hedged for m in marks)),
            "negated": float(any(m.negated for m in marks)),
            "corrected": float(any(m.detail in ("correction", "withdrawal") for m in marks)),
            "long_clause": min(2.0, max((c.last - c.first for c in touched), default=0) / 20),
            "wider": float(bool(note.action_positions)),
        }

    def _touched(self, ranges: Sequence[tuple[int, int]]) -> list[Clause]:
        """The clauses that share tokens with the ranges, in order."""
        numbers: set[int] = set()
        for first, last in ranges:
            begin = max(0, bisect_right(self._starts, first) - 1)
            numbers.update(range(begin, bisect_left(self._starts, last)))
        return [self._clauses[number] for number in sorted(numbers)]


def _inside(mark: Mark, ranges: Sequence[tuple[int, int]]) -> bool:
    return any(first <= mark.first and mark.last <= last for first, last in ranges)


def _merged(ranges: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """The ranges in order, those that touch as one."""
    merged: list[tuple[int, int]] = []
    for first, last in sorted(ranges):
        if merged and first <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], last))
        else:
            merged.append((first, last))
    return merged
