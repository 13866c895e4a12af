"""The understanding on sentences that nobody here wrote: readers of three published data sets, and scores.

Used by ``test_understanding_outside.py``, which asserts, and ``benchmarks/outside.py``, which writes tables.
"""

from __future__ import annotations

import json
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import NamedTuple, TypeVar

from voicecheck.findings import Finder
from voicecheck.findings.items import Cutter
from voicecheck.language import Reader
from voicecheck.language.overlap import settle
from voicecheck.lexicon import Lexicon, ShopLexicon, TermMatch, TermMatcher, load_lexicon, normalise_token
from voicecheck.lexicon.matcher import compile_matcher
from voicecheck.lexicon.model import ActionTerm, Component, Condition, PlaceTerm, TermKind
from voicecheck.lexicon.table import longest_first
from voicecheck.records.reading import Mark, Reading
from voicecheck.records.transcript import Transcript, Word
from voicecheck.resources import lexicon_dir

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
NEGEX = DATA / "negex" / "rsAnnotations-1-120-random.txt"
ORDERS = DATA / "mwo_ner"
MAINTIE = DATA / "maintie" / "rest_968.json"
CLINICAL = Path(__file__).resolve().parent / "clinical"  # an owner's overlay of the term files

T = TypeVar("T")
Span = tuple[int, int, str]  # words first:last, and a kind of mark


class Score(NamedTuple):
    """Right, surplus and missed decisions; ``of`` how many there were to be made, 0 if uncounted."""

    right: int
    surplus: int
    missed: int
    of: int = 0

    @property
    def precision(self) -> float:
        return self.right / max(1, self.right + self.surplus)

    @property
    def recall(self) -> float:
        return self.right / max(1, self.right + self.missed)

    @property
    def f1(self) -> float:
        return 2 * self.right / max(1, 2 * self.right + self.surplus + self.missed)

    @property
    def accuracy(self) -> float:
        return 1 - (self.surplus + self.missed) / max(1, self.of)

    def plus(self, other: Score) -> Score:
        return Score(*(a + b for a, b in zip(self, other, strict=True)))


def plain(text: str) -> tuple[str, ...]:
    """The words as phrases are compared."""
    return tuple(piece for word in text.split() for piece in normalise_token(word))


def said(words: Sequence[str]) -> Transcript:
    return Transcript(text=" ".join(words), words=tuple(Word(heard=w, read=w) for w in words), source="typed")


def shipped(overlay: Path | None = None) -> ShopLexicon:
    """The shipped term files; an overlay's closed-class words replace shipped ones of the same wording."""
    lexicon = load_lexicon(lexicon_dir(), overlay, market="US")
    if overlay is None:
        return lexicon
    own = len(load_lexicon(lexicon_dir(), None, market="US").grammar)
    return lexicon.model_copy(update={"grammar": (*lexicon.grammar[own:], *lexicon.grammar[:own])})


# --- negation: the NegEx test kit ---


class Sentence(NamedTuple):
    """A clinical sentence, the condition asked about, and whether annotators hold it to be denied."""

    number: int
    condition: str
    text: str
    denied: bool


class _Beside:
    """A matcher with phrases beside those of the lexicon, exchanged from sentence to sentence."""

    def __init__(self, matcher: TermMatcher) -> None:
        self._matcher = matcher
        self.phrases: dict[tuple[str, ...], tuple[TermKind, str]] = {}  # to kind and id

    def match(self, words: Sequence[str]) -> tuple[TermMatch, ...]:
        own = [
            TermMatch(first=at, last=at + len(phrase), kind=kind, id=id_, phrase=" ".join(phrase))
            for phrase, (kind, id_) in self.phrases.items()
            for at in range(len(words) - len(phrase) + 1)
            if phrase and tuple(words[at : at + len(phrase)]) == phrase
        ]
        return (*self._matcher.match(words), *own)


