#!/usr/bin/env python3
"""What general-purpose parts alone would do with the same vocabulary, beside the product, on the same labels.

    python benchmarks/baseline.py samples_synthetic/tune samples_synthetic/hold

The baseline: spaCy's blank English pipeline cuts sentences, a ``PhraseMatcher`` finds the lexicon's names of
parts, conditions, places and actions, trigger phrases with a window deny or doubt conditions and actions (the
NegEx idea, ``negex_triggers.csv``), and everything goes to the nearest part in its sentence. Its findings go
through the product's own estimate, so that the lines differ by the understanding alone. Numbers, urgency and
references to other sentences are beyond it. Only pooled figures are printed. Not part of the package.
"""

from __future__ import annotations

import argparse
import csv
import sys
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import spacy
from spacy.matcher import PhraseMatcher
from spacy.tokens import Span as SpacySpan
from spacy.util import filter_spans

from voicecheck.estimate import make_estimate
from voicecheck.lexicon import Lexicon
from voicecheck.lexicon.inflect import plural
from voicecheck.measure import FolderScore, load_narrations, pool, score_draft
from voicecheck.measure.counts import FIELDS, Counts
from voicecheck.measure.tables import markdown_table
from voicecheck.pipeline import (
    Workshop,
    draft_from_transcript,
    load_workshop,
    text_recording,
    transcript_from_text,
)
from voicecheck.records import (
    Action,
    Draft,
    Finding,
    InputError,
    Ledger,
    Market,
    Position,
    Ref,
    State,
    Vehicle,
    VoicecheckError,
    span_of,
)

TRIGGERS = Path(__file__).resolve().parent / "negex_triggers.csv"
WINDOW = 5  # tokens that a trigger reaches, as NegEx was first published (from memory)
TRIGGER_KINDS = ("pre", "post", "pre_maybe", "post_maybe", "pseudo", "end")


class Hit(NamedTuple):
    """Tokens ``first:last`` of a text name ``value``: an id, an action, or a place as "kind:value"."""

    kind: str
    first: int
    last: int
    value: str


@dataclass
class _About:
    """A part as it stands in a sentence, with all that lies nearest to it."""

    component: str
    conditions: list[str] = field(default_factory=list)
    fine: bool = False
    doubted: bool = False
    action: Action = "none"
    sides: list[str] = field(default_factory=list)
    axles: list[str] = field(default_factory=list)
    positions: list[Position] = field(default_factory=list)
    place: list[str] = field(default_factory=list)

    @property
    def judged(self) -> bool:
        return bool(self.conditions) or self.fine or self.action != "none"

    def where(self) -> tuple[Position, ...]:
        """Positions as said; a side and an axle make a corner."""
        if self.positions:
            return tuple(dict.fromkeys(self.positions))
        corners = [f"{axle} {side}" for axle in self.axles for side in self.sides]
        return tuple(dict.fromkeys(corners or self.axles or self.sides))  # type: ignore[arg-type]

    def state(self) -> State:
        if self.conditions:
            return "suspect" if self.doubted and self.action == "none" else "defect"
        return "ok" if self.fine else "defect"


