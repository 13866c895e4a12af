"""Statements with parts: an item of a clause becomes the notes of its parts, one for each place told
apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from voicecheck.findings.corrections import Corrections
from voicecheck.findings.filling import orders_pair, share_limits
from voicecheck.findings.items import Item, Part
from voicecheck.findings.naming import Namer
from voicecheck.findings.notes import (
    Note,
    Saying,
    is_state,
    names_reading,
    read_at,
    split_sayings,
    turn_round,
)
from voicecheck.findings.noting import Noter
from voicecheck.findings.parts import singular
from voicecheck.findings.places import Place, as_place, axles_of, resolve, single_axle
from voicecheck.findings.remedies import WIDE, Remedies
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import Scene
from voicecheck.findings.summing import SummingUp
from voicecheck.findings.words import joined
from voicecheck.language.quantities import is_number_word
from voicecheck.records.reading import Mark
from voicecheck.records.vocabulary import CORNERS, UNPRICED_ACTIONS, expand

_PIECE_REACH = 25  # words in which a small piece is named again that is spoken of for its own sake
_SYMPTOM_REACH = 3  # clauses between a symptom and the part that is named as its cause


@dataclass(slots=True)
class _Draft:
    """An item being read: its notes so far, and the parts that it only rejects ("not strut")."""

    item: Item
    sayings: list[Saying]
    correcting: bool
    ordered: bool = False  # the parts are ordered by being named
    notes: list[Note] = field(default_factory=list)
    rejected: list[str] = field(default_factory=list)
    shares_place: bool = True  # whether the first part's place still holds for those after it


class Statements:
    """Made anew for each reading."""

    def __init__(
        self,
        rules: Rules,
        scene: Scene,
        *,
        noter: Noter,
        namer: Namer,
        remedies: Remedies,
        corrections: Corrections,
        summing: SummingUp,
    ) -> None:
        self._lexicon = rules.lexicon
        self._tree = rules.tree
        self._words = rules.words
        self._scene = scene
        self._noter = noter
        self._namer = namer
        self._remedies = remedies
        self._corrections = corrections
        self._summing = summing
        self._missing = [c.id for c in rules.lexicon.conditions.values() if c.state == "missing"]

    def take(self, item: Item, *, correcting: bool, ordered: bool = False) -> None:
        """Read one item and keep its notes. ``correcting``: it follows "no, sorry"; ``ordered``: its parts
        are ordered by being named.
        """
        self._free_of_both(item)
        draft = _Draft(item, split_sayings(self._scene.tokens, item.trail), correcting, ordered)
        for part in item.parts:
            self._part(draft, part)
        if draft.rejected:
            self._corrections.replace(draft.rejected, draft.notes)
        if item.cause and len(draft.notes) == 1 and not ordered:
            self._name_cause(draft.notes[0])
        if draft.notes and not self._mends_all(draft):
            self._settle(draft)

    def _free_of_both(self, item: Item) -> None:
        """ "Right front, ball joint and tie rod are both tight": two parts at one corner, not two sides."""
        around = self._scene.around
        headed = self._scene.around_clause == self._scene.clause and bool(around.positions or around.sides)
        one_side = headed or Place.of(item.parts[0].lead).axis().sides
        if len(item.parts) == 2 and one_side and not Place.of(item.trail).absolute:
            item.trail = [m for m in item.trail if not (m.kind == "place" and m.id == "both")]

    def _mends_all(self, draft: _Draft) -> bool:
        """ "Bulbs for all of those"."""
        item = draft.item
        for_all = any(m.detail == "plural_pronoun" for m in item.trail) and not any(map(is_state, item.trail))
        if not for_all or not self._tree.is_general_piece(item.parts[-1].component):
            return False
        for note in draft.notes:
            note.ranges.append((item.first, item.last))
        return self._remedies.of_all(draft.notes)

    def _settle(self, draft: _Draft) -> None:
        """What the item's notes say together; then they are kept."""
        item = draft.item
        if len({n.positions for n in draft.notes if n.placed == "said"}) > 1:
            # several places in one statement: only the axle that they share is carried on
            self._scene.carried = Place(axles=single_axle([p for n in draft.notes for p in n.positions]))
        self._share_misfits(item, draft.notes)
        share_limits(draft.notes)
        _spare_fine(draft.notes)
        notes = self._joined(draft.notes)
        _take_out_exceptions(item, notes)
        for note in notes:
            note.ranges.append((item.first, item.last))
            note.clause = self._scene.clause
        if draft.correcting:
            self._corrections.supersede(notes)
        if draft.ordered:
            self._scene.keep(self._summing.fold(notes))
            return
        self._remedies.keep(notes)

    # -- one part ---------------------------------------------------------------------------------------

    def _part(self, draft: _Draft, part: Part) -> None:
        item = draft.item
        first = item.parts[0]
        component = self._of_whole(part, self._namer.specific(part), item)
        if _is_rejected(part, item):
            if draft.correcting or _is_other(part, item):
                draft.rejected.append(component)
                return
            self._scene.denied, self._scene.denied_clause = component, self._scene.clause
            if self._is_absent(part, item):
                draft.notes.append(self._noter.absent(component, Place.of(part.lead), self._missing))
            elif part is not first or len(item.parts) == 1:
                return
        own = _own_place(draft, part)
        shared = [m for m in first.lead if m.kind != "place"] if part is not first else []
        kept = [m for m in shared if m.kind != "action" or self._spreads(m.id, component, item)]
        listed, shared = len(kept) < len(shared), kept
        lead = [*shared, *(m for m in part.lead if m.kind != "place")]
        for number, saying in enumerate(draft.sayings):
            whole = Saying([*lead, *saying.marks] if number == 0 else list(saying.marks))
            if number or part.component == component:
                component = self._tree.kind_with(component, saying.place.qualifiers) or component
            if number and draft.notes and self._is_about_all(saying, draft.notes[-1], component):
                self._noter.advise_all(draft.notes[-1], saying)
                continue
            beside = [n for n in draft.notes if n.component == component and n.positions]
            note = self._noter.make(
                component,
                whole,
                own=own,
                place=saying.place,
                last=beside[-1].positions if beside else None,
                plural=self._is_plural(part, component),
            )
            self._complete(draft, note, part, whole, first_saying=number == 0)
            if listed and note.state is None and note.action is None and not self._has_work(component):
                note.action = self._lexicon.components[component].advice
                note.doubts["action"] = "listed"
            if note.state == "ok" and note.action is None and not own.absolute:
                self._take_as_whole(note, item)
            draft.notes.append(note)

    def _spreads(self, action: str, component: str, item: Item) -> bool:
        """ "Adjust the handbrake, a ball joint, a gasket and a bulb": a list of work begins with how the
        first is done; only what is done to any part, or to parts of the same kind, holds for the rest.
        """
        first = item.parts[0].component
        entry = self._lexicon.components[component]
        alike = self._tree.same_line(first, component) or entry.advice == action
        near = len(item.parts) == 2
        return action == "replace" or alike or near or (action == "top up" and entry.advice == "service")

    def _has_work(self, component: str) -> bool:
        """Whether work on the part was told already: naming it in a summing-up adds nothing to that."""
        return any(n.component == component and n.is_priced for n in self._scene.notes)

    def _take_as_whole(self, note: Note, item: Item) -> None:
        """ "Brakes all look great": what is fine all round, and is a name for parts of several kinds, is one
        whole and no four corners, unless they were counted ("all four brakes").
        """
        said = self._scene.tokens[item.first : item.last]
        everywhere = len(expand(note.positions)) == len(CORNERS)
        counted = any(is_number_word(token.text) for token in said)
        collective = self._tree.is_collective(note.component) or self._tree.is_general_piece(note.component)
        if everywhere and not counted and collective:
            note.positions = ()

    def _of_whole(self, part: Part, component: str, item: Item) -> str:
        """ "Sway bar link, the boot's split": a small piece without a name of its own, said to be faulty in
        one breath with a part and never named again, is a condition of that part.
        """
        word = self._scene.tokens[part.mark.last - 1].text.removesuffix("'s")
        if word not in self._words.small_piece or component != part.component or part.wholes:
            return component
        recent = [n for n in self._scene.recent if n.clause == self._scene.clause and not n.withdrawn]
        if len(recent) != 1 or part.mark.last - part.mark.first > 1 or Place.of(part.lead).located:
            return component
        before = recent[0].component
        general = self._tree.is_general_piece(component)
        if (
            not general
            and self._lexicon.components[component].system == self._lexicon.components[before].system
        ):
            return component
        told = [*(m for m in part.lead if m.kind == "condition"), *item.trail]
        faulty = any(
            m.kind == "condition" and not m.negated and self._lexicon.conditions[m.id].state != "ok"
            for m in told
        )
        fine = any(m.kind == "cue" and m.detail == "ok" and not m.negated for m in item.trail)
        after = self._scene.tokens[part.mark.last : part.mark.last + _PIECE_REACH]
        again = any(singular(token.text) == singular(word) for token in after)
        return component if not faulty or fine or again or recent[0].state == "ok" else before

    def _is_plural(self, part: Part, component: str) -> bool:
        """Whether several are named: "struts"; what is always told as a set ("pads") says nothing by it."""
        word = self._scene.tokens[part.mark.last - 1].text
        by_set = self._lexicon.components[component].sets == "axle set"
        return word.endswith("s") and not word.endswith(("'s", "ss")) and not by_set

    def _complete(self, draft: _Draft, note: Note, part: Part, saying: Saying, *, first_saying: bool) -> None:
        """What a part's note takes from the talk before it."""
        item = draft.item
        if saying.grammar("same"):
            self._like_before(note, draft.notes)
        bare = note.state is None and note.action is None
        if bare and draft.ordered:
            note.action = self._lexicon.components[note.component].advice
        if draft.ordered:
            if note.placed == "carried" and not Place.of([*part.lead, *item.trail]).relatives:
                note.positions, note.placed = (), "none"  # a list is not where the talk was
                note.doubts.pop("positions", None)
            return
        if bare and item.excepted:
            note.state = "defect"  # "all the lights work except the left brake light"
        elif (
            bare
            and first_saying
            and self._is_asked_for(note, part, item)
            and not self._has_work(note.component)
        ):
            note.action = self._lexicon.components[note.component].advice
        if not first_saying and (saying.cues("except") or saying.leaves_out):
            self._except(note, draft.notes)
        if not first_saying and saying.turns_round:
            turn_round(note, draft.notes)
        unpriced = note.action in (None, "diagnose", *UNPRICED_ACTIONS)
        if (
            note.state in (None, "not_checked")
            and unpriced
            and (any(m.detail == "hedge" for m in part.lead) or (bare and self._is_wondered(part, item)))
        ):
            self._suspect(note)
        if note.state == "ok" and saying.advises:
            self._advise_faulty(draft, note, saying)

    def _is_wondered(self, part: Part, item: Item) -> bool:
        """ "Purge valve maybe?": a part, a doubt right behind it, and nothing more."""
        doubts = [m for m in item.trail if m.detail == "hedge" and m.first == part.mark.last]
        return any(self._scene.tokens[m.last - 1].stop for m in doubts)

    @staticmethod
    def _except(note: Note, beside: Sequence[Note]) -> None:
        """ "all good except the left rear", "... that's at two": what is taken out of praise is faulty,
        unless it is itself judged.
        """
        praised = any(n.component == note.component and n.state == "ok" and not n.doubts for n in beside)
        if praised and (note.state is None or note.doubts.get("state") == "reading only"):
            note.state = "defect"
            note.doubts.pop("state", None)

    def _advise_faulty(self, draft: _Draft, note: Note, saying: Saying) -> None:
        """ "nearside's knocking, offside's fine, but do the pair": advice right behind the one that is fine
        is for the faulty one of the two.
        """
        for before in reversed(draft.notes):
            if before.component == note.component and before.state in ("defect", "missing"):
                if before.action is None:
                    before.action = note.action or self._lexicon.components[note.component].advice
                    before.urgency = before.urgency or note.urgency
                    note.action, note.urgency, note.action_positions = None, None, ()
                    if self._means_both(saying):
                        before.action_positions = (*before.positions, *note.positions)
                return

    def _means_both(self, saying: Saying) -> bool:
        """ "do the pair", "replace both": the advice takes in the one that is fine."""
        return orders_pair(saying, self._scene.tokens, self._words) or bool(
            WIDE & set(saying.place.relatives)
        )

    @staticmethod
    def _is_about_all(saying: Saying, note: Note, component: str) -> bool:
        """ "struts are blown, replace both": advice with no place but "both", after a fault without one."""
        place = saying.place
        wide = bool(place.relatives) and not place.absolute and not place.qualifiers
        faulty = note.component == component and note.state in ("defect", "missing")
        return wide and saying.advises and not saying.states and faulty and not note.positions

    def _like_before(self, note: Note, here: Sequence[Note]) -> None:
        """ "... too, same thing", "and so is the right": what was said of the part before holds for this one.

        ``here`` are the notes of the same statement, which go before those of the talk.
        """
        told = (*reversed(here), *reversed(self._scene.notes))
        telling = (n for n in told if n.component == note.component)
        before = next((n for n in telling if n.says_something), None) or next(
            (n for n in reversed(self._scene.recent) if n.says_something), None
        )
        if before is None:
            return
        if note.state is None:
            note.state, note.conditions = before.state, list(before.conditions)
        if note.action is None and note.state == before.state:
            note.action, note.urgency = before.action, note.urgency or before.urgency
        elsewhere = set(note.positions).isdisjoint(before.positions)
        one_place = note.component == before.component and len(note.positions) == 1
        if one_place and elsewhere and not note.measures:  # "left has three mil, the right has the same"
            note.measures = read_at(before.measures, note.positions[0])

    def _suspect(self, note: Note) -> None:
        """ "it's wet there, may well be the rear main seal": the doubted part takes the condition just
        said.
        """
        note.state = "suspect"
        for before in reversed(self._scene.recent):
            if before.clause == self._scene.clause and before.state == "defect":
                note.conditions = list(before.conditions)
                note.ranges.extend(before.ranges)
                before.withdrawn = True
                return

    def _name_cause(self, note: Note) -> None:
        """ "window won't come up, that's the regulator": the part named as what is wrong takes the fault just
        told, with its place; a mere symptom, or a fault told of the whole, is not kept beside it.
        """
        if note.state is not None:
            return
        symptom_told, self._scene.symptom = self._scene.symptom, None
        if symptom_told is not None and self._scene.clause - symptom_told.clause <= _SYMPTOM_REACH:
            note.state = "defect"
            note.conditions = list(symptom_told.conditions)
            note.ranges.append(symptom_told.span)
            if note.placed != "said" and symptom_told.place.located:  # "a knock up front on the right"
                entry = self._lexicon.components[note.component]
                note.positions = resolve(entry, symptom_told.place, around=Place(), last=()) or note.positions
            return
        before = self._told_fault(note)
        if before is None:
            return
        piece = self._tree.belongs(note.component, before.component)
        terms = [self._lexicon.conditions[c] for c in before.conditions]
        symptom = bool(terms) and all(term.symptom for term in terms)
        if not piece and not symptom:
            return
        note.state = "suspect" if before.state == "suspect" else "defect"
        note.conditions = list(before.conditions)
        if note.placed != "said" and before.positions:
            place = as_place(before.positions)
            note.positions = resolve(self._lexicon.components[note.component], place, around=Place(), last=())
            note.placed = before.placed
        note.ranges.extend(before.ranges)
        note.urgency = note.urgency or before.urgency
        before.withdrawn = True
        before.merged = note

    def _told_fault(self, note: Note) -> Note | None:
        """The fault told right before that a part of the same kind of things can be the cause of."""
        system = self._lexicon.components[note.component].system
        for before in self._scene.latest():
            if before.withdrawn or self._scene.clause - before.last_told > 1:
                continue
            if before.state not in ("defect", "missing", "suspect"):
                continue
            if before.action is not None or self._tree.same_line(before.component, note.component):
                return None
            if self._tree.belongs(before.component, note.component):
                return None
            near = self._lexicon.components[before.component].system == system
            if near or self._tree.belongs(note.component, before.component):
                return before
        return None

    def _is_absent(self, part: Part, item: Item) -> bool:
        """ "No fire extinguisher, needs one": "no" opens the sentence or advice follows; not "not the
        boot".
        """
        at = part.mark.first - 1
        denied = any(m.detail == "negation" and m.last == part.mark.first for m in part.lead)
        if not denied or self._scene.tokens[at].text not in self._words.absence:
            return False
        opens = at <= 0 or self._scene.tokens[at - 1].stop
        return opens or any(m.kind == "cue" and m.detail == "advice" for m in item.trail)

    def _is_asked_for(self, note: Note, part: Part, item: Item) -> bool:
        """Whether a part that is only named is an order by what stands around it."""
        return self._is_therefore(item) or self._is_ordered(part, item) or self._is_put_on(note, part)

    def _is_put_on(self, note: Note, part: Part) -> bool:
        """ "Belt's cracked, get a belt on it.": the same part, just told to be faulty, and "on it" behind."""
        last = part.mark.last
        behind = [token.text for token in self._scene.tokens[last : last + 2]]
        return bool({joined(behind), *behind[:1]} & self._words.order_trail) and any(
            n.component == note.component and n.state in ("defect", "missing") and n.action is None
            for n in self._scene.recent
            if not n.withdrawn
        )

    def _is_ordered(self, part: Part, item: Item) -> bool:
        """ "Pair of rear springs." after a broken one: a number of parts and nothing else said is an
        order.
        """
        counted = any(m.detail == "quantity" or m.kind == "quantity" for m in part.lead)
        wrong = any(n.state in ("defect", "missing") for n in self._scene.recent)
        return counted and wrong and all(m.kind == "grammar" for m in item.trail)

    def _is_therefore(self, item: Item) -> bool:
        """ "..., so alignment when it's back together": what follows "so" with nothing said of it is
        advice.
        """
        lead = item.parts[0].lead
        if any(m.detail in ("copula", "pronoun", "existential") for m in lead) or not self._scene.recent:
            return False
        near = self._scene.tokens[max(0, item.first - 1) : item.first + 1]
        return any(token.text in self._words.therefore for token in near)

    # -- an item's notes together -----------------------------------------------------------------------

    def _joined(self, notes: Sequence[Note]) -> list[Note]:
        """Readings split over the two sides of an axle, and alike in all else, are one statement about
        both.
        """
        kept: list[Note] = []
        for note in notes:
            twin = kept[-1] if kept else None
            if twin is None or not self._is_alike(twin, note):
                kept.append(note)
                continue
            if not expand(note.positions) <= expand(twin.positions):
                added = tuple(p for p in note.positions if p not in twin.positions)
                twin.positions = (*twin.positions, *added)
            twin.measures.extend(note.measures)
            twin.limits_said.extend(note.limits_said)
        return kept

    def _is_alike(self, one: Note, two: Note) -> bool:
        if one.component != two.component or not one.positions or not two.positions:
            return False
        by_axle = self._lexicon.components[one.component].sets == "axle set"
        if by_axle and one.state != "ok" and axles_of(one.positions) != axles_of(two.positions):
            return False
        return _judgement(one) == _judgement(two)

    def _share_misfits(self, item: Item, notes: Sequence[Note]) -> None:
        """A condition that fits none of the item's parts is kept on them, in doubt, rather than lost."""
        marks = [m for m in (*item.parts[0].lead, *item.trail) if m.kind == "condition" and not m.negated]
        note = notes[-1]
        for mark in marks:
            term = self._lexicon.conditions[mark.id]
            if term.state == "ok" or (term.symptom and names_reading(item.trail, mark)):
                continue
            if note.state == "ok" and any(_praises(m) and m.first >= mark.last for m in item.trail):
                continue  # "some rust on the edge, that's normal"
            twins = [m for m in marks if (m.first, m.last) == (mark.first, mark.last)]
            if any(self._fits(twin, n) for twin in twins for n in notes):
                continue
            if note.state is not None and "any" not in term.fits:
                continue  # enough is said of it that does fit
            note.conditions.append(term.id)
            if mark.hedged:
                note.state = "suspect"
            elif note.state in (None, "ok"):
                note.state = term.state
            note.doubts["conditions"] = "does not usually fit"

    def _fits(self, condition: Mark, note: Note) -> bool:
        return self._lexicon.fits(self._lexicon.conditions[condition.id].fits, note.component)


