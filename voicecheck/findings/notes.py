"""A note: one statement about one part, still open to change by what is said next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from voicecheck.findings.places import Place
from voicecheck.records.finding import Measure
from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import UNPRICED_ACTIONS, Action, Position, State, Urgency

FINE_OR_FAULT = "fine or fault"  # the doubt about a state that two readers read in opposite ways


@dataclass(slots=True)
class Saying:
    """What a stretch of marks says of its part or parts: places, states, readings, advice."""

    marks: list[Mark] = field(default_factory=list)

    @property
    def place(self) -> Place:
        """All its place words."""
        return Place.of(self.marks)

    def of_kind(self, kind: str, *details: str) -> list[Mark]:
        """Its marks of a kind, and of one of the details where any are given."""
        return [m for m in self.marks if m.kind == kind and (not details or m.detail in details)]

    def cues(self, *details: str) -> list[Mark]:
        """Its cues of these cue kinds."""
        return self.of_kind("cue", *details)

    def grammar(self, *details: str) -> list[Mark]:
        """Its closed-class words of these grammar kinds."""
        return self.of_kind("grammar", *details)

    @property
    def advises(self) -> bool:
        """Whether work is advised in it."""
        return any(not m.negated for m in [*self.of_kind("action"), *self.cues("advice")])

    @property
    def together(self) -> bool:
        """Whether a cue says that work goes together; a list word ("as well as") is no such cue."""
        lists = {(m.first, m.last) for m in self.grammar("list")}
        return any((cue.first, cue.last) not in lists for cue in self.cues("together"))

    @property
    def leaves_out(self) -> bool:
        """ "... but the right rear": only a place behind "but", of which nothing is said."""
        told = self.states or self.advises or self.cues("negation") or self.grammar("same")
        return not told and self.place.absolute and bool(self.grammar("contrast"))

    @property
    def turns_round(self) -> bool:
        """ "the right doesn't", "the left isn't": only a place, and that it is not so there."""
        place, denied = self.place, self.cues("negation")
        if self.states or self.advises or not denied or len(place.sides) + len(place.positions) != 1:
            return False
        last = denied[-1]
        ends = all(m.last <= last.last for m in self.marks)
        return ends and any(p.last == last.first for p in self.of_kind("place"))

    @property
    def states(self) -> list[Mark]:
        """Marks that say how a part is."""
        return [m for m in self.marks if is_state(m)]


def is_state(mark: Mark) -> bool:
    """Whether a mark says how a part is: a condition, a reading, fine, or not checked."""
    return mark.kind in ("condition", "quantity") or (
        mark.kind == "cue" and mark.detail in ("ok", "not_checked")
    )


def names_reading(marks: Sequence[Mark], condition: Mark) -> bool:
    """Whether a condition's word is the name of a reading: "six clicks", "two thou end play"."""
    named = any(m.kind == "measure" and m.first == condition.first for m in marks)
    return named and any(m.kind == "quantity" and 0 <= condition.first - m.last <= 1 for m in marks)


@dataclass(slots=True, eq=False)
class Note:
    """One statement about one part, named by its component id.

    ``place`` are qualifiers that the part's name does not carry ("inner"), ``conditions`` condition ids,
    ``ranges`` the token ranges it rests on. ``state`` and ``action`` stay ``None`` until something says so.
    Two notes with the same values are two notes: they compare by identity.
    """

    component: str
    positions: tuple[Position, ...] = ()
    place: list[str] = field(default_factory=list)
    placed: str = "none"  # "said", "carried" (from the talk around), "none"
    state: State | None = None
    conditions: list[str] = field(default_factory=list)
    measures: list[Measure] = field(default_factory=list)
    limits_said: list[Measure] = field(default_factory=list)
    action: Action | None = None
    action_positions: tuple[Position, ...] = ()
    urgency: Urgency | None = None
    only_if: str = ""
    because: str = ""
    otherwise: str = ""
    together: bool = False  # said to be done along with something else
    done_with: Note | None = None  # what it is done along with
    merged: Note | None = None  # the note that took this one in
    sublet: bool = False
    ranges: list[tuple[int, int]] = field(default_factory=list)
    withdrawn: bool = False
    doubts: dict[str, str] = field(default_factory=dict)  # field -> why
    clause: int = 0
    touched: int = 0  # the last clause that said something of it

    @property
    def says_something(self) -> bool:
        """Whether it judges or advises: only then does it become a finding."""
        return self.state is not None or self.action is not None

    @property
    def is_priced(self) -> bool:
        """Whether it stands and asks for work that costs something."""
        return not self.withdrawn and self.action is not None and self.action not in UNPRICED_ACTIONS

    @property
    def last_told(self) -> int:
        """The last clause that was about it."""
        return max(self.clause, self.touched)


