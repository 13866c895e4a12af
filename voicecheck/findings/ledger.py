"""Where every word went."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from voicecheck.findings.scene import Talk
from voicecheck.records.finding import Finding, Ledger, LedgerEntry
from voicecheck.records.reading import Clause, Mark, Reading
from voicecheck.records.vocabulary import POSITIONS


def keep_ledger(
    reading: Reading,
    findings: Sequence[Finding],
    talk: Sequence[Talk],
    *,
    words: int,
    fine: Collection[str] = (),
    maybe: Sequence[tuple[int, int]] = (),
) -> Ledger:
    """Every word once, in order: evidence, talk, or unplaced.

    A clause that names a part, a condition, advice or a reading and is no one's evidence is unplaced, unless
    the rules know why it is talk (a question, a general remark, something taken back). ``fine`` are the
    conditions that are no faults. Of the tokens in ``maybe`` it is likely enough that they tell of a part.
    """
    if not words:
        return Ledger(entries=())
    owners: list[set[str]] = [set() for _ in range(words)]
    for finding in findings:
        for span in finding.heard:
            for word in range(span.first, span.last):
                owners[word].add(finding.id)
    kinds = ["evidence" if owner else "talk" for owner in owners]
    whys = [""] * words
    tokens = reading.tokens
    for entry in talk:
        for token in tokens[entry.first : entry.last]:
            if kinds[token.word] == "talk":
                whys[token.word] = entry.why
    for clause in reading.clauses:
        covered = [token.word for token in tokens[clause.first : clause.last]]
        told = any(kinds[word] == "evidence" for word in covered)
        for mark in sorted(clause.marks, key=lambda mark: mark.kind == "quantity"):
            if mark.kind not in _WHY or (mark.kind == "quantity" and not _is_reading(mark, clause)):
                continue
            marked = [tokens[at].word for at in range(mark.first, mark.last)]
            if any(
                kinds[word] == "evidence" or _excused(whys[word], mark, fine, told=told) for word in marked
            ):
                continue
            for word in covered:
                open_still = not whys[word] or whys[word] in _NO_EXCUSE | _IN_PART | _MAY_BE_MEANT
                if kinds[word] == "talk" and open_still:
                    kinds[word] = "unplaced"
                    whys[word] = _WHY[mark.kind]
    for first, last in maybe:
        for token in tokens[first:last]:
            if kinds[token.word] == "talk":
                kinds[token.word], whys[token.word] = "unplaced", "may tell of a part"
    entries: list[LedgerEntry] = []
    for word in range(words):
        same = (
            entries
            and entries[-1].kind == kinds[word]
            and entries[-1].why == whys[word]
            and entries[-1].findings == tuple(sorted(owners[word]))
        )
        if same:
            entries[-1] = entries[-1].model_copy(update={"last": word + 1})
        else:
            entries.append(
                LedgerEntry(
                    first=word,
                    last=word + 1,
                    kind=kinds[word],
                    findings=tuple(sorted(owners[word])),
                    why=whys[word],
                )
            )
    return Ledger(entries=tuple(entries))


# Words that only say where, or that wait for a part: a fault or advice among them that no finding took would
# be lost in silence ("left front pogo stick is leaking, replace it", with a part that nobody has heard of).
_NO_EXCUSE = frozenset({"where", "heading", "a symptom, no part named"})


# Work that is told as a habit, as due at an age, or of another car may be meant for this one: a person sees.
_MAY_BE_MEANT = frozenset({"told as a habit", "due at an age", "another car"})


# Words that go with something told in the same clause; where nothing was, they would take a fault with them.
_IN_PART = frozenset({"where it lands", "when", "the rest, no part named"})


def _excused(why: str, mark: Mark, fine: Collection[str], *, told: bool) -> bool:
    """Whether words are known to be talk, and not only in part. ``told``: the clause has evidence as well."""
    if why in _MAY_BE_MEANT or (why == "heading" and mark.kind == "condition"):
        return False
    if not why or mark.kind == "component" or mark.id in fine or mark.negated:
        return bool(why)
    return why not in _NO_EXCUSE and (told or why not in _IN_PART)


def _is_reading(mark: Mark, clause: Clause) -> bool:
    """Whether a number is one of the car's: in a unit of readings, or at one of its corners and no count
    ("two tires").
    """
    if mark.unit is None:
        counts = any(other.kind == "component" and other.first == mark.last for other in clause.marks)
        return not counts and any(other.kind == "place" and other.id in POSITIONS for other in clause.marks)
    return mark.unit not in _ALSO_OF_OTHER_THINGS


_WHY = {
    "condition": "names a condition",
    "component": "names a part",
    "action": "names advice",
    "quantity": "gives a reading",
}

# Units in which people also tell how far they drove, how long it took, how much is left.
_ALSO_OF_OTHER_THINGS = frozenset({"mi", "km", "in", "year", "month", "h", "min", "s", "count", "code", "%"})
