"""Watches the rules at work on one reading, so that a finding can say why it looks as it does.

The rules themselves keep no trail: that would cost every draft something, and every new rule could forget it.
Here the interpreter tells when a function of this package begins and ends (``sys.setprofile``, in this thread
only), and whatever changed on a note in between was done by the function that was running. Its name and its
docstring are the reason. A rule that changes a note therefore needs nothing but a docstring.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from operator import attrgetter
from types import CodeType, FrameType
from typing import Any

from voicecheck.findings.assemble import Assembler
from voicecheck.findings.finder import Finder
from voicecheck.findings.items import ClauseItems, Cutter, Item, Part
from voicecheck.findings.merge import Merger
from voicecheck.findings.notes import Note, Saying
from voicecheck.findings.scene import Scene, Talk
from voicecheck.findings.second import Review
from voicecheck.records.finding import FindingsResult
from voicecheck.records.reading import Mark, Reading
from voicecheck.records.transcript import Transcript

MERGING = -1  # the clause of what happens after the last one

_WATCHED = (
    "component", "positions", "placed", "place", "state", "conditions", "measures", "limits_said", "action",
    "action_positions", "urgency", "only_if", "because", "otherwise", "sublet", "together", "done_with",
    "merged", "withdrawn", "doubts",
)  # fmt: skip
_RECENT = 24  # notes looked at after every rule; older ones only where a rule holds them
_LONGEST_LIST = 64  # of notes that a rule holds
_PACKAGE = __name__.rpartition(".")[0] + "."
_SELF = __name__
# Modules that only look things up: what their callers do with that is the callers' doing.
_ASIDE = frozenset(
    _PACKAGE + name
    for name in ("antecedents", "clauseview", "doubts", "items", "ledger", "naming", "notes", "parts",
                 "places", "readings", "scene", "state", "vehicle", "vin", "words")
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rule:
    """A function that changed a note: its qualified name, its module's file name, its docstring."""

    name: str
    file: str
    says: str


@dataclass(slots=True)
class Step:
    """One field of a note, set or changed. ``note`` and ``other`` are indexes of ``Trail.notes``.

    ``marks`` are those in the rule's hands that bear on the field, ``other`` is a second note it held.
    """

    clause: int
    note: int
    field: str
    before: Any
    after: Any
    rule: Rule
    marks: tuple[Mark, ...] = ()
    other: int | None = None
    told: str = ""


@dataclass(slots=True)
class Trail:
    """Everything seen: the notes in the order of making, their steps, and what each became.

    ``spoken`` are the notes that were kept while reading, ``kept`` those that became findings, in
    order. ``talk`` are stretches set aside with the rule that did, ``cuts`` the clauses as cut into items.
    """

    notes: list[Note] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    spoken: list[Note] = field(default_factory=list)
    kept: list[Note] = field(default_factory=list)
    talk: list[tuple[Talk, Rule]] = field(default_factory=list)
    cuts: list[tuple[int, ClauseItems]] = field(default_factory=list)


def trace(finder: Finder, reading: Reading, transcript: Transcript) -> tuple[FindingsResult, Trail]:
    """What ``finder.find`` gives, and how it came about. The result is the same as without watching."""
    watch = _Watch(reading)
    before = sys.getprofile()
    sys.setprofile(watch.event)
    try:
        result = finder.find(reading, transcript)
    finally:
        sys.setprofile(before)
    watch.finish()
    return result, watch.trail


