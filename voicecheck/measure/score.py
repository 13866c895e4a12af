"""Scores a draft against the label of its narration.

Findings are paired with the label's one to one, and so are lines. A pair must agree in its component; of all
pairings the one is taken that has the most fully right pairs, and of those the one in which the pairs are
likest (positions, state, action, conditions, places, and the words they come from).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from voicecheck.findings.sureness import Judged
from voicecheck.lexicon import Lexicon, normalise_phrase
from voicecheck.lexicon.seats import seated
from voicecheck.measure.counts import UNTAGGED, Counts, FolderScore, Miss, NarrationScore, Tally
from voicecheck.measure.gold import Gold, GoldFinding, GoldLine, quote_range
from voicecheck.measure.pairing import best_pairs
from voicecheck.measure.same import Names, readings_right, same_reading
from voicecheck.records import Ask, Draft, Finding, Line, Measure, Position

_ADMITTED = 10
_ALL_RIGHT = 1_000_000  # outweighs any number of likenesses: right pairs are never given up for likely ones
_BAD = frozenset({"defect", "missing", "suspect"})
# The fields of asks that bear on what can be wrong with a line.
_BEARING: dict[str, frozenset[str]] = {
    "operation": frozenset({"", "action", "operation", "state"}),
    "positions": frozenset({"", "positions", "action_positions", "place"}),
    "quantity": frozenset({"", "quantity", "positions", "action_positions", "place"}),
}
_BEARING_ON_ALL = frozenset({"component", "conditions"}).union(*_BEARING.values())


def score_draft(draft: Draft, gold: Gold, lexicon: Lexicon) -> NarrationScore:
    """The score of one draft, with every difference in ``misses``.

    ``lexicon`` is the one the draft was made with. Only lines of labour and sublet work are scored, as they
    stand; parts follow from them. Money is not scored.
    """
    lines = [x for job in draft.estimate.jobs for x in job.lines]
    return _score(
        draft.findings,
        [x for x in lines if x.kind in ("labour", "sublet")],
        asks=_count_asks(draft, lines),
        unplaced=len(draft.unplaced),
        gold=gold,
        lexicon=lexicon,
        leaves_trace=_traces(draft),
    )


def score_nothing(gold: Gold, lexicon: Lexicon, *, failure: str) -> NarrationScore:
    """The score where no draft came about: everything in the label is missed."""
    score = _score((), (), asks=0, unplaced=0, gold=gold, lexicon=lexicon)
    return score.model_copy(update={"failure": failure})


def pool(scores: Iterable[NarrationScore]) -> FolderScore:
    """The scores with their counts summed."""
    listed = tuple(scores)
    return FolderScore(counts=sum((s.counts for s in listed), Counts()), narrations=listed)


def _score(
    findings: Sequence[Finding],
    lines: Sequence[Line],
    *,
    asks: int,
    unplaced: int,
    gold: Gold,
    lexicon: Lexicon,
    leaves_trace: Callable[[GoldFinding], bool] = lambda _: True,
) -> NarrationScore:
    names = Names(lexicon)
    judged = _judge_findings(findings, gold.findings, names)
    partners = {findings[i].id: gold.findings[g].id for i, g in judged.pairs}
    priced = _judge_lines(lines, findings, gold, names, partners)
    found = {g for _, g in judged.pairs}
    lost = sum(at not in found and not leaves_trace(wanted) for at, wanted in enumerate(gold.findings))
    counts = judged.counts + priced.counts + Counts(asks=asks, unplaced=unplaced, lost=lost)
    return NarrationScore(name=gold.name, counts=counts, misses=(*judged.misses, *priced.misses))


def _traces(draft: Draft) -> Callable[[GoldFinding], bool]:
    """Whether a word of a label's quote is evidence of a finding or shown as unplaced. A quote that was heard
    otherwise is taken to be.
    """
    words = [word.read for word in draft.transcript.words]
    talk = {at for e in draft.ledger.entries if e.kind == "talk" for at in range(e.first, e.last)}

    def leaves_trace(wanted: GoldFinding) -> bool:
        where = quote_range(words, wanted.quote)
        return where is None or not talk.issuperset(range(*where))

    return leaves_trace


def _count_asks(draft: Draft, lines: Sequence[Line]) -> int:
    on_findings = {f.id: set(f.asks) for f in draft.findings}
    total = len(draft.asks) + sum(len(f.asks) for f in draft.findings)
    for line in lines:
        above = set[Ask]().union(*(on_findings.get(f, set()) for f in line.findings))
        total += sum(ask not in above for ask in line.asks)
    return total


@dataclass(frozen=True, slots=True)
class _Judged:
    counts: Counts
    misses: tuple[Miss, ...]
    pairs: tuple[tuple[int, int], ...]


# -- findings


@dataclass(frozen=True, slots=True)
class _Likeness:
    """How a finding compares with one of the label, field by field."""

    positions: bool
    overlap: bool
    disjoint: bool
    state: bool
    action: bool
    conditions: bool
    urgency: bool
    place: bool
    readings: int
    words: float

    @property
    def strict(self) -> bool:
        return self.positions and self.state and self.action

    @property
    def weight(self) -> int:
        weight = _ADMITTED + round(20 * self.words) + 2 * min(self.readings, 3)
        weight += 12 if self.positions else 4 if self.overlap else 0
        weight += 6 * self.state + 6 * self.action + 3 * self.conditions + self.urgency + 2 * self.place
        return weight + (_ALL_RIGHT if self.strict else 0)


def _compare(finding: Finding, gold: GoldFinding, names: Names) -> _Likeness | None:
    """``None`` where the component is another one."""
    if not names.same_component(
        finding.component,
        place=finding.place,
        positions=finding.positions,
        gold=gold.names,
        gold_place=gold.place,
    ):
        return None
    component = names.component(finding.component.id)
    mine, theirs = seated(finding.positions, component), seated(gold.positions, component)
    return _Likeness(
        positions=mine == theirs,
        overlap=bool(mine & theirs),
        disjoint=bool(mine and theirs and not mine & theirs),
        state=finding.state == gold.state,
        action=finding.action == gold.action,
        conditions=names.same_condition(finding.conditions, gold.conditions),
        urgency=finding.urgency == gold.urgency,
        place=set(finding.place) == set(gold.place),
        readings=sum(any(same_reading(g, m) for m in finding.measures) for g in gold.measures),
        words=_shared(gold.quote, " ".join(span.read for span in finding.heard)),
    )


def _shared(quote: str, heard: str) -> float:
    """The share of the quote's words that were heard for the finding, 0 to 1."""
    wanted = Counter(normalise_phrase(quote))
    common = wanted & Counter(normalise_phrase(heard))
    return common.total() / max(1, wanted.total())