def clinical_sentences() -> list[Sentence]:
    with NEGEX.open(encoding="utf-8") as source:
        rows = [line.rstrip("\n").split("\t") for line in source]
    return [Sentence(int(r[0]), r[1], r[2], r[3] == "Negated") for r in rows if r[0].isdigit()]


class Negation:
    """Decides whether a condition in a sentence is denied, with the reader of the program.

    The parts, conditions, work and readings of vehicles are left out: only cues, places and closed-class
    words of the term files are used, and the condition asked about.
    """

    def __init__(self, overlay: Path | None = None) -> None:
        bare = shipped(overlay).model_copy(
            update={"components": {}, "conditions": {}, "measures": {}, "actions": ()}
        )
        self._matcher = _Beside(compile_matcher(bare))
        self._reader = Reader(bare, self._matcher)

    def denied(self, sentence: Sentence) -> bool:
        """The condition is marked where the kit writes it in capitals, as one name without punctuation."""
        words = sentence.text.split()
        flat = [(piece, at) for at, word in enumerate(words) for piece in normalise_token(word)]
        texts = tuple(piece for piece, _ in flat)
        phrase = plain(sentence.condition)
        for length in range(len(phrase), 0, -1):  # some conditions go on after the end of their sentence
            starts = [i for i in range(len(texts) - length + 1) if texts[i : i + length] == phrase[:length]]
            if starts:
                break
        else:
            return False  # three rows whose condition is not in their sentence
        capitals = [i for i in starts if all(words[flat[j][1]].isupper() for j in range(i, i + length))]
        start = (capitals or starts)[0]
        first, last = flat[start][1], flat[start + length - 1][1]
        name = [re.sub(r"[^\w%]+$", "", word) for word in words[first:last]]
        self._matcher.phrases = {phrase[:length]: ("condition", "asked")}
        reading = self._reader.read(said([*words[:first], *(w for w in name if w), *words[last:]]))
        marks = [m for clause in reading.clauses for m in clause.marks if m.kind == "condition"]
        here = [m for m in marks if m.first == start] or marks
        return bool(here) and here[0].negated


def negation_score(sentences: Iterable[Sentence], judge: Negation) -> Score:
    """Denied conditions as the class to be found; ``of`` are all sentences."""
    outcomes = Counter((sentence.denied, judge.denied(sentence)) for sentence in sentences)
    return Score(outcomes[True, True], outcomes[False, True], outcomes[True, False], sum(outcomes.values()))


# --- spans: maintenance work orders in BIO ---

ORDER_KINDS: dict[str, TermKind] = {
    "Item": "component", "Observation": "condition", "Activity": "action", "Location": "place",
}  # fmt: skip


class Note(NamedTuple):
    """The words of a work order and its labelled spans."""

    words: tuple[str, ...]
    spans: tuple[Span, ...]
    links: frozenset[tuple[int, int]] = (
        frozenset()
    )  # numbers of a condition's or activity's span, and its part's


def orders(name: str) -> list[Note]:
    """``processed_train.txt`` or ``processed_dev.txt``; the kinds are those of the data set."""
    found = []
    for block in (ORDERS / name).read_text(encoding="utf-8").split("\n\n"):
        pairs = [line.rsplit(" ", 1) for line in block.splitlines() if line.strip()]
        if pairs:
            found.append(Note(tuple(p[0] for p in pairs), tuple(_bio([p[1] for p in pairs]))))
    return found


def _bio(labels: Sequence[str]) -> Iterator[Span]:
    at = 0
    while at < len(labels):
        kind = labels[at][2:]
        last = at + 1
        while kind and last < len(labels) and labels[last] == f"I-{kind}":
            last += 1
        if kind:
            yield at, last, kind
        at = last


def renamed(notes: Iterable[Note], kinds: Mapping[str, TermKind]) -> list[Note]:
    """The same notes with the spans of these kinds named as marks are; other kinds keep their names."""
    return [n._replace(spans=tuple((a, b, kinds.get(k, k)) for a, b, k in n.spans)) for n in notes]


