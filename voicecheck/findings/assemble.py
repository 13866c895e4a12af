"""Reads the clauses of one reading in order and hands each stretch to the rules it is for.

Statements with parts go to ``statements``, those without to ``followups``, second thoughts to
``corrections``. What the talk is about meanwhile is the ``Scene`` they share.
"""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.corrections import Corrections
from voicecheck.findings.filling import Filler
from voicecheck.findings.followups import Followups
from voicecheck.findings.items import ClauseItems, Item
from voicecheck.findings.naming import Namer
from voicecheck.findings.notes import Note, Saying, is_state, says_anything
from voicecheck.findings.noting import Noter
from voicecheck.findings.places import Place, resolve
from voicecheck.findings.remedies import Remedies
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import Scene, Talk
from voicecheck.findings.statements import Statements
from voicecheck.findings.summing import SummingUp
from voicecheck.records.reading import Clause, Mark, Reading

_SEVERAL = 2  # parts, from which the speaker leaves it open which one it is
_TURNS = ("correction", "withdrawal")


# General remarks that may be meant of this car: the words stay to be placed by a person (see the ledger).
_MAY_BE_MEANT = {"habit": "told as a habit", "due_at": "due at an age", "other_car": "another car"}


class Assembler:
    """Turns one reading into notes. Made anew for each reading."""

    def __init__(self, rules: Rules, reading: Reading) -> None:
        self._rules = rules
        self._clauses = reading.clauses
        self._tokens = reading.tokens
        self._next: Clause | None = None  # the clause after the one being read
        self._scene = scene = Scene(reading.tokens)
        self._filler = filler = Filler(rules, scene)
        noter = Noter(rules, scene, filler)
        self._remedies = Remedies(rules, scene)
        self._namer = Namer(rules, scene)
        self._corrections = Corrections(rules, scene, filler=filler, noter=noter, namer=self._namer)
        self._followups = Followups(rules, scene, filler=filler, noter=noter, remedies=self._remedies)
        self._summing = SummingUp(rules, scene, self._namer)
        self._statements = Statements(
            rules,
            scene,
            noter=noter,
            namer=self._namer,
            remedies=self._remedies,
            corrections=self._corrections,
            summing=self._summing,
        )

    @property
    def talk(self) -> list[Talk]:
        """Stretches that were understood and found nothing."""
        return self._scene.talk

    def run(self) -> list[Note]:
        """All notes, in the order of speech; withdrawn ones are marked."""
        for number, clause in enumerate(self._clauses):
            self._scene.clause = number
            self._next = self._clauses[number + 1] if number + 1 < len(self._clauses) else None
            if clause.mood == "said":
                self._read(_without_consequences(clause))
                self._remedies.tie()
                continue
            self._scene.dismiss(clause.first, clause.last, why=_why_not(clause))
            self._mention(clause)
        return self._scene.notes

    def _mention(self, clause: Clause) -> None:
        """ "Customer says the air conditioning is warm. It's low on charge": the part that "it" is."""
        if any(m.detail == "reported" and m.id == "aside" for m in clause.marks):
            return  # "before we sell a cable", "they put a pump in it last year"
        told = any(m.id == "mention" for m in clause.marks) or self._is_answered()
        if clause.mood in ("general", "hypothetical") and not told:
            return  # but "everybody wants to sell a rear main on these. His is dry"
        cut = self._rules.cutter.cut(self._tokens, clause)
        if cut.items:
            part = cut.items[-1].parts[-1]
            if clause.mood == "hypothetical":
                part = cut.items[0].parts[0]  # "if the belt was cracked I'd say something, but it's fine"
                if self._scene.standing and _is_led_by_pronoun(clause, part.mark):
                    return  # "a bad one would drip from the weep hole. This one's dry"
            note = Note(component=self._namer.specific(part), clause=self._scene.clause)
            place = Place.of(part.lead)
            if clause.mood != "general" and place.absolute:
                entry = self._rules.lexicon.components[note.component]
                note.positions, note.placed = resolve(entry, place, around=Place(), last=()), "said"
            self._scene.start([note])

    def _is_answered(self) -> bool:
        """ "If the belt was cracked I'd say something, but it's fine": whether the next words judge, and name
        no part of their own.
        """
        after = self._next
        if after is None or after.mood != "said" or any(m.kind == "component" for m in after.marks):
            return False
        return _judges(after.marks)

    def _read(self, clause: Clause) -> None:
        """A stated clause: as it stands, or up to and from a second thought in it."""
        correction = _cue(clause, "correction")
        if correction is not None and not _says(_part_of(clause, correction.last, clause.last)):
            correction = (
                None  # "sorry, where was I": nothing follows in the clause that could correct anything
            )
        turn = correction or _cue(clause, "withdrawal")
        cause = self._names_cause_at(clause, correction) if correction is not None else None
        if correction is not None and cause is not None:
            before = _part_of(clause, clause.first, correction.first)
            if before.marks:
                self._read_plain(before, correcting=False)
            self._withdraw(_part_of(clause, cause, clause.last))
            return
        if turn is None:
            self._read_plain(clause, correcting=False)
            return
        before = _part_of(clause, clause.first, turn.first)
        after = _part_of(clause, turn.last, clause.last)
        if before.marks if turn is correction else _says(before):
            self._read_plain(before, correcting=False)
        if turn is not correction:
            self._withdraw(after)
        elif any(_cue(after, kind) for kind in _TURNS):
            self._read(after)
        elif _says(after):
            self._read_plain(after, correcting=True)

    def _names_cause_at(self, clause: Clause, turn: Mark) -> int | None:
        """ "scratch that, it's just the cap": where the words behind the comma in ``turn`` name a cause, and
        what was said is taken back with its work.
        """
        rests = [at for at in range(turn.first + 1, turn.last) if self._tokens[at - 1].comma]
        causes = {m.first for m in clause.marks if m.detail == "names_cause" and m.last > turn.last}
        return next((at for at in rests if at in causes), None)

    def _read_plain(self, clause: Clause, *, correcting: bool) -> None:
        cut = self._rules.cutter.cut(self._tokens, clause)
        self._summing.listen(clause, cut)
        if not correcting and self._summing.orders(clause, cut, self._next):
            self._scene.statement = []
            for item in self._summing.apart(cut.items):
                self._statements.take(item, correcting=False, ordered=True)
            return
        if says_anything(cut.head):
            if correcting and not cut.items:
                self._corrections.amend(cut)
            else:
                self._followups.take(cut)
        if cut.items and not correcting:
            self._scene.statement = []
        for number, item in enumerate(cut.items):
            if self._weigh_causes(cut.items[number:]):
                break
            self._take(item, correcting=correcting, behind=item is not cut.items[0] or _tells(cut.head))
            if item is cut.items[0] and not says_anything(cut.head) and Saying(cut.head).together:
                self._scene.mark_together()  # "While we're in there, replace the rotors"
        if len(cut.items) > 1:
            self._remedies.share(cut.items[-1])

    def _weigh_causes(self, items: Sequence[Item]) -> bool:
        """ "Wiper's dead. Could be the motor, could be the switch, run that down": parts between which the
        speaker does not decide are no findings; the advice is for the fault just told.

        Returns whether it was so.
        """
        doubted = all(any(m.detail == "hedge" for m in item.parts[0].lead) for item in items)
        if not doubted:
            return False
        if sum(len(item.parts) for item in items) < _SEVERAL:
            return self._weigh_other_cause(items[0])
        trail = [m for item in items for m in item.trail]
        if any(is_state(m) for item in items for m in (*item.parts[0].lead, *item.trail)):
            return False
        fault = next(iter(self._scene.latest()), None)
        if fault is None or fault.withdrawn or self._scene.clause - fault.last_told > 1:
            return False
        if fault.state not in ("defect", "suspect", "missing") or fault.action is not None:
            return False
        self._scene.dismiss(items[0].first, items[-1].last, why="possible causes")
        told = [m.model_copy(update={"hedged": False}) for m in trail]  # the advice itself is not in doubt
        if any(_orders(m) for m in told):
            self._filler.fill(fault, Saying([m for m in told if m.kind != "place"]), has_part=False)
            fault.touched = self._scene.clause
            fault.ranges.append((items[0].first, items[-1].last))
        self._scene.recent = [fault]
        return True

    def _weigh_other_cause(self, item: Item) -> bool:
        """ "Bearing's noisy. Could just be the tire.": another cause of a symptom just told, said in doubt,
        makes the fault a suspicion, and is none itself.
        """
        part = item.parts[0]
        hedges = [m for m in part.lead if m.detail == "hedge"]
        said = [t.text for m in hedges for t in self._tokens[m.first : m.last]]
        said += [t.text for t in self._tokens[max(0, item.first - 1) : part.mark.first]]
        fault = next(iter(self._scene.latest()), None)
        if fault is None or fault.withdrawn or self._scene.clause - fault.last_told > 1:
            return False
        if not self._rules.words.instead & set(said) or any(is_state(m) for m in item.trail):
            return False
        terms = [self._rules.lexicon.conditions[c] for c in fault.conditions]
        symptom = bool(terms) and all(term.symptom for term in terms)
        if fault.state not in ("defect", "suspect") or not (symptom or fault.state == "suspect"):
            return False
        if self._rules.tree.same_line(fault.component, part.component) or fault.action is not None:
            return False
        fault.state = "suspect"
        self._scene.dismiss(item.first, item.last, why="possible causes")
        told = [m.model_copy(update={"hedged": False}) for m in item.trail]
        if any(_orders(m) for m in told):
            self._filler.fill(fault, Saying([m for m in told if m.kind != "place"]), has_part=False)
            fault.touched = self._scene.clause
        self._scene.recent = [fault]
        return True

    def _take(self, item: Item, *, correcting: bool, behind: bool = False) -> None:
        if _is_obstacle(item) and not self._is_judged_anew(item):
            self._scene.dismiss(item.parts[0].mark.first, item.last, why="in the way")
            told = [m for m in item.parts[0].lead if m.detail == "not_checked"]
            self._followups.take(ClauseItems(told, item.first, item.parts[0].mark.first, []))
            return
        where = self._is_only_where(item) or (behind and self._is_beside(item))
        aside = "where it lands" if where else "when" if self._is_when(item) else ""
        if not aside:
            self._statements.take(item, correcting=correcting)
            return
        self._scene.dismiss(item.first, item.trail_first, why=aside)
        lead = [m for m in item.parts[0].lead if m.last <= item.parts[0].mark.first]
        if any(_orders(m) for m in lead):  # "they want doing with the pads"
            told = [m for m in lead if m.kind != "place"]
            self._followups.take(ClauseItems([*told, *item.trail], item.first, item.last, []))
        elif says_anything(item.trail):
            self._followups.take(ClauseItems(item.trail, item.trail_first, item.last, []))

    def _is_judged_anew(self, item: Item) -> bool:
        """ "can't get behind the bumper, it's cracked": what stands in the way has a fault told
        behind a rest; not in "... to see if it's leaking".
        """
        faults = [m for m in item.trail if is_state(m) or m.kind == "action"]
        return any(
            any(t.comma or t.stop for t in self._tokens[item.trail_first - 1 : m.first]) for m in faults
        )

    def _withdraw(self, after: Clause) -> None:
        """ "scratch that", "forget the battery": the item is taken back."""
        cut = self._rules.cutter.cut(self._tokens, after)
        if self._corrections.names_what_goes(after, cut):
            self._corrections.take_back_named(cut)
            for item in cut.items[1:]:
                self._take(item, correcting=False)
            return
        if cut.head and not cut.items and Place.of(cut.head).located and not _judges(cut.head):
            self._corrections.amend(cut)  # "no, I had that wrong, it's the right one": only where it is
            return
        self._corrections.take_back_last()
        if _says(after):
            self._read_plain(after, correcting=False)

    # -- parts that are only mentioned ------------------------------------------------------------------

    def _is_only_where(self, item: Item) -> bool:
        """ "it's running down onto the manifold": a place where something lands, of which nothing is said."""
        lead = item.parts[0].lead
        tied = any(m.detail == "preposition" for m in lead)
        said = [m for m in lead if m.kind == "condition"]
        if tied and self._opens_elsewhere(item):
            return True
        if tied and said and all(self._rules.lexicon.conditions[m.id].state == "missing" for m in said):
            return not any(is_state(m) or m.kind == "action" for m in item.trail)
        advised = [m for m in lead if m.detail in ("advice", "urgency")]
        if any(m.detail == "target" and a.first <= m.first < a.last for m in lead for a in advised):
            return False  # "put them down for pads"
        verb = next((m for m in item.trail if m.detail in ("copula", "singular_copula")), None)
        said_of_it = verb is not None and verb.first == item.trail_first
        lands = any(m.detail == "target" for m in lead)
        return lands and not said_of_it and (bool(self._scene.recent) or not item.trail)

    def _opens_elsewhere(self, item: Item) -> bool:
        """ "Above the rack there's a wet spot": a place to look at, and what is there; not "on the strut
        there's a leak".
        """
        lead = item.parts[0].lead
        opened = [m for m in lead if m.detail == "preposition" and m.id in self._rules.words.beside]
        there = any(m.detail == "existential" and m.first <= item.trail_first + 1 for m in item.trail)
        opens = any(m.first == 0 or self._tokens[m.first - 1].stop for m in opened)
        said = self._tokens[item.trail_first].text if item.trail_first < len(self._tokens) else ""
        return opens and there and said in self._rules.words.there

    def _is_beside(self, item: Item) -> bool:
        """ "it's standing up off the glass": a preposition, and nothing said of the part behind it."""
        lead = item.parts[0].lead
        counts = [m for m in lead if m.detail in ("quantity", "advice", "urgency")]  # "a pair of", "due for"
        tied = any(
            m.detail == "preposition" and not any(c.first <= m.first < c.last for c in counts) for m in lead
        )
        says = any(is_state(m) or m.kind == "action" for m in (*lead, *item.trail))
        return tied and not says and not item.excepted and bool(self._scene.recent)

    def _is_when(self, item: Item) -> bool:
        """ "top that up when the pump's in": a time, as long as nothing is found wrong with the part."""
        before = self._tokens[max(0, item.first - 1) : item.parts[0].mark.first]
        timed = any(token.text in self._rules.words.time for token in before)
        judged = any(m.kind in ("condition", "quantity") or m.detail == "ok" for m in item.trail)
        return timed and len(item.parts) == 1 and not judged and bool(self._scene.recent)