class Baseline:
    """Made once per lexicon; ``findings`` keeps no state between calls."""

    def __init__(self, lexicon: Lexicon, *, triggers: Path = TRIGGERS) -> None:
        self._lexicon = lexicon
        self._nlp = spacy.blank("en")
        self._nlp.add_pipe("sentencizer")
        self._nlp.max_length = 10_000_000
        self._names = PhraseMatcher(self._nlp.vocab, attr="LOWER")
        self._triggers = PhraseMatcher(self._nlp.vocab, attr="LOWER")
        self._values: dict[str, tuple[str, str]] = {}
        for kind, value, said in self._vocabulary():
            key = f"{kind}\t{value}"
            self._values[key] = (kind, value)
            self._names.add(key, [self._nlp.make_doc(said)])
        for kind, said in read_triggers(triggers):
            self._triggers.add(kind, [self._nlp.make_doc(said)])

    def _vocabulary(self) -> Iterator[tuple[str, str, str]]:
        """Kind, value and wording of every name; parts also in the plural."""
        for component in self._lexicon.components.values():
            for name in component.names:
                yield "component", component.id, name
                yield "component", component.id, plural(name)
        for condition in self._lexicon.conditions.values():
            for said in condition.said:
                yield "condition", condition.id, said
        for term in self._lexicon.actions:
            for said in term.said:
                yield "action", term.action, said
        for place in self._lexicon.places:
            if place.market in (None, self._lexicon.market):
                yield "place", f"{place.kind}:{place.value}", place.said
        for cue in self._lexicon.cues:
            if cue.kind == "ok":  # the names of "nothing wrong"
                yield "fine", "", cue.said

    def findings(self, text: str) -> tuple[Finding, ...]:
        """What the baseline takes from a text, in the form of the product's findings."""
        doc = self._nlp(" ".join(text.split()))
        words = transcript_from_text(text).words
        starts = _starts(doc.text)
        made: dict[tuple[str, tuple[Position, ...]], Finding] = {}
        for sentence in doc.sents:
            first = bisect_right(starts, sentence.start_char) - 1
            last = bisect_right(starts, max(sentence.start_char, sentence.end_char - 1))
            for about in self._sentence(sentence):
                if not about.judged:
                    continue
                key = (about.component, about.where())
                heard = span_of(words, first, last)
                fresh = Finding(
                    id=made[key].id if key in made else f"f{len(made) + 1}",
                    component=Ref(id=about.component, name=self._lexicon.components[about.component].name),
                    positions=about.where(),
                    place=tuple(dict.fromkeys(about.place)),
                    state=about.state(),
                    conditions=tuple(
                        Ref(id=c, name=self._lexicon.conditions[c].name)
                        for c in dict.fromkeys(about.conditions)
                    ),
                    action=about.action,
                    heard=(heard,),
                )
                made[key] = fresh if key not in made else _merged(made[key], fresh)
        return tuple(made.values())

    def _sentence(self, sentence: SpacySpan) -> list[_About]:
        hits = self._hits(sentence)
        parts = [hit for hit in hits if hit.kind == "component"]
        abouts = [_About(hit.value) for hit in parts]
        if not parts:
            return []
        denied, doubted = self._reached(sentence)
        for hit in hits:
            if hit.kind == "component":
                continue
            about = abouts[_nearest(hit, parts)]
            at = set(range(hit.first, hit.last))
            if hit.kind == "place":
                _place(about, hit.value)
            elif hit.kind == "fine":
                about.fine = about.fine or not at & denied
            elif hit.kind == "action":
                if not at & denied:
                    about.action = hit.value  # type: ignore[assignment]
            elif at & denied or self._lexicon.conditions[hit.value].state == "ok":
                about.fine = True
            else:
                about.conditions.append(hit.value)
                about.doubted = about.doubted or bool(at & doubted)
        return abouts

    def _hits(self, sentence: SpacySpan) -> list[Hit]:
        """The longest of overlapping names, in order. One wording of several meanings is its first."""
        spans = filter_spans(self._names(sentence, as_spans=True))
        hits = []
        for span in spans:
            kind, value = self._values[span.label_]
            hits.append(Hit(kind, span.start, span.end, value))
        return sorted(hits, key=lambda hit: hit.first)

    def _reached(self, sentence: SpacySpan) -> tuple[set[int], set[int]]:
        """The tokens that triggers deny, and those they doubt."""
        spans = filter_spans(self._triggers(sentence, as_spans=True))
        ends = [span for span in spans if span.label_ == "end"]
        denied: set[int] = set()
        doubted: set[int] = set()
        for span in spans:
            if span.label_ in ("pseudo", "end"):
                continue
            reached = doubted if span.label_.endswith("_maybe") else denied
            if span.label_.startswith("pre"):
                stop = min([e.start for e in ends if e.start >= span.end] + [sentence.end])
                reached.update(range(span.end, min(stop, span.end + WINDOW)))
            else:
                stop = max([e.end for e in ends if e.end <= span.start] + [sentence.start])
                reached.update(range(max(stop, span.start - WINDOW), span.start))
        return denied, doubted

    def draft(self, workshop: Workshop, text: str, *, name: str) -> Draft:
        """The baseline's findings, priced by the product's estimate."""
        priced = make_estimate(
            self.findings(text), lexicon=workshop.lexicon, shop=workshop.shop, market=workshop.market
        )
        return Draft(
            market=workshop.market,
            recording=text_recording(name, text),
            vehicle=Vehicle(),
            transcript=transcript_from_text(text),
            findings=priced.findings,
            ledger=Ledger(entries=()),
            estimate=priced.estimate,
            unplaced=(),
            asks=priced.asks,
            timings={},
        )


