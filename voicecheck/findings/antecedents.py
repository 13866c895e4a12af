"""What a statement without a part is about: "it", "those", "both", "the rears"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from voicecheck.findings.notes import Note, Saying
from voicecheck.findings.parts import head_words
from voicecheck.findings.places import axles_of, sits
from voicecheck.findings.rules import Rules
from voicecheck.findings.scene import MEMORY, Scene
from voicecheck.records.reading import Token
from voicecheck.records.vocabulary import CORNERS

_OBJECT_REACH = 5  # tokens behind advice that can name what it is about
_NEAR = 3  # notes back to which bare advice looks for a fault
_SEVERAL = 2  # parts told in a row, all of which an advice may be for


class Antecedents:
    """Made anew for each reading."""

    def __init__(self, rules: Rules, scene: Scene) -> None:
        self._rules = rules
        self._scene = scene

    def targets(self, saying: Saying) -> list[Note]:
        """The notes that a saying adds to; empty where nothing was spoken of that it can be about.

        Work that is advised some words after a part was found fine is not work on that part: it goes to the
        last fault on which nothing is advised yet, or to none.
        """
        found = self._spoken_of(saying)
        if not saying.advises or saying.states or not found:
            return found
        if any(n.state != "ok" or n.doubts or n.clause == self._scene.clause for n in found):
            return found
        near = (n for n in self._scene.latest(_NEAR) if self._scene.clause - n.last_told <= _NEAR)
        return [n for n in near if n.state in ("defect", "missing") and n.action is None][:1]

    def _spoken_of(self, saying: Saying) -> list[Note]:
        """The notes that a saying is about by its words and what was spoken of last."""
        recent = self._scene.recent
        if told_as := self._told_as(saying):
            return told_as
        if saying.advises and not saying.states and (named := self.named(saying)):
            return [named]
        plural = saying.grammar("plural_pronoun")
        if plural:
            statement = [n for n in self._scene.statement if not n.withdrawn]
            if statement and statement[-1].says_something:  # not its headings: "front calipers, the pins ..."
                statement = [n for n in statement if n.says_something]
            statement = statement or recent
            if len({n.component for n in statement}) > 1:
                return statement
            if any(m.id in self._rules.words.pair_pronoun for m in plural) and (pair := self._last_pair()):
                return pair
        if plural or len({n.component for n in recent}) > 1:
            return recent
        if saying.advises and not saying.states:
            faulty = [n for n in recent[-_NEAR:] if n.state in ("defect", "missing", "suspect")]
            if faulty:
                return faulty[-1:]  # "the right's tight. That has to be fixed": the faulty one
        if saying.grammar("pronoun"):
            return recent[-1:]
        return self.fitting(saying) or recent[-1:]

    def _told_as(self, saying: Saying) -> list[Note]:
        """ "replace the noisy one", "change the two bad ones": the faults told so, or all of the part."""
        conditions = [m for m in saying.of_kind("condition") if not m.negated]
        if not saying.advises or saying.place.located:
            return []
        if not conditions:
            return self._of_kinds(saying)
        behind = self._scene.tokens[conditions[-1].last : conditions[-1].last + 1]
        words = [t.text for t in behind]
        if not set(words) & {"one", "ones"}:
            return []
        faults = [
            n
            for n in self._scene.latest()
            if n.state in ("defect", "missing") and n.action is None and not n.withdrawn
        ]
        faults = [n for n in faults if n.component == faults[0].component]
        alike = [n for n in faults if {m.id for m in conditions} & set(n.conditions)]
        found = alike or faults
        return list(reversed(found)) if words == ["ones"] else found[:1]

    def _of_kinds(self, saying: Saying) -> list[Note]:
        """ "replace the lowers": every fault of the kind that the word names."""
        kinds = [m for m in saying.of_kind("place", "qualifier") if self._scene.is_plural(m)]
        if saying.states or not kinds:
            return []
        named = {m.id for m in kinds}
        parts = self._rules.lexicon.components
        return [
            n
            for n in self._scene.notes[-2 * MEMORY :]
            if named & {*parts[n.component].place, *n.place}
            and n.state in ("defect", "missing")
            and n.action is None
            and not n.withdrawn
        ]

    def named(self, saying: Saying) -> Note | None:
        """ "should put in a new cable" after the parking brake cable: the last fault, nothing yet advised on
        it, whose name ends with a word that the advice has for its object.
        """
        orders = [*saying.cues("advice"), *(m for m in saying.of_kind("action") if not m.negated)]
        said = {
            word
            for order in orders
            for token in _until_stop(self._scene.tokens, order.last, reach=_OBJECT_REACH)
            for word in (token.text, token.text.removesuffix("s"))
        }
        for note in self._scene.latest():
            open_fault = note.state in ("defect", "missing") and note.action is None and not note.withdrawn
            names = self._rules.lexicon.components[note.component].names
            if open_fault and said & {head_words(name)[-1] for name in names}:
                return note
        return None

    def all_told(self, saying: Saying) -> list[Note]:
        """ "Bush torn. Link rattling. Mount noisy. All want doing.": the faults of several parts told in a
        row, on none of which anything is advised yet; none where "all four" can be wheels of the last part.
        """
        place = saying.place
        if not saying.advises or saying.states or place.absolute or "all" not in place.relatives:
            return []
        waiting: list[Note] = []
        for note in reversed(self._scene.notes):
            if note.withdrawn or not note.says_something:
                continue
            if note.state not in ("defect", "missing") or note.action is not None:
                break
            waiting.insert(0, note)
        said = {t.text for m in saying.of_kind("place") for t in self._scene.tokens[m.first : m.last + 1]}
        if len({n.component for n in waiting}) < _SEVERAL or (
            "four" in said and len(waiting) != len(CORNERS)
        ):
            return []
        return waiting

    def _last_pair(self) -> list[Note]:
        """The faults of the last two parts, for "both of those"; none where one of them is at several
        places.
        """
        faulty = [
            n for n in self._scene.notes[-MEMORY:] if n.state in ("defect", "missing") and not n.withdrawn
        ]
        last = list(dict.fromkeys(n.component for n in reversed(faulty)))[:2]
        if len(last) < 2 or any(len(n.positions) > 1 for n in faulty):
            return []
        return [n for n in faulty if n.component in last]

    def fitting(self, saying: Saying) -> list[Note]:
        """The part last spoken of that the words can be about: one note, or none.

        "the rears are at five mil" is about no wheel alignment. None where nothing in the saying depends on
        the part, or nothing fits.
        """
        with_unit = any(q.unit is not None for q in saying.of_kind("quantity"))
        if not (saying.of_kind("condition") or with_unit or saying.place.located):
            return []
        told = [n for n in (*reversed(self._scene.recent), *self._scene.latest()) if not n.withdrawn]
        units = {q.unit for q in saying.of_kind("quantity")} - {None}
        if (
            units and saying.place.absolute and told and told[0].says_something
        ):  # "rears are five mil": what was measured at the front
            told.sort(key=lambda n: not any(m.unit in units for m in n.measures))
        for note in told:
            if self.fits(note, saying):
                return [note]
        return []

    def fits(self, note: Note, saying: Saying) -> bool:
        """Whether the words can be about the part: its places, what its readings measure, its faults."""
        lexicon = self._rules.lexicon
        place = saying.place
        if place.located and not sits(lexicon.components[note.component]):
            return False
        only_axle = len(place.axles) == 1 and not place.sides
        if only_axle and (note.placed != "said" or place.axles[0] in axles_of(note.positions)):
            return False  # "the rears are at six" after front pads: what was said of the other axle
        quantities = [q for q in saying.of_kind("quantity") if q.unit is not None]
        if quantities and not any(self._rules.gauge.measures(note.component, q) for q in quantities):
            return False
        conditions = saying.of_kind("condition")
        return not conditions or any(
            lexicon.fits(lexicon.conditions[m.id].fits, note.component) for m in conditions
        )


def _until_stop(tokens: Sequence[Token], first: int, *, reach: int) -> Iterator[Token]:
    """The tokens from ``first`` to the end of the phrase, at most ``reach`` of them."""
    if first and (tokens[first - 1].comma or tokens[first - 1].stop):
        return
    for token in tokens[first : first + reach]:
        yield token
        if token.comma or token.stop:
            return
