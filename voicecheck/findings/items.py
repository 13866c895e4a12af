"""Cuts a clause into items: which parts are spoken of, and which words say something about which of them.

A part owns the modifiers before it ("the torn left ...") and the statement after it. Two parts in a row are a
list ("pads and rotors"), a part of a part ("the boot on the tie rod end"), a place where something comes from
or lands ("leaking onto the manifold"), or two statements.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from voicecheck.lexicon.model import Lexicon
from voicecheck.records.reading import Clause, Mark, Token

_LEADING_CUES = ("negation", "hedge", "advice", "no_action", "quantity", "filler", "not_checked")
_SKIPPED_WORDS = 3  # adverbs allowed between a copula and its condition ("is pretty badly torn")


@dataclass(slots=True)
class Part:
    """One component mark with what stands before it and what it belongs to."""

    mark: Mark
    component: str
    lead: tuple[Mark, ...] = ()  # places, conditions, actions, cues right before it
    wholes: list[str] = field(default_factory=list)  # "on the tie rod end"


@dataclass(slots=True)
class Item:
    """Parts that share one statement; ``trail`` are the marks after the last part, tokens ``first:last`` the words."""

    parts: list[Part]
    trail: list[Mark]
    first: int
    last: int
    trail_first: int


@dataclass(slots=True)
class ClauseItems:
    """``head`` are marks before the first part's own words (tokens ``head_first:head_last``)."""

    head: list[Mark]
    head_first: int
    head_last: int
    items: list[Item]


