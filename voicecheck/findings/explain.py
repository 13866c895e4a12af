"""Clause by clause, what was marked and what became of it: a ``Trail`` in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise
from typing import Any

from voicecheck.findings.items import ClauseItems
from voicecheck.findings.notes import Note
from voicecheck.findings.trace import MERGING, Rule, Step, Trail
from voicecheck.findings.vehicle import about_vehicle
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.draft import RecordingInfo
from voicecheck.records.explanation import (
    Change,
    ClauseSeen,
    Explanation,
    FieldSeen,
    FindingSeen,
    Joined,
    MarkSeen,
    Outcome,
    OutcomeKind,
    RuleSeen,
)
from voicecheck.records.finding import Finding, FindingsResult, Measure, Vehicle
from voicecheck.records.reading import Clause, Mark, Reading
from voicecheck.records.transcript import Transcript, joined

_HANGING = ".,;:!?–—"
_NUMBERS = "language/quantities.py"  # what marks numbers has no row
# Fields of a finding in the order in which they are told; a note calls some otherwise.
_FIELDS = (
    "component", "positions", "place", "state", "conditions", "measures", "limits_said", "action",
    "action_positions", "urgency", "only_if", "because", "otherwise", "sublet", "with",
)  # fmt: skip
_RENAMED = {"done_with": "with"}
_UNTOLD = frozenset({"placed", "together", "merged"})  # told in other words
# The cues and closed-class words that set a clause aside (``language.moods``).
_MOOD_CUES: Mapping[str, tuple[str, ...]] = {
    "hypothetical": ("hypothetical", "supposes", "would"),
    "general": ("general",),
    "reported": ("reported",),
    "question": ("question", "asks"),
}


def explain(
    reading: Reading,
    transcript: Transcript,
    trail: Trail,
    result: FindingsResult,
    *,
    lexicon: Lexicon,
    recording: RecordingInfo,
    findings: Sequence[Finding] | None = None,
    lines: Mapping[str, Sequence[str]] | None = None,
) -> Explanation:
    """The trail of one reading in words.

    ``findings`` are those of ``result`` with the questions that came up later, ``lines`` the draft's lines by
    the ids of their findings.
    """
    told = _Teller(reading, transcript, trail, result, lexicon)
    return Explanation(
        market=lexicon.market,
        recording=recording,
        vehicle=result.vehicle,
        clauses=told.clauses(),
        findings=told.findings(result.findings if findings is None else findings, lines or {}),
        rules=told.rules(),
    )


class _Teller:
    def __init__(
        self,
        reading: Reading,
        transcript: Transcript,
        trail: Trail,
        result: FindingsResult,
        lexicon: Lexicon,
    ) -> None:
        self._reading = reading
        self._words = transcript.words
        self._trail = trail
        self._result = result
        self._lexicon = lexicon
        self._number = {id(note): number for number, note in enumerate(trail.notes)}
        self._finding_of = {
            self._number[id(note)]: finding.id
            for note, finding in zip(trail.kept, result.findings, strict=True)
        }
        self._own = dict(self._finding_of)
        self._joined: dict[int, Step] = {}
        self._gone = {step.note: step for step in trail.steps if step.field == "withdrawn"}
        self._carried_from = {
            (step.note, step.clause, step.rule.name): step.told
            for step in trail.steps
            if step.field == "placed" and step.after == "carried"
        }
        self._follow()
        self._changes = [self._change(step) for step in trail.steps]
        self._by_clause: dict[int, list[int]] = {}
        for at, step in enumerate(trail.steps):
            self._by_clause.setdefault(step.clause, []).append(at)

    def _follow(self) -> None:
        """Which finding each note went into: its own, the one it was merged with, or what took its place."""
        for step in self._trail.steps:
            if step.field == "merged" or (step.field == "withdrawn" and step.other is not None):
                self._joined[step.note] = step
        for note in range(len(self._trail.notes)):
            at, seen = note, {note}
            while at not in self._own and at in self._joined:
                at = self._target(self._joined[at])
                if at in seen:
                    break
                seen.add(at)
            if at in self._own:
                self._finding_of[note] = self._own[at]

    def _target(self, step: Step) -> int:
        if step.field == "merged":
            return self._number.get(id(step.after), step.note)
        return step.note if step.other is None else step.other

    # -- clauses ----------------------------------------------------------------------------------------

    def clauses(self) -> tuple[ClauseSeen, ...]:
        """Every clause, with all the transcript's words on one of them."""
        firsts = self._clause_words()
        titles: dict[int, _Title] = {}
        seen = []
        for number, clause in enumerate(self._reading.clauses):
            first, last = firsts[number]
            seen.append(
                ClauseSeen(
                    number=number + 1,
                    first=first,
                    last=last,
                    start=self._words[first].start if first < last else None,
                    words=joined(word.read for word in self._words[first:last]),
                    opened_by=clause.opened_by,
                    mood=clause.mood,
                    mood_by=self._mood_by(clause),
                    marks=tuple(self._mark(mark) for mark in clause.marks),
                    items=tuple(self._items(number)),
                    outcomes=tuple(self._outcomes(number, clause, (first, last), titles)),
                )
            )
        return tuple(seen)

    def _clause_words(self) -> list[tuple[int, int]]:
        """The words of each clause: one that two clauses share is the first one's."""
        firsts: list[int] = []
        for clause in self._reading.clauses:
            word = self._reading.tokens[clause.first].word
            shared = clause.first > 0 and self._reading.tokens[clause.first - 1].word == word
            firsts.append(word + shared if firsts else 0)
        return list(pairwise([*firsts, len(self._words)]))

    def _said(self, first: int, last: int) -> str:
        """The words of tokens ``first:last``."""
        tokens = self._reading.tokens[first:last]
        if not tokens:
            return ""
        return joined(word.read for word in self._words[tokens[0].word : tokens[-1].word + 1])

    def _marked(self, mark: Mark) -> str:
        """A mark's words without the punctuation that hangs on the last one."""
        return self._said(mark.first, mark.last).rstrip(_HANGING)

    def _mood_by(self, clause: Clause) -> str:
        wanted = _MOOD_CUES.get(clause.mood, ())
        found = [self._marked(m) for m in clause.marks if m.detail in wanted]
        return ", ".join(dict.fromkeys(found)) or ("?" if clause.mood == "question" else "")

    def _mark(self, mark: Mark) -> MarkSeen:
        name, row = self._meaning(mark)
        tokens = self._reading.tokens
        return MarkSeen(
            kind=mark.kind,
            detail=mark.detail,
            id=mark.id,
            name=name,
            row=row,
            first=tokens[mark.first].word,
            last=tokens[mark.last - 1].word + 1,
            words=self._marked(mark),
            negated=mark.negated,
            hedged=mark.hedged,
            by=mark.by,
        )

    def _meaning(self, mark: Mark) -> tuple[str, str]:
        """What a mark says, and the row or rule behind it."""
        plain = " ".join(token.text for token in self._reading.tokens[mark.first : mark.last])
        if mark.kind == "component":
            component = self._lexicon.components[mark.id]
            return component.name, f"components/{component.system}.csv: {mark.id}"
        if mark.kind == "condition":
            condition = self._lexicon.conditions[mark.id]
            return f"{condition.name} ({_plain(condition.state)})", f"conditions.csv: {mark.id}"
        if mark.kind == "measure":
            return self._lexicon.measures[mark.id].name, f"measures.csv: {mark.id}"
        if mark.kind == "action":
            return mark.id, f"actions.csv: {mark.id}"
        if mark.kind == "quantity":
            return _amount(mark.value, mark.high, mark.unit, mark.bound), _NUMBERS
        meaning = mark.id.replace("|", ", ")
        if mark.kind == "place":
            return f"{mark.detail} {meaning}", f"places.csv: {plain}"
        name = _plain(mark.detail) + (f" ({meaning})" if meaning and meaning != plain else "")
        return name, f"{'cues' if mark.kind == 'cue' else 'grammar'}.csv: {mark.detail}, {plain}"

    def _items(self, number: int) -> Iterable[str]:
        """How the clause was cut: each part with what was said of it."""
        for clause, cut in self._trail.cuts:
            if clause == number:
                yield from self._cut(cut)

    def _cut(self, cut: ClauseItems) -> Iterable[str]:
        head = self._said(cut.head_first, cut.head_last)
        if head and any(mark.kind != "grammar" for mark in cut.head):
            yield f"“{head}”, {'before the first part' if cut.items else 'no part named'}"
        for item in cut.items:
            parts = []
            for part in item.parts:
                name = self._name(part.component)
                wholes = ", ".join(self._name(whole) for whole in part.wholes)
                parts.append(f"{name} of {wholes}" if wholes else name)
            told = self._said(item.trail_first, item.last)
            named = self._said(item.first, item.trail_first)
            excepted = ", as an exception" if item.excepted else ""
            yield f"“{named}” ({' + '.join(parts)}{excepted})" + (f": “{told}”" if told else "")

    def _name(self, component: str) -> str:
        return self._lexicon.components[component].name

    # -- what became of a clause ------------------------------------------------------------------------

    def _outcomes(
        self, number: int, clause: Clause, words: tuple[int, int], titles: dict[int, _Title]
    ) -> list[Outcome]:
        found: list[Outcome] = []
        by_note: dict[int, list[int]] = {}
        for at in self._by_clause.get(number, ()):
            by_note.setdefault(self._trail.steps[at].note, []).append(at)
        for note, steps in by_note.items():
            title = titles.setdefault(note, _Title())
            for at in steps:
                title.see(self._trail.steps[at], self._lexicon)
            found.append(self._outcome(note, steps, title.text))
        found += [
            Outcome(kind="talk", text=f"“{self._said(talk.first, talk.last)}”: {talk.why}", rule=rule.name)
            for talk, rule in self._trail.talk
            if clause.first <= talk.first < clause.last
        ]
        found += [Outcome(kind="vehicle", text=text) for text in self._vehicle(clause)]
        found += self._unplaced(words)
        return found or [self._idle(clause, words)]

    def _outcome(self, note: int, steps: list[int], title: str) -> Outcome:
        changes = tuple(change for at in steps if (change := self._changes[at]) is not None)
        made = any(
            self._trail.steps[at].field == "component" and self._trail.steps[at].before is None
            for at in steps
        )
        gone = next(
            (self._trail.steps[at] for at in steps if self._trail.steps[at].field == "withdrawn"), None
        )
        finding = self._finding_of.get(note, "")
        rule = (gone or self._trail.steps[steps[-1]]).rule.name
        kind: OutcomeKind
        if gone is not None:
            kind, text = "taken_back", f"{title}: taken back"
            if finding:
                text = f"{title}: what came later stands in its place"
        elif finding:
            kind, text = ("made" if made else "changed"), title
            joining = self._joined.get(note)
            if note not in self._own and joining is not None:
                text += (
                    " (merged)" if joining.field == "merged" else f" (replaced in {_clause(joining.clause)})"
                )
        elif made and note in self._gone:
            step = self._gone[note]
            kind, text = "taken_back", f"{title}: taken back in {_clause(step.clause)}"
        elif made or not self._trail.notes[note].withdrawn:
            kind, text = "unused", f"{title}: {self._unused(note)}"
        else:
            kind, text = "taken_back", f"{title}: taken back later"
        return Outcome(kind=kind, text=text, finding=finding, statement=note + 1, rule=rule, changes=changes)

    def _unused(self, note: int) -> str:
        made = self._trail.notes[note]
        if not made.says_something:
            return "named, and nothing said of it"
        if not any(made is spoken for spoken in self._trail.spoken):
            return "no statement of its own, what was said went to another of this clause"
        return "nothing came of it"

    def _unplaced(self, words: tuple[int, int]) -> list[Outcome]:
        found = []
        for entry in self._result.ledger.entries:
            first, last = max(entry.first, words[0]), min(entry.last, words[1])
            if entry.kind == "unplaced" and first < last:
                text = joined(word.read for word in self._words[first:last])
                found.append(
                    Outcome(kind="unplaced", text=f"“{text}”: {entry.why}, and no finding stands on it")
                )
        return found

    def _idle(self, clause: Clause, words: tuple[int, int]) -> Outcome:
        for entry in self._result.ledger.entries:
            if entry.kind == "evidence" and entry.first < words[1] and words[0] < entry.last:
                which = ", ".join(entry.findings)
                return Outcome(kind="idle", text=f"evidence of {which}, and changes nothing there")
        solid = [mark for mark in clause.marks if mark.kind != "grammar"]
        if not solid:
            return Outcome(kind="idle", text="none of its words names a part, a fault or advice")
        names = ", ".join(dict.fromkeys(f"“{self._marked(m)}”" for m in solid))
        return Outcome(kind="idle", text=f"{names} alone judges no part and advises nothing")

    def _vehicle(self, clause: Clause) -> Iterable[str]:
        """Facts about the vehicle that stand and are read from this clause alone."""
        cues = {m.id for m in clause.marks if m.kind == "cue" and m.detail == "vehicle"}
        miles = any(m.kind == "quantity" and m.unit in ("mi", "km") for m in clause.marks)
        year = any(m.detail == "year_of" for m in clause.marks)
        if not (cues or miles or year):
            return
        here = about_vehicle(self._reading.model_copy(update={"clauses": (clause,)}), self._lexicon)
        for name in Vehicle.model_fields:
            value = getattr(here, name)
            if value is None or value != getattr(self._result.vehicle, name) or (name == "vin" and not cues):
                continue
            yield f"{name}: {_measure(value) if isinstance(value, Measure) else value}"

    # -- changes ----------------------------------------------------------------------------------------

    def _change(self, step: Step) -> Change | None:
        """A step in words; ``None`` for what is told otherwise."""
        name = _RENAMED.get(step.field, step.field)
        note = step.told
        if name in _UNTOLD:
            return None
        before, after = self._value(name, step.before), self._value(name, step.after)
        if name == "doubts":
            fresh = [key for key in step.after if step.after[key] != step.before.get(key)]
            if not fresh:
                return None  # a doubt that is settled shows in the certainty
            name, before, after = fresh[0], "", ""
            note = f"in doubt: {step.after[fresh[0]]}"
        elif name == "withdrawn":
            before, after = "", "taken back"
        elif name == "positions":
            note = note or self._carried(step)
        if before == after and not note:
            return None
        said = [self._marked(mark) + (f" ({mark.by})" if mark.by else "") for mark in step.marks]
        if not (said or note) and step.other is not None:
            source = self._trail.notes[step.other]
            note = f"as said of {_title(self._name(source.component), source.positions)}"
        return Change(
            clause=None if step.clause == MERGING else step.clause + 1,
            statement=step.note + 1,
            field=name,
            before=before,
            after=after,
            rule=step.rule.name,
            words=", ".join(f"“{words}”" for words in dict.fromkeys(said)),
            note=note,
        )

    def _carried(self, step: Step) -> str:
        """From where a place came that was not said, as seen in the same breath as the place itself."""
        told = self._carried_from.get((step.note, step.clause, step.rule.name))
        return "" if told is None else f"not said here: {told}" if told else "not said here"

    def _value(self, name: str, value: Any) -> str:
        """A field's value in words; nothing for what is not set."""
        if isinstance(value, Note):
            number = self._number.get(id(value))
            return self._finding_of.get(number, "") if number is not None else ""
        if name == "component":
            return self._name(value) if value else ""
        if name == "conditions":
            return ", ".join(self._lexicon.conditions[c].name for c in value)
        if name in ("measures", "limits_said"):
            return "; ".join(_measure(measure) for measure in value)
        if isinstance(value, (list, tuple)):
            return ", ".join(value)
        if isinstance(value, bool):
            return "yes" if value else ""
        return _plain(value) if isinstance(value, str) else ""

    # -- findings ---------------------------------------------------------------------------------------

    def findings(
        self, findings: Sequence[Finding], lines: Mapping[str, Sequence[str]]
    ) -> tuple[FindingSeen, ...]:
        """Every finding with all that led to each of its fields."""
        return tuple(self._finding(finding, tuple(lines.get(finding.id, ()))) for finding in findings)

    def _finding(self, finding: Finding, lines: tuple[str, ...]) -> FindingSeen:
        (own,) = (note for note, id_ in self._own.items() if id_ == finding.id)
        notes = [note for note in range(len(self._trail.notes)) if self._finding_of.get(note) == finding.id]
        changes = [
            change
            for step, change in zip(self._trail.steps, self._changes, strict=True)
            if step.note in notes and change is not None
        ]
        fields = []
        for name in _FIELDS:
            value = self._final(finding, name)
            of = tuple(change for change in changes if change.field == name)
            if value or any(change.after or change.note for change in of):
                fields.append(
                    FieldSeen(field=name, value=value, certainty=finding.certainty.get(name), changes=of)
                )
        merged = [self._joining(note) for note in notes if note != own and note in self._joined]
        told = {change.clause for change in changes if change.clause is not None}
        return FindingSeen(
            id=finding.id,
            title=_title(finding.component.name, finding.positions),
            statement=own + 1,
            clauses=tuple(sorted(told)),
            fields=tuple(fields),
            joined=tuple(merged),
            asks=finding.asks,
            lines=lines,
        )

    def _joining(self, note: int) -> Joined:
        step = self._joined[note]
        made = self._trail.notes[note]
        return Joined(
            statement=note + 1,
            title=_title(self._name(made.component), made.positions),
            how="merged" if step.field == "merged" else "replaced",
            clause=None if step.clause == MERGING else step.clause + 1,
            rule=step.rule.name,
        )

    def _final(self, finding: Finding, name: str) -> str:
        if name == "component":
            return finding.component.name
        if name == "conditions":
            return ", ".join(condition.name for condition in finding.conditions)
        if name == "with":
            return finding.done_with or ""
        return self._value(name, getattr(finding, name))

    # -- rules ------------------------------------------------------------------------------------------

    def rules(self) -> tuple[RuleSeen, ...]:
        """The rules that did anything, in the order in which they first did."""
        seen: dict[str, Rule] = {}
        for rule in (*(step.rule for step in self._trail.steps), *(rule for _, rule in self._trail.talk)):
            seen.setdefault(rule.name, rule)
        return tuple(RuleSeen(name=r.name, file=r.file, says=r.says) for r in seen.values())


class _Title:
    """A note's part and place as far as they were known after a clause."""

    def __init__(self) -> None:
        self.text = ""
        self._component = ""
        self._positions: Sequence[str] = ()

    def see(self, step: Step, lexicon: Lexicon) -> None:
        if step.field == "component":
            self._component = lexicon.components[step.after].name
        elif step.field == "positions":
            self._positions = step.after
        self.text = _title(self._component, self._positions)


def _title(name: str, positions: Sequence[str]) -> str:
    return ", ".join([name, *positions])


def _clause(number: int) -> str:
    return "merging" if number == MERGING else f"clause {number + 1}"


def _plain(text: str) -> str:
    return text.replace("_", " ")


def _amount(value: Decimal | None, high: Decimal | None, unit: str | None, bound: str) -> str:
    number = "" if value is None else format(value, "f")
    top = "" if high is None else f" to {format(high, 'f')}"
    return f"{'' if bound == '=' else bound + ' '}{number}{top} {unit or ''}".strip()


def _measure(measure: Measure) -> str:
    where = ", ".join(part for part in (measure.place, measure.position or "") if part)
    text = f"{measure.what} {_amount(measure.value, measure.high, measure.unit, measure.bound)}"
    return f"{text} ({where})" if where else text