def turn_round(note: Note, told: Sequence[Note]) -> None:
    """ "left has play, right doesn't": the opposite of what was last said of the part elsewhere."""
    before = next((n for n in reversed(told) if n is not note and n.component == note.component), None)
    if before is None or before.state is None or note.state is not None:
        return
    note.state = "defect" if before.state == "ok" else "ok"


def read_at(measures: Sequence[Measure], where: Position | None) -> list[Measure]:
    """The same readings, taken at another place."""
    return [measure.model_copy(update={"position": where}) for measure in measures]


def says_anything(marks: Sequence[Mark]) -> bool:
    """Whether the marks place, judge, measure or advise, or say "the same"."""
    return any(
        m.kind in ("condition", "action", "place", "quantity")
        or (m.kind == "cue" and m.detail in ("ok", "not_checked", "urgency", "advice", "no_action"))
        or (m.kind == "grammar" and m.detail == "same")
        for m in marks
    ) or (
        any(m.detail == "plural_pronoun" for m in marks)
        and any(m.kind == "cue" and m.detail == "quantity" for m in marks)  # "pair of those"
    )


def last_place(saying: Saying) -> Place:
    """The last place word said, and those joined to it by a list word: "my left, it's right" is right."""
    joined = {m.first for m in saying.grammar("list")}
    kept: list[Mark] = []
    for mark in reversed(saying.of_kind("place")):
        if kept and kept[-1].first - 1 not in joined and kept[-1].first > mark.last:
            break
        kept.append(mark)
    return Place.of(kept)


def split_sayings(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Saying]:
    """A part's statement in as many sayings as it names places.

    "left four, right five" and "torn on the left, right's fine" are two; "..., they're okay" after several
    goes to all of them.
    """
    segments = _segments(tokens, marks)
    sayings: list[Saying] = []
    to_all = False
    for number, segment in enumerate(segments):
        saying = Saying(segment)
        located = saying.place.located or (bool(saying.place.qualifiers) and not saying.of_kind("quantity"))
        if not sayings:
            sayings.append(saying)
            continue
        following = Saying(segments[number + 1]) if number + 1 < len(segments) else None
        plural = bool(saying.grammar("plural_pronoun"))
        wide = not saying.place.absolute and not saying.place.qualifiers and not saying.states
        to_all = len(sayings) > 1 and (
            (not located and (to_all or plural)) or (plural and wide and saying.advises)
        )
        if to_all:  # "..., they're okay", "..., replace both of them"
            for earlier in sayings:
                earlier.marks.extend(m for m in segment if m.kind not in ("quantity", "place"))
        elif located and _opens(saying, sayings[-1], following):
            sayings.append(saying)
        else:
            sayings[-1].marks.extend(segment)
    return [part for saying in _under_heading(sayings) for part in _split_runs(saying)]