class _Watch:
    def __init__(self, reading: Reading) -> None:
        self.trail = Trail()
        self._reading = reading
        self._scene: Scene | None = None
        self._merging = False
        self._stack: list[tuple[FrameType, Rule]] = []
        self._numbers: dict[int, int] = {}  # id of a note -> its index; the notes are kept alive by the trail
        self._seen: list[tuple[Any, ...]] = []
        self._rules: dict[CodeType, Rule | None] = {}
        self._last: Rule | None = None

    def event(self, frame: FrameType, event: str, result: Any) -> None:
        """The interpreter's call: a function begins ("call") or ends ("return")."""
        if event not in ("call", "return"):
            return
        code = frame.f_code
        if event == "return":
            self._made(code, frame, result)
        rule = self._rule_of(code, frame)
        if rule is None:
            return
        self._compare()
        if event == "call":
            self._stack.append((frame, rule))
        elif self._stack and self._stack[-1][0] is frame:
            self._register_all(result)
            self._stack.pop()

    def finish(self) -> None:
        """Whatever no comparison has seen yet is put down to the last rule."""
        for number in range(len(self.trail.notes)):
            self._compare_one(number)

    # -- what is being made -----------------------------------------------------------------------------

    def _made(self, code: CodeType, frame: FrameType, result: Any) -> None:
        if code is _MAKES_NOTE:
            self._register(frame.f_locals["self"])
        elif code is _MAKES_TALK:
            if self._stack:
                self.trail.talk.append((frame.f_locals["self"], self._stack[-1][1]))
        elif code is _MAKES_SCENE:
            self._scene = frame.f_locals["self"]
        elif code is _CUTS:
            if isinstance(result, ClauseItems):
                self.trail.cuts.append((self._clause, result))
        elif code is _MERGES:
            if isinstance(result, list):
                self.trail.kept = list(result)
        elif code is _REVIEWS:
            if isinstance(result, tuple):
                self.trail.kept = list(result[0])
        elif code is _RUNS:
            self._compare()
            self.trail.spoken = list(result) if isinstance(result, list) else []
            self._merging = True

    @property
    def _clause(self) -> int:
        return MERGING if self._merging or self._scene is None else self._scene.clause

    def _register(self, note: Note) -> None:
        """A note that was just made: what it has from the start is its maker's doing."""
        self._numbers[id(note)] = len(self.trail.notes)
        self.trail.notes.append(note)
        self._seen.append(_BLANK)
        self._compare_one(len(self.trail.notes) - 1)

    def _register_all(self, result: Any) -> None:
        """Notes that were copied, not made, first show as what a rule returns."""
        for note in _notes_in(result):
            if id(note) not in self._numbers:
                self._register(note)

    # -- what changed -----------------------------------------------------------------------------------

    def _compare(self) -> None:
        """Puts every change since the last event down to the rule that was running."""
        if not self._stack:
            return
        count = len(self.trail.notes)
        for number in range(max(0, count - _RECENT), count):
            self._compare_one(number)
        for note in self._held():
            number = self._numbers.get(id(note), count)
            if number < count - _RECENT:
                self._compare_one(number)

    def _compare_one(self, number: int) -> None:
        note, seen = self.trail.notes[number], self._seen[number]
        now = _values(note)
        if now == seen:
            return
        self._seen[number] = now = _kept(now)
        rule = self._stack[-1][1] if self._stack else self._last or _UNKNOWN
        beside = (n for n in self._held(lists=False) if n is not note and id(n) in self._numbers)
        other = next((self._numbers[id(n)] for n in beside), None)
        for name, before, after in zip(_WATCHED, seen, now, strict=True):
            if before != after:
                step = Step(self._clause, number, name, before, after, rule, other=other)
                step.marks = self._marks(name)
                step.told = self._told(name, after)
                self.trail.steps.append(step)

    def _held(self, *, lists: bool = True) -> list[Note]:
        """The notes that the running rule holds by name, then those in ``lists`` it holds."""
        if not self._stack:
            return []
        held = list(self._stack[-1][0].f_locals.values())
        found = [value for value in held if isinstance(value, Note)]
        for value in held if lists else ():
            if isinstance(value, (list, tuple)) and len(value) <= _LONGEST_LIST:
                found.extend(entry for entry in value if isinstance(entry, Note))
        return found

    def _told(self, name: str, after: Any) -> str:
        """What the words do not say: from where a place was carried over."""
        scene = self._scene
        if name != "placed" or after != "carried" or scene is None:
            return ""
        if scene.around.located:
            return f"the place talked about since clause {scene.around_clause + 1}"
        before = [note for note in scene.notes if note.positions]
        return f"the place said in clause {before[-1].clause + 1}" if before else "the place said before"

    def _marks(self, name: str) -> tuple[Mark, ...]:
        """The marks that bear on a field, from the nearest rule on the stack that holds any."""
        wanted = _BEARING.get(name, ())
        if name in ("withdrawn", "merged"):
            clause = self._reading.clauses[self._clause] if self._clause != MERGING else None
            return () if clause is None else tuple(m for m in clause.marks if m.detail in wanted)
        for frame, _rule in reversed(self._stack):
            held = _marks_in(frame.f_locals)
            bearing = [mark for mark in held if mark.kind in wanted or mark.detail in wanted]
            if bearing:
                return tuple(sorted(dict.fromkeys(bearing), key=lambda mark: mark.first))
        return ()

    # -- rules ------------------------------------------------------------------------------------------

    def _rule_of(self, code: CodeType, frame: FrameType) -> Rule | None:
        if code not in self._rules:
            self._rules[code] = _rule(code, frame.f_globals)
        rule = self._rules[code]
        if rule is not None:
            self._last = rule
        return rule


