"""What matters in a transcript beyond its words: sides, numbers, negations, repairs, and stated certainty."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from voicecheck.lexicon import Lexicon, TermMatcher, normalise_phrase
from voicecheck.lexicon.extras import forms_of
from voicecheck.measure.counts import Hearing, share
from voicecheck.measure.words import alignment, plain_numbers, score_hearing, word_errors
from voicecheck.records import Record, Transcript, Word

_NUMBER = re.compile(r"^\d+(?:[./]\d+)?$")
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98)  # lower ends of stated certainty

Tokens = tuple[str, ...]


class Tellers(NamedTuple):
    """The words that tell sides and negations, from the term files, and the units that follow numbers."""

    sides: Mapping[Tokens, str]  # one or two plain words, "left" or "right"
    negations: frozenset[str]
    units: dict[Tokens, str]


class ClassCount(Record):
    """``total`` in the text; ``missing`` of them not heard there, ``added`` heard where there was none,
    ``turned`` into another of the class (left for right, 3 for 4)."""

    total: int = 0
    missing: int = 0
    added: int = 0
    turned: int = 0

    def __add__(self, other: ClassCount) -> ClassCount:
        return ClassCount(**{n: getattr(self, n) + getattr(other, n) for n in ClassCount.model_fields})

    @property
    def errors(self) -> int:
        return self.missing + self.added + self.turned

    @property
    def rate(self) -> float | None:
        """Errors per word of the class in the text."""
        return share(self.errors, self.total)


class Bin(Record):
    """Words whose stated certainty falls into one range: how many, the sum of it, how many were right."""

    words: int = 0
    stated: float = 0.0
    right: int = 0

    def __add__(self, other: Bin) -> Bin:
        return Bin(
            words=self.words + other.words, stated=self.stated + other.stated, right=self.right + other.right
        )


class Reliability(Record):
    """Stated certainty against observed correctness, by the ranges of ``BINS``."""

    bins: tuple[Bin, ...] = (Bin(),) * len(BINS)

    def __add__(self, other: Reliability) -> Reliability:
        return Reliability(bins=tuple(a + b for a, b in zip(self.bins, other.bins, strict=True)))

    @property
    def words(self) -> int:
        return sum(b.words for b in self.bins)

    @property
    def expected_error(self) -> float | None:
        """Mean distance of stated from observed, weighted by words (ECE); ``None`` of no words."""
        words = self.words
        return sum(abs(b.stated - b.right) for b in self.bins) / words if words else None


class Repairs(Record):
    """Stretches that are read otherwise than heard, judged by the word errors with and without each.

    ``right``: fewer errors; ``false``: more; ``idle``: as many. ``sides_numbers``: stretches whose sides or
    numbers are others after it; ``silent``: of these, those that took away or turned one that was heard, and
    those that brought one in wrongly.
    """

    made: int = 0
    right: int = 0
    false: int = 0
    idle: int = 0
    sides_numbers: int = 0
    silent: int = 0

    def __add__(self, other: Repairs) -> Repairs:
        return Repairs(**{n: getattr(self, n) + getattr(other, n) for n in Repairs.model_fields})


class EarCounts(Record):
    """Everything counted about one transcript, or the sum over several."""

    recordings: int = 0
    failures: int = 0
    hearing: Hearing = Hearing()
    sides: ClassCount = ClassCount()
    numbers: ClassCount = ClassCount()
    negations: ClassCount = ClassCount()
    repairs: Repairs = Repairs()
    words_certain: Reliability = Reliability()
    sides_certain: Reliability = Reliability()
    numbers_certain: Reliability = Reliability()
    unheard_s: float = 0.0  # speech that is shown as unheard

    def __add__(self, other: EarCounts) -> EarCounts:
        return EarCounts(**{n: getattr(self, n) + getattr(other, n) for n in EarCounts.model_fields})

    @property
    def false_repairs_per_1000(self) -> float | None:
        """False repairs per thousand words of the text."""
        found = share(self.repairs.false, self.hearing.words)
        return None if found is None else 1000 * found


def tellers_of(lexicon: Lexicon) -> Tellers:
    """The side words, negations and units of ``lexicon``.

    Sides: its ``side`` places of one plain word ("left", "nearside") and of two ("driver side", "off side").
    Negations: its cues of one word, and contractions of phrases with one ("couldn't").
    """
    sides = {
        words: place.value
        for place in lexicon.places
        if place.kind == "side"
        and place.market in (None, lexicon.market)
        and len(words := normalise_phrase(place.said)) in (1, 2)
        and place.value in ("left", "right")
    }
    # "on left" and "left one" tell no more than "left", and would count it at another place
    alone = {words for words in sides if len(words) == 1}
    sides = {w: v for w, v in sides.items() if w in alone or not any((part,) in alone for part in w)}
    cues = {normalise_phrase(c.said) for c in lexicon.cues if c.kind == "negation"}
    negations = {words[0] for words in cues if len(words) == 1}
    for short, long in forms_of(lexicon).contractions:
        if negations & set(normalise_phrase(long)):
            negations.update(normalise_phrase(short))
    units = {normalise_phrase(g.said): g.value for g in lexicon.grammar if g.kind == "unit"}
    return Tellers(sides=sides, negations=frozenset(negations), units=units)


def score_ear(
    text: str, transcript: Transcript, *, lexicon: Lexicon, matcher: TermMatcher, tellers: Tellers
) -> EarCounts:
    """Everything counted about ``transcript`` against the ``text`` that was read out.

    Raises ``ValueError`` for a text without words.
    """
    wanted = plain_numbers(text, units=tellers.units)
    got = plain_numbers(transcript.text, units=tellers.units)
    blocks = alignment(wanted, got)
    certain = _certain(transcript.words, got, _right_places(wanted, got, blocks, tellers), tellers)
    return EarCounts(
        recordings=1,
        hearing=score_hearing(text, transcript, lexicon=lexicon, matcher=matcher),
        sides=_class_count(side_marks(wanted, tellers), side_marks(got, tellers), blocks),
        numbers=_class_count(number_marks(wanted, tellers), number_marks(got, tellers), blocks),
        negations=_class_count(negation_marks(wanted, tellers), negation_marks(got, tellers), blocks),
        repairs=judge_repairs(wanted, transcript.words, tellers),
        words_certain=certain[0],
        sides_certain=certain[1],
        numbers_certain=certain[2],
        unheard_s=sum(stretch.end - stretch.start for stretch in transcript.unheard),
    )


# -- classes of words: each mark is what the word at its place tells, "" for nothing


def side_marks(tokens: Sequence[str], tellers: Tellers) -> list[str]:
    """The side told at each place. Every "right" counts, also one that means "well then"."""
    marks = [""] * len(tokens)
    for at, token in enumerate(tokens):
        marks[at] = tellers.sides.get((token, *tokens[at + 1 : at + 2])) or tellers.sides.get((token,), "")
    return marks


def number_marks(tokens: Sequence[str], tellers: Tellers) -> list[str]:
    """The number at each place. A bare 1 counts only before a unit: elsewhere it may be "the other one"."""
    symbols = set(tellers.units.values())
    return [
        token
        if _NUMBER.match(token) and (token != "1" or (at + 1 < len(tokens) and tokens[at + 1] in symbols))
        else ""
        for at, token in enumerate(tokens)
    ]


def negation_marks(tokens: Sequence[str], tellers: Tellers) -> list[str]:
    """ "not" at every negation: "isn't" for "is not" is no error."""
    return ["not" if token in tellers.negations else "" for token in tokens]


def _class_count(
    wanted: Sequence[str], got: Sequence[str], blocks: Sequence[tuple[int, int, int, int]]
) -> ClassCount:
    missing = added = turned = 0
    for a, b, c, d in blocks:
        lacking = Counter(m for m in wanted[a:b] if m) - Counter(m for m in got[c:d] if m)
        surplus = Counter(m for m in got[c:d] if m) - Counter(m for m in wanted[a:b] if m)
        both = min(lacking.total(), surplus.total())
        turned += both
        missing += lacking.total() - both
        added += surplus.total() - both
    return ClassCount(total=sum(map(bool, wanted)), missing=missing, added=added, turned=turned)


# -- repairs


def repaired_stretches(words: Sequence[Word]) -> list[tuple[int, int]]:
    """Half-open stretches of words next to each other that are read otherwise than heard.

    A change of punctuation or capitals alone is none.
    """
    changed = [normalise_phrase(w.heard) != normalise_phrase(w.read) for w in words]
    stretches: list[tuple[int, int]] = []
    for at, flag in enumerate(changed):
        if flag and stretches and stretches[-1][1] == at:
            stretches[-1] = (stretches[-1][0], at + 1)
        elif flag:
            stretches.append((at, at + 1))
    return stretches


def judge_repairs(wanted: Sequence[str], words: Sequence[Word], tellers: Tellers) -> Repairs:
    """Each repair, by whether the transcript has more errors with it than without it."""
    read = plain_numbers(" ".join(w.read for w in words), units=tellers.units)
    errors = word_errors(wanted, read)
    total = Repairs()
    for first, last in repaired_stretches(words):
        parts = [w.heard if first <= at < last else w.read for at, w in enumerate(words)]
        before = plain_numbers(" ".join(parts), units=tellers.units)
        gain = word_errors(wanted, before) - errors
        gone = fresh = 0
        for marks in (side_marks, number_marks):
            had = Counter(mark for mark in marks(before, tellers) if mark)
            has = Counter(mark for mark in marks(read, tellers) if mark)
            gone += (had - has).total()
            fresh += (has - had).total()
        total += Repairs(
            made=1,
            right=gain > 0,
            false=gain < 0,
            idle=gain == 0,
            sides_numbers=bool(gone or fresh),
            silent=bool(gone or (fresh and gain < 0)),
        )
    return total


# -- certainty


def heard_rightly(text: str, words: Sequence[str], tellers: Tellers) -> list[bool]:
    """Whether each of ``words`` (as heard, in order) was said there in ``text``.

    Numbers are judged in one form, with their unit: "four", "thirty" and "seconds" are right or wrong
    together.
    """
    wanted = plain_numbers(text, units=tellers.units)
    got = plain_numbers(" ".join(words), units=tellers.units)
    right = _right_places(wanted, got, alignment(wanted, got), tellers)
    return [all(right[place] for place in places) for places in _places(words, got)]


def _right_places(
    wanted: Sequence[str],
    got: Sequence[str],
    blocks: Sequence[tuple[int, int, int, int]],
    tellers: Tellers,
) -> list[bool]:
    """Which words of ``got`` are those of ``wanted`` in their place."""
    right = [False] * len(got)
    told = [side_marks(row, tellers) for row in (wanted, got)]
    for a, b, c, d in blocks:
        if "".join(wanted[a:b]) == "".join(got[c:d]):  # "near side" for "nearside" is no wrong word
            right[c:d] = [True] * (d - c)
            continue
        left = Counter(told[0][a:b])
        for at in range(c, d):  # of "the left side" for "left", the side is right
            if told[1][at] and left[told[1][at]]:
                left[told[1][at]] -= 1
                right[at] = True
    return right


def _places(words: Sequence[str], got: Sequence[str]) -> list[set[int]]:
    """The places in ``got``, which writes numbers in one form, that decide about each word."""
    pieces = [(piece, at) for at, word in enumerate(words) for piece in normalise_phrase(word)]
    raw = [piece for piece, _ in pieces]
    places: list[set[int]] = [set() for _ in words]
    for a, b, c, d in alignment(raw, got):
        if raw[a:b] == list(got[c:d]):
            for n in range(b - a):
                places[pieces[a + n][1]].add(c + n)
        else:
            for _, at in pieces[a:b]:
                places[at].update(range(c, d))
    return places


def _certain(
    words: Sequence[Word], got: Sequence[str], right: Sequence[bool], tellers: Tellers
) -> tuple[Reliability, Reliability, Reliability]:
    """Of all words, of those that tell a side, and of those that belong to a number."""
    sides, numbers = side_marks(got, tellers), number_marks(got, tellers)
    rows = [
        (word.certainty, all(right[place] for place in places), places)
        for word, places in zip(words, _places([word.read for word in words], got), strict=True)
        if normalise_phrase(word.read)
    ]
    return (
        _reliability([(certainty, good) for certainty, good, _ in rows]),
        _reliability([(certainty, good) for certainty, good, at in rows if any(sides[n] for n in at)]),
        _reliability([(certainty, good) for certainty, good, at in rows if any(numbers[n] for n in at)]),
    )


def _reliability(stated: Sequence[tuple[float, bool]]) -> Reliability:
    bins = [Bin() for _ in BINS]
    for certainty, good in stated:
        at = max(n for n, low in enumerate(BINS) if certainty >= low)
        bins[at] += Bin(words=1, stated=certainty, right=int(good))
    return Reliability(bins=tuple(bins))