def _under_heading(sayings: list[Saying]) -> list[Saying]:
    """ "Rears, left's four, right's two": the axle said first, of which nothing is said, is that of the
    sides that follow.
    """
    heading, *told = sayings
    place = heading.place
    on_axle = {p.split()[0] for p in place.positions} if len(place.positions) > 1 else set(place.axles)
    only_axle = len(on_axle) == 1 and not place.sides and not (place.positions and place.axles)
    if not told or not only_axle or place.relatives or heading.states or heading.advises:
        return sayings
    said = [m for m in heading.marks if m.kind == "place"]
    axle = [m.model_copy(update={"detail": "axle", "id": next(iter(on_axle))}) for m in said]
    for saying in told:
        if saying.place.sides and not saying.place.axles and not saying.place.positions:
            saying.marks[:0] = axle
    first, *rest = told
    return [Saying([*(m for m in heading.marks if m not in said), *first.marks]), *rest]


def _opens(saying: Saying, current: Saying, following: Saying | None) -> bool:
    """Whether a segment with a place of its own begins a new saying after ``current``."""
    if saying.grammar("same"):
        return True  # "..., same on the other side"
    if saying.cues("except") and current.states and saying.place.absolute:
        return True  # "all good except the left rear, that one's bald"
    if current.states and (saying.leaves_out or saying.turns_round):
        return True  # "all quiet but the right rear", "left has play, right doesn't"
    if saying.cues("ok") and saying.place.absolute and current.advises and not current.states:
        return True  # "two front tyres needed, rears are fine"
    if saying.states:
        whole = bool({"all", "each"} & set(saying.place.relatives)) or len(saying.place.positions) > 2
        if whole and not current.place.located:
            return False  # "good, like new, ten thirty-seconds all the way round"
        if not current.states and not saying.place.absolute and not saying.place.qualifiers:
            return False  # "passenger side, upper and lower, both of them tight"
        if not current.states and current.place.located and not saying.place.located:
            return False  # "rears, bald in the middle"
        return bool(current.states) or current.place.located
    if saying.advises and current.advises and saying.place.absolute and current.place.absolute:
        return True  # "replace the right, watch the left"
    if not current.states:
        return False
    if saying.advises:
        return True  # "the left one's tight, but replace both"
    # "..., on the right, it's fine"
    return (
        current.place.located
        and following is not None
        and bool(following.states)
        and not following.place.located
    )


def _segments(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[list[Mark]]:
    """Cut at commas, pauses and joining words."""
    segments: list[list[Mark]] = [[]]
    ordered = sorted(marks, key=lambda m: (m.first, m.last))
    previous_last: int | None = None
    again = [m for m in ordered if m.kind == "grammar" and m.detail == "same"]
    for mark in ordered:
        if mark.kind == "cue" and mark.detail == "except" and segments[-1]:
            segments.append([])
        if mark.kind == "grammar" and mark.detail in ("conjunction", "list"):
            if any(m.first < mark.first and mark.last <= m.last for m in again):
                continue  # "and so is the right": a word inside the phrase joins nothing
            if segments[-1]:
                segments.append([])
            previous_last = mark.last
            continue
        if previous_last is not None and mark.first >= previous_last:
            between = tokens[previous_last - 1 : mark.first]
            if any(t.comma or t.stop or t.pause_s > 0.5 for t in between) and segments[-1]:
                segments.append([])
        segments[-1].append(mark)
        previous_last = max(previous_last or 0, mark.last)
    return [segment for segment in segments if segment] or [[]]


def _split_runs(saying: Saying) -> list[Saying]:
    """ "left four right five" in one breath: a new saying at each place that follows a state, when places
    come first.
    """
    solid = [m for m in saying.marks if m.kind == "place" or is_state(m)]
    if not solid or solid[0].kind != "place":
        return [saying]
    cuts = [
        b
        for a, b in pairwise(solid)
        if is_state(a) and b.kind == "place" and b.detail in ("position", "side", "axle")
        and any(is_state(m) for m in solid[solid.index(b) :])
    ]  # fmt: skip
    if not cuts:
        return [saying]
    parts: list[Saying] = [Saying()]
    for mark in saying.marks:
        if mark in cuts:
            parts.append(Saying())
        parts[-1].marks.append(mark)
    return parts