def _own_place(draft: _Draft, part: Part) -> Place:
    """The place in the part's own words, or the first part's where the list shares it."""
    own = Place.of(part.lead)
    if part is draft.item.parts[0]:
        return own
    if own.located or any(m.detail == "determiner" for m in part.lead):
        draft.shares_place = False  # "front pads, rear pads, an alignment": each for itself
    if own.located or not draft.shares_place:
        return own
    shared = Place.of(draft.item.parts[0].lead)
    shared.qualifiers = own.qualifiers
    return shared


def _is_rejected(part: Part, item: Item) -> bool:
    """ "not strut, it's a shock": a negation right before the part and nothing said of it."""
    negation = any(m.kind == "cue" and m.detail == "negation" for m in part.lead)
    if negation and _is_other(part, item):
        return True
    said = any(m.kind in ("condition", "action") for m in (*part.lead, *item.trail))
    return negation and not said and not any(m.detail == "ok" for m in item.trail)


def _is_other(part: Part, item: Item) -> bool:
    """ "not a strut, a shock, and it's leaking": denied right before a part that is put in its place."""
    at = item.parts.index(part)
    following = item.parts[at + 1 : at + 2]
    return bool(following) and not any(
        m.detail in ("negation", "list", "conjunction", "copula", "pronoun") for m in following[0].lead
    )


