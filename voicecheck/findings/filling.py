"""Puts what a saying says into a note; later words stand over earlier ones."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.notes import Note, Saying
from voicecheck.findings.parts import head_words
from voicecheck.findings.places import other_side_too
from voicecheck.findings.readings import beyond, limit_marks, reading_marks
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import MEMORY, Scene
from voicecheck.findings.state import GOES_WITH, Statement, Weigher
from voicecheck.findings.words import Words
from voicecheck.records.finding import Measure
from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import UNPRICED_ACTIONS, Action, Unit

_QUALIFIER_REACH = 2  # tokens between a reading and the qualifier behind it ("on the inner")
_LONGEST_REASON = 25  # tokens kept of "because ..."
_NAME_REACH = 3  # tokens behind "needs a" in which the part is named again


class Filler:
    """Made anew for each reading."""

    def __init__(self, rules: Rules, scene: Scene) -> None:
        self._rules = rules
        self._scene = scene
        self._weigher = Weigher(rules.lexicon, scene.tokens, tree=rules.tree, words=rules.words)

    def fill(self, note: Note, saying: Saying, *, has_part: bool) -> None:
        """State, conditions, readings, advice, urgency and reasons. ``has_part``: the saying names the
        part.
        """
        measures, limits = self._readings(note, saying)
        said = self._weigher.weigh(note.component, saying, has_reading=bool(measures), strict=True)
        note.measures.extend(measures)
        note.limits_said.extend(limits)
        _judge(note, said, saying, measured=bool(measures))
        if note.state == "ok" and note.doubts.get("state") == "reading only" and _is_beyond(note):
            note.state = "defect"  # "forty thou, and thirty's all you get"
        self._advise(note, said, saying, has_part=has_part)
        self._widen(note, saying)
        if said.urgency is not None:
            note.urgency = said.urgency
        note.sublet = note.sublet or said.sublet
        note.together = note.together or saying.together
        self._reasons(note, saying)

    def measures(self, note: Note, saying: Saying, marks: Sequence[Mark]) -> list[Measure]:
        """What the quantities ``marks`` of a saying measure of the note's part."""
        named = saying.of_kind("measure")
        return [m for mark in marks if (m := self._measure(note, mark, named, saying)) is not None]

    def _readings(self, note: Note, saying: Saying) -> tuple[list[Measure], list[Measure]]:
        """Readings, and limits said along with them; a rating ("out of 650") is neither."""
        quantities = reading_marks(self._scene.tokens, saying)
        limits = limit_marks(saying, quantities)
        gauge, tokens = self._rules.gauge, self._scene.tokens
        idle = (*limits, *gauge.rated(tokens, quantities), *gauge.said_again(tokens, quantities))
        taken = {q.first for q in idle}
        measures = self.measures(note, saying, [q for q in quantities if q.first not in taken])
        unit = measures[-1].unit if measures else None  # "ninety thousandths, and you're allowed fifty"
        spoken = [
            q if q.unit is not None or unit is None else q.model_copy(update={"unit": unit})
            for q in limits
            if q.bound != "~"
        ]
        return measures, self.measures(note, saying, spoken)

    def _measure(self, note: Note, mark: Mark, named: Sequence[Mark], saying: Saying) -> Measure | None:
        near = _qualifiers_of(mark, saying)
        readings = [mark]
        if mark.unit is None and (unit := self._run_unit(note.component)) is not None:
            readings = [mark.model_copy(update={"unit": unit}), mark]
        for reading in readings:
            found = self._rules.gauge.read(
                note.component,
                reading,
                named=named,
                positions=note.positions,
                place=near[0].id if near else "",
            )
            if found is not None:
                return found
        return None

    def _run_unit(self, component: str) -> Unit | None:
        """The unit last said of the same part: a bare "rears three" after "fronts four mil" is in
        millimetres.
        """
        for note in self._scene.latest(2 * MEMORY):
            if note.component == component and note.measures:
                return note.measures[-1].unit
        return None

    def _advise(self, note: Note, said: Statement, saying: Saying, *, has_part: bool) -> None:
        """The work that was named; "needs one" without a name for it is what the part is usually given."""
        if said.action is not None and self._comes_after(said.action, note, saying):
            return
        if said.action is not None:
            note.action = self._fitted(said.action, note, saying)
            return
        cues = saying.cues("advice")
        by_reading = note.doubts.get("state") == "reading only"  # "going to need pads, they're at two"
        open_state = note.state in (None, "defect", "missing") or by_reading
        open_advice = cues and note.action is None and open_state
        if not open_advice or said.denied or any(cue.hedged for cue in cues):
            return
        points_at_it = (
            has_part
            or saying.grammar("pronoun", "plural_pronoun")
            or saying.place.located
            or self._names_again(note, saying)
            or self._is_work(cues)
            or _counted(saying, cues)
        )
        if points_at_it:
            note.action = self._rules.lexicon.components[note.component].advice

    def _widen(self, note: Note, saying: Saying) -> None:
        """ "left one's leaking, do the pair", "needs a pair": the work takes in the other side."""
        if note.action in (None, *UNPRICED_ACTIONS) or note.action_positions:
            return
        if orders_pair(saying, self._scene.tokens, self._rules.words):
            entry = self._rules.lexicon.components[note.component]
            note.action_positions = other_side_too(entry, note.positions)

    def _comes_after(self, action: Action, note: Note, saying: Saying) -> bool:
        """ "Needs a condenser. Then recharge it.": lesser work behind "then" goes with the replacement."""
        if action not in GOES_WITH.get(note.action or "", ()):
            return False
        start = min(m.first for m in saying.marks)
        near = self._scene.tokens[max(0, start - 2) : start + 1]
        return any(token.text in self._rules.words.afterwards for token in near)

    def _is_work(self, cues: Sequence[Mark]) -> bool:
        """ "Wants doing", "must be done": advice that names no part, and no work but that it be done."""
        return any(
            token.text in self._rules.words.doing
            for cue in cues
            for token in self._scene.tokens[max(cue.first, cue.last - 1) : cue.last + 2]
        )

    def _fitted(self, action: Action, note: Note, saying: Saying) -> Action:
        """ "it's broken, fit a new one": what is fitted in the place of a broken part replaces it."""
        again = any(
            token.text in self._rules.words.refits
            for mark in saying.of_kind("action")
            for token in self._scene.tokens[mark.first : mark.last]
        )
        if action == "install" and note.state == "defect" and not again:
            advice = self._rules.lexicon.components[note.component].advice
            return "replace" if advice in UNPRICED_ACTIONS else advice
        return action

    def _names_again(self, note: Note, saying: Saying) -> bool:
        """ "Needs a bottle" after the washer bottle: advice, and a word of the part's own names behind it."""
        names = self._rules.lexicon.components[note.component].names
        words = self._rules.words.stand_in.union(word for name in names for word in head_words(name))
        return any(
            token.text in words
            for cue in saying.cues("advice")
            for token in self._scene.tokens[cue.last : cue.last + _NAME_REACH]
        ) or any(
            self._scene.tokens[cue.last - 1].text in self._rules.words.stand_in
            for cue in saying.cues("advice")
        )

    def _reasons(self, note: Note, saying: Saying) -> None:
        """Cause, consequence and condition in the speaker's own words; the first ones said stand."""
        note.because = note.because or self._first_words(saying.cues("because"))
        note.otherwise = note.otherwise or self._first_words(saying.cues("otherwise"))
        note.only_if = note.only_if or self._first_words(saying.cues("only_if"))

    def _first_words(self, cues: Sequence[Mark]) -> str:
        """The speaker's words from the first of the cues to the end of its sentence."""
        words: list[str] = []
        for token in self._scene.tokens[cues[0].first :] if cues else ():
            words.append(token.text)
            if token.stop or len(words) > _LONGEST_REASON:
                break
        return " ".join(words)