def of_kinds(notes: Iterable[Note], kinds: Mapping[str, TermKind]) -> list[Note]:
    """The same notes with the spans of these kinds alone, named as marks are."""
    kept = [n._replace(spans=tuple(span for span in n.spans if span[2] in kinds)) for n in notes]
    return renamed(kept, kinds)


def learn(notes: Sequence[Note]) -> dict[str, list[str]]:
    """Phrases by kind: what a phrase mostly is, if it is that in at least half of its occurrences."""
    uses: dict[tuple[str, ...], Counter[str]] = defaultdict(Counter)
    for note in notes:
        for first, last, kind in note.spans:
            uses[plain(" ".join(note.words[first:last]))][kind] += 1
    uses.pop((), None)
    longest = max(map(len, uses))
    occurs: Counter[tuple[str, ...]] = Counter()
    for note in notes:
        words = plain(" ".join(note.words))
        for first in range(len(words)):
            for last in range(first + 1, min(len(words), first + longest) + 1):
                if words[first:last] in uses:
                    occurs[words[first:last]] += 1
    phrases: dict[str, list[str]] = defaultdict(list)
    for phrase, kinds in uses.items():
        kind, count = kinds.most_common(1)[0]
        if 2 * count >= occurs[phrase]:
            phrases[kind].append(" ".join(phrase))
    return phrases


def lexicon_of(phrases: Mapping[str, Sequence[str]], *, base: ShopLexicon) -> ShopLexicon:
    """``base`` with these components, conditions, actions and places in the place of its own."""
    return base.model_copy(
        update={
            "components": components_of(phrases.get("component", ())),
            "conditions": conditions_of(phrases.get("condition", ())),
            "actions": (ActionTerm(action="repair", said=tuple(phrases.get("action", ()))),),
            "places": tuple(
                PlaceTerm(said=p, kind="position", value="front") for p in phrases.get("place", ())
            ),
            "measures": {},
        }
    )


def components_of(phrases: Iterable[str]) -> dict[str, Component]:
    return {f"o{n}": Component(id=f"o{n}", name=p, system="engine") for n, p in enumerate(phrases)}


def conditions_of(phrases: Iterable[str]) -> dict[str, Condition]:
    return {f"o{n}": Condition(id=f"o{n}", name=p, said=(p,), fits=("any",)) for n, p in enumerate(phrases)}


class Spans:
    """Finds spans with the program's matcher and its rule for overlaps."""

    def __init__(self, phrases: Mapping[str, Sequence[str]], *, base: ShopLexicon) -> None:
        self._matcher = compile_matcher(lexicon_of(phrases, base=base.model_copy(update={"cues": ()})))

    def find(self, words: Sequence[str]) -> set[Span]:
        flat = [(piece, at) for at, word in enumerate(words) for piece in normalise_token(word)]
        found = self._matcher.match([piece for piece, _ in flat])
        marks = [Mark(kind=m.kind, first=m.first, last=m.last, id=m.id, detail=m.detail) for m in found]
        return _apart(settle(marks, size=len(flat)), [at for _, at in flat])


def _apart(marks: Iterable[Mark], word_of: Sequence[int]) -> set[Span]:
    """Marks as spans of words, none overlapping another."""
    kinds: dict[tuple[int, int], str] = {}
    for mark in marks:
        kinds.setdefault((mark.first, mark.last), mark.kind)
    return {
        (word_of[first], word_of[last - 1] + 1, kinds[first, last])
        for first, last in longest_first(kinds, length=len(word_of))
    }


def span_score(notes: Iterable[Note], finder: Spans, *, kind: str | None = None) -> Score:
    """Exact spans and kinds, micro."""
    total = Score(0, 0, 0)
    for note in notes:
        gold, found = set(note.spans), finder.find(note.words)
        if kind is not None:
            gold, found = {s for s in gold if s[2] == kind}, {s for s in found if s[2] == kind}
        total = total.plus(_compared(gold, found))
    return total