def _judge_findings(findings: Sequence[Finding], gold: Sequence[GoldFinding], names: Names) -> _Judged:
    likeness = [[_compare(f, g, names) for g in gold] for f in findings]
    pairs = best_pairs([[0 if x is None else x.weight for x in row] for row in likeness])
    counts = Counts(gold_findings=len(gold), draft_findings=len(findings), matched=len(pairs))
    misses: list[tuple[int, Miss]] = []
    strict: set[int] = set()
    for i, g in pairs:
        like = likeness[i][g]
        assert like is not None  # only pairs with a weight are made
        if like.strict:
            strict.add(g)
        finding, wanted = findings[i], gold[g]
        right, surplus = readings_right(
            wanted.measures, finding.measures, names.component(finding.component.id)
        )
        tallies = {
            name: Tally(right=getattr(like, name), total=1)
            for name in ("positions", "state", "conditions", "action", "urgency")
        }
        tallies["measures"] = Tally(right=sum(right), total=len(right) + len(surplus))
        swapped = {finding.state, wanted.state}
        flipped = "ok" in swapped and bool(swapped & _BAD)
        counts += Counts(strict=like.strict, wrong_side=like.disjoint, flips=flipped).model_copy(
            update=tallies
        )
        wrong = tuple(name for name, tally in tallies.items() if tally.right != tally.total)
        if wrong:
            shown = _wording(finding)
            miss = Miss(of="finding", kind="wrong", fields=wrong, gold=_gold_wording(wanted), got=shown)
            misses.append((g, miss))
    paired, found = {i for i, _ in pairs}, {g for _, g in pairs}
    misses += [
        (g, Miss(of="finding", kind="missed", gold=_gold_wording(wanted)))
        for g, wanted in enumerate(gold)
        if g not in found
    ]
    misses.sort(key=lambda each: each[0])
    counts += Counts(phenomena=_by_tag(gold, strict))
    extra = [
        Miss(of="finding", kind="surplus", got=_wording(f)) for i, f in enumerate(findings) if i not in paired
    ]
    return _Judged(counts, (*(miss for _, miss in misses), *extra), tuple(pairs))