def _why_not(clause: Clause) -> str:
    """Why a clause that states nothing makes no finding; work in it may be meant after all where it is told
    as a habit, as due at an age, or of another car.
    """
    if clause.mood == "general":
        said = {m.id for m in clause.marks if m.kind == "cue" and m.detail == "general"}
        return next((_MAY_BE_MEANT[i] for i in _MAY_BE_MEANT if i in said), clause.mood)
    return clause.mood


def _cue(clause: Clause, kind: str) -> Mark | None:
    """The clause's first cue of a kind."""
    return next((m for m in clause.marks if m.kind == "cue" and m.detail == kind), None)


def _without_consequences(clause: Clause) -> Clause:
    """ "replace it, otherwise it wears the tire": what would come of it is not how the car is."""
    turn = _cue(clause, "otherwise")
    if turn is None or not any(_orders(m) and m.last <= turn.first for m in clause.marks):
        return clause
    marks = tuple(m for m in clause.marks if m.first < turn.last or not is_state(m))
    return clause.model_copy(update={"marks": marks})


def _is_obstacle(item: Item) -> bool:
    """ "can't get behind the glovebox": a part that only stands before the one not seen."""
    part = item.parts[0]
    return any(
        m.detail == "not_checked" and m.id == "obstacle" and m.last <= part.mark.first for m in part.lead
    )