def published_spans() -> Score:
    """Flair on the test part, summed over our four kinds, from the publishers' own print."""
    total = Score(0, 0, 0)
    for line in (ORDERS / "published_flair.txt").read_text(encoding="utf-8").splitlines():
        counts = re.match(r"(\w+)\s+tp: (\d+) - fp: (\d+) - fn: (\d+)", line)
        if counts and counts[1] in ORDER_KINDS:
            total = total.plus(Score(int(counts[2]), int(counts[3]), int(counts[4])))
    return total


# --- the trap: defects said with a negating word ---

_NEGATING = re.compile(
    r"no|not|non|nil|never|none|without|unable|cannot|n't|wo'nt"
    r"|(?:is|are|was|were|do|does|did|has|have|had|ca|could|wo|would|should)n'?t"
)


class Trapped(NamedTuple):
    """An order with an observation that holds a negating word, and what is read of it."""

    order: str
    observation: str
    states: tuple[str, ...]  # of the findings


def negating(observation: str) -> bool:
    """Whether one of its words denies ("not working", "wont start")."""
    return any(_NEGATING.fullmatch(word) for word in plain(observation))


def trapped(*, taught: bool) -> list[Trapped]:
    """Every order with such an observation, read with the shipped term files and the orders' own parts.

    ``taught``: with the observations as conditions, as an owner would add them.
    """
    notes = [*orders("processed_train.txt"), *orders("processed_dev.txt")]
    base = shipped()
    parts = {" ".join(plain(_words(n, s))) for n in notes for s in n.spans if s[2] == "Item"} - {""}
    defects = {
        _words(n, s) for n in notes for s in n.spans if s[2] == "Observation" and negating(_words(n, s))
    }
    known = {" ".join(plain(name)) for c in base.components.values() for name in c.names}
    lexicon = base.model_copy(
        update={
            "components": {**base.components, **components_of(sorted(parts - known))},
            "conditions": {**base.conditions, **(conditions_of(sorted(defects)) if taught else {})},
        }
    )
    reader, finder = Reader(lexicon, compile_matcher(lexicon)), Finder(lexicon)
    found = []
    for note in notes:
        for span in note.spans:
            observation = _words(note, span)
            if span[2] == "Observation" and observation in defects:
                transcript = said(note.words)
                result = finder.find(reader.read(transcript), transcript)
                states = tuple(finding.state for finding in result.findings)
                found.append(Trapped(" ".join(note.words), observation, states))
    return found


def _words(note: Note, span: Span) -> str:
    return " ".join(note.words[span[0] : span[1]])


# --- links: what is wrong with what ---

MAINTIE_KINDS: dict[str, TermKind] = {
    "PhysicalObject": "component", "State": "condition", "Process": "condition", "Property": "condition",
    "Activity": "action",
}  # fmt: skip


def maintie(*, agents: bool = False) -> list[Note]:
    """Entities without those nested in others; hasPatient links of conditions and activities to parts.

    With ``agents`` also hasAgent links: the data set calls a hose that leaks the agent of the leak.
    """
    wanted = ("hasPatient", "hasAgent") if agents else ("hasPatient",)
    notes = []
    for entry in json.loads(MAINTIE.read_text(encoding="utf-8")):
        entities = entry["entities"]
        outer = [e for e in entities if not any(_holds(other, e) for other in entities)]
        number = {id(e): at for at, e in enumerate(outer)}
        spans = tuple((e["start"], e["end"], MAINTIE_KINDS[e["type"].split("/")[0]]) for e in outer)
        links: set[tuple[int, int]] = set()
        for relation in entry["relations"]:
            head, tail = (number.get(id(entities[relation[end]])) for end in ("head", "tail"))
            if head is None or tail is None or not relation["type"].endswith(wanted):
                continue
            if spans[head][2] != "component" and spans[tail][2] == "component":
                links.add((head, tail))
        notes.append(Note(tuple(entry["tokens"]), spans, frozenset(links)))
    return notes