def orders_pair(saying: Saying, tokens: Sequence[Token], words: Words) -> bool:
    """ "needs a pair", "replace both": whether a word for two stands in an order or right behind it."""
    orders = [*saying.cues("advice", "quantity"), *saying.of_kind("action")]
    wide = "both" in saying.place.relatives and bool(orders) and not saying.states  # "do them as a pair"
    return wide or any(t.text in words.pair_word for m in orders for t in tokens[m.first : m.last + 2])


def _qualifiers_of(reading: Mark, saying: Saying) -> list[Mark]:
    """ "inner three, outer four" and "three on the inner, four on the outer": which goes with the number.

    The first of a saying tells whether they stand before their numbers or behind.
    """
    said = saying.of_kind("place", "qualifier")
    numbers = saying.of_kind("quantity")
    if said and numbers and said[0].first < numbers[0].first:
        bar = max((q.last for q in numbers if q.last <= reading.first), default=0)
        return [m for m in said if bar <= m.first and m.last <= reading.first][-1:]
    bar = min(
        (q.first for q in numbers if q.first >= reading.last), default=reading.last + _QUALIFIER_REACH + 1
    )
    return [m for m in said if 0 <= m.first - reading.last <= _QUALIFIER_REACH and m.last <= bar][:1]


def _counted(saying: Saying, cues: Sequence[Mark]) -> bool:
    """ "Needs two": how many are to be had, right behind the advice."""
    ends = {cue.last for cue in cues}
    return any(q.unit is None and q.first in ends for q in saying.of_kind("quantity"))


def share_limits(notes: Sequence[Note]) -> None:
    """ "left twenty six, right twenty six one, minimum's twenty six two": the limit is for both readings."""
    for told in notes:
        for note in notes:
            if note.component != told.component or not told.limits_said or note.limits_said:
                continue
            note.limits_said.extend(told.limits_said if note.measures else ())
            if note.state == "ok" and note.doubts.get("state") == "reading only" and _is_beyond(note):
                note.state = "defect"


def _is_beyond(note: Note) -> bool:
    return any(beyond(reading, limit) for reading in note.measures for limit in note.limits_said)


def _judge(note: Note, said: Statement, saying: Saying, *, measured: bool) -> None:
    """State and conditions. A reading alone never talks away a judgement."""
    overruled = said.state == "ok" and note.state == "defect" and note.conditions
    if said.state is not None and not overruled:
        only_reading = (
            said.state == "ok" and measured and not saying.cues("ok") and not saying.of_kind("condition")
        )
        stays_doubtful = note.state == "suspect" and (
            (said.state == "defect" and said.symptoms_only) or said.state == "not_checked"
        )
        if (note.state is None or not only_reading) and not stays_doubtful:
            note.state = said.state
        if only_reading and note.state == "ok":
            note.doubts.setdefault("state", "reading only")
        else:
            note.doubts.pop("state", None)
    note.conditions.extend(c for c in dict.fromkeys(said.conditions) if c not in note.conditions)
    if note.state == "ok":
        note.conditions = []
