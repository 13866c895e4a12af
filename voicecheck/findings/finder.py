"""The findings stage: a ``Reading`` and its transcript in, findings and ledger out."""

from __future__ import annotations

from collections.abc import Mapping

from voicecheck.findings.assemble import Assembler
from voicecheck.findings.candidates import Candidate, Candidates, Mention, Range, word_ranges
from voicecheck.findings.doubts import asks_of, certainty_of, unsure
from voicecheck.findings.evidence import Evidence
from voicecheck.findings.ledger import keep_ledger
from voicecheck.findings.merge import Merger
from voicecheck.findings.notes import Note
from voicecheck.findings.rules import Rules
from voicecheck.findings.second import Review
from voicecheck.findings.sureness import Sureness
from voicecheck.findings.vehicle import about_vehicle
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.finding import Finding, FindingsResult, Ref
from voicecheck.records.reading import Reading
from voicecheck.records.transcript import Transcript, span_of


class Finder:
    """Made once per lexicon; ``find`` keeps no state between calls."""

    def __init__(
        self, lexicon: Lexicon, *, sureness: Sureness | None = None, review: Review | None = None
    ) -> None:
        """Without ``sureness`` certainties are set, not learned, and none of them leads to a question.
        Without ``review`` the rules alone decide.
        """
        self._lexicon = lexicon
        self._sureness = sureness
        self._review = review
        self._rules = Rules.of(lexicon)
        self._merger = Merger(lexicon, tree=self._rules.tree)
        self._fine = frozenset(c.id for c in lexicon.conditions.values() if c.state == "ok")

    def find(self, reading: Reading, transcript: Transcript) -> FindingsResult:
        """Findings in the order of first mention, and where every word went."""
        return self.find_with_evidence(reading, transcript)[0]

    def find_with_evidence(
        self, reading: Reading, transcript: Transcript
    ) -> tuple[FindingsResult, list[dict[str, float]]]:
        """``find``, and the counts of each finding's evidence, in the same order."""
        assembler = Assembler(self._rules, reading)
        notes, evidence = self._noted(assembler, reading)
        counts = [evidence.of(note) for note in notes]
        maybe: list[Range] = []
        if self._review is not None:
            words = [word.read for word in transcript.words]
            notes, told, maybe = self._review.of(notes, counts, reading=reading, words=words)
            counts = [evidence.of(note) | more for note, more in zip(notes, told, strict=True)]
        names = {id(note): f"f{number}" for number, note in enumerate(notes, start=1)}
        findings = tuple(
            self._finding(note, names, reading, transcript, counts=counted)
            for note, counted in zip(notes, counts, strict=True)
        )
        ledger = keep_ledger(
            reading, findings, assembler.talk, words=len(transcript.words), fine=self._fine, maybe=maybe
        )
        about = about_vehicle(reading, self._lexicon)
        found = FindingsResult(findings=findings, ledger=ledger, vehicle=about)
        return found, counts

    def candidates(self, reading: Reading) -> tuple[list[Candidate], list[Mention]]:
        """What a second reader would be asked to judge: the rules' findings in order, and what else may be
        one.
        """
        notes, evidence = self._noted(Assembler(self._rules, reading), reading)
        candidates = Candidates(self._lexicon, self._rules.tree)
        return candidates.of(notes, [evidence.of(note) for note in notes], reading)

    def _noted(self, assembler: Assembler, reading: Reading) -> tuple[list[Note], Evidence]:
        """What the rules make of a reading, and what counts the evidence for it."""
        notes = self._merger.merge(assembler.run())
        return notes, Evidence(reading, self._lexicon, self._rules.tree)

    def _finding(
        self,
        note: Note,
        names: dict[int, str],
        reading: Reading,
        transcript: Transcript,
        *,
        counts: Mapping[str, float],
    ) -> Finding:
        component = self._lexicon.components[note.component]
        spans = tuple(span_of(transcript.words, *ranged) for ranged in word_ranges(note, reading))
        learned = self._learned(counts) if self._sureness is not None else None
        certainty = certainty_of(note, component, spans, transcript.words, learned=learned)
        asks = asks_of(note, self._lexicon, spans, sure=certainty["component"])
        if not asks and self._is_unsure(note, certainty):
            asks = (unsure(note, component, spans),)
        return Finding(
            id=names[id(note)],
            component=Ref(id=component.id, name=component.name),
            positions=note.positions,
            place=tuple(note.place),
            state=note.state or "defect",
            conditions=tuple(Ref(id=c, name=self._called(c, note, reading)) for c in note.conditions),
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
            done_with=names.get(id(other)) if (other := _done_with(note)) is not None else None,
            sublet=note.sublet,
            heard=spans,
            certainty=certainty,
            asks=asks,
        )

    def _called(self, condition: str, note: Note, reading: Reading) -> str:
        """The condition's name; the speaker's own words for one that does not usually fit the part, so that
        no lamp's word is written of a strut.
        """
        term = self._lexicon.conditions[condition]
        if self._lexicon.fits(term.fits, note.component):
            return term.name
        for first, last in note.ranges:
            for mark in (m for clause in reading.clauses for m in clause.marks):
                if mark.kind == "condition" and mark.id == condition and first <= mark.first < last:
                    said = [token.text for token in reading.tokens[mark.first : mark.last]]
                    while len(said) > 1 and said[0] in self._rules.words.copula:
                        said = said[1:]
                    return " ".join(said)
        return term.name

    def _learned(self, counts: Mapping[str, float]) -> dict[str, float]:
        assert self._sureness is not None
        return {field: self._sureness.certainty(field, counts) for field in self._sureness.weights}

    def _is_unsure(self, note: Note, certainty: Mapping[str, float]) -> bool:
        """Whether the note asks for work that costs something, and such notes are wrong too often."""
        sureness = self._sureness
        return sureness is not None and note.is_priced and certainty["finding"] < sureness.ask_below


def _done_with(note: Note) -> Note | None:
    """The note, as merged, whose work this one's goes with."""
    other = note.done_with
    while other is not None and other.merged is not None:
        other = other.merged
    return other if other is not note else None
