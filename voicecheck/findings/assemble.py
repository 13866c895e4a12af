"""Carries the talk: what "it", "the left one", "both", "same again" and "no, sorry" refer to.

Reads clauses in order and keeps the notes they make, the notes last spoken of (``recent``) and the place talked
about (``around``).
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, field

from voicecheck.findings.items import ClauseItems, Cutter, Item, Part
from voicecheck.findings.notes import Note, Saying, is_state, names_reading, split_sayings
from voicecheck.findings.places import Place, has_sides, own_axles, resolve, sits
from voicecheck.findings.readings import Gauge, limit_marks, rated_marks, reading_marks
from voicecheck.findings.state import Statement, Weigher
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.finding import Measure
from voicecheck.records.reading import Clause, Mark, Reading, Token
from voicecheck.records.vocabulary import CORNERS, UNPRICED_ACTIONS, Position, Unit, expand

_WHEEL_END = {"brakes", "steering", "suspension", "wheels_tyres"}  # looked at together, corner by corner
_MEMORY = 6  # notes back to which a bare "the boot" may refer
_FEW = 3  # a name with more kinds than this says too little by itself
_LIST_WIDE = {"both", "all", "each"}


@dataclass(slots=True)
class Talk:
    """Tokens that were understood as talk, and why."""

    first: int
    last: int
    why: str


@dataclass(slots=True)
class _Scene:
    """What the talk is about at this moment."""

    recent: list[Note] = field(default_factory=list)  # the notes of the last item
    statement: list[Note] = field(default_factory=list)  # the notes since the last new subject, for "those"
    around: Place = field(default_factory=Place)
    around_clause: int = -1  # where the place talked about was said
    carried: Place = field(default_factory=Place)  # the last place said of a part
    carried_system: str = ""


class Assembler:
    """Turns one reading into notes. Made anew for each reading."""

    def __init__(self, lexicon: Lexicon, reading: Reading) -> None:
        self._lexicon = lexicon
        self._tokens = reading.tokens
        self._clauses = reading.clauses
        self._cutter = Cutter(lexicon)
        self._weigher = Weigher(lexicon, reading.tokens)
        self._gauge = Gauge(lexicon)
        self.notes: list[Note] = []
        self.talk: list[Talk] = []
        self._scene = _Scene()
        self._clause_number = 0
        self._general: dict[str, bool] = {}
        self._times = {term.said for term in lexicon.grammar if term.kind == "time"}

    def run(self) -> list[Note]:
        """All notes, in the order of speech; withdrawn ones are marked."""
        for number, clause in enumerate(self._clauses):
            self._clause_number = number
            if clause.mood != "said":
                self.talk.append(Talk(clause.first, clause.last, clause.mood))
                if clause.mood == "reported":
                    self._mention(clause)
                continue
            self._read(clause)
        return self.notes

    # -- one clause -----------------------------------------------------------------------------------------

    def _read(self, clause: Clause) -> None:
        correction = next((m for m in clause.marks if m.kind == "cue" and m.detail == "correction"), None)
        if correction is not None and self._is_idle(clause, correction):
            correction = None
        withdrawal = next((m for m in clause.marks if m.kind == "cue" and m.detail == "withdrawal"), None)
        if correction is not None:
            before = _part_of(clause, clause.first, correction.first)
            if before.marks:
                self._read_plain(before, correcting=False)
            after = _part_of(clause, correction.last, clause.last)
            if any(m.kind == "cue" and m.detail in ("correction", "withdrawal") for m in after.marks):
                self._read(after)
            elif any(m.kind != "grammar" for m in after.marks):
                self._read_plain(after, correcting=True)
            return
        if withdrawal is not None:
            before = _part_of(clause, clause.first, withdrawal.first)
            after = _part_of(clause, withdrawal.last, clause.last)
            if any(m.kind != "grammar" for m in before.marks):
                self._read_plain(before, correcting=False)
            self._withdraw(after)
            return
        self._read_plain(clause, correcting=False)

    def _mention(self, clause: Clause) -> None:
        """ "Customer says the air conditioning is warm. It's low on charge": the part that "it" is."""
        cut = self._cutter.cut(self._tokens, clause)
        if cut.items:
            note = Note(component=self._specific(cut.items[-1].parts[-1]), clause=self._clause_number)
            self.notes.append(note)
            self._scene.recent = [note]
            self._scene.statement = [note]

    def _is_idle(self, clause: Clause, correction: Mark) -> bool:
        """ "Sorry, where was I": nothing follows in the clause that could correct anything."""
        return not any(m.kind != "grammar" and m.first >= correction.last for m in clause.marks)

    def _read_plain(self, clause: Clause, *, correcting: bool) -> None:
        cut = self._cutter.cut(self._tokens, clause)
        if _says_anything(cut.head):
            if correcting and not cut.items:
                self._correct(Saying(cut.head), (cut.head_first, cut.head_last))
            else:
                self._orphan(cut)
        elif not cut.items:
            return
        if cut.items:
            self._scene.statement = [] if not correcting else self._scene.statement
        for item in cut.items:
            self._item(item, correcting=correcting)
        if len(cut.items) > 1:
            self._shared_advice(cut.items[-1])

    def _shared_advice(self, last: Item) -> None:
        """ "air filter's dirty, cabin filter's dirty, replace both": advice at the end for the parts before it."""
        marks = last.trail
        wide = any(m.detail == "plural_pronoun" for m in marks) or any(
            m.kind == "place" and m.id in _LIST_WIDE for m in marks
        )
        here = [n for n in self._scene.statement if n.clause == self._clause_number and not n.withdrawn]
        if not wide or not here or here[-1].action in (None, *UNPRICED_ACTIONS):
            return
        final = here[-1]
        for note in here[:-1]:
            if (
                note.component != final.component
                and note.state in ("defect", "missing")
                and note.action is None
            ):
                note.action, note.urgency = final.action, note.urgency or final.urgency

    # -- statements with a part -----------------------------------------------------------------------------

    def _item(self, item: Item, *, correcting: bool) -> None:
        first = item.parts[0]
        aside = "where it lands" if self._is_only_where(item) else "when" if self._is_when(item) else ""
        if aside:
            self.talk.append(Talk(item.first, item.trail_first, why=aside))
            if _says_anything(item.trail):
                self._orphan(ClauseItems(item.trail, item.trail_first, item.last, []))
            return
        lead_place = Place.of(first.lead)
        sayings = split_sayings(self._tokens, item.trail)
        notes: list[Note] = []
        rejected: list[str] = []
        shares_place = True
        for part in item.parts:
            component = self._specific(part)
            if self._is_rejected(part, item):
                if correcting:
                    rejected.append(component)
                    continue
                if self._is_absent(part, item):
                    notes.append(self._absent(component, part))
                elif part is not first or len(item.parts) == 1:
                    continue
            own = Place.of(part.lead)
            if part is not first and (own.located or any(m.detail == "determiner" for m in part.lead)):
                shares_place = False  # "front pads, rear pads, an alignment": each for itself
            if not own.located and part is not first and shares_place:
                own = Place(
                    positions=lead_place.positions, sides=lead_place.sides, axles=lead_place.axles,
                    relatives=lead_place.relatives, qualifiers=own.qualifiers,
                )  # fmt: skip
            shared = [m for m in first.lead if m.kind != "place"] if part is not first else []
            lead_marks = [m for m in part.lead if m.kind != "place"]
            for number, saying in enumerate(sayings):
                lead = [*shared, *lead_marks] if number == 0 else []
                whole = Saying([*lead, *saying.marks])
                if number or part.component == component:
                    component = self._kind_with(component, saying.place.qualifiers) or component
                beside = [n for n in notes if n.component == component and n.positions]
                note = self._note(
                    component,
                    own,
                    whole,
                    saying_place=saying.place,
                    last=beside[-1].positions if beside else None,
                )
                if whole.grammar("same"):
                    self._like_before(note)
                if (
                    note.state is None
                    and note.action is None
                    and number == 0
                    and (self._is_therefore(item) or self._is_ordered(part, item))
                ):
                    note.action = self._lexicon.components[component].advice
                unpriced = note.action in (None, "diagnose", *UNPRICED_ACTIONS)
                if note.state is None and unpriced and any(m.detail == "hedge" for m in part.lead):
                    self._suspected(note)
                notes.append(note)
        if rejected:
            self._replace_rejected(rejected, notes)
        if not notes:
            return
        for_all = any(m.detail == "plural_pronoun" for m in item.trail) and not any(
            is_state(m) for m in item.trail
        )
        if for_all and self._is_general_piece(item.parts[-1].component):
            for note in notes:
                note.ranges.append((item.first, item.last))
            if self._remedy_of_all(notes):
                return
        if len({n.positions for n in notes if n.placed == "said"}) > 1:
            self._scene.carried = Place()  # several places in one statement: none of them is carried on
        self._share_misfits(item, notes)
        notes = self._joined(notes)
        self._except(item, notes)
        for note in notes:
            note.ranges.append((item.first, item.last))
            note.clause = self._clause_number
        if correcting:
            self._supersede(notes)
        self._keep(notes)

    def _whole_set(self, component: str) -> str:
        """The inner pad is a pad of the set: what is said of it is said of the set, at its inner place."""
        entry = self._lexicon.components[component]
        parent = self._lexicon.components.get(entry.kind_of or "")
        if entry.place and parent is not None and entry.sets == parent.sets == "axle set":
            return parent.id
        return component

    def _measured_part(self, component: str) -> str:
        """ "Pressures. Left front thirty three": what only names a reading stands for the part that has it."""
        name = self._lexicon.components[component].name
        for term in self._lexicon.measures.values():
            if term.name == name and term.fits[0] in self._lexicon.components:
                return term.fits[0]
        return component

    def _as_spoken_before(self, part: Part, component: str) -> str:
        """ "coil spring ... the bottom coil", "door mirror glass ... a new glass": one word of a name just said."""
        if part.mark.last - part.mark.first != 1:
            return component
        said = self._tokens[part.mark.first].text.removesuffix("'s")
        forms = {said, said.removesuffix("s")}
        entry = self._lexicon.components[component]
        for note in reversed(self._scene.recent):
            before = self._lexicon.components[note.component]
            if note.clause != self._clause_number or before.id == component:
                continue
            words = before.name.split()
            if (
                len(words) > 1
                and forms & set(words)
                and (entry.system != before.system or words[-1] in forms)
            ):
                return before.id
        return component

    def _is_only_where(self, item: Item) -> bool:
        """ "it's running down onto the manifold": a place where something lands, of which nothing is said."""
        lead = item.parts[0].lead
        lands = any(m.detail == "target" for m in lead)
        tied = any(m.detail == "preposition" for m in lead)
        if tied and any(m.kind == "condition" for m in lead):
            gone = [m for m in lead if m.kind == "condition"]
            if all(self._lexicon.conditions[m.id].state == "missing" for m in gone):
                return not any(is_state(m) or m.kind == "action" for m in item.trail)
        verb = [m for m in item.trail if m.kind == "grammar" and m.detail in ("copula", "singular_copula")]
        said_of_it = bool(verb) and verb[0].first == item.trail_first
        return lands and not said_of_it and (bool(self._scene.recent) or not item.trail)

    def _is_when(self, item: Item) -> bool:
        """ "top that up when the pump's in": a time, as long as nothing is found wrong with the part."""
        before = self._tokens[max(0, item.first - 1) : item.parts[0].mark.first]
        timed = any(token.text in self._times for token in before)
        judged = any(m.kind in ("condition", "quantity") for m in item.trail) or any(m.detail == "ok" for m in item.trail)
        return timed and len(item.parts) == 1 and not judged and bool(self._scene.recent)

    def _specific(self, part: Part) -> str:
        """The component that the words really name: "boot on the tie rod end", "the lower one" of two joints."""
        component = part.component
        component = self._as_spoken_before(part, component)
        general = self._is_general_piece(component)
        for note in reversed(self.notes[-_MEMORY:] if general else self._scene.recent):
            if note.withdrawn or note.component == component or part.wholes:
                continue
            line = self._ancestors(note.component)
            if component in line:
                plural = self._tokens[part.mark.last - 1].text.endswith("s")
                # "replace the line" after the cooler line is that line; "the boots" are all of their kind
                nearest = line.index(component) - 1
                if plural:
                    return line[nearest] if nearest > 0 else component
                return note.component
        component = self._whole_set(self._measured_part(component))
        qualifiers = set(Place.of(part.lead).qualifiers)
        wholes = list(part.wholes)
        if not wholes and self._is_general_piece(component):
            for note in self._scene.recent[-1:]:
                part_of = self._lexicon.components[note.component].part_of
                wholes = [note.component, *([part_of] if part_of else [])]
        for whole in wholes:
            piece = self._piece_of(component, whole)
            if piece:
                component = piece
                break
        return self._kind_with(component, sorted(qualifiers)) or component

    def _is_general_piece(self, component: str) -> bool:
        """A bare "boot", "seal", "bushing": general, and the kind of some part's piece."""
        if component not in self._general:
            children = [other for other in self._lexicon.components.values() if other.kind_of == component]
            self._general[component] = len(children) > _FEW or any(c.part_of is not None for c in children)
        return self._general[component]

    def _piece_of(self, piece: str, whole: str) -> str | None:
        family = self._family(whole)
        name = self._lexicon.components[whole].name
        named: str | None = None
        akin: str | None = None
        for other in self._lexicon.components.values():
            if other.id == piece or piece not in self._ancestors(other.id):
                continue
            if other.part_of in family:
                return other.id
            if named is None and other.name.startswith(f"{name} "):
                named = other.id  # "differential fluid" of the differential
            first = other.name.split()[:-1]
            if akin is None and first and first == name.split()[: len(first)]:
                akin = other.id  # "power steering fluid" by the power steering hose
        if named is None and akin is None:
            system = self._lexicon.components[whole].system
            same = [
                o.id for o in self._lexicon.components.values() if o.kind_of == piece and o.system == system
            ]
            akin = same[0] if len(same) == 1 else None  # the only fluid of the brakes
        return named or akin

    def _ancestors(self, component: str) -> list[str]:
        found = [component]
        while (parent := self._lexicon.components[found[-1]].kind_of) is not None and parent not in found:
            found.append(parent)
        return found

    def _family(self, component: str) -> set[str]:
        children = {c.id for c in self._lexicon.components.values() if component in self._ancestors(c.id)}
        return children | set(self._ancestors(component))

    def _is_absent(self, part: Part, item: Item) -> bool:
        """ "No fire extinguisher, needs one": "no" opens the sentence or advice follows; not "not the boot"."""
        named = any(
            m.detail == "negation" and m.last == part.mark.first and self._tokens[m.last - 1].text == "no"
            for m in part.lead
        )
        at = part.mark.first - 1
        opens = at <= 0 or self._tokens[at - 1].stop
        return named and (opens or any(m.kind == "cue" and m.detail == "advice" for m in item.trail))

    def _absent(self, component: str, part: Part) -> Note:
        place = Place.of(part.lead)
        note = Note(component=component, state="missing")
        note.positions = resolve(self._lexicon.components[component], place, around=Place(), last=())
        note.placed = "said" if place.located else "none"
        missing = next((c.id for c in self._lexicon.conditions.values() if c.state == "missing"), None)
        note.conditions = [missing] if missing else []
        return note

    def _is_rejected(self, part: Part, item: Item) -> bool:
        """ "not strut, it's a shock": a negation right before the part and nothing said of it."""
        negation = any(m.kind == "cue" and m.detail == "negation" for m in part.lead)
        return negation and not any(m.kind in ("condition", "action") for m in [*part.lead, *item.trail])

    def _joined(self, notes: list[Note]) -> list[Note]:
        """Readings split over the two sides of an axle, and alike in all else, are one statement about both."""
        kept: list[Note] = []
        for note in notes:
            twin = kept[-1] if kept else None
            alike = (
                twin is not None
                and twin.component == note.component
                and (twin.state, twin.conditions, twin.action, twin.urgency, twin.place)
                == (note.state, note.conditions, note.action, note.urgency, note.place)
                and twin.positions
                and note.positions
                and (
                    self._lexicon.components[note.component].sets != "axle set"
                    or _axles(twin.positions) == _axles(note.positions)
                )
            )
            if twin is not None and alike:
                if not expand(note.positions) <= expand(twin.positions):
                    twin.positions = (
                        *twin.positions,
                        *(p for p in note.positions if p not in twin.positions),
                    )
                twin.measures.extend(note.measures)
                twin.limits_said.extend(note.limits_said)
            else:
                kept.append(note)
        return kept

    @staticmethod
    def _except(item: Item, notes: Sequence[Note]) -> None:
        """ "all four are good except the left rear": the exception leaves the rule's places."""
        if not any(m.kind == "cue" and m.detail == "except" for m in item.trail) or len(notes) < 2:
            return
        rule = notes[0]
        out = set(expand([p for n in notes[1:] for p in n.positions]))
        left = [p for p in CORNERS if p in expand(rule.positions) - out]
        if out and left and out < expand(rule.positions):
            rule.positions = tuple(left)

    def _is_ordered(self, part: Part, item: Item) -> bool:
        """ "Pair of rear springs." after a broken one: a number of parts and nothing else said is an order."""
        counted = any(m.detail == "quantity" or m.kind == "quantity" for m in part.lead)
        wrong = any(n.state in ("defect", "missing") for n in self._scene.recent)
        return counted and wrong and not any(m.kind != "grammar" for m in item.trail)

    def _is_therefore(self, item: Item) -> bool:
        """ "..., so alignment when it's back together": what follows "so" with nothing said of it is advice."""
        lead = item.parts[0].lead
        if any(m.detail in ("copula", "pronoun", "existential") for m in lead) or not self._scene.recent:
            return False
        near = self._tokens[max(0, item.first - 1) : item.first + 1]
        return any(token.text == "so" for token in near)

    def _suspected(self, note: Note) -> None:
        """ "it's wet there, may well be the rear main seal": the doubted part takes the condition just said."""
        note.state = "suspect"
        for before in reversed(self._scene.recent):
            if before.clause != self._clause_number or before.state != "defect":
                continue
            note.conditions = list(before.conditions)
            note.ranges.extend(before.ranges)
            before.withdrawn = True
            break

    def _like_before(self, note: Note) -> None:
        """ "... too, same thing": what was said of the part before holds for this one."""
        before = next(
            (n for n in reversed(self.notes) if n.component == note.component and n.says_something), None
        ) or next((n for n in reversed(self._scene.recent) if n.says_something), None)
        if before is None:
            return
        if note.state is None:
            note.state, note.conditions = before.state, list(before.conditions)
        if note.action is None and note.state == before.state:
            note.action, note.urgency = before.action, note.urgency or before.urgency

    def _note(
        self,
        component: str,
        own: Place,
        saying: Saying,
        *,
        saying_place: Place,
        last: tuple[Position, ...] | None = None,
    ) -> Note:
        entry = self._lexicon.components[component]
        place = saying_place.plus(own) if saying_place.located else own
        note = Note(component=component)
        around = self._around(component)
        if last is None:
            last = self._last_seen() if "same side" in place.relatives else self._last_positions()
        before = self._scene.recent[-1] if self._scene.recent else None
        again = (
            before is not None
            and before.component == component
            and before.positions
            and self._scene.around_clause <= before.clause
            and self._clause_number - before.clause <= 1
        )
        if not place.located and (again or self._is_on_it(saying)):
            note.positions = resolve(entry, _as_place(self._last_positions()), around=Place(), last=())
        else:
            note.positions = resolve(entry, place, around=around, last=last)
        note.placed = "said" if place.located else ("carried" if note.positions else "none")
        same_breath = bool(self._scene.recent) and self._scene.recent[-1].clause == self._clause_number
        if note.placed == "carried" and not self._scene.around.located and not same_breath:
            note.doubts["positions"] = "carried over"
        measured = bool(saying.of_kind("quantity"))
        said = own.qualifiers if measured else [*own.qualifiers, *saying_place.qualifiers]
        note.place = [q for q in dict.fromkeys(said) if q not in entry.place]
        self._fill(note, saying, has_part=True)
        if place.located and sits(entry):
            self._scene.carried = Place(positions=[p for p in note.positions if " " in p],
                                        axles=[p for p in note.positions if p in ("front", "rear")])  # fmt: skip
            self._scene.carried_system = entry.system
            if self._contradicts_around(place):
                self._scene.around = Place()
        return note

    def _last_positions(self) -> tuple[Position, ...]:
        return self._scene.recent[-1].positions if self._scene.recent else ()

    def _last_seen(self) -> tuple[Position, ...]:
        """The last positions with a side in them, for "on that side"."""
        for note in reversed(self.notes):
            if any("left" in p or "right" in p for p in note.positions):
                return note.positions
        return _as_positions(self._scene.around)

    def _is_on_it(self, saying: Saying) -> bool:
        """ "the tire on it", "the bushings in it": where the part before is."""
        return bool(saying.grammar("on_it"))

    def _contradicts_around(self, place: Place) -> bool:
        here, around = place.axis(), self._scene.around.axis()
        return bool(
            (here.axles and around.axles and not set(here.axles) & set(around.axles))
            or (here.sides and around.sides and not set(here.sides) & set(around.sides))
        )

    def _around(self, component: str) -> Place:
        if self._scene.around.located:
            return self._scene.around
        entry = self._lexicon.components[component]
        near = (
            entry.system == self._scene.carried_system
            or {entry.system, self._scene.carried_system} <= _WHEEL_END
        )
        if near and has_sides(entry):
            axles = {p.split()[0] for p in self._scene.carried.positions} | set(self._scene.carried.axles)
            if axles & set(own_axles(entry)):
                return self._scene.carried
        return Place()

    def _fill(self, note: Note, saying: Saying, *, has_part: bool) -> Statement:
        """Put what the saying says into the note; later words stand over earlier ones."""
        quantities = reading_marks(self._tokens, saying)
        limits = limit_marks(saying, quantities)
        rated = rated_marks(self._tokens, quantities)
        taken = {q.first for q in [*limits, *rated]}
        readings = [q for q in quantities if q.first not in taken]
        named = saying.of_kind("measure")
        measures = [m for q in readings if (m := self._measure(note, q, named, saying)) is not None]
        spoken = [
            m for q in limits if q.bound != "~" and (m := self._measure(note, q, named, saying)) is not None
        ]
        said = self._weigher.weigh(note.component, saying, has_reading=bool(measures), strict=True)
        note.measures.extend(measures)
        note.limits_said.extend(spoken)
        if said.state is not None and not (said.state == "ok" and note.state == "defect" and note.conditions):
            only_reading = (
                said.state == "ok" and measures and not saying.cues("ok") and not saying.of_kind("condition")
            )
            stays_doubtful = note.state == "suspect" and said.state == "defect" and said.symptoms_only
            if (note.state is None or not only_reading) and not stays_doubtful:
                note.state = said.state
            if only_reading and note.state == "ok":
                note.doubts.setdefault("state", "reading only")
            else:
                note.doubts.pop("state", None)
        for condition in said.conditions:
            if condition not in note.conditions:
                note.conditions.append(condition)
        if note.state == "ok":
            note.conditions = []
        if said.action is not None:
            note.action = said.action
        elif (
            (
                has_part
                or saying.grammar("pronoun", "plural_pronoun")
                or saying.place.located
                or self._names_again(note, saying)
            )
            and note.action is None
            and saying.cues("advice")
            and note.state in (None, "defect", "missing")
        ):
            if not said.denied and not any(cue.hedged for cue in saying.cues("advice")):
                note.action = self._lexicon.components[note.component].advice
        if said.urgency is not None:
            note.urgency = said.urgency
        note.sublet = note.sublet or said.sublet
        self._reasons(note, saying)
        return said

    def _run_unit(self, component: str) -> Unit | None:
        """The unit last said of the same part: a bare "rears three" after "fronts four mil" is in millimetres."""
        for note in reversed(self.notes[-2 * _MEMORY :]):
            if note.component == component and note.measures:
                return note.measures[-1].unit
        return None

    def _names_again(self, note: Note, saying: Saying) -> bool:
        """ "Needs a bottle" after the washer bottle: advice, and a word of the part's own names behind it."""
        words = {word for name in self._lexicon.components[note.component].names for word in name.split()}
        for cue in saying.cues("advice"):
            following = {token.text for token in self._tokens[cue.last : cue.last + 3]}
            if following & words or following & {"one", "some", "ones"}:
                return True
        return False

    def _measure(self, note: Note, mark: Mark, named: Sequence[Mark], saying: Saying) -> Measure | None:
        if mark.unit is None and (unit := self._run_unit(note.component)) is not None:
            said = mark.model_copy(update={"unit": unit})
            if (
                found := self._gauge.read(note.component, said, named=named, positions=note.positions)
            ) is not None:
                mark = said
                del found
        near = [
            m for m in saying.of_kind("place") if m.detail == "qualifier" and abs(m.first - mark.last) <= 1
        ]
        return self._gauge.read(
            note.component, mark, named=named, positions=note.positions, place=near[0].id if near else ""
        )

    def _reasons(self, note: Note, saying: Saying) -> None:
        for kind, name in (("because", "because"), ("otherwise", "otherwise"), ("only_if", "only_if")):
            for cue in saying.cues(kind):
                text = self._words_after(cue)
                if text and not getattr(note, name):
                    setattr(note, name, text)

    def _words_after(self, cue: Mark) -> str:
        """The speaker's words from a cue to the end of its clause."""
        words = []
        for token in self._tokens[cue.first :]:
            words.append(token.text)
            if token.stop or len(words) > 25:
                break
        return " ".join(words)

    def _share_misfits(self, item: Item, notes: list[Note]) -> None:
        """A condition that fits none of the item's parts is kept on them, in doubt, rather than lost."""
        marks = [m for m in [*item.parts[0].lead, *item.trail] if m.kind == "condition" and not m.negated]
        for mark in marks:
            term = self._lexicon.conditions[mark.id]
            if term.symptom and names_reading(item.trail, mark):
                continue
            twins = [m for m in marks if (m.first, m.last) == (mark.first, mark.last) and m is not mark]
            if any(
                self._lexicon.fits(self._lexicon.conditions[m.id].fits, n.component)
                for m in twins
                for n in notes
            ):
                continue
            if term.state == "ok" or any(self._lexicon.fits(term.fits, n.component) for n in notes):
                continue
            note = notes[-1]
            if note.state is not None and "any" not in term.fits:
                continue  # enough is said of it that does fit
            note.conditions.append(term.id)
            note.state = (
                "suspect" if mark.hedged else (term.state if note.state in (None, "ok") else note.state)
            )
            note.doubts["conditions"] = "does not usually fit"

    def _remedy_of_last(self, notes: list[Note]) -> bool:
        """ "brake light out, needs a bulb": advice on a piece is the remedy for the whole just said to be faulty."""
        if len(notes) != 1 or not self._scene.recent:
            return False
        note, before = notes[0], self._scene.recent[-1]
        action = note.action
        if action is None and before.clause == note.clause:
            action = self._lexicon.components[note.component].advice  # "tail light is out, bulb"
        if note.state is not None or action in (None, *UNPRICED_ACTIONS) or before.clause < note.clause - 1:
            return False
        if before.state not in ("defect", "missing") or before.action is not None:
            return False
        if note.placed == "said" and set(note.positions) != set(before.positions):
            return False
        part_of = self._lexicon.components[note.component].part_of
        own = part_of is not None and part_of in self._family(before.component)
        piece = note.component if own else self._piece_of(note.component, before.component)
        if piece is None:
            return False
        before.component = piece
        before.action, before.urgency = action, note.urgency or before.urgency
        before.ranges.extend(note.ranges)
        return True

    def _remedy_of_all(self, notes: list[Note]) -> bool:
        """ "Bulbs for all of those": one piece as the remedy for every fault told that has such a piece."""
        if len(notes) != 1 or notes[0].state is not None:
            return False
        piece = notes[0]
        done = False
        for before in self.notes[-2 * _MEMORY :]:
            if before.withdrawn or before.state != "defect" or before.action is not None:
                continue
            named = self._piece_of(piece.component, before.component)
            if named is not None:
                before.component, before.action = named, self._lexicon.components[named].advice
                before.urgency = before.urgency or piece.urgency
                before.ranges.extend(piece.ranges)
                done = True
        return done

    def _keep(self, notes: list[Note]) -> None:
        if self._remedy_of_last(notes):
            return
        for note in notes:
            if not note.says_something:
                self.talk.append(Talk(*note.ranges[0], why="heading"))
        blank = all(not note.says_something for note in notes)
        if blank and len(notes) == 1 and notes[0].placed == "said":
            place = Place.of(())
            for position in notes[0].positions:
                target = place.positions if " " in position else (
                    place.axles if position in ("front", "rear") else place.sides)  # fmt: skip
                target.append(position)  # type: ignore[arg-type]
            self._scene.around = place
        self.notes.extend(notes)
        self._scene.recent = notes
        self._scene.statement.extend(notes)

    # -- statements without a part ---------------------------------------------------------------------------

    def _orphan(self, cut: ClauseItems) -> None:
        marks = cut.head
        saying = Saying(marks)
        span = (cut.head_first, cut.head_last)
        if saying.grammar("rest") or self._is_topic(saying):
            self.talk.append(Talk(*span, why="the rest, no part named"))
            return
        if not saying.states and not saying.advises and not saying.cues("urgency", "advice", "no_action"):
            if saying.grammar("same") and saying.place.located and self._scene.recent:
                self._same_again(saying, span)
            elif saying.place.located:
                self._heading(saying, span, before_parts=bool(cut.items))
            return
        if not self._scene.recent and not self._implied(saying):
            if saying.place.located and saying.states:
                self._heading(saying, span, before_parts=bool(cut.items))
            return
        if saying.grammar("same") and saying.place.located:
            self._same_again(saying, span)
            return
        if saying.states and not self._fitting(saying) and (implied := self._implied(saying)):
            self._by_reading(implied, saying, span)
            return
        for part in split_sayings(self._tokens, marks):
            self._amend(part, span)

    def _implied(self, saying: Saying) -> str | None:
        """The part that a unit names by itself: thirty-seconds are of a tyre's tread."""
        for mark in saying.of_kind("quantity"):
            parts = {
                term.fits[0]
                for term in self._lexicon.measures.values()
                if mark.unit is not None and mark.unit == self._gauge.default_unit(term)
            }
            if len(parts) == 1 and (part := next(iter(parts))) in self._lexicon.components:
                return part
        return None

    def _by_reading(self, component: str, saying: Saying, span: tuple[int, int]) -> None:
        for part in split_sayings(self._tokens, saying.marks):
            note = self._note(component, Place(), part, saying_place=part.place)
            note.ranges.append(span)
            note.clause = self._clause_number
            if part.place.located:
                self._scene.around = _as_place(note.positions)
                self._scene.around_clause = self._clause_number
            self._keep([note])

    def _is_topic(self, saying: Saying) -> bool:
        """ "Oh, the noise.": a symptom named with an article, and nothing said of it."""
        judged = [m for m in saying.marks if m.kind in ("condition", "action", "quantity", "place")]
        if len(judged) != 1 or judged[0].kind != "condition" or judged[0].first == 0:
            return False
        return self._tokens[judged[0].first - 1].text == "the" and not saying.grammar("copula")

    def _heading(self, saying: Saying, span: tuple[int, int], *, before_parts: bool) -> None:
        place = saying.place
        recent = self._scene.recent
        blank = recent and all(not n.says_something and n.placed != "said" for n in recent)
        if place.relatives and not (place.positions or place.sides or place.axles):
            if recent and not before_parts and recent[-1].clause >= self._clause_number - 1:
                self._widen(recent[-1:], place, span)
            return
        if blank and not before_parts and recent[-1].clause == self._clause_number:
            for note in recent:
                note.positions = resolve(
                    self._lexicon.components[note.component], place, around=Place(), last=()
                )
                note.placed = "said"
            return
        around = self._scene.around
        if place.sides and not place.axles and not place.positions and around.axles and not around.sides:
            place = Place(sides=place.sides, axles=around.axles)
        if len(set(place.axles)) > 1 or len(set(place.sides)) > 1:
            place = Place()  # "front to back": the whole car
        self._scene.around = place
        self._scene.around_clause = self._clause_number
        self._scene.carried = Place()
        self.talk.append(Talk(*span, why="where"))

    def _amend(self, saying: Saying, span: tuple[int, int]) -> None:
        """States, readings, places and advice about the parts last spoken of."""
        targets = self._targets(saying)
        place = saying.place
        sibling = bool(targets) and self._kind_with(targets[-1].component, place.qualifiers) is not None
        if saying.states and sibling:
            self._beside(targets[-1], saying, span)
            return
        if saying.states and place.located and not (_only_wide(place) and not saying.of_kind("condition")):
            if any(note.says_something or note.placed == "said" for note in targets):
                self._beside(targets[-1], saying, span)
                return
            for note in targets:
                self._place_note(note, place)
        elif place.located and (saying.advises or saying.cues("no_action")):
            there = self._there(targets, place)
            if there is not None:
                self._fill(there, Saying([m for m in saying.marks if m.kind != "place"]), has_part=True)
                there.ranges.append(span)
            else:
                self._advise_wider(targets, saying, span)
            return
        for note in targets:
            if saying.advises and self._clause_number - max(note.clause, note.touched) > 1:
                note.doubts["action"] = "said later"
            self._fill(note, saying, has_part=False)
            note.touched = self._clause_number
            note.ranges.append(span)

    def _there(self, targets: Sequence[Note], place: Place) -> Note | None:
        """ "that left front can run a while": the note of the part at just that place, if there is one."""
        if not targets or _only_wide(place):
            return None
        component = targets[-1].component
        entry = self._lexicon.components[component]
        positions = set(expand(resolve(entry, place, around=Place(), last=targets[-1].positions)))
        for note in reversed(self.notes):
            if note.component == component and positions and set(expand(note.positions)) == positions:
                return note
        return None

    def _targets(self, saying: Saying) -> list[Note]:
        plural = saying.grammar("plural_pronoun")
        statement = [n for n in self._scene.statement if not n.withdrawn] or self._scene.recent
        if plural and len({n.component for n in statement}) > 1:
            return statement
        if plural and any(m.id in ("both", "both of them", "both of those") for m in plural):
            faulty = [
                n for n in self.notes[-_MEMORY:] if n.state in ("defect", "missing") and not n.withdrawn
            ]
            last = list(dict.fromkeys(n.component for n in reversed(faulty)))[:2]
            if len(last) == 2 and not any(len(n.positions) > 1 for n in faulty):
                return [n for n in faulty if n.component in last]
        if plural or len({n.component for n in self._scene.recent}) > 1:
            return self._scene.recent
        if saying.advises and not saying.states:
            faulty = [n for n in self._scene.recent[-3:] if n.state in ("defect", "missing", "suspect")]
            if faulty:
                return faulty[-1:]  # "the right's tight. That has to be fixed": the faulty one
        if saying.grammar("pronoun"):
            return self._scene.recent[-1:]
        return self._fitting(saying) or self._scene.recent[-1:]

    def _fitting(self, saying: Saying) -> list[Note]:
        """The part last spoken of that the words can be about: "the rears are at five mil" is no wheel alignment."""
        conditions = saying.of_kind("condition")
        quantities = [q for q in saying.of_kind("quantity") if q.unit is not None]
        if not conditions and not quantities and not saying.place.located:
            return []
        for note in [*reversed(self._scene.recent), *reversed(self.notes[-_MEMORY:])]:
            if note.withdrawn:
                continue
            entry = self._lexicon.components[note.component]
            if saying.place.located and not sits(entry):
                continue
            axles = saying.place.axles
            if (
                len(axles) == 1
                and not saying.place.sides
                and (note.placed != "said" or axles[0] in _axles(note.positions))
            ):
                continue  # "the rears are at six" after front pads: what was said of the other axle
            if quantities and not any(
                self._gauge.read(note.component, q, named=(), positions=()) for q in quantities
            ):
                continue
            if conditions and not any(
                self._lexicon.fits(self._lexicon.conditions[m.id].fits, note.component) for m in conditions
            ):
                continue
            return [note]
        return []

    def _place_note(self, note: Note, place: Place) -> None:
        entry = self._lexicon.components[note.component]
        note.positions = resolve(entry, place, around=self._around(note.component), last=note.positions)
        note.placed = "said"
        note.place.extend(q for q in place.qualifiers if q not in entry.place and q not in note.place)

    def _beside(self, before: Note, saying: Saying, span: tuple[int, int]) -> None:
        """ "the left one's dry": the same part elsewhere."""
        place = saying.place
        component = self._kind_with(before.component, place.qualifiers) or before.component
        axis = Place(
            axles=list({p.split()[0] for p in before.positions if p.split()[0] in ("front", "rear")})
        )
        full = place.plus(axis) if not place.axles and not place.positions and len(axis.axles) == 1 else place
        entry = self._lexicon.components[component]
        if place.axles and not set(place.axles) & set(own_axles(entry)) and entry.kind_of is not None:
            if set(place.axles) & set(own_axles(self._lexicon.components[entry.kind_of])):
                component = entry.kind_of  # "rear wiper's torn, the fronts are fine"
        note = self._note(component, Place(qualifiers=list(place.qualifiers)), saying, saying_place=full)
        if "other side" in place.relatives or "same side" in place.relatives:
            note.positions = resolve(
                self._lexicon.components[before.component], place, around=Place(), last=before.positions
            )
        note.ranges.append(span)
        note.clause = self._clause_number
        self._keep_beside([note])

    def _keep_beside(self, notes: list[Note]) -> None:
        self.notes.extend(notes)
        self._scene.recent = [*[n for n in self._scene.recent if n.component == notes[0].component], *notes]
        self._scene.statement.extend(notes)

    def _same_again(self, saying: Saying, span: tuple[int, int]) -> None:
        """ "same on the other side": the notes last made, at the place said now."""
        source = [
            n for n in self._scene.statement if not n.withdrawn and n.says_something
        ] or self._scene.recent
        made = []
        for before in source:
            note = copy(before)
            note.ranges = [*before.ranges, span]
            note.conditions = list(before.conditions)
            note.doubts = dict(before.doubts)
            entry = self._lexicon.components[before.component]
            place = saying.place
            if place.sides and not place.axles:
                place = Place(
                    sides=place.sides, axles=[p.split()[0] for p in before.positions if " " in p][:1]
                )
            note.positions = resolve(entry, place, around=Place(), last=before.positions)
            note.measures = [m.model_copy(update={"position": note.positions[0] if len(note.positions) == 1 else None})
                             for m in before.measures]  # fmt: skip
            note.placed = "said"
            made.append(note)
        self.notes.extend(made)
        self._scene.recent = made
        both = [p for n in [*source, *made] for p in n.positions if " " in p]
        if both:
            self._scene.around = Place(positions=list(dict.fromkeys(both)))

    def _advise_wider(self, targets: list[Note], saying: Saying, span: tuple[int, int]) -> None:
        """ "replace both", "do the left": advice whose place differs from the defect's."""
        if not targets:
            return
        note = targets[-1]
        entry = self._lexicon.components[note.component]
        place = saying.place
        axles = list({p.split()[0] for p in note.positions if p.split()[0] in ("front", "rear")})
        if not place.axles and not place.positions and len(axles) == 1:
            place = Place(sides=place.sides, axles=axles, relatives=place.relatives)
        positions = resolve(entry, place, around=self._around(note.component), last=note.positions)
        siblings = [
            n
            for n in self._scene.recent
            if n.component == note.component and n.state in ("defect", "missing")
        ]
        if siblings:
            note = siblings[-1]
        self._fill(note, Saying([m for m in saying.marks if m.kind != "place"]), has_part=True)
        note.ranges.append(span)
        if positions and set(positions) != set(note.positions):
            note.action_positions = positions

    def _widen(self, targets: list[Note], place: Place, span: tuple[int, int]) -> None:
        """ "both of them", "all round", said after the part."""
        for note in targets:
            entry = self._lexicon.components[note.component]
            axles = list({p.split()[0] for p in note.positions if p.split()[0] in ("front", "rear")})
            here = Place(axles=axles, relatives=place.relatives) if len(axles) == 1 else place
            positions = resolve(entry, here, around=self._around(note.component), last=note.positions)
            if positions:
                note.positions = positions
                note.placed = "said"
            note.ranges.append(span)

    # -- second thoughts ------------------------------------------------------------------------------------

    def _correct(self, saying: Saying, span: tuple[int, int]) -> None:
        """What follows "no, sorry": the last word stands."""
        recent = [n for n in self._scene.recent if not n.withdrawn]
        parts = split_sayings(self._tokens, saying.marks)
        if len(parts) > 1 and all(part.place.located and part.states for part in parts):
            for part in parts:
                self._correct_at(recent, part, span)
            return
        for note in recent[-1:]:
            place = _last_place(saying)
            qualifiers = Place.of(saying.marks).qualifiers
            other = self._sibling(note.component, qualifiers)
            if other is not None:
                note.component = other
                place = Place(positions=place.positions, sides=place.sides, axles=place.axles)
            if place.located:
                self._place_note(note, place)
            quantities = reading_marks(self._tokens, saying)
            if quantities and note.measures and not saying.of_kind("condition"):
                fresh = [
                    m for q in quantities if (m := self._measure(note, q, saying.of_kind("measure"), saying))
                ]
                if fresh:
                    note.measures = [*note.measures[: -len(fresh)], *fresh]
                saying = Saying([m for m in saying.marks if m.kind != "quantity"])
            if saying.of_kind("condition"):
                note.conditions = []
                note.state = None
            if _says_anything(saying.marks):
                self._fill(note, Saying([m for m in saying.marks if m.kind != "place"]), has_part=False)
            note.ranges.append(span)

    def _correct_at(self, recent: Sequence[Note], saying: Saying, span: tuple[int, int]) -> None:
        """One of several corrected places: "five on the right and four on the left"."""
        if not recent:
            return
        entry = self._lexicon.components[recent[-1].component]
        axles = list({p.split()[0] for n in recent for p in n.positions if p.split()[0] in ("front", "rear")})
        place = saying.place
        if not place.axles and not place.positions and len(axles) == 1:
            place = Place(sides=place.sides, axles=axles, relatives=place.relatives)
        positions = resolve(entry, place, around=self._around(entry.id), last=recent[-1].positions)
        note = next((n for n in recent if set(n.positions) == set(positions)), None)
        if note is None:
            self._beside(recent[-1], saying, span)
            return
        if any(m.kind == "quantity" for m in saying.marks):
            note.measures = []
        self._fill(note, saying, has_part=False)
        note.ranges.append(span)

    def _kind_with(self, component: str, qualifiers: Sequence[str]) -> str | None:
        """The kind of the part that the qualifiers name: the upper one of "ball joint", or of the lower one."""
        if self._lexicon.components[component].sets == "axle set":
            return None  # inner and outer pad are readings of one set, and are sold as one
        for other in self._lexicon.components.values():
            if other.kind_of == component and other.place and set(other.place) <= set(qualifiers):
                return other.id
        return self._sibling(component, qualifiers)

    def _sibling(self, component: str, qualifiers: Sequence[str]) -> str | None:
        """The upper one for the lower: another kind of the same part that carries the qualifier in its name."""
        entry = self._lexicon.components[component]
        if not qualifiers or not entry.place or set(qualifiers) & set(entry.place):
            return None
        for other in self._lexicon.components.values():
            if other.kind_of == entry.kind_of and other.kind_of is not None and other.id != component:
                if other.place and set(other.place) <= set(qualifiers):
                    return other.id
        return None

    def _replace_rejected(self, rejected: list[str], notes: list[Note]) -> None:
        """ "not strut, it's a shock": what was said of the first goes to the second."""
        for before in [n for n in self._scene.recent if not n.withdrawn]:
            if (
                not set(self._ancestors(before.component)) & set(rejected)
                and before.component not in rejected
            ):
                continue
            before.withdrawn = True
            for note in notes:
                if not note.says_something:
                    note.state, note.action, note.urgency = before.state, before.action, before.urgency
                    note.conditions = list(before.conditions)
                    note.positions = note.positions or before.positions
                    note.ranges.extend(before.ranges)

    def _supersede(self, notes: list[Note]) -> None:
        """After "no, sorry", a statement about the same part elsewhere or otherwise takes the earlier one's place."""
        earlier = [n for n in self._scene.recent if not n.withdrawn and n not in notes]
        for note in notes:
            for before in earlier:
                same = before.component == note.component or bool(
                    set(self._ancestors(before.component)) & {note.component}
                    or set(self._ancestors(note.component)) & {before.component}
                )
                if not same:
                    continue
                if not note.says_something:
                    note.state, note.action, note.urgency = before.state, before.action, before.urgency
                    note.conditions = list(before.conditions)
                    note.measures = [*before.measures, *note.measures]
                    note.positions = note.positions or before.positions
                note.ranges.extend(before.ranges)
                before.withdrawn = True

    def _withdraw(self, after: Clause) -> None:
        """ "scratch that", "forget the battery": the item is taken back; what was seen to be fine stays fine."""
        cut = self._cutter.cut(self._tokens, after)
        first_item = cut.items[0] if cut.items else None
        named = (
            first_item is not None and not _says_anything(cut.head) and first_item.first - after.first <= 1
        )
        if named and first_item is not None:
            for part in first_item.parts:
                family = self._family(self._specific(part))
                for note in self.notes:
                    if note.component in family:
                        self._take_back(note)
            self.talk.append(Talk(first_item.first, first_item.last, why="taken back"))
            for item in cut.items[1:]:
                self._item(item, correcting=False)
            return
        recent = self._scene.recent
        blanks = []
        for note in recent:
            note.withdrawn = True
            blanks.append(Note(component=note.component, positions=note.positions, placed=note.placed,
                               clause=self._clause_number))  # fmt: skip
        self.notes.extend(blanks)
        self._scene.recent = blanks
        self._scene.statement = list(blanks)
        if any(m.kind != "grammar" for m in after.marks):
            self._read_plain(after, correcting=False)

    @staticmethod
    def _take_back(note: Note) -> None:
        if note.state in ("ok", "not_checked"):
            note.action = None if note.action not in UNPRICED_ACTIONS else note.action
        else:
            note.withdrawn = True