def _praises(mark: Mark) -> bool:
    return mark.kind == "cue" and mark.detail == "ok" and not mark.negated


def _judgement(note: Note) -> tuple[object, ...]:
    return (note.state, note.conditions, note.action, note.urgency, note.place)


def _spare_fine(notes: Sequence[Note]) -> None:
    """ "left is leaking, right is dry, replace both": the work covers the fine one, on which none is due."""
    for faulty in notes:
        if faulty.state not in ("defect", "missing") or faulty.action in (None, *UNPRICED_ACTIONS):
            continue
        for fine in notes:
            same = fine.component == faulty.component and fine.action == faulty.action
            if same and fine.state == "ok" and not fine.doubts and fine.positions:
                fine.action, fine.urgency, fine.action_positions = None, None, ()
                covered = (*(faulty.action_positions or faulty.positions), *fine.positions)
                faulty.action_positions = tuple(dict.fromkeys(covered))


def _take_out_exceptions(item: Item, notes: Sequence[Note]) -> None:
    """ "all four are good except the left rear": the exception leaves the rule's places."""
    if not any(m.kind == "cue" and m.detail == "except" for m in item.trail) or len(notes) < 2:
        return
    rule = notes[0]
    if any(n.place for n in notes[1:]):
        return  # "apart from the inside one on the right": not the whole corner
    out = expand([p for n in notes[1:] for p in n.positions])
    left = tuple(p for p in CORNERS if p in expand(rule.positions) - out)
    if out and left and out < expand(rule.positions):
        rule.positions = left