def read_triggers(path: Path) -> list[tuple[str, str]]:
    """Kind and wording of every trigger. Raises ``InputError`` for a kind that is not known."""
    with path.open(encoding="utf-8", newline="") as source:
        rows = list(csv.DictReader(line for line in source if not line.startswith("#")))
    for row in rows:
        if row["kind"] not in TRIGGER_KINDS:
            raise InputError(f"{path.name}: “{row['kind']}” is not one of {', '.join(TRIGGER_KINDS)}.")
    return [(row["kind"], row["said"]) for row in rows]


def _starts(text: str) -> list[int]:
    """Where the words of a text with single spaces begin."""
    return [0, *(at + 1 for at, sign in enumerate(text) if sign == " ")]


def _nearest(hit: Hit, parts: Sequence[Hit]) -> int:
    """The part with the fewest tokens between; of two as near the one before."""
    gaps = [max(hit.first - part.last, part.first - hit.last, 0) for part in parts]
    return gaps.index(min(gaps))


def _place(about: _About, named: str) -> None:
    kind, _, value = named.partition(":")
    if kind == "position":
        for position in value.split("|"):
            if " " in position:
                about.positions.append(position)  # type: ignore[arg-type]
            else:
                (about.axles if position in ("front", "rear") else about.sides).append(position)
    elif kind == "side":
        about.sides.append(value)
    elif kind == "axle":
        about.axles.append(value)
    elif kind == "relative" and value in ("both", "all"):
        about.sides.extend(("left", "right"))
        if value == "all":
            about.axles.extend(("front", "rear"))
    elif kind in ("qualifier", "engine"):
        about.place.append(value)


def _merged(before: Finding, fresh: Finding) -> Finding:
    """The same part at the same place: a fault outweighs a "fine", the later advice stands."""
    faulty = [f.state for f in (fresh, before) if f.state != "ok"]
    return before.model_copy(
        update={
            "state": faulty[0] if faulty else "ok",
            "conditions": tuple(dict.fromkeys((*before.conditions, *fresh.conditions))) if faulty else (),
            "action": fresh.action if fresh.action != "none" else before.action,
            "heard": (*before.heard, *(span for span in fresh.heard if span not in before.heard)),
        }
    )


# -- scores


def compare(folder: Path) -> tuple[FolderScore, FolderScore]:
    """The baseline's and the product's score on a folder of labelled narrations, from their texts."""
    narrations = load_narrations(folder)
    shops: dict[Market, tuple[Workshop, Baseline]] = {}
    baseline, product = [], []
    for narration in narrations:
        market = narration.gold.market
        if market not in shops:
            workshop = load_workshop(market=market)
            shops[market] = (workshop, Baseline(workshop.lexicon))
        workshop, simple = shops[market]
        name = f"{narration.name}.txt"
        plain = simple.draft(workshop, narration.text, name=name)
        made = draft_from_transcript(
            workshop,
            transcript_from_text(narration.text),
            recording=text_recording(name, narration.text),
        )
        baseline.append(score_draft(plain, narration.gold, workshop.lexicon))
        product.append(score_draft(made, narration.gold, workshop.lexicon))
    return pool(baseline), pool(product)


def rows(baseline: Counts, product: Counts) -> list[tuple[str, str, str]]:
    """Figure, baseline, product."""

    def both(label: str, *values: float | None) -> tuple[str, str, str]:
        first, second = ("–" if value is None else f"{100 * value:.1f} %" for value in values)
        return label, first, second

    b, p = baseline, product
    return [
        both("strict finding F1", b.strict_f1, p.strict_f1),
        both("strict finding precision", b.strict_precision, p.strict_precision),
        both("strict finding recall", b.strict_recall, p.strict_recall),
        both("components found", b.component_recall, p.component_recall),
        *(both(f"  {name} right", b.field(name).rate, p.field(name).rate) for name in FIELDS),
        ("wrong side or axle", str(b.wrong_side), str(p.wrong_side)),
        ("good taken for bad, or bad for good", str(b.flips), str(p.flips)),
        both("line F1", b.line_f1, p.line_f1),
        ("silent errors", f"{b.silent} of {b.draft_lines} lines", f"{p.silent} of {p.draft_lines} lines"),
    ]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit code."""
    parser = argparse.ArgumentParser(description="Score a general-purpose baseline beside the product.")
    parser.add_argument("folders", type=Path, nargs="+", help="labelled narrations")
    options = parser.parse_args(arguments)
    try:
        for folder in options.folders:
            baseline, product = compare(folder)
            print(f"### {folder.name}, from text ({len(product.narrations)})\n")
            table = rows(baseline.counts, product.counts)
            print(markdown_table(("figure", "baseline", "product"), table, right=(1, 2)) + "\n")
    except VoicecheckError as error:
        print(error.message, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
