"""What the talk is about at a moment of the recording, and what has been noted so far."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from voicecheck.findings.notes import Note
from voicecheck.findings.places import Place, as_positions, has_sides, own_axles, usual_axle
from voicecheck.lexicon.model import Component
from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import Position

WHEEL_END = {"brakes", "steering", "suspension", "wheels_tyres"}  # looked at together, corner by corner
MEMORY = 6  # notes back to which a bare "the boot" may refer


@dataclass(slots=True)
class Talk:
    """Tokens ``first:last`` that were understood as talk, and why."""

    first: int
    last: int
    why: str


@dataclass(slots=True)
class Symptom:
    """What was heard or felt in clause ``clause`` at tokens ``span``, and is no part's yet."""

    conditions: list[str]
    span: tuple[int, int]
    clause: int
    place: Place = field(default_factory=Place)


@dataclass(slots=True)
class Scene:
    """The memory of one reading. Rules read it through its methods and change its fields in the open."""

    tokens: Sequence[Token]
    clause: int = 0  # number of the clause being read
    notes: list[Note] = field(default_factory=list)  # all notes, in the order of speech
    talk: list[Talk] = field(default_factory=list)
    recent: list[Note] = field(default_factory=list)  # the notes of the last item
    statement: list[Note] = field(default_factory=list)  # the notes since the last new subject, for "those"
    around: Place = field(default_factory=Place)  # the place talked about ("left front.")
    around_clause: int = -1  # where it was said
    carried: Place = field(default_factory=Place)  # the last place said of a part
    carried_system: str = ""
    symptom: Symptom | None = None  # "there's a knock": told of no part yet
    headed: list[Mark] = field(default_factory=list)  # the place words of a heading ("Left front.")
    headed_clause: int = -1  # where they were said
    denied: str = ""  # the part of "it's not the compressor"
    denied_clause: int = -1  # where that was said

    @property
    def standing(self) -> list[Note]:
        """The notes of the last item that were not taken back."""
        return [note for note in self.recent if not note.withdrawn]

    def is_plural(self, mark: Mark) -> bool:
        """ "the inners": those of both sides."""
        word = self.tokens[mark.last - 1].text
        return word.endswith("s") and not word.endswith("'s")

    def latest(self, count: int = MEMORY) -> Iterator[Note]:
        """The last notes, the newest first."""
        return reversed(self.notes[-count:])

    def start(self, notes: list[Note]) -> None:
        """These notes are a new subject, and all that is talked about."""
        self.notes.extend(notes)
        self.recent = notes
        self.statement = list(notes)

    def keep(self, notes: list[Note]) -> None:
        """These notes are spoken of now, within the same subject."""
        self.notes.extend(notes)
        self.recent = notes
        self.statement.extend(notes)

    def keep_beside(self, note: Note) -> None:
        """The same part elsewhere: what was said of it before stays in sight."""
        self.notes.append(note)
        self.recent = [*[n for n in self.recent if n.component == note.component], note]
        self.statement.append(note)

    def mark_together(self) -> None:
        """The work last spoken of in this clause goes with other work."""
        for note in self.recent:
            note.together = note.together or note.last_told == self.clause

    def dismiss(self, first: int, last: int, *, why: str) -> None:
        """Tokens ``first:last`` are understood, and found nothing."""
        self.talk.append(Talk(first, last, why))

    def last_positions(self) -> tuple[Position, ...]:
        """Where the part last spoken of is."""
        return self.recent[-1].positions if self.recent else ()

    def last_seen(self) -> tuple[Position, ...]:
        """The last positions with a side in them, for "on that side"."""
        sided = [n for n in self.latest(2 * MEMORY) if any("left" in p or "right" in p for p in n.positions)]
        for note in sided:
            if len({p.split()[-1] for p in note.positions}) == 1:
                return note.positions
        if sided:
            return sided[0].positions
        return as_positions(self.around)

    def just_headed(self) -> bool:
        """Whether the place talked about was said right before, as a heading ("Left front.")."""
        return self.clause - self.around_clause <= 1

    def same_breath(self) -> bool:
        """Whether the part last spoken of was named in this clause."""
        return bool(self.recent) and self.recent[-1].clause == self.clause

    def around_of(self, component: Component) -> Place:
        """The place that a part without one of its own takes from the talk."""
        if self.around.located:
            return self.around
        near = component.system == self.carried_system or {component.system, self.carried_system} <= WHEEL_END
        if near and has_sides(component):
            axles = {p.split()[0] for p in self.carried.positions} | set(self.carried.axles)
            usual = usual_axle(component)  # "drop links" after the rear brakes are the front ones
            if axles & set(own_axles(component)) and (not usual or axles & set(usual)):
                return self.carried
        return Place()

    def carry(self, component: Component, note: Note, place: Place) -> None:
        """A place said of a part is carried on; one that contradicts the place talked about ends that."""
        self.carried = Place(
            positions=[p for p in note.positions if " " in p],
            axles=[p for p in note.positions if p in ("front", "rear")],
        )
        self.carried_system = component.system
        here, around = place.axis(), self.around.axis()
        if _apart(here.axles, around.axles) or _apart(here.sides, around.sides):
            self.around = Place()


def _apart(here: Sequence[str], there: Sequence[str]) -> bool:
    return bool(here and there and not set(here) & set(there))