def _holds(outer: Mapping[str, int], inner: Mapping[str, int]) -> bool:
    wide, narrow = (outer["start"], outer["end"]), (inner["start"], inner["end"])
    return wide != narrow and wide[0] <= narrow[0] and narrow[1] <= wide[1]


def split(notes: Sequence[Note]) -> tuple[list[Note], list[Note]]:
    """Four of five rows to learn from, every fifth to be scored."""
    return [n for at, n in enumerate(notes) if at % 5 != 4], [n for at, n in enumerate(notes) if at % 5 == 4]


class Found(NamedTuple):
    """Spans of components, conditions and actions; pairs of a condition or action with its part."""

    spans: set[Span]
    links: set[tuple[Span, Span]]


class Linker:
    """Marks and links with the program's reader and the rule that gives statements to parts.

    ``phrases`` are what the lexicon knows. Without them the labels of each row are taken as given, and only
    the links are decided.
    """

    def __init__(self, phrases: Mapping[str, Sequence[str]] | None, *, base: ShopLexicon) -> None:
        self._given = phrases is None
        terms: dict[str, list[str]] = {"component": ["part"], "condition": ["state"], "action": ["work"]}
        lexicon: Lexicon = lexicon_of(phrases or terms, base=base).model_copy(update={"places": base.places})
        bare = lexicon.model_copy(update={"components": {}, "conditions": {}, "actions": ()})
        self._matcher = _Beside(compile_matcher(bare if self._given else lexicon))
        self._reader = Reader(lexicon, self._matcher)
        self._cutter = Cutter(lexicon)

    def find(self, note: Note) -> Found:
        if self._given:
            ids: dict[str, str] = {"component": "o0", "condition": "o0", "action": "repair"}
            self._matcher.phrases = {
                plain(_words(note, (a, b, kind))): (kind, ids[kind])  # type: ignore[misc]
                for a, b, kind in note.spans
            }
        reading = self._reader.read(said(note.words))
        word_of = [token.word for token in reading.tokens]
        marks = [m for clause in reading.clauses for m in clause.marks if m.kind in MAINTIE_KINDS.values()]
        links = {(_span(mark, word_of), _span(part, word_of)) for mark, part in self._links(reading)}
        return Found(_apart(marks, word_of), links)

    def _links(self, reading: Reading) -> Iterator[tuple[Mark, Mark]]:
        for clause in reading.clauses:
            for item in self._cutter.cut(reading.tokens, clause).items:
                shared = item.parts[0].lead
                for part in item.parts:
                    for mark in chain(shared, part.lead, item.trail):
                        if mark.kind in ("condition", "action"):
                            yield mark, part.mark


def _span(mark: Mark, word_of: Sequence[int]) -> Span:
    return word_of[mark.first], word_of[mark.last - 1] + 1, mark.kind


def maintie_scores(notes: Iterable[Note], linker: Linker) -> dict[str, Score]:
    """Exact spans with their kinds ("span"); links with both ends exact: all ("link"), of conditions
    ("condition"), of activities ("action").
    """
    totals = dict.fromkeys(("span", "link", "condition", "action"), Score(0, 0, 0))
    for note in notes:
        found = linker.find(note)
        gold = {(note.spans[a], note.spans[b]) for a, b in note.links}
        totals["span"] = totals["span"].plus(_compared(set(note.spans), found.spans))
        totals["link"] = totals["link"].plus(_compared(gold, found.links))
        for kind in ("condition", "action"):
            ours = {link for link in found.links if link[0][2] == kind}
            totals[kind] = totals[kind].plus(_compared({g for g in gold if g[0][2] == kind}, ours))
    return totals


def _compared(gold: set[T], found: set[T]) -> Score:
    return Score(len(gold & found), len(found - gold), len(gold - found))
