"""How far "no", "not" and "might be" reach.

Speech gives no reliable sentence ends, so reach ends at the next statement: a new part that no preposition or
list word ties to what came before, a cue that ends it ("but", "apart from"), a stop, a pause, or seven words.
"""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.reading import Mark, Token

REACH = 7  # tokens past the last word that was reached
_PAUSE_S = 0.7
_TURNED = {"condition", "action"}
_TURNED_CUES = {"ok", "urgency", "advice"}
_TIES = {"preposition", "source", "target", "list"}


def _is_turned(mark: Mark) -> bool:
    return mark.kind in _TURNED or (mark.kind == "cue" and mark.detail in _TURNED_CUES)


class _Line:
    """Tokens and marks of one clause, by position."""

    def __init__(self, tokens: Sequence[Token], marks: Sequence[Mark], first: int, last: int) -> None:
        self.tokens = tokens
        self.first, self.last = first, last
        self.marks = [mark for mark in marks if first <= mark.first and mark.last <= last]
        self.starts: dict[int, list[Mark]] = {}
        self.grammar_at: dict[int, set[str]] = {}
        self.ends_negation: set[int] = set()
        for mark in self.marks:
            if mark.kind == "grammar":
                for at in range(mark.first, mark.last):
                    self.grammar_at.setdefault(at, set()).add(mark.detail)
            elif mark.kind in ("component", "place") or _is_turned(mark):
                self.starts.setdefault(mark.first, []).append(mark)
            if mark.kind == "cue" and mark.detail in ("negation_end", "except", "clause", "correction"):
                self.ends_negation.add(mark.first)

    def reached(self, start: int, *, reach: int) -> list[Mark]:
        """The marks that a cue ending before token ``start`` turns."""
        found: list[Mark] = []
        at, budget = start, reach
        tied = True  # whether a new part would still belong to the same statement
        while at < self.last and budget > 0:
            if at in self.ends_negation:
                break
            if at > start and (self.tokens[at - 1].stop or self.tokens[at - 1].pause_s > _PAUSE_S):
                break
            here = self.starts.get(at, [])
            if here:
                longest = max(here, key=lambda mark: mark.last)
                if any(mark.kind in ("component", "place") for mark in here):
                    if found and not tied:
                        break
                    if (
                        found
                        and self.tokens[at - 1].comma
                        and "list" not in self.grammar_at.get(at - 1, set())
                    ):
                        break
                    tied = longest.kind == "place"
                elif any(_is_turned(mark) for mark in here):
                    if found and at > 0 and self.tokens[at - 1].comma and not self._list_goes_on(at):
                        break
                    found.extend(mark for mark in here if _is_turned(mark))
                    tied = False
                    budget = reach
                at = longest.last
                continue
            kinds = self.grammar_at.get(at, set())
            if kinds & _TIES:
                tied = True
            elif "conjunction" in kinds and found:
                break
            at += 1
            budget -= 1
        return found

    def _list_goes_on(self, at: int) -> bool:
        """After a comma, whether the word before ``at`` is a list word ("worn, or cracked")."""
        return "list" in self.grammar_at.get(at - 1, set())


def apply_polarity(tokens: Sequence[Token], marks: Sequence[Mark], *, first: int, last: int) -> list[Mark]:
    """The clause's marks with ``negated`` and ``hedged`` set from the cues in it."""
    line = _Line(tokens, marks, first, last)
    negated: dict[int, str] = {}
    hedged: dict[int, str] = {}
    order = {id(mark): number for number, mark in enumerate(line.marks)}
    for cue in line.marks:
        if cue.kind != "cue" or cue.detail not in ("negation", "hedge"):
            continue
        words = " ".join(token.text for token in tokens[cue.first : cue.last])
        if cue.detail == "negation" and cue.id != "after":
            for mark in line.reached(cue.last, reach=REACH):
                negated[order[id(mark)]] = words
        elif cue.detail == "negation":
            for mark in _before(line, cue):
                negated[order[id(mark)]] = words
        else:
            ahead = line.reached(cue.last, reach=REACH - 1) if cue.id != "after" else []
            for mark in ahead or _before(line, cue):
                hedged[order[id(mark)]] = words
    result = []
    for number, mark in enumerate(line.marks):
        if number in negated or number in hedged:
            reasons = [*(["not: " + negated[number]] if number in negated else []),
                       *(["maybe: " + hedged[number]] if number in hedged else [])]  # fmt: skip
            mark = mark.model_copy(
                update={"negated": number in negated, "hedged": number in hedged, "by": "; ".join(reasons)}
            )
        result.append(mark)
    return result


def _before(line: _Line, cue: Mark) -> list[Mark]:
    """The last turned mark within four tokens before the cue, with nothing stronger than a comma between."""
    if cue.detail == "hedge" and cue.last < line.last and not line.tokens[cue.last - 1].comma:
        return []  # "cupped, so maybe ...": what follows is doubted, and it is no condition
    candidates = [m for m in line.marks if _is_turned(m) and m.last <= cue.first and cue.first - m.last <= 4]
    return candidates[-1:]