def paired(findings: Sequence[Finding], gold: Sequence[GoldFinding], names: Names) -> dict[int, int]:
    """Which finding is which of the label's, by number; those without a partner are left out."""
    return dict(_judge_findings(findings, gold, names).pairs)


def judged_fields(
    findings: Sequence[Finding], gold: Sequence[GoldFinding], names: Names
) -> list[dict[Judged, bool]]:
    """Whether each finding's part, place, state and action are those of the label's finding it pairs with.

    "finding" is all four together. A finding that pairs with none has nothing right.
    """
    pairs = paired(findings, gold, names)
    result: list[dict[Judged, bool]] = []
    for number, finding in enumerate(findings):
        like = _compare(finding, gold[pairs[number]], names) if number in pairs else None
        result.append({
            "component": like is not None,
            "positions": like is not None and like.positions,
            "state": like is not None and like.state,
            "action": like is not None and like.action,
            "finding": like is not None and like.strict,
        })  # fmt: skip
    return result


def _by_tag(gold: Sequence[GoldFinding], strict: set[int]) -> dict[str, Tally]:
    """Of the findings with each tag, those in ``strict`` (by their number in the label)."""
    tallies: dict[str, Tally] = {}
    for number, finding in enumerate(gold):
        for tag in dict.fromkeys(finding.tags or (UNTAGGED,)):
            tally = Tally(right=number in strict, total=1)
            tallies[tag] = tallies.get(tag, Tally()) + tally
    return tallies


# -- lines


@dataclass(frozen=True, slots=True)
class _LineLikeness:
    operation: bool
    positions: bool
    overlap: bool
    quantity: bool
    source: bool

    @property
    def wrong(self) -> tuple[str, ...]:
        return tuple(n for n in ("operation", "positions", "quantity") if not getattr(self, n))

    @property
    def weight(self) -> int:
        weight = _ADMITTED + 6 * self.operation + 3 * self.quantity + 8 * self.source
        weight += 12 if self.positions else 4 if self.overlap else 0
        return weight + (0 if self.wrong else _ALL_RIGHT)


def _judge_lines(
    lines: Sequence[Line],
    findings: Sequence[Finding],
    gold: Gold,
    names: Names,
    partners: dict[str, str],
) -> _Judged:
    """``partners``: the ids of the label's findings by the ids of those paired with them."""
    accepted = [_line_names(line, gold.findings, names) for line in gold.lines]
    likeness = [
        [
            _compare_lines(line, g, accepted[n], gold.findings, names, partners)
            for n, g in enumerate(gold.lines)
        ]
        for line in lines
    ]
    pairs = best_pairs([[0 if x is None else x.weight for x in row] for row in likeness])
    of = dict(pairs)
    by_id = {f.id: f for f in findings}
    counts = Counts(gold_lines=len(gold.lines), draft_lines=len(lines))
    misses: list[tuple[int, Miss]] = []
    for i, line in enumerate(lines):
        g = of.get(i)
        like = None if g is None else likeness[i][g]
        if like is not None and not like.wrong:
            counts += Counts(right_lines=1)
            continue
        asks = [*line.asks, *(a for f in line.findings if f in by_id for a in by_id[f].asks)]
        bearing = (
            _BEARING_ON_ALL
            if like is None
            else frozenset[str]().union(*(_BEARING[name] for name in like.wrong))
        )
        other_work = like is None or not like.operation
        counts += Counts(
            silent=not asks,
            beside=bool(asks) and not any(a.field in bearing for a in asks),
            fine_priced=_said_fine(line, gold, accepted, names)
            or (other_work and _ruled_out(line, gold, names)),
        )
        miss = Miss(
            of="line",
            kind="surplus" if g is None else "wrong",
            fields=() if like is None else like.wrong,
            gold="" if g is None else _gold_line_wording(gold.lines[g]),
            got=_line_wording(line),
            asked=bool(asks),
        )
        misses.append((len(gold.lines) if g is None else g, miss))
    found = set(of.values())
    misses += [
        (g, Miss(of="line", kind="missed", gold=_gold_line_wording(wanted)))
        for g, wanted in enumerate(gold.lines)
        if g not in found
    ]
    misses.sort(key=lambda each: each[0])
    return _Judged(counts, tuple(miss for _, miss in misses), tuple(pairs))