class Cutter:
    """Cuts clauses; knows the lexicon's fits and part-whole links."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon

    def cut(self, tokens: Sequence[Token], clause: Clause) -> ClauseItems:
        """The items of one clause, in order."""
        view = _View(tokens, clause)
        parts = self._parts(view)
        if not parts:
            return ClauseItems(list(clause.marks), clause.first, clause.last, [])
        leads = [
            view.lead_start(part.mark, floor=parts[i - 1].mark.last if i else clause.first)
            for i, part in enumerate(parts)
        ]
        for part, start in zip(parts, leads, strict=True):
            inside = [m for m in view.between(part.mark.first, part.mark.last) if m.kind == "place"]
            around = [
                m
                for m in view.clause.marks
                if m.kind == "condition" and m.first <= part.mark.first and part.mark.last <= m.last
            ]
            part.lead = (*view.between(start, part.mark.first), *inside, *around)
        items = [Item([parts[0]], [], leads[0], parts[0].mark.last, parts[0].mark.last)]
        for i in range(1, len(parts)):
            before, here = parts[i - 1], parts[i]
            self._join(view, items, before, here, leads[i])
        self._close(view, items, clause)
        return ClauseItems(view.between(clause.first, leads[0]), clause.first, leads[0], items)

    def _parts(self, view: _View) -> list[Part]:
        parts: list[Part] = []
        leaking = {
            m.last
            for m in view.clause.marks
            if m.kind == "condition"
            and not m.negated
            and self._lexicon.conditions[m.id].state == "defect"
            and not view.has_stop(m.last - 1, m.last)
        }
        for mark in view.clause.marks:
            if mark.kind == "component" and not (parts and parts[-1].mark.last > mark.first):
                fluid = self._lexicon.components[mark.id].advice == "service"
                if parts and fluid and mark.first in leaking:
                    continue  # "they're leaking oil": what comes out, not what is spoken of
                parts.append(Part(mark=mark, component=mark.id))
        return parts

    def _join(self, view: _View, items: list[Item], before: Part, here: Part, lead_first: int) -> None:
        item = items[-1]
        gap = view.between(before.mark.last, lead_first)
        states = [mark for mark in gap if _says_state(mark)]
        lead_says = any(_says_state(mark) or mark.kind == "action" for mark in here.lead)
        tie = view.tie_before(here.mark, floor=max(lead_first, before.mark.last))
        direct = lead_first <= before.mark.last
        if direct and not states and not lead_says and tie == "" and view.adjacent(before.mark, here.mark):
            # "control arm bushing" where the lexicon knows the two words only apart
            here.wholes.append(before.component)
            here.lead = (*before.lead, *here.lead)
            item.parts[-1] = here
            return
        if (
            not states
            and tie in ("preposition", "source")
            and not view.has_stop(before.mark.last, lead_first)
        ):
            before.wholes.append(here.component)
            before.lead = (*before.lead, *(m for m in here.lead if m.kind == "place"))
            if lead_says:
                before.lead = (*before.lead, *(m for m in here.lead if m.kind != "place"))
            item.last = here.mark.last
            return
        if (
            states
            and tie in ("preposition", "source", "target")
            and not lead_says
            and _direct_after(view, states, lead_first)
        ):
            self._tied_statement(item, before, here, states, tie)
            return
        heads = self._is_whole_of(before.component, here.component) or (
            self._is_head(before.component, here.component)
            and not view.has_list_word(before.mark.last, lead_first)
        )
        if not states and heads:
            self._end(view, item, lead_first)  # "exhaust, the back box is blowing": the first only says where
            if not any(m.kind == "place" for m in here.lead):
                here.lead = (*here.lead, *(m for m in before.lead if m.kind == "place"))
            items.append(Item([here], [], lead_first, here.mark.last, here.mark.last))
            return
        guessed = any(m.kind == "cue" and m.detail in ("hedge", "advice", "not_checked") for m in here.lead)
        own_verb = view.has_own_verb(here.mark) and not view.has_list_word(before.mark.last, lead_first)
        listed = view.is_list(before.mark.last, lead_first) and not own_verb
        if not states and not lead_says and not guessed and listed:
            item.parts.append(here)
            item.last = item.trail_first = here.mark.last
            return
        self._end(view, item, lead_first)
        items.append(Item([here], [], lead_first, here.mark.last, here.mark.last))

    def _tied_statement(self, item: Item, before: Part, here: Part, states: list[Mark], tie: str) -> None:
        """ "gearbox is leaking from the pan gasket", "oil is dripping onto the exhaust", "boot is torn on the cv axle"."""
        item.last = here.mark.last
        conditions = [mark for mark in states if mark.kind == "condition"]
        if tie == "target" or not conditions or self._is_container(conditions):
            return
        fits_here = any(self._fits(mark, here.component) for mark in conditions)
        fits_before = any(self._fits(mark, before.component) for mark in conditions)
        if fits_here and (tie == "source" or not fits_before):
            here.wholes.append(before.component)
            here.lead = (*before.lead, *here.lead)
            item.parts[-1] = here
            return
        before.wholes.append(here.component)
        before.lead = (*before.lead, *(mark for mark in here.lead if mark.kind == "place"))

    def _is_head(self, head: str, piece: str) -> bool:
        """Whether the first names a whole system ("steering linkage, idler arm's loose")."""
        first, second = self._lexicon.components[head], self._lexicon.components[piece]
        return first.system == second.system and first.id == first.system

    def _is_container(self, conditions: Sequence[Mark]) -> bool:
        """ "the key is missing in the boot": what is missing is not the part it is missing from."""
        return all(self._lexicon.conditions[mark.id].state == "missing" for mark in conditions)

    def _is_whole_of(self, whole: str, piece: str) -> bool:
        """Whether the piece belongs to the whole by its part-of links (its own or those of what it is a kind of)."""
        seen: set[str] = set()
        queue = [piece]
        while queue:
            entry = self._lexicon.components[queue.pop()]
            for parent in (entry.part_of, entry.kind_of):
                if parent is None or parent in seen:
                    continue
                if parent == whole and parent == entry.part_of:
                    return True
                seen.add(parent)
                queue.append(parent)
        return False

    def _fits(self, condition: Mark, component: str) -> bool:
        return self._lexicon.fits(self._lexicon.conditions[condition.id].fits, component)

    @staticmethod
    def _end(view: _View, item: Item, last: int) -> None:
        item.trail = [m for m in view.between(item.trail_first, last) if m.kind != "component"]
        item.last = max(item.last, last)

    def _close(self, view: _View, items: list[Item], clause: Clause) -> None:
        self._end(view, items[-1], clause.last)


def _direct_after(view: _View, states: Sequence[Mark], lead_first: int) -> bool:
    """Whether the last state mark runs up to the next part's own words without a comma between."""
    return not view.has_stop(states[-1].first, lead_first)


def _says_state(mark: Mark) -> bool:
    return mark.kind in ("condition", "quantity") or (
        mark.kind == "cue" and mark.detail in ("ok", "not_checked")
    )


