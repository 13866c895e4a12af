"""Cuts a clause into items: which parts are spoken of, and which words say something about which of them.

A part owns the modifiers before it ("the torn left ...") and the statement after it. Two parts in a row are a
list ("pads and rotors"), a part of a part ("the boot on the tie rod end"), a place where something comes from
or lands ("leaking onto the manifold"), or two statements.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from voicecheck.findings.clauseview import ClauseView
from voicecheck.findings.notes import is_state
from voicecheck.findings.parts import PartTree
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.reading import Clause, Mark, Token

_ON_IT = ("preposition", "target", "source")  # ties before "it", on which a fluid is found


@dataclass(slots=True)
class Part:
    """One component mark with what stands before it and what it belongs to."""

    mark: Mark
    component: str
    lead: tuple[Mark, ...] = ()  # places, conditions, actions, cues right before it
    wholes: list[str] = field(default_factory=list)  # "on the tie rod end"


@dataclass(slots=True)
class Item:
    """Parts that share one statement; ``trail`` are the marks after the last part, tokens ``first:last`` the
    words.
    """

    parts: list[Part]
    trail: list[Mark]
    first: int
    last: int
    trail_first: int
    excepted: bool = False  # "all fine except ...": being named is the fault
    cause: bool = False  # "it's the ...": being named as what is wrong


@dataclass(slots=True)
class ClauseItems:
    """``head`` are marks before the first part's own words (tokens ``head_first:head_last``)."""

    head: list[Mark]
    head_first: int
    head_last: int
    items: list[Item]