def _line_names(line: GoldLine, findings: Sequence[GoldFinding], names: Names) -> tuple[str, ...]:
    """The names of a label's line, and those of the findings it comes from that name the same component."""
    own = (line.component, *line.also)
    plain = {names.plain(name) for name in own}
    more = [
        name
        for finding in findings
        if finding.id in line.findings and not plain.isdisjoint(names.plain(n) for n in finding.names)
        for name in finding.names
    ]
    return tuple(dict.fromkeys((*own, *more)))


def _line_is_about(
    line: Line, gold_names: Sequence[str], names: Names, gold_place: Sequence[str] = ()
) -> bool:
    return line.component is not None and names.same_component(
        line.component, place=line.place, positions=line.positions, gold=gold_names, gold_place=gold_place
    )


def _compare_lines(
    line: Line,
    gold: GoldLine,
    gold_names: Sequence[str],
    findings: Sequence[GoldFinding],
    names: Names,
    partners: dict[str, str],
) -> _LineLikeness | None:
    place = tuple(dict.fromkeys(p for f in findings if f.id in gold.findings for p in f.place))
    if not _line_is_about(line, gold_names, names, place):
        return None
    mine, theirs = _seats_of(line, line.positions, names), _seats_of(line, gold.positions, names)
    return _LineLikeness(
        operation=line.operation == gold.operation,
        positions=mine == theirs,
        overlap=bool(mine & theirs),
        quantity=line.quantity == gold.quantity,
        source=any(partners.get(f) in gold.findings for f in line.findings),
    )


def _seats_of(line: Line, positions: Sequence[Position], names: Names) -> frozenset[str]:
    return seated(positions, None if line.component is None else names.component(line.component.id))


def _said_fine(line: Line, gold: Gold, accepted: Sequence[Sequence[str]], names: Names) -> bool:
    """Whether a line covers a place where the part was said fine or not checked, and no line belongs."""
    mine = _seats_of(line, line.positions, names)
    belongs = [
        _seats_of(line, g.positions, names)
        for g, called in zip(gold.lines, accepted, strict=True)
        if _line_is_about(line, called, names)
    ]
    free = mine - frozenset[str]().union(*belongs)
    for finding in gold.findings:
        if finding.state in ("ok", "not_checked") and _line_is_about(
            line, finding.names, names, finding.place
        ):
            fine = _seats_of(line, finding.positions, names)
            if free & fine or (not belongs and (not mine or not fine)):
                return True
    return False


def _ruled_out(line: Line, gold: Gold, names: Names) -> bool:
    return any(_line_is_about(line, (no.component,), names) for no in gold.not_lines)


# -- wording for the list of misses


def _where(positions: Sequence[str], place: Sequence[str]) -> str:
    return f"[{', '.join([*positions, *place])}]"


def _wording(finding: Finding) -> str:
    conditions = ", ".join(c.name for c in finding.conditions) or "–"
    readings = "; ".join(_reading(m) for m in finding.measures)
    heard = " … ".join(span.read for span in finding.heard)
    words = [
        f"{finding.id} {finding.component.name}", _where(finding.positions, finding.place), finding.state,
        f"({conditions})", finding.action, finding.urgency, readings, f"“{heard}”",
    ]  # fmt: skip
    return " ".join(word for word in words if word)


def _gold_wording(finding: GoldFinding) -> str:
    conditions = " | ".join(finding.conditions) or "–"
    readings = "; ".join(
        f"{m.value} {m.unit}" + (f" {m.position}" if m.position else "") for m in finding.measures
    )
    words = [
        f"{finding.id} {finding.component}", _where(finding.positions, finding.place), finding.state,
        f"({conditions})", finding.action, finding.urgency, readings, f"“{finding.quote}”",
    ]  # fmt: skip
    return " ".join(word for word in words if word)


def _reading(measure: Measure) -> str:
    bound = "" if measure.bound == "=" else f"{measure.bound} "
    high = "" if measure.high is None else f"–{measure.high}"
    where = f" {measure.position}" if measure.position else ""
    return f"{bound}{measure.value}{high} {measure.unit}{where}"


def _line_wording(line: Line) -> str:
    name = line.component.name if line.component else line.name
    asks = ", ".join(ask.code for ask in line.asks)
    return (
        f"{line.operation} {name} {_where(line.positions, line.place)} × {line.quantity}"
        f" from {', '.join(line.findings) or '–'}" + (f" (asks: {asks})" if asks else "")
    )


def _gold_line_wording(line: GoldLine) -> str:
    where = _where(line.positions, ())
    return f"{line.operation} {line.component} {where} × {line.quantity} from {', '.join(line.findings)}"
