"""Statements that name no part: headings, amendments, "same again", wider advice."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy

from voicecheck.findings.antecedents import Antecedents
from voicecheck.findings.filling import Filler, orders_pair, share_limits
from voicecheck.findings.items import ClauseItems
from voicecheck.findings.notes import Note, Saying, is_state, read_at, split_sayings, turn_round
from voicecheck.findings.noting import Noter
from voicecheck.findings.places import Place, as_place, axles_of, on_same_axle, resolve, single_axle
from voicecheck.findings.remedies import WIDE, Remedies
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import Scene, Symptom
from voicecheck.records.reading import Mark
from voicecheck.records.vocabulary import expand

_NUMBERED = ("bank", "cylinder")  # qualifiers that tell parts of one engine apart
_JUDGED = ("condition", "action", "quantity", "place")


class Followups:
    """Made anew for each reading."""

    def __init__(
        self, rules: Rules, scene: Scene, *, filler: Filler, noter: Noter, remedies: Remedies
    ) -> None:
        self._rules = rules
        self._components = rules.lexicon.components
        self._scene = scene
        self._filler = filler
        self._noter = noter
        self._remedies = remedies
        self._antecedents = Antecedents(rules, scene)

    def take(self, cut: ClauseItems) -> None:
        """The words before a clause's first part: a heading for what follows, or more about what went
        before.
        """
        saying = Saying(cut.head)
        span = (cut.head_first, cut.head_last)
        saying = self._under_heading(saying)
        if saying.grammar("rest") or self._is_topic(saying):
            self._scene.dismiss(*span, why="the rest, no part named")
            return
        if self._is_open_symptom(saying, span):
            told = list(dict.fromkeys(m.id for m in saying.of_kind("condition") if not m.negated))
            self._scene.symptom = Symptom(told, span, self._scene.clause, saying.place)
            self._scene.dismiss(*span, why="a symptom, no part named")
            return
        if self._clears_denied(saying):
            self._by_reading(self._scene.denied, saying, span)
            return
        saying = self._as_order(saying, span)
        kind = bool(saying.place.qualifiers) and bool(self._scene.recent) and self._other_kind(saying)
        again = bool(saying.grammar("same")) and (saying.place.located or kind)
        if again and saying.advises and _is_only_wide(saying.place):
            again = False  # "they're all the same age, so fit a set"
        tells = saying.states or saying.advises or saying.cues("urgency", "advice", "no_action")
        if saying.turns_round and self._scene.standing and self._scene.recent[-1].says_something:
            before = self._scene.standing
            self._noter.keep_beside(before[-1], saying, span)
            turn_round(self._scene.recent[-1], before)
            return
        if not tells and again and self._scene.recent:
            self._same_again(saying, span)
        elif not tells:
            if saying.place.located:
                self._heading(saying.place, span, before_parts=bool(cut.items))
                if not cut.items:
                    self._scene.headed = saying.of_kind("place")
                    self._scene.headed_clause = self._scene.clause
        elif not self._scene.recent and not self._implied(saying):
            if saying.place.located and saying.states:
                self._heading(saying.place, span, before_parts=bool(cut.items))
        elif again:
            self._same_again(saying, span)
        elif saying.states and not self._antecedents.fitting(saying) and (implied := self._implied(saying)):
            self._by_reading(implied, saying, span)
        else:
            for part in split_sayings(self._scene.tokens, saying.marks):
                self._amend(part, span)

    def _under_heading(self, saying: Saying) -> Saying:
        """ "Rotor. Right front. Grooved.": the place said as a sentence of its own, between a part and what
        is found of it, is that of the statement.
        """
        scene = self._scene
        if scene.headed_clause != scene.clause - 1 or not saying.states or saying.place.located:
            return saying
        recent = scene.standing
        if not recent or len({n.component for n in recent}) > 1:
            return saying
        note = recent[-1]
        blank = not note.says_something and note.placed != "said" and note.clause == scene.clause - 2
        with_place = Saying([*scene.headed, *saying.marks])
        if not blank and (note.placed != "said" or scene.clause - note.last_told > 2):
            return saying
        return with_place if self._antecedents.fits(note, with_place) else saying

    def _as_order(self, saying: Saying, span: tuple[int, int]) -> Saying:
        """ "Pair of those.", "a set of them, please": a number of what was just told faulty, and nothing
        else said, is an order.
        """
        counts = saying.cues("quantity")
        judged = [m for m in saying.marks if m.kind in _JUDGED and m.kind != "quantity"]
        if len(counts) != 1 or judged or saying.advises or saying.cues("negation", "no_action", "hedge"):
            return saying
        told = [m for m in saying.grammar("plural_pronoun") if m.last >= counts[0].last]
        ends = bool(told) and (told[-1].last == span[1] or self._scene.tokens[told[-1].last - 1].comma)
        if not ends or any(m.detail in ("copula", "existential", "would") for m in saying.marks):
            return saying
        latest = next(iter(self._scene.latest()), None)
        near = latest is not None and self._scene.clause - latest.last_told <= 1
        if latest is None or not near or latest.state not in ("defect", "missing") or latest.action:
            return saying
        return Saying([*saying.marks, counts[0].model_copy(update={"detail": "advice", "id": ""})])

    def _clears_denied(self, saying: Saying) -> bool:
        """ "It's not the compressor. That's pumping fine.": "that" is the part just said not to be it."""
        scene = self._scene
        good = any(not m.negated for m in saying.cues("ok")) and not saying.of_kind("condition")
        just = bool(scene.denied) and scene.denied_clause == scene.clause - 1
        return good and just and bool(saying.grammar("pronoun"))

    def _is_topic(self, saying: Saying) -> bool:
        """ "Oh, the noise.": a symptom named with an article, and nothing said of it."""
        judged = [m for m in saying.marks if m.kind in _JUDGED]
        if len(judged) != 1 or judged[0].kind != "condition" or judged[0].first == 0:
            return False
        before = self._scene.tokens[judged[0].first - 1]
        return before.text in self._rules.words.definite and not saying.grammar("copula")

    def _is_open_symptom(self, saying: Saying, span: tuple[int, int]) -> bool:
        """ "There's a knock from the back.", "Clunk over bumps.": something heard or felt that opens a
        sentence after all was said of the part before; its part is yet to be named.
        """
        faults = [m for m in saying.of_kind("condition") if not m.negated]
        terms = [self._rules.lexicon.conditions[m.id] for m in faults]
        if not terms or saying.advises:
            return False
        leaked = self._names_fluid(saying, faults[0])
        if not leaked and not all(term.symptom for term in terms):
            return False
        if any(m.first < faults[0].first for m in saying.grammar("pronoun", "plural_pronoun", "pronoun_one")):
            return False
        place = saying.place
        elsewhere = bool(place.sides or place.positions or place.qualifiers) and bool(self._scene.recent)
        if not leaked and elsewhere:
            return False  # "there's a hum on the right": of the part before, elsewhere
        opens = saying.marks[0] is faults[0] and span[1] - span[0] > faults[0].last - faults[0].first
        named = bool(saying.grammar("existential")) or opens
        recent = self._scene.recent
        return named and all(n.state is not None for n in recent)

    def _names_fluid(self, saying: Saying, fault: Mark) -> bool:
        """ "There's oil running down the back of the block": a fluid right before the fault comes out."""
        before = [m for m in saying.of_kind("component") if m.last == fault.first]
        return any(self._components[m.id].advice == "service" for m in before)

    # -- places -----------------------------------------------------------------------------------------

    def _heading(self, place: Place, span: tuple[int, int], *, before_parts: bool) -> None:
        """ "Left front.": the place of what follows, or of the parts just named."""
        recent = self._scene.recent
        if place.relatives and not place.absolute:
            if recent and not before_parts and recent[-1].clause >= self._scene.clause - 1:
                self._widen(recent[-1], place, span)
            return
        blank = recent and all(not n.says_something and n.placed != "said" for n in recent)
        if blank and not before_parts and recent[-1].clause == self._scene.clause:
            for note in recent:
                entry = self._components[note.component]
                note.positions = resolve(entry, place, around=Place(), last=())
                note.placed = "said"
            return
        around = self._scene.around
        if place.sides and not place.axles and not place.positions and around.axles and not around.sides:
            place = Place(sides=place.sides, axles=around.axles)
        if len(set(place.axles)) > 1 or len(set(place.sides)) > 1:
            place = Place()  # "front to back": the whole car
        self._scene.around = place
        self._scene.around_clause = self._scene.clause
        self._scene.carried = Place()
        self._scene.dismiss(*span, why="where")

    def _widen(self, note: Note, place: Place, span: tuple[int, int]) -> None:
        """ "both of them", "all round", said after the part."""
        entry = self._components[note.component]
        axle = single_axle(note.positions)
        here = Place(axles=axle, relatives=place.relatives) if axle else place
        positions = resolve(entry, here, around=self._scene.around_of(entry), last=note.positions)
        if positions:
            note.positions = positions
            note.placed = "said"
        note.ranges.append(span)

    def _same_again(self, saying: Saying, span: tuple[int, int]) -> None:
        """ "same on the other side": the notes last made, at the place said now."""
        told = [n for n in self._scene.statement if not n.withdrawn and n.says_something]
        source = told or self._scene.recent
        made = [self._copy_at(before, saying.place, span) for before in source]
        if all(map(_is_widened, source, made)):
            for before, there in zip(source, made, strict=True):  # advice that follows is for both
                before.positions = (*before.positions, *there.positions)
                before.measures.extend(there.measures)
                before.ranges.append(span)
                before.touched = self._scene.clause
            self._scene.recent = list(source)
        else:
            self._scene.notes.extend(made)
            self._scene.recent = made
        both = [p for n in (*source, *made) for p in n.positions if " " in p]
        if both:
            self._scene.around = Place(positions=list(dict.fromkeys(both)))

    def _other_kind(self, saying: Saying) -> bool:
        """ "same for the lower" after the upper hose: a qualifier that names another kind of the part."""
        told = self._scene.recent[-1].component
        return self._rules.tree.kind_with(told, saying.place.qualifiers) is not None

    def _copy_at(self, before: Note, place: Place, span: tuple[int, int]) -> Note:
        """ "same on the other side": all that was said of the part, at the place said now."""
        note = copy(before)
        note.ranges = [*before.ranges, span]
        note.conditions = list(before.conditions)
        note.doubts = dict(before.doubts)
        if place.sides and not place.axles:
            axle = [p.split()[0] for p in before.positions if " " in p][:1]
            place = Place(sides=place.sides, axles=axle)
        kind = self._rules.tree.kind_with(before.component, place.qualifiers)
        if kind is not None:
            note.component = kind
        entry = self._components[note.component]
        note.positions = resolve(entry, place, around=Place(), last=before.positions)
        if not place.located:
            note.positions = before.positions
        where = note.positions[0] if len(note.positions) == 1 else None
        note.measures = read_at(before.measures, where)
        note.placed = "said"
        note.done_with = None
        return note

    # -- readings whose unit names the part -------------------------------------------------------------

    def _implied(self, saying: Saying) -> str | None:
        """The part that words name by themselves: thirty-seconds are of a tyre's tread, and what is bald at
        the left rear is the tyre.
        """
        if saying.place.absolute:
            for mark in saying.grammar("names_part"):
                return mark.id
        for mark in saying.of_kind("quantity"):
            part = self._rules.gauge.only_part_in(mark.unit)
            if part is not None:
                return part
        return None

    def _by_reading(self, component: str, saying: Saying, span: tuple[int, int]) -> None:
        for part in split_sayings(self._scene.tokens, saying.marks):
            note = self._noter.make(component, part, own=Place(), place=part.place)
            note.ranges.append(span)
            note.clause = self._scene.clause
            if part.place.located:
                self._scene.around = as_place(note.positions)
                self._scene.around_clause = self._scene.clause
            self._remedies.keep([note])

    # -- more about what was spoken of ------------------------------------------------------------------

    def _amend(self, saying: Saying, span: tuple[int, int]) -> None:
        """States, readings, places and advice about the parts last spoken of."""
        targets = self._antecedents.targets(saying)
        place = saying.place
        if all_told := self._antecedents.all_told(saying):
            targets, saying = all_told, Saying([m for m in saying.marks if m.kind != "place"])
            place = saying.place
        if saying.states and self._is_elsewhere(targets, saying):
            saying, orders = self._orders_for(targets[-1], saying)
            for kind in self._kinds_told(targets[-1], saying):
                self._noter.keep_beside(targets[-1], kind, span)
            if orders is not None:
                self._advise_beside(targets[-1], orders, span)
            return
        if saying.states and place.located and not _only_of_all(saying):
            for note in targets:
                self._noter.move(note, place)
        elif saying.advises and _is_only_wide(place) and len({n.component for n in targets}) > 1:
            saying = Saying(
                [m for m in saying.marks if m.kind != "place"]
            )  # "both need replacing": two parts
        elif place.located and (saying.advises or saying.cues("no_action")):
            self._advise_at(targets, saying, span)
            return
        for note in targets:
            if saying.advises and self._scene.clause - note.last_told > 1:
                note.doubts["action"] = "said later"
            self._filler.fill(note, saying, has_part=False)
            note.touched = self._scene.clause
            note.ranges.append(span)
        if saying.cues("limit"):
            share_limits([*targets, *(n for n in self._scene.latest() if n.clause >= self._scene.clause - 2)])

    def _orders_for(self, faulty: Note, saying: Saying) -> tuple[Saying, Saying | None]:
        """ "the other side's fine, but I'd do them as a pair": what is fine is not what the work is for,
        where the fault told before has none yet. The words without the order, and the order.
        """
        conditions = self._rules.lexicon.conditions
        bad = any(not m.negated and conditions[m.id].state != "ok" for m in saying.of_kind("condition"))
        waits = faulty.state in ("defect", "missing") and faulty.action is None
        good = saying.cues("ok") or saying.of_kind("condition")
        orders = [m for m in (*saying.of_kind("action"), *saying.cues("advice", "urgency")) if not m.negated]
        if bad or not waits or not good or not saying.advises:
            return saying, None
        start = min(m.first for m in orders)
        if any(is_state(m) and m.first >= start and m not in orders for m in saying.marks):
            return saying, None
        told = Saying([m for m in saying.marks if m.first < start])
        return told, Saying([m for m in saying.marks if m.first >= start])

    def _advise_beside(self, faulty: Note, orders: Saying, span: tuple[int, int]) -> None:
        """The order behind what is fine: for the fault told before, or for both where it takes in two."""
        fine = self._scene.recent[-1]
        here = Saying([m for m in orders.marks if m.kind != "place"])
        self._filler.fill(faulty, here, has_part=True)
        faulty.touched = self._scene.clause
        faulty.ranges.append(span)
        wide = bool(WIDE & set(orders.place.relatives))
        wide = wide or orders_pair(orders, self._scene.tokens, self._rules.words)
        if wide and faulty.action is not None and fine.positions:
            faulty.action_positions = tuple(dict.fromkeys((*faulty.positions, *fine.positions)))

    def _is_elsewhere(self, targets: Sequence[Note], saying: Saying) -> bool:
        """ "the left one's dry", "the upper's fine": of another such part than the one just told of."""
        place = saying.place
        if targets and self._rules.tree.kind_with(targets[-1].component, place.qualifiers) is not None:
            return True
        numbered = [q for q in place.qualifiers if q.split()[0] in _NUMBERED]
        if targets and numbered:  # "bank two, just a sweat"
            there = [q for q in targets[-1].place if q.split()[0] in _NUMBERED]
            return bool(there) and not set(there) & set(numbered)
        told = any(note.says_something or note.placed == "said" for note in targets)
        return place.located and not _only_of_all(saying) and told

    def _kinds_told(self, note: Note, saying: Saying) -> list[Saying]:
        """ "passenger side, upper and lower, both tight": one saying for each kind of the part."""
        qualifiers = saying.of_kind("place", "qualifier")
        kinds = {m.id: self._rules.tree.kind_with(note.component, [m.id]) for m in qualifiers}
        entry = self._components[note.component]
        told = {kind or (entry.id if id_ in entry.place else None) for id_, kind in kinds.items()}
        if len(kinds) < 2 or len(told - {None}) < 2:
            return [saying]
        rest = [m for m in saying.marks if m not in qualifiers]
        if saying.place.sides or saying.place.positions:  # "both": the two kinds, and not the two sides
            rest = [m for m in rest if m.kind != "place" or m.id not in WIDE]
        return [Saying([*rest, next(m for m in qualifiers if m.id == id_)]) for id_ in kinds]

    def _advise_at(self, targets: list[Note], saying: Saying, span: tuple[int, int]) -> None:
        """Advice with a place of its own: for the note at that place, or beyond the place of the defect."""
        here = Saying([m for m in saying.marks if m.kind != "place"])
        there = self._there(targets, saying.place)
        if there is not None:
            self._filler.fill(there, here, has_part=True)
            there.ranges.append(span)
        elif targets:
            self._advise_wider(targets[-1], saying.place, here, span)

    def _there(self, targets: Sequence[Note], place: Place) -> Note | None:
        """ "that left front can run a while": the note of the part at just that place, if there is one."""
        if not targets or _is_only_wide(place):
            return None
        entry = self._components[targets[-1].component]
        place = on_same_axle(place, targets[-1].positions)
        positions = expand(resolve(entry, place, around=Place(), last=targets[-1].positions))
        for note in reversed(self._scene.notes):
            if note.component == entry.id and positions and expand(note.positions) == positions:
                return note
        return None

    def _advise_wider(self, note: Note, place: Place, saying: Saying, span: tuple[int, int]) -> None:
        """ "replace both", "do the left": advice whose place differs from the defect's."""
        entry = self._components[note.component]
        place = on_same_axle(place, note.positions)
        positions = resolve(entry, place, around=self._scene.around_of(entry), last=note.positions)
        faulty = [
            n
            for n in self._scene.recent
            if n.component == note.component and n.state in ("defect", "missing")
        ]
        note = faulty[-1] if faulty else note
        self._filler.fill(note, saying, has_part=True)
        note.ranges.append(span)
        if positions and set(positions) != set(note.positions):
            note.action_positions = positions


def _is_widened(before: Note, there: Note) -> bool:
    """Whether the same is told of the other side of one axle: one note is of both."""
    here, other = expand(before.positions), expand(there.positions)
    same = before.component == there.component and before.place == there.place
    apart = bool(here and other) and not here & other and axles_of(here) == axles_of(other)
    return same and apart and not before.action_positions


def _only_of_all(saying: Saying) -> bool:
    """ "they're all good": no place, only that all are meant, and no condition that could be elsewhere."""
    return _is_only_wide(saying.place) and not saying.of_kind("condition")


def _is_only_wide(place: Place) -> bool:
    """ "both", "all of them" without an axle or a side: no other place than the part's own."""
    return bool(WIDE & set(place.relatives)) and not place.absolute