class Cutter:
    """Cuts clauses; knows the lexicon's fits and part-whole links. Made once per lexicon."""

    def __init__(self, lexicon: Lexicon, *, tree: PartTree | None = None) -> None:
        self._lexicon = lexicon
        self._tree = tree or PartTree(lexicon)
        self._heads = frozenset(
            name.split()[-1].lower() for part in lexicon.components.values() for name in part.names
        )

    def cut(self, tokens: Sequence[Token], clause: Clause) -> ClauseItems:
        """The items of one clause, in order."""
        view = ClauseView(tokens, clause)
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
                if m.kind in ("condition", "action")
                and m.first <= part.mark.first
                and part.mark.last <= m.last
            ]
            part.lead = (*view.between(start, part.mark.first), *inside, *around)
        items = [Item([parts[0]], [], leads[0], parts[0].mark.last, parts[0].mark.last)]
        for i in range(1, len(parts)):
            before, here = parts[i - 1], parts[i]
            self._join(view, items, before, here, leads[i])
        self._close(view, items, clause)
        for item in items:
            said = any(m.detail == "names_cause" for m in item.parts[0].lead)
            item.cause = said or view.names_cause(item.first)
        return ClauseItems(view.between(clause.first, leads[0]), clause.first, leads[0], items)

    def _parts(self, view: ClauseView) -> list[Part]:
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
                if view.is_likeness(mark):
                    continue  # "black as a boot"
                fluid = self._lexicon.components[mark.id].advice == "service"
                if parts and fluid and mark.first in leaking:
                    continue  # "they're leaking oil": what comes out, not what is spoken of
                if fluid and view.begins_freely(mark) and self._comes_out(view, mark):
                    continue  # "there's oil running down": the trace of a leak
                if fluid and view.begins_freely(mark) and self._is_on_it(view, mark):
                    continue  # "coolant's crusted around it": of the part just spoken of
                parts.append(Part(mark=mark, component=mark.id))
        return parts

    def _comes_out(self, view: ClauseView, fluid: Mark) -> bool:
        """Whether the fluid is what comes out: right behind it stands a condition that is said of seals."""
        return any(
            m.kind == "condition" and m.first == fluid.last and "seal" in self._lexicon.conditions[m.id].fits
            for m in view.clause.marks
        )

    def _is_on_it(self, view: ClauseView, fluid: Mark) -> bool:
        """ "Coolant's crusted around it", "I can see oil round it": no level and no quality of the fluid, but
        what is found on the part that "it" is.
        """
        ties = [m for m in view.clause.marks if m.detail in _ON_IT and m.first >= fluid.last]
        its = {m.first for m in view.clause.marks if m.detail in ("pronoun", "plural_pronoun")}
        tie = next((m for m in ties if m.last in its), None)
        if tie is None or view.has_stop(fluid.last - 1, tie.last):
            return False
        told = [m for m in view.clause.marks if fluid.last <= m.first < tie.last and m.kind != "grammar"]
        if any(m.kind in ("component", "quantity", "action") or m.detail in ("ok", "negation") for m in told):
            return False
        terms = [self._lexicon.conditions[m.id] for m in told if m.kind == "condition"]
        return all(
            term.state == "defect" and ("seal" in term.fits or not self._lexicon.fits(term.fits, fluid.id))
            for term in terms
        )

    def _join(self, view: ClauseView, items: list[Item], before: Part, here: Part, lead_first: int) -> None:
        item = items[-1]
        gap = view.between(before.mark.last, lead_first)
        states = [mark for mark in gap if is_state(mark)]
        lead_says = any(is_state(mark) or mark.kind == "action" for mark in here.lead)
        tie = view.tie_before(here.mark, floor=max(lead_first, before.mark.last))
        direct = lead_first <= before.mark.last
        if direct and not states and not lead_says and tie == "" and view.adjacent(before.mark, here.mark):
            if self._are_several(view, before) and not self._is_its_piece(view, before, here):
                _list_with(item, here)  # "pads rotors worn", without a rest: a plural names no kind
                return
            # "control arm bushing" where the lexicon knows the two words only apart
            if item.parts[-1] is not before:  # "the seal on the water pump pulley": the whole goes on
                item.parts[-1].wholes.append(here.component)
                item.last = item.trail_first = here.mark.last
                return
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
        heads = self._tree.is_whole_of(before.component, here.component) or (
            self._is_head(before.component, here.component)
            and not view.has_list_word(before.mark.last, lead_first)
        )
        piece = self._tree.is_general_piece(here.component) and self._tree.piece_of(
            here.component, before.component
        )
        if piece and not heads and not view.has_list_word(before.mark.last, lead_first):
            heads = True  # "right front indicator, bulb gone": its bulb
            here.wholes.append(before.component)
        if not states and heads:
            self._end(view, item, lead_first)  # "exhaust, the back box is blowing": the first only says where
            if not any(m.kind == "place" for m in here.lead):
                here.lead = (*here.lead, *(m for m in before.lead if m.kind == "place"))
            items.append(Item([here], [], lead_first, here.mark.last, here.mark.last))
            return
        guessed = any(m.kind == "cue" and m.detail in ("hedge", "advice", "not_checked") for m in here.lead)
        own_verb = view.has_own_verb(here.mark) and not view.has_list_word(before.mark.last, lead_first)
        listed = view.is_list(before.mark.last, lead_first) and not own_verb
        ordered = any(m.kind == "cue" and m.detail == "advice" for m in item.parts[0].lead)
        behind = [m for m in view.clause.marks if 0 <= m.first - here.mark.last <= 1]
        if ordered and any(m.kind == "condition" and m.id == "new_part" for m in behind):
            listed = False  # "needs pads, the rotors are new": not what is ordered
        if not states and not lead_says and not guessed and listed:
            _list_with(item, here)
            return
        self._end(view, item, lead_first)
        lead_first = _give_heading(view, item, here, lead_first)
        fresh = Item([here], [], lead_first, here.mark.last, here.mark.last)
        fresh.excepted = any(m.detail == "except" and 0 <= lead_first - m.last <= 1 for m in item.trail)
        items.append(fresh)

    def _tied_statement(self, item: Item, before: Part, here: Part, states: list[Mark], tie: str) -> None:
        """ "gearbox is leaking from the pan gasket", "oil is dripping onto the exhaust", "boot is torn on the
        cv axle".
        """
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

    def _are_several(self, view: ClauseView, part: Part) -> bool:
        """Whether the part was named in the plural, by a name that is there in the singular."""
        last = view.tokens[part.mark.last - 1].text
        return last.endswith("s") and last.removesuffix("s") in self._heads

    def _is_its_piece(self, view: ClauseView, before: Part, here: Part) -> bool:
        """ "brakes pads", "control arms bushings", "brake pads sensor": the second of the first."""
        whole = before.component
        if self._tree.is_collective(whole) or self._tree.is_whole_of(whole, here.component):
            return True
        if not self._tree.is_general_piece(here.component):
            return False
        piece = self._tree.piece_of(here.component, whole)
        known = piece is not None and self._tree.is_whole_of(whole, piece)
        return known or not self._are_several(view, here)

    def _is_head(self, head: str, piece: str) -> bool:
        """Whether the first names a whole system ("steering linkage, idler arm's loose")."""
        first, second = self._lexicon.components[head], self._lexicon.components[piece]
        return first.system == second.system and first.id == first.system

    def _is_container(self, conditions: Sequence[Mark]) -> bool:
        """ "the key is missing in the boot": what is missing is not the part it is missing from."""
        return all(self._lexicon.conditions[mark.id].state == "missing" for mark in conditions)

    def _fits(self, condition: Mark, component: str) -> bool:
        return self._lexicon.fits(self._lexicon.conditions[condition.id].fits, component)

    @staticmethod
    def _end(view: ClauseView, item: Item, last: int) -> None:
        trail = [m for m in view.between(item.trail_first, last) if m.kind != "component"]
        end = _other_work(view, item, trail)
        item.trail = trail if end is None else [m for m in trail if m.first < end]
        item.last = max(item.last, last if end is None else end)

    def _close(self, view: ClauseView, items: list[Item], clause: Clause) -> None:
        self._end(view, items[-1], clause.last)


