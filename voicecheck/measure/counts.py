"""What is counted, and the rates made of it. Counts of several narrations add up; rates are made of the
sums.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from voicecheck.records import Record

UNTAGGED = "no tag"  # in the place of a tag, for findings that have none
FIELDS = ("positions", "state", "conditions", "measures", "action", "urgency")


class Tally(Record):
    """``right`` of ``total``."""

    right: int = 0
    total: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(right=self.right + other.right, total=self.total + other.total)

    @property
    def rate(self) -> float | None:
        """Share from 0 to 1; ``None`` of nothing."""
        return share(self.right, self.total)


class Hearing(Record):
    """Words and terms of a recording against its text.

    ``words`` and ``errors`` (substitutions, deletions, insertions) are over words as read, with numbers and
    units in one form; ``plain_*`` without that; ``heard_errors`` over the words before any repair, numbers
    in one form. ``terms`` are the text's components, places and conditions, ``terms_missed`` those not in
    the words as read, ``heard_missed`` those not in the words before repair.
    """

    words: int = 0
    errors: int = 0
    plain_words: int = 0
    plain_errors: int = 0
    heard_errors: int = 0
    terms: int = 0
    terms_missed: int = 0
    heard_missed: int = 0

    def __add__(self, other: Hearing) -> Hearing:
        return Hearing(**{name: getattr(self, name) + getattr(other, name) for name in Hearing.model_fields})

    @property
    def word_error_rate(self) -> float | None:
        return share(self.errors, self.words)

    @property
    def plain_word_error_rate(self) -> float | None:
        return share(self.plain_errors, self.plain_words)

    @property
    def heard_word_error_rate(self) -> float | None:
        return share(self.heard_errors, self.words)

    @property
    def term_error_rate(self) -> float | None:
        return share(self.terms_missed, self.terms)

    @property
    def heard_term_error_rate(self) -> float | None:
        return share(self.heard_missed, self.terms)


class Counts(Record):
    """Everything counted about one draft, or the sum over several.

    ``strict``: findings with component, positions, state and action right. ``wrong_side``: matched findings
    with positions said and expected that have nothing in common (left for right, front for rear).
    ``flips``: good taken for bad or bad for good. ``silent``: wrong lines without an ask on them or on
    their findings. ``beside``: wrong lines with asks of which none is about what is wrong. ``fine_priced``:
    wrong lines for what was said fine, left unchecked or taken back. ``asks``: open questions; one that
    stands on a line and on its finding counts once. ``unplaced``: stretches of words that found no place.
    ``lost``: findings of the label without a partner, of whose quote every word was taken for mere talk.
    ``phenomena``: by the tags of the label's findings, how many of those with the tag are strictly right; a
    finding counts under each of its tags.
    """

    gold_findings: int = 0
    draft_findings: int = 0
    matched: int = 0
    strict: int = 0
    positions: Tally = Tally()
    state: Tally = Tally()
    conditions: Tally = Tally()
    measures: Tally = Tally()
    action: Tally = Tally()
    urgency: Tally = Tally()
    wrong_side: int = 0
    flips: int = 0
    gold_lines: int = 0
    draft_lines: int = 0
    right_lines: int = 0
    silent: int = 0
    beside: int = 0
    fine_priced: int = 0
    asks: int = 0
    unplaced: int = 0
    lost: int = 0
    phenomena: Mapping[str, Tally] = Field(default_factory=dict)
    hearing: Hearing | None = None

    def __add__(self, other: Counts) -> Counts:
        summed = {
            name: getattr(self, name) + getattr(other, name)
            for name in Counts.model_fields
            if name not in ("hearing", "phenomena")
        }
        both = [h for h in (self.hearing, other.hearing) if h is not None]
        phenomena = {
            tag: self.phenomena.get(tag, Tally()) + other.phenomena.get(tag, Tally())
            for tag in sorted({*self.phenomena, *other.phenomena})
        }
        return Counts(**summed, phenomena=phenomena, hearing=sum(both, Hearing()) if both else None)

    @property
    def wrong_lines(self) -> int:
        return self.draft_lines - self.right_lines

    @property
    def strict_precision(self) -> float | None:
        return share(self.strict, self.draft_findings)

    @property
    def strict_recall(self) -> float | None:
        return share(self.strict, self.gold_findings)

    @property
    def strict_f1(self) -> float | None:
        return share(2 * self.strict, self.draft_findings + self.gold_findings)

    @property
    def component_precision(self) -> float | None:
        return share(self.matched, self.draft_findings)

    @property
    def component_recall(self) -> float | None:
        return share(self.matched, self.gold_findings)

    @property
    def line_precision(self) -> float | None:
        return share(self.right_lines, self.draft_lines)

    @property
    def line_recall(self) -> float | None:
        return share(self.right_lines, self.gold_lines)

    @property
    def line_f1(self) -> float | None:
        return share(2 * self.right_lines, self.draft_lines + self.gold_lines)

    @property
    def asks_per_right_line(self) -> float | None:
        return share(self.asks, self.right_lines)

    def field(self, name: str) -> Tally:
        """The tally of one of ``FIELDS``."""
        if name not in FIELDS:
            raise ValueError(f"“{name}” is not one of {', '.join(FIELDS)}")
        found: Tally = getattr(self, name)
        return found


class Miss(Record):
    """One difference between a draft and its label: ``fields`` are those that differ, ``gold`` and ``got``
    in words.

    ``asked`` tells of a wrong line whether there is an ask on it or its findings.
    """

    of: Literal["finding", "line"]
    kind: Literal["missed", "wrong", "surplus"]
    fields: tuple[str, ...] = ()
    gold: str = ""
    got: str = ""
    asked: bool | None = None


class NarrationScore(Record):
    """The score of one draft. ``voice`` is "" for the text; ``failure`` says why there was no draft to
    score.
    """

    name: str
    voice: str = ""
    counts: Counts
    misses: tuple[Miss, ...] = ()
    failure: str = ""


class FolderScore(Record):
    """Several drafts, their counts summed."""

    counts: Counts
    narrations: tuple[NarrationScore, ...]


def share(part: int, whole: int) -> float | None:
    """``part / whole``; ``None`` where there is nothing to share."""
    return part / whole if whole else None
