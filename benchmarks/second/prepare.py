#!/usr/bin/env python3
"""Makes the lessons of the second reader: every candidate of labelled texts as numbers, with what is right.

    python benchmarks/second/prepare.py OUT.npz FOLDER|PROBES.yaml …

FOLDER holds narrations with labels, a .yaml file probes (``tests/probes``). ``--mirror`` gives the same
lessons with left and right exchanged. Runs in the project's environment; ``teach.py`` takes the result and
runs in one of its own.
"""

from __future__ import annotations

import argparse
import functools
import re
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from voicecheck.findings.candidates import Candidate, Mention, Range
from voicecheck.lexicon import Lexicon
from voicecheck.lexicon.seats import seated, seats
from voicecheck.measure.gold import GoldFinding, load_narrations, quote_range
from voicecheck.measure.same import Names
from voicecheck.measure.score import paired
from voicecheck.pipeline import Workshop, load_workshop, transcript_from_text
from voicecheck.records import Finding, Market, Position
from voicecheck.records.finding import Ref
from voicecheck.records.reading import Reading
from voicecheck.records.vocabulary import ACTIONS, POSITIONS, STATES, URGENCIES
from voicecheck.resources import shared_dir
from voicecheck.second.layout import arrays, windows
from voicecheck.second.model import word_pieces

PROBES = Path(__file__).resolve().parents[2] / "tests" / "probes"
BEFORE, BEHIND = 12, 6  # words around a label's quote in which its part may be named
BESIDE = 2  # and its place, where that stands apart
ANY = "-"  # the quote of a probe: its finding may be told anywhere in it


class Text(NamedTuple):
    """A text with its label."""

    name: str
    market: Market
    words: str
    gold: list[GoldFinding]


@functools.cache
def workshop(market: Market) -> Workshop:
    """What reads the texts of one market: the rules alone."""
    return load_workshop(market=market, rules_alone=True)


@functools.cache
def names(market: Market) -> Names:
    """What compares names in one market."""
    return Names(workshop(market).lexicon)


def texts(path: Path) -> Iterator[Text]:
    """The narrations of a folder, or the probes of a file."""
    if path.is_dir():
        for narration in load_narrations(path):
            gold = narration.gold
            yield Text(gold.name, gold.market, narration.text, list(gold.findings))
        return
    sys.path.insert(0, str(PROBES))
    from probe_kit import probes_of

    for number, probe in enumerate(probes_of(path), start=1):
        findings = [
            GoldFinding(
                id=f"f{at}", component=want.names[0], also=list(want.names[1:]),
                positions=list(want.positions), state=want.state, action=want.action,
                action_positions=list(want.wider), urgency="unstated", conditions=[], measures=[], quote=ANY,
            )
            for at, want in enumerate(probe.want, start=1)
        ]  # fmt: skip
        yield Text(f"{path.stem}-{number}", probe.market, probe.say, findings)


def located(words: Sequence[str], quote: str) -> Range | None:
    """Where a label's quote stands among the words; ``None`` if it does not."""
    if quote == ANY:
        return 0, len(words)
    return quote_range(words, quote)


_SIDES = (
    ("left", "right"), ("lefts", "rights"), ("lefthand", "righthand"), ("driver", "passenger"),
    ("drivers", "passengers"), ("nearside", "offside"), ("near", "off"), ("lf", "rf"), ("lr", "rr"),
    ("lh", "rh"), ("l", "r"), ("street", "curb"), ("road", "kerb"),
)  # fmt: skip
_OTHER = dict(_SIDES) | {b: a for a, b in _SIDES}
_LETTERS = re.compile(r"[A-Za-z]+")
_MIRRORED: dict[Position, Position] = {
    "front left": "front right", "front right": "front left", "rear left": "rear right",
    "rear right": "rear left", "left": "right", "right": "left",
}  # fmt: skip


