"""The findings stage: a ``Reading`` and its transcript in, findings and ledger out."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.findings.assemble import Assembler
from voicecheck.findings.ledger import keep_ledger
from voicecheck.findings.merge import Merger
from voicecheck.findings.notes import Note
from voicecheck.findings.places import doubtful
from voicecheck.findings.vehicle import about_vehicle
from voicecheck.lexicon.model import Component, Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.finding import Finding, FindingsResult, Ref
from voicecheck.records.reading import Reading, Token
from voicecheck.records.transcript import Span, Transcript, Word, span_of
from voicecheck.records.vocabulary import UNPRICED_ACTIONS

_CARRIED = 0.8  # share by which a carried-over place is less certain than a said one
_UNSURE_WORD = 0.5  # below it a side, a number or a part is asked about


class Finder:
    """Made once per lexicon; ``find`` keeps no state between calls."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self._merger = Merger(lexicon)

    def find(self, reading: Reading, transcript: Transcript) -> FindingsResult:
        """Findings in the order of first mention, and where every word went."""
        assembler = Assembler(self._lexicon, reading)
        notes = self._merger.merge(assembler.run())
        names = {id(note): f"f{number}" for number, note in enumerate(notes, start=1)}
        findings = tuple(self._finding(note, names, reading.tokens, transcript) for note in notes)
        ledger = keep_ledger(reading, findings, assembler.talk, words=len(transcript.words))
        return FindingsResult(findings=findings, ledger=ledger, vehicle=about_vehicle(reading, self._lexicon))

    def _finding(
        self, note: Note, names: dict[int, str], tokens: Sequence[Token], transcript: Transcript
    ) -> Finding:
        component = self._lexicon.components[note.component]
        spans = _spans(note, tokens, transcript.words)
        certainty = self._certainty(note, spans, transcript.words)
        return Finding(
            id=names[id(note)],
            component=Ref(id=component.id, name=component.name),
            positions=note.positions,
            place=tuple(note.place),
            state=note.state or "defect",
            conditions=tuple(Ref(id=c, name=self._lexicon.conditions[c].name) for c in note.conditions),
            measures=tuple(note.measures),
            limits_said=tuple(note.limits_said),
            action=note.action or "none",
            action_positions=()
            if set(note.action_positions) == set(note.positions)
            else note.action_positions,
            urgency=note.urgency or "unstated",
            only_if=note.only_if,
            because=note.because,
            otherwise=note.otherwise,
            done_with=names.get(id(note.done_with)) if note.done_with is not None else None,
            sublet=note.sublet,
            heard=spans,
            certainty=certainty,
            asks=self._asks(note, certainty, spans),
        )

    def _certainty(self, note: Note, spans: Sequence[Span], words: Sequence[Word]) -> dict[str, float]:
        sure = [words[at].certainty for span in spans for at in range(span.first, span.last)]
        base = min(1.0, sum(sure) / len(sure)) if sure else 0.0
        low = min(sure, default=0.0)
        place = base if note.placed == "said" else base * _CARRIED
        state = base * (0.8 if "state" in note.doubts else 1.0)
        conditions = base * (0.5 if "conditions" in note.doubts else 1.0)
        return {
            "component": round(base, 3),
            "positions": round(place if note.positions else base * 0.5 if note.placed == "none" else base, 3),
            "state": round(state, 3),
            "conditions": round(conditions, 3),
            "measures": round((base + low) / 2, 3),
            "action": round(base, 3),
            "urgency": round(base, 3),
        }

    def _asks(self, note: Note, certainty: dict[str, float], spans: Sequence[Span]) -> tuple[Ask, ...]:
        component = self._lexicon.components[note.component]
        asks = []
        if doubtful(component, note.positions):
            asks.append(
                Ask(
                    code="place_does_not_fit",
                    field="positions",
                    message=f"“{spans[0].read}”: {component.name} is not usually found at {', '.join(note.positions)}. "
                    "Which side was meant?",
                    choices=("front left", "front right", "rear left", "rear right"),
                )
            )
        if "conditions" in note.doubts:
            names = ", ".join(self._lexicon.conditions[c].name for c in note.conditions)
            asks.append(
                Ask(
                    code="condition_does_not_fit",
                    field="conditions",
                    message=f"“{names}” is not usually said of {component.name}. Is that what was meant?",
                    choices=("yes", "no, another part"),
                )
            )
        if certainty["component"] < _UNSURE_WORD:
            asks.append(
                Ask(
                    code="heard_unclearly",
                    field="component",
                    message=f"The words “{spans[0].heard}” were not clear. Is this about {component.name}?",
                    choices=("yes", "no"),
                )
            )
        if note.action not in (None, *UNPRICED_ACTIONS):
            asks.extend(self._asks_of_reference(note, component))
        return tuple(asks)

    @staticmethod
    def _asks_of_reference(note: Note, component: Component) -> list[Ask]:
        """Where work is advised and the part or its place was not said with it, but taken from what went before."""
        asks = []
        where = " and ".join(note.positions)
        if note.doubts.get("positions") == "carried over" and note.positions:
            asks.append(
                Ask(
                    code="place_carried",
                    field="positions",
                    message=f"No side was said with {component.name}; {where} is taken from before. Is that right?",
                    choices=("yes", "another side", "all of them"),
                )
            )
        if note.doubts.get("action") == "said later":
            asks.append(
                Ask(
                    code="advice_said_later",
                    field="action",
                    message=f"“{note.action}” was said some sentences after {component.name}. Does it belong to it?",
                    choices=("yes", "no, to another part"),
                )
            )
        return asks


def _spans(note: Note, tokens: Sequence[Token], words: tuple[Word, ...]) -> tuple[Span, ...]:
    """The note's token ranges as word spans, joined where they touch."""
    ranges = sorted(
        {(tokens[first].word, tokens[last - 1].word + 1) for first, last in note.ranges if last > first}
    )
    joined: list[tuple[int, int]] = []
    for first, last in ranges:
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return tuple(span_of(words, first, last) for first, last in joined)