def _rule(code: CodeType, module: Mapping[str, Any]) -> Rule | None:
    """The rule that some code is; ``None`` for other packages and what only looks things up."""
    name = str(module.get("__name__", ""))
    if not name.startswith(_PACKAGE) or name == _SELF or name in _ASIDE:
        return None
    if "<" in code.co_qualname or code.co_name.startswith("__"):
        return None
    found: Any = module
    for step in code.co_qualname.split("."):
        found = found.get(step) if isinstance(found, Mapping) else getattr(found, step, None)
    if isinstance(found, property):
        return None
    says = (getattr(found, "__doc__", None) or "").partition("\n\n")[0]
    file = name.removeprefix(_PACKAGE).replace(".", "/") + ".py"
    return Rule(name=code.co_qualname, file=file, says=" ".join(says.replace("``", "").split()))


_values = attrgetter(*_WATCHED)


def _kept(values: tuple[Any, ...]) -> tuple[Any, ...]:
    """The values with lists and mappings copied, so that they stay as they are."""
    return tuple(copy(value) if isinstance(value, (list, dict)) else value for value in values)


def _notes_in(value: Any) -> Iterator[Note]:
    if isinstance(value, Note):
        yield value
    elif isinstance(value, list):
        yield from (entry for entry in value if isinstance(entry, Note))


def _marks_in(held: Mapping[str, Any]) -> list[Mark]:
    """All marks in a rule's hands."""
    found: list[Mark] = []
    for value in held.values():
        if isinstance(value, Saying):
            found.extend(value.marks)
        elif isinstance(value, Part):
            found.extend((*value.lead, value.mark))
        elif isinstance(value, Item):
            found.extend((*(m for part in value.parts for m in (*part.lead, part.mark)), *value.trail))
        elif isinstance(value, ClauseItems):
            found.extend(value.head)
        elif isinstance(value, (list, tuple)) and value and isinstance(value[0], Mark):
            found.extend(mark for mark in value if isinstance(mark, Mark))
    return found


def _code_of(function: object) -> CodeType:
    code = getattr(function, "__code__", None)
    if not isinstance(code, CodeType):
        raise TypeError(f"{function!r} is not written in Python")
    return code


_MAKES_NOTE = _code_of(Note.__init__)
_MAKES_TALK = _code_of(Talk.__init__)
_MAKES_SCENE = _code_of(Scene.__init__)
_CUTS = _code_of(Cutter.cut)
_MERGES = _code_of(Merger.merge)
_REVIEWS = _code_of(Review.of)
_RUNS = _code_of(Assembler.run)
_BLANK: tuple[Any, ...] = (None, *_kept(_values(Note(component="")))[1:])
_UNKNOWN = Rule(name="", file="", says="")

# Which marks bear on a field: their kinds, or the cue, place and grammar kinds in ``detail``.
_BEARING: Mapping[str, Sequence[str]] = {
    "component": ("component", "qualifier"),
    "positions": ("place", "same", "on_it"),
    "placed": ("place", "same", "on_it"),
    "place": ("qualifier", "engine"),
    "state": ("condition", "ok", "not_checked", "except", "negation", "hedge", "quantity"),
    "conditions": ("condition",),
    "measures": ("quantity", "measure"),
    "limits_said": ("quantity", "limit"),
    "action": ("action", "advice", "no_action", "therefore"),
    "action_positions": ("place", "plural_pronoun"),
    "urgency": ("urgency",),
    "only_if": ("only_if",),
    "because": ("because",),
    "otherwise": ("otherwise",),
    "sublet": ("sublet",),
    "together": ("together",),
    "done_with": ("together",),
    "withdrawn": ("correction", "withdrawal", "negation"),
    "merged": (),
}
