"""Which words state how the vehicle is, and which suppose, generalise, ask or report.

A mood cue does not colour its whole sentence: what others say ends at the comma, a supposition at "but", a
general remark at both. Speakers end plain statements with "right?": a tag asks nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from voicecheck.records.reading import Mark, Token

_BEFORE_CONFIRMED = 5  # words of "and it sure is" that the stretch may hold itself
_BEFORE_TELLING = 2  # words between who tells and that it is told ("the lady also says")

Mood = Literal["said", "hypothetical", "general", "question", "reported"]


class Stretch(NamedTuple):
    """Tokens ``first:last`` in one mood."""

    first: int
    last: int
    mood: Mood


def moods(
    tokens: Sequence[Token], marks: Sequence[Mark], *, first: int, last: int, asked: bool
) -> list[Stretch]:
    """The clause ``first:last`` cut into stretches of one mood. ``asked``: a question mark ends it."""
    view = _View(tokens, marks, first, last)
    if view.is_question(asked=asked):
        return [Stretch(first, last, "question")]
    taken: list[Stretch] = []
    for mark in view.marks:
        stretch = view.stretch_of(mark)
        if stretch is not None and not any(stretch.first < t.last and t.first < stretch.last for t in taken):
            taken.append(stretch)
    result: list[Stretch] = []
    at = first
    for stretch in sorted(taken):
        if stretch.first > at:
            result.append(Stretch(at, stretch.first, "said"))
        result.append(stretch)
        at = stretch.last
    if at < last:
        result.append(Stretch(at, last, "said"))
    return result


class _View:
    def __init__(self, tokens: Sequence[Token], marks: Sequence[Mark], first: int, last: int) -> None:
        self.tokens = tokens
        self.first, self.last = first, last
        self.marks = [m for m in marks if first <= m.first and m.last <= last]
        self._contrast = {m.first for m in self.marks if m.kind == "grammar" and m.detail == "contrast"}

    def _starts(self, kind: str, detail: str) -> list[Mark]:
        return [m for m in self.marks if m.kind == kind and m.detail == detail]

    def is_question(self, *, asked: bool) -> bool:
        if asked and any(m.last == self.last for m in self._starts("grammar", "tag")):
            return False
        start = self._opening()
        if any(m.first == start for m in self._starts("grammar", "requests")) and any(
            m.kind == "action" for m in self.marks
        ):
            return False
        cued = any(
            m.first == start and not any(t.comma for t in self.tokens[m.first : m.last - 1])
            for m in self._starts("cue", "question")
        )  # not in "it does, it's ..."
        inverted = any(m.first == start for m in self._starts("grammar", "asks"))
        return cued or (asked and inverted)

    def _opening(self) -> int:
        """The first token that is no opener, filler or joining word."""
        at = self.first
        moved = True
        while moved and at < self.last:
            moved = False
            for mark in self.marks:
                idle = mark.detail in ("opener", "conjunction", "filler", "chatter", "clause")
                if mark.first == at and idle:
                    at, moved = mark.last, True
                    break
        return at

    def stretch_of(self, mark: Mark) -> Stretch | None:
        if mark.kind == "grammar" and mark.detail == "supposes":
            if self._is_taken(mark):
                return None
            if self._says_before(mark.first) and not self._advises_after(mark.last):
                return None  # "replace it if it comes back": a condition on advice, not a supposition
            return Stretch(mark.first, self._until(mark.last, comma=False), "hypothetical")
        if mark.kind == "grammar" and mark.detail == "sayer":
            return self._as_told(mark)
        if mark.kind == "grammar" and mark.detail == "would" and self._of_any(mark):
            return Stretch(self._since(mark.first), self._until(mark.last, comma=True), "hypothetical")
        if mark.kind != "cue":
            return None
        if mark.detail == "hypothetical":
            return Stretch(self._since(mark.first), self._until(mark.last, comma=False), "hypothetical")
        if mark.detail == "general" and mark.id == "habit":
            return self._as_habit(mark)
        if mark.detail == "general" and mark.id == "due_at" and not self._is_due_at_age(mark):
            return None
        if mark.detail == "general" and mark.id == "other_car":
            return Stretch(self._since(mark.first), self._until(mark.last, comma=False), "general")
        if mark.detail == "general":
            return Stretch(self._since(mark.first), self._until(mark.last, comma=True), "general")
        if (
            mark.detail == "reported"
            and mark.id != "aside"
            and self._is_confirmed(self._until(mark.last, comma=True))
        ):
            return None
        if mark.detail == "reported":
            return Stretch(mark.first, self._until(mark.last, comma=True), "reported")
        return None

    def _as_told(self, sayer: Mark) -> Stretch | None:
        """ "her husband reckons ...": somebody, and within two words a word for telling."""
        for mark in self._starts("grammar", "tells"):
            if 0 <= mark.first - sayer.last <= _BEFORE_TELLING:
                end = self._until(mark.last, comma=True)
                return None if self._is_confirmed(end) else Stretch(sayer.first, end, "reported")
        return None

    def _is_confirmed(self, last: int) -> bool:
        """ "lady says the A C is weak, and it is": the speaker says so as well, up to or right
        behind token ``last``.
        """
        return any(
            -_BEFORE_CONFIRMED <= m.first - last <= 0
            and (self.tokens[m.last - 1].comma or self.tokens[m.last - 1].stop or m.last == self.last)
            for m in self._starts("grammar", "confirms")
        )

    def _as_habit(self, mark: Mark) -> Stretch | None:
        """ "Change that belt with the pump, I always tell people": the advice before it as well, as long as
        nothing is found on this car.
        """
        found = any(m.kind in ("condition", "quantity") and m.last <= mark.first for m in self.marks)
        first = self._since(mark.first) if found else self.first
        return Stretch(first, self._until(mark.last, comma=True), "general")

    def _is_due_at_age(self, mark: Mark) -> bool:
        """ "You'd want to do the timing belt at a hundred thousand": an age in the same breath, no fault."""
        end = self._until(mark.last, comma=True)
        ages = any(mark.last <= m.first < end for m in self._starts("grammar", "interval"))
        return ages and not any(m.kind == "condition" and m.last <= end for m in self.marks)

    def _is_taken(self, mark: Mark) -> bool:
        """Whether the word belongs to a cue of another kind: "not sure if", "if it was mine I'd"."""
        return any(
            m.kind == "cue" and m.detail in ("hedge", "advice", "only_if") and m.first <= mark.first < m.last
            for m in self.marks
        )

    def _advises_after(self, at: int) -> bool:
        """ "..., if they don't come free it needs a caliper": the supposition has a consequence of its
        own.
        """
        end = self._until(at, comma=False)
        return any(
            (m.kind == "component" or (m.kind == "cue" and m.detail == "advice")) and at <= m.first < end
            for m in self.marks
        )

    def _of_any(self, would: Mark) -> bool:
        """ "a bad bearing would ...": said of any such part, not of this one."""
        start = self._since(would.first)
        parts = [
            m for m in self.marks if m.kind == "component" and start <= m.first and m.last <= would.first
        ]
        articles = {m.first for m in self.marks if m.detail == "indefinite"}
        return bool(parts) and any(start <= at < parts[-1].first for at in articles)

    def _says_before(self, at: int) -> bool:
        return any(m.kind in ("condition", "action", "component") and m.last <= at for m in self.marks)

    def _since(self, at: int) -> int:
        """Back to the comma or contrast before token ``at``."""
        while at > self.first and not self.tokens[at - 1].comma and at not in self._contrast:
            at -= 1
        return at

    def _until(self, at: int, *, comma: bool) -> int:
        """On to the contrast (or, with ``comma``, the comma) after token ``at``."""
        if comma and self.tokens[at - 1].comma:
            return at
        while at < self.last and at not in self._contrast:
            at += 1
            if comma and self.tokens[at - 1].comma:
                break
        return at