def mirrored(text: Text) -> Text | None:
    """The text with its sides exchanged, in words and label; ``None`` where a side is told in other words."""
    transcript = transcript_from_text(text.words)
    reading = workshop(text.market).reader.read(transcript)
    words = [word.read for word in transcript.words]
    heard = list(words)
    for clause in reading.clauses:
        for mark in clause.marks:
            if mark.kind != "place":
                continue
            first, last = reading.tokens[mark.first].word, reading.tokens[mark.last - 1].word + 1
            for at in range(first, last):
                heard[at] = _LETTERS.sub(lambda one: _OTHER.get(one[0].lower(), one[0]), words[at])
            one_sided = ("left" in mark.id) != ("right" in mark.id)
            if one_sided and heard[first:last] == words[first:last]:
                return None
    if heard == words:
        return None

    def turned(positions: Sequence[Position]) -> list[Position]:
        return [_MIRRORED.get(position, position) for position in positions]

    gold = []
    for one in text.gold:
        where = located(words, one.quote)
        if where is None:
            return None
        quote = one.quote if one.quote == ANY else " ".join(heard[slice(*where)])
        gold.append(
            one.model_copy(
                update={
                    "positions": turned(one.positions),
                    "action_positions": turned(one.action_positions),
                    "quote": quote,
                }
            )
        )
    return Text(f"{text.name}, mirrored", text.market, " ".join(heard), gold)


class Lesson(NamedTuple):
    """A candidate, its part, and the label's finding it is, if any."""

    candidate: Candidate
    component: str | None
    gold: GoldFinding | None


def lessons(text: Text) -> tuple[list[str], list[Lesson]]:
    """The words of a text, and its candidates with what they are by the label."""
    tools, compared = workshop(text.market), names(text.market)
    transcript = transcript_from_text(text.words)
    reading = tools.reader.read(transcript)
    words = [word.read for word in transcript.words]
    findings = tools.finder.find(reading, transcript).findings
    drafts, mentions = tools.finder.candidates(reading)
    pairs = paired(findings, text.gold, compared)
    pairs |= said_again(findings, text.gold, pairs, tools.lexicon)
    made = [
        Lesson(draft, finding.component.id, text.gold[pairs[at]] if at in pairs else None)
        for at, (draft, finding) in enumerate(zip(drafts, findings, strict=True))
    ]
    quotes = [located(words, gold.quote) for gold in text.gold]
    open_still = [at for at in range(len(text.gold)) if at not in set(pairs.values())]

    def is_of(component: str, gold: GoldFinding) -> bool:
        ref = Ref(id=component, name=tools.lexicon.components[component].name)
        return compared.same_component(
            ref, place=(), positions=gold.positions, gold=gold.names, gold_place=gold.place
        )

    for mention in mentions:
        ((first, last),) = mention.candidate.parts
        apart = mention.candidate.kind == "apart"
        before, behind = (BESIDE, BESIDE) if apart else (BEFORE, BEHIND)
        said = sides_said(reading, mention) if apart else frozenset()
        near = [
            (max(0, quote[0] - first, last - quote[1]), quote[1] - quote[0], at)
            for at, quote in enumerate(quotes)
            if quote is not None and quote[0] - before <= first and last <= quote[1] + behind
            and (apart or at in open_still)
            and all(any(side in where for where in text.gold[at].positions) for side in said)
            and is_of(mention.component, text.gold[at])
        ]  # fmt: skip
        fits = text.gold[min(near)[-1]] if near else None
        made.append(Lesson(mention.candidate, mention.component, fits))
    named = [(m.id, reading.tokens[m.first].word, reading.tokens[m.last - 1].word + 1)
             for clause in reading.clauses for m in clause.marks if m.kind == "component"]  # fmt: skip
    known = {component.name: id_ for id_, component in tools.lexicon.components.items()}
    for gold, quote in zip(text.gold, quotes, strict=True):
        if quote is None or gold.quote == ANY:
            continue
        parts = tuple((a, b) for id_, a, b in named if quote[0] <= a and b <= quote[1] and is_of(id_, gold))
        component = known.get(gold.component)
        possible = seats(tools.lexicon.components[component]) if component else frozenset()
        made.append(
            Lesson(
                Candidate("label", component or "", gold.component, (quote,), parts, possible),
                component,
                gold,
            )
        )
    return words, made