def _list_with(item: Item, here: Part) -> None:
    """The part shares the item's statement, which begins behind it."""
    item.parts.append(here)
    item.last = item.trail_first = here.mark.last


def _give_heading(view: ClauseView, item: Item, here: Part, lead_first: int) -> int:
    """ "Right front, tire six, left front, tire four": after a place that stood before its part, one between
    two rests stands before the next part too. Returns where that part's own words begin now.
    """
    told = [m for m in item.trail if m.kind == "place"]
    headed = any(m.kind == "place" for m in view.between(view.clause.first, item.parts[0].mark.first))
    if not headed or not told or told[-1].last != lead_first or not view.has_stop(lead_first - 1, lead_first):
        return lead_first
    heading = told[-1]
    alone = heading.first > item.trail_first and view.has_stop(heading.first - 1, heading.first)
    if not alone or heading.detail not in ("position", "side", "axle"):
        return lead_first
    item.trail = [m for m in item.trail if m.first < heading.first]
    item.last = heading.first
    here.lead = (heading, *here.lead)
    return heading.first


def _other_work(view: ClauseView, item: Item, trail: Sequence[Mark]) -> int | None:
    """ "Top off the coolant, and find out what's up with that alarm": where work begins that is done to
    something else, of which no name is known. It is left over, to be shown as unplaced.
    """
    ordered = any(m.kind == "action" for m in item.parts[-1].lead)
    for mark in trail:
        if ordered and mark.kind == "action" and view.has_list_word(item.trail_first, mark.first + 1):
            pronoun = any(
                m.detail in ("pronoun", "plural_pronoun") and 0 <= m.first - mark.last <= 1 for m in trail
            )
            return None if pronoun or view.ends_at(mark.last) else mark.first
    return None


def _direct_after(view: ClauseView, states: Sequence[Mark], lead_first: int) -> bool:
    """Whether the last state mark runs up to the next part's own words without a comma between."""
    return not view.has_stop(states[-1].first, lead_first)