def _judges(marks: Sequence[Mark]) -> bool:
    """Whether any of the marks judges or advises."""
    return any(is_state(m) or _orders(m) for m in marks)


def _is_led_by_pronoun(clause: Clause, part: Mark) -> bool:
    """Whether a pronoun stands before the part: what is supposed is supposed of the part spoken of."""
    pronouns = ("pronoun", "plural_pronoun", "pronoun_one")
    return any(m.detail in pronouns and m.first < part.first for m in clause.marks)


def _orders(mark: Mark) -> bool:
    return mark.kind == "action" or (mark.kind == "cue" and mark.detail in ("advice", "no_action"))


def _says(clause: Clause) -> bool:
    """Whether the clause has any mark that is more than a closed-class word."""
    return any(m.kind != "grammar" for m in clause.marks)


def _part_of(clause: Clause, first: int, last: int) -> Clause:
    """Tokens ``first:last`` of a clause, with the marks that lie inside."""
    marks = tuple(m for m in clause.marks if m.first >= first and m.last <= last)
    return clause.model_copy(update={"first": first, "last": last, "marks": marks})


def _tells(head: Sequence[Mark]) -> bool:
    """Whether words before a clause's first part are about a part: "it's standing off the ..."."""
    return any(m.detail in ("pronoun", "plural_pronoun") for m in head)