def sides_said(reading: Reading, mention: Mention) -> frozenset[str]:
    """The sides and ends of the car that words apart from their part tell."""
    first, end = mention.tokens
    marks = [m for m in reading.clauses[mention.clause].marks if m.kind == "place"]
    said = {word for m in marks if first <= m.first < end for word in re.findall(r"[a-z]+", m.id)}
    return frozenset(said & {"left", "right", "front", "rear"})


def said_again(
    findings: Sequence[Finding],
    gold: Sequence[GoldFinding],
    pairs: Mapping[int, int],
    lexicon: Lexicon,
) -> dict[int, int]:
    """Findings without a partner that tell again of what another was paired with: the same part, in the same
    state, at a place which that finding of the label covers. Those that come to say the same are joined.
    """
    found: dict[int, int] = {}
    for number, finding in enumerate(findings):
        if number in pairs:
            continue
        part = lexicon.components[finding.component.id]
        mine = seated(finding.positions, part)
        for other, at in sorted(pairs.items(), key=lambda pair: pair[1]):
            if findings[other].component != finding.component or finding.state != gold[at].state:
                continue
            theirs = seated(gold[at].positions, part)
            if mine <= theirs and bool(mine) == bool(theirs):
                found[number] = at
    return found


def targets(lesson: Lesson, lexicon: Lexicon) -> dict[str, Any]:
    """What is right of a candidate: whether it stands, state, action, urgency by number, its seats."""
    gold = lesson.gold
    part = lexicon.components[lesson.component] if lesson.component else None
    covered = seated(gold.positions, part) if gold else frozenset()
    return {
        "stands": float(gold is not None),
        "kind": ("draft", "mention", "apart", "label").index(lesson.candidate.kind),
        "state": STATES.index(gold.state) if gold else 0,
        "action": ACTIONS.index(gold.action) if gold else 0,
        "urgency": URGENCIES.index(gold.urgency) if gold else 0,
        "seats": [float(seat in covered) for seat in POSITIONS],
        "possible": [float(seat in lesson.candidate.possible) for seat in POSITIONS],
    }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("out", type=Path)
    parser.add_argument("sources", type=Path, nargs="+")
    parser.add_argument("--mirror", action="store_true", help="the texts with their sides exchanged, instead")
    given = parser.parse_args()
    split = word_pieces(shared_dir() / "second" / "vocab.txt")
    told = [(source, text) for source in given.sources for text in texts(source)]
    if given.mirror:
        told = [(source, other) for source, text in told if (other := mirrored(text)) is not None]
    read = [(source, text, *lessons(text)) for source, text in told]
    counts = sorted({name for *_, made in read for one in made for name in one.candidate.counts} - {"const"})
    rows: list[dict[str, Any]] = []
    sources: list[str] = []
    for source, text, words, made in read:
        lexicon = workshop(text.market).lexicon
        candidates = [lesson.candidate for lesson in made]
        for window in windows(words, candidates, split):
            right = [targets(made[at], lexicon) for at, _, _ in window.candidates]
            rows.append({
                **arrays(window, candidates, counts, split),
                **{key: np.array([one[key] for one in right]) for key in right[0]},
            })  # fmt: skip
            sources.append(f"{source.name}:{text.name}")
    np.savez_compressed(
        given.out, rows=np.array(rows, dtype=object), names=np.array(sources), counts=np.array(counts),
        sizes=np.array([len(STATES), len(ACTIONS), len(POSITIONS), len(URGENCIES)]),
    )  # fmt: skip
    judged = sum(len(row["stands"]) for row in rows)
    print(f"{len(read)} texts, {len(rows)} windows, {judged} candidates")


if __name__ == "__main__":
    main()