def _part_of(clause: Clause, first: int, last: int) -> Clause:
    return clause.model_copy(
        update={
            "first": first,
            "last": last,
            "marks": tuple(m for m in clause.marks if m.first >= first and m.last <= last),
        }
    )


def _only_wide(place: Place) -> bool:
    """ "both", "all of them" without an axle or a side: no other place than the part's own."""
    return bool(_LIST_WIDE & set(place.relatives)) and not (place.axles or place.sides or place.positions)


def _as_place(positions: Sequence[Position]) -> Place:
    place = Place()
    for position in positions:
        if " " in position:
            place.positions.append(position)
        elif position in ("front", "rear"):
            place.axles.append(position)
        else:
            place.sides.append(position)
    return place


def _as_positions(place: Place) -> tuple[Position, ...]:
    if place.positions:
        return tuple(place.positions)
    pairs = [f"{axle} {side}" for axle in place.axles for side in place.sides]
    return tuple(pairs or place.sides)  # type: ignore[arg-type]


def _axles(positions: Sequence[Position]) -> set[str]:
    return {p.split()[0] for p in positions if p.split()[0] in ("front", "rear")}


def _last_place(saying: Saying) -> Place:
    """The last place word said, and those joined to it by a list word: "my left, it's right" is right."""
    marks = saying.of_kind("place")
    joined = {m.first for m in saying.grammar("list")}
    kept: list[Mark] = []
    for mark in reversed(marks):
        if kept and kept[-1].first - 1 not in joined and kept[-1].first > mark.last:
            break
        kept.append(mark)
    return Place.of(kept)


def _says_anything(marks: Sequence[Mark]) -> bool:
    """Whether the marks place, judge, measure or advise."""
    return any(
        m.kind in ("condition", "action", "place", "quantity")
        or (m.kind == "cue" and m.detail in ("ok", "not_checked", "urgency", "advice", "no_action"))
        or (m.kind == "grammar" and m.detail == "same")
        for m in marks
    )


def spoken(tokens: Sequence[Token], first: int, last: int) -> str:
    """The normalised words of a token range."""
    return " ".join(token.text for token in tokens[first:last])