class _View:
    """One clause's tokens and marks by position."""

    def __init__(self, tokens: Sequence[Token], clause: Clause) -> None:
        self.tokens = tokens
        self.clause = clause
        self._prepositions = {m.first for m in clause.marks if m.detail == "preposition"}
        self._ending: dict[int, list[Mark]] = {}
        for mark in clause.marks:
            self._ending.setdefault(mark.last, []).append(mark)

    def between(self, first: int, last: int) -> list[Mark]:
        """Marks that lie inside tokens ``first:last``."""
        return [mark for mark in self.clause.marks if mark.first >= first and mark.last <= last]

    def has_stop(self, first: int, last: int) -> bool:
        """Whether a comma, a stop or a long pause lies in ``first:last`` (before token ``last``)."""
        return any(self._stops(at) for at in range(max(first, 0), last))

    def _stops(self, at: int) -> bool:
        token = self.tokens[at]
        return token.comma or token.stop or token.pause_s > 0.6

    def adjacent(self, before: Mark, here: Mark) -> bool:
        """Nothing stands between the two, not even a comma."""
        return before.last == here.first and not self._stops(before.last - 1)

    def _grammar_ending(self, at: int) -> dict[str, Mark]:
        found: dict[str, Mark] = {}
        for mark in self._ending.get(at, ()):
            if mark.kind == "grammar":
                known = found.get(mark.detail)
                if known is None or mark.first < known.first:
                    found[mark.detail] = mark
        return found

    def has_own_verb(self, mark: Mark) -> bool:
        """Whether a singular verb follows right after ("lower arm, [bushing] is torn")."""
        return any(m.detail == "singular_copula" and m.first == mark.last for m in self.clause.marks) or (
            self.tokens[mark.last - 1].text.endswith("'s")
        )

    def has_list_word(self, first: int, last: int) -> bool:
        """Whether "and", "or" or the like stands in ``first:last``."""
        return any("list" in self._grammar_ending(at) for at in range(first + 1, last + 1))

    def is_list(self, first: int, last: int) -> bool:
        """Only list words, commas or nothing in ``first:last``."""
        at = last
        while at > first:
            joining = self._grammar_ending(at).get("list")
            if joining is None:
                return False
            at = joining.first
        return last > first or self._stops(first - 1)

    def tie_before(self, mark: Mark, *, floor: int) -> str:
        """The tie (target, source, preposition) right before a part, past its articles and places; "" for none."""
        at = mark.first
        while at > floor:
            ending = self._grammar_ending(at)
            for kind in ("target", "source", "preposition"):
                if kind in ending and ending[kind].first >= floor:
                    return kind
            step = [m for m in self._ending.get(at, ()) if m.kind == "place" or m.detail == "determiner"]
            if not step:
                return ""
            at = min(m.first for m in step)
            if at >= floor and any(m.kind == "place" for m in step) and at in self._prepositions:
                return "preposition"  # "the boot on the right tie rod end": the place phrase holds the tie
        return ""

    def _after_copula(self, mark: Mark) -> bool:
        """Whether a condition is said of what came before it ("is torn") rather than of what follows ("torn boot")."""
        at = mark.first
        if "determiner" in self._grammar_ending(at):
            return False
        for _ in range(_SKIPPED_WORDS + 1):
            ending = self._grammar_ending(at)
            if "existential" in ending:
                return False
            if "copula" in ending:
                return True
            if at - 1 < self.clause.first or self._stops(at - 1):
                return False
            if self.tokens[at - 1].text.endswith("'s"):
                return True
            if any(m.kind in ("component", "place", "condition", "action") for m in self._ending.get(at, ())):
                return True  # "caliper leaking", "left one torn"
            if "conjunction" in ending:
                return False
            at -= 1
        return False

    def _is_counted(self, condition: Mark) -> bool:
        """Whether a condition's word only names what a number before it counts."""
        return any(
            m.kind == "quantity" and m.unit is not None and 0 <= condition.first - m.last <= 1
            for m in self.clause.marks
        )

    def lead_start(self, mark: Mark, *, floor: int) -> int:
        """Where a part's own words begin, not before token ``floor``."""
        at = mark.first
        tied = False
        unknown = 0
        while at > floor:
            if self._stops(at - 1):
                break
            marks = [m for m in self._ending.get(at, ()) if m.first >= floor]
            grammar = {m.detail: m for m in marks if m.kind == "grammar"}
            solid = [m for m in marks if m.kind != "grammar"]
            step: int | None = None
            if "time" in grammar:
                break
            if "target" in grammar and any(m.kind == "condition" for m in solid):
                return at  # "grease all over the arm": what is thrown is said of the part before
            for m in solid:
                if m.kind in ("place", "measure"):
                    step = m.first
                elif m.kind == "condition" and self._is_counted(m):
                    return at  # "sixty thou of play on the gauge": a reading of the part before
                elif m.kind == "condition":
                    if tied and floor > self.clause.first and self._after_copula(m):
                        return at
                    if not self._after_copula(m) or floor == self.clause.first:
                        step = m.first
                elif m.kind == "action":
                    if floor == self.clause.first or not self._after_copula(m):
                        step = m.first
                elif m.kind == "cue" and m.detail in _LEADING_CUES:
                    step = m.first
                elif m.kind == "cue" and m.detail == "ok" and (tied or m.last == mark.first):
                    step = m.first
                elif m.kind == "quantity" and m.unit is None:
                    step = m.first
            if step is None:
                for kind in ("preposition", "source", "target"):
                    if kind in grammar and not tied:
                        tied = True
                        step = grammar[kind].first
                        break
            if step is None:
                for kind in ("determiner", "existential"):
                    if kind in grammar:
                        step = grammar[kind].first
                        break
            if step is None:
                if solid or grammar.keys() & {
                    "conjunction",
                    "list",
                    "copula",
                    "preposition",
                    "source",
                    "target",
                }:
                    break
                if unknown >= 1:
                    break
                unknown += 1
                step = at - 1
            else:
                unknown = 0
            at = step
        return at
