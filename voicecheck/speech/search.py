"""Finds the phrases of a lexicon by their sound in heard words, across the bounds of words.

Pure: words in, candidates out. Whether a candidate is read instead of what was heard is decided elsewhere
(``voicecheck.speech.repair``), with the sound at hand.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from voicecheck.lexicon import Lexicon, ShopLexicon, SimpleMatcher, TermMatcher, normalise_phrase
from voicecheck.lexicon.inflect import HEAD_ENDS, number_forms
from voicecheck.records import Record, Word
from voicecheck.speech.phones import Phones, costs, padded, phone_table, table_rows
from voicecheck.speech.pronounce import Pronouncer
from voicecheck.speech.spelling import sides_by_sound

Plain = tuple[str, ...]

_CLASSES = 7
_LENGTH_COUNTS = 0.012  # off the cost, for each letter of the phrase
_BATCH = 6_000  # pairs compared at once; bounds memory
_LONG_CONDITION = 12  # letters: shorter ones of several words are everyday talk, and sound like more of it
_LEADS = HEAD_ENDS | {"the", "a", "his", "her", "under", "behind", "around", "off", "by"}
_SHORT_WORDS = 2
_OF = "of"
_SMALL_KINDS = frozenset({"article", "copula", "singular_copula", "conjunction"})
_LONG_SIDE = 6  # sounds: "lefts" and "l f" are too short to be told by them
_SHORTEST_SIDE = 3  # sounds
_LONG_TERM = 7  # sounds: a shorter single word is too common to be kept for being in the lexicon


class SearchLimits(Record):
    """How far a phrase may be from what was heard. Costs are per sound, 0 (the same) to 1."""

    sounds_least: int = 4  # a shorter phrase is found by chance
    sounds_enough: int = (
        5  # a phrase shorter than this is looked for in place of one or two doubtful words only …
    )
    short_unsure: float = 0.9  # … the least certain of them below this, or in no term
    short_cost: float = 0.45  # … and may cost this much
    cost: float = 0.34  # of the whole phrase
    talk_cost: float = 0.15  # … of a condition of several words that are everyday talk ("got a nail in it")
    close_cost: float = 0.15  # up to this several words may be read that each make sense to the lexicon
    talk_sounds: int = 6  # a shorter condition of everyday talk is found by chance
    alone_cost: float = 0.25  # … where most words that differ are short terms of their own
    changed_cost: float = 0.5  # of the words alone that differ
    length_share: float = 0.5  # of the sounds that differ: a much shorter reading would just leave words out
    words_most: int = 7  # heard words that one phrase is looked for in
    unsure: float = 0.92  # a word below this certainty may be another one …
    unknown: float = 0.97  # … and one that no term has, below this
    sure: float = 0.95  # a known word from this on, at an end of the stretch, must be in the phrase as it is
    surplus: float = 0.45  # a quick look: sounds of other classes, per sound


class Phrase(NamedTuple):
    """One way to say a term: as it is written, its plain words, its sounds and its fixed words."""

    text: str
    words: Plain
    sounds: Phones
    fixed: Plain
    side: bool
    told: bool  # from "sounds_like": the owner says that it is heard like this
    talk: bool = False  # a condition of several words, some of them everyday


class _Exact(NamedTuple):
    """Heard words that belong to terms: ``kept`` are never written over. ``alone`` are short terms of one
    word: one may be a piece of a longer phrase that was cut at the wrong places ("out or tight rodent"), but
    is not exchanged for another single word. ``phrases`` are components of several words (half-open ranges).
    """

    kept: set[int]
    alone: set[int]
    phrases: set[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Candidate:
    """``text`` may have been said where words ``first:last`` were heard.

    Words that heard and candidate share at their ends are left out. ``phrase`` is the whole phrase of the
    lexicon, ``cost`` how far it is in sound, ``changed_cost`` the same for the words that differ alone,
    ``certainty`` that of the least certain differing word, ``unknown`` whether one of them is in no term,
    ``side`` whether the phrase names a side or corner, ``sounds`` how many sounds it has.
    """

    first: int
    last: int
    text: str
    phrase: str
    cost: float
    changed_cost: float
    certainty: float
    unknown: bool
    side: bool
    sounds: int


class SoundIndex:
    """The phrases of one lexicon by their sound. Building one takes about a second; keep it."""

    def __init__(
        self, lexicon: Lexicon, *, matcher: TermMatcher | None = None, limits: SearchLimits | None = None
    ) -> None:
        self.limits = limits or SearchLimits()
        own: dict[str, tuple[str, ...]] = {}
        if isinstance(lexicon, ShopLexicon):
            own = {spoken.word: spoken.like for spoken in lexicon.sounds}
        self.pronouncer = Pronouncer(own)
        self._matcher = matcher or SimpleMatcher(lexicon)
        self._numbers = frozenset(row["word"] for row in table_rows("numbers.csv"))
        self.sides = frozenset(_side_words(lexicon))
        self._fixed = self._numbers | self.sides | frozenset(_negations(lexicon))
        self._long_sides = frozenset(
            words[0]
            for words in (normalise_phrase(place.said) for place in lexicon.places if place.kind == "side")
            if len(words) == 1 and len(self.pronouncer.phrase(words)) >= _LONG_SIDE
        )
        self._known = frozenset(_known_words(lexicon))
        self._sides_by_sound = sides_by_sound(
            (word for word in self.sides if len(self.pronouncer.phrase((word,))) >= _SHORTEST_SIDE),
            self.pronouncer,
        )
        self.plural_places = tuple(
            place.said
            for place in lexicon.places
            if place.kind == "position"
            and place.said.endswith("s")
            and place.market in (None, lexicon.market)
        )
        said = [(g.kind, normalise_phrase(g.said)) for g in lexicon.grammar]
        self._everyday = frozenset(words[0] for _, words in said if len(words) == 1)
        self._heads = frozenset(  # "he can stride": "can" is also a part
            words[-1]
            for component in lexicon.components.values()
            for name in component.names
            if (words := normalise_phrase(name)) and words[-1] not in self._everyday
        )
        self._small = frozenset(words[0] for kind, words in said if len(words) == 1 and kind in _SMALL_KINDS)
        self.phrases = tuple(self._phrases(lexicon))
        self._all: NDArray[np.intp] = np.arange(len(self.phrases))
        self._begin, self._end = _by_word(self.phrases, 0), _by_word(self.phrases, -1)
        self._classes = _phone_classes()
        self._sounds = padded([phrase.sounds for phrase in self.phrases])
        self._lengths = (self._sounds > 0).sum(axis=1).astype(np.int16)
        self._counts = self._class_counts(self._sounds)
        limits = self.limits
        self._most = np.array(
            [
                limits.talk_cost
                if phrase.talk
                else limits.short_cost
                if len(phrase.sounds) < limits.sounds_enough
                else limits.cost
                for phrase in self.phrases
            ],
            np.float32,
        )

    def is_fixed(self, word: str) -> bool:
        """Whether a plain word is a number, a side or a negation, which are never changed."""
        bare = word.removesuffix(_HAS)  # "left's" is "left is"
        return word in self._fixed or bare in self._fixed or self.is_number(word) or word.endswith("n't")

    def is_strange(self, word: str) -> bool:
        """Whether a plain word is in no term and no dictionary: nobody may have said it."""
        return word not in self._known and not self.is_number(word) and self.pronouncer.is_guess(word)

    def is_number(self, word: str) -> bool:
        """Whether a plain word is a number or holds one."""
        return word.removesuffix(_HAS) in self._numbers or any(letter.isdigit() for letter in word)

    def find(self, words: Sequence[Word], *, breaks: frozenset[int] = frozenset()) -> list[Candidate]:
        """What may have been said instead, the nearest in sound first; candidates may overlap.

        Only stretches with a word of low certainty, or of no sense to the lexicon, are looked at. No stretch
        reaches over the words at ``breaks`` from the word before.
        """
        plain = [normalise_phrase(word.heard) for word in words]
        doubtful = [self._doubtful(word, parts) for word, parts in zip(words, plain, strict=True)]
        if not any(doubtful) or not self.phrases:
            return list(self._homophones(plain, words))
        exact = self._exact(plain)
        spans = list(self._spans(words, plain, doubtful, breaks))
        found: dict[tuple[int, int, str], Candidate] = {}
        for (first, last), phrase, cost in self._near(spans, words, plain):
            candidate = self._judged(first, last, phrase, cost, words, plain, exact)
            if candidate is None:
                continue
            key = (candidate.first, candidate.last, candidate.text.lower())
            if key not in found or _rank(candidate) < _rank(found[key]):
                found[key] = candidate
        for candidate in self._homophones(plain, words):
            found[candidate.first, candidate.last, candidate.text] = candidate
        return sorted(found.values(), key=lambda c: (c.cost, c.first, -c.last, c.text))

    def _homophones(self, plain: Sequence[Plain], words: Sequence[Word]) -> Iterator[Candidate]:
        """Words of no sense to the lexicon that are spoken exactly like a side ("rite")."""
        for at, parts in enumerate(plain):
            if len(parts) != 1 or parts[0] in self._known or self.is_fixed(parts[0]):
                continue
            sounds = self.pronouncer.phrase(parts)
            side = self._sides_by_sound.get(sounds)
            if side is not None and not self.pronouncer.is_guess(parts[0]):
                yield Candidate(
                    at, at + 1, side, side, 0.0, 0.0, words[at].certainty, True, True, len(sounds)
                )

    def _doubtful(self, word: Word, parts: Plain) -> bool:
        if not parts or any(self.is_fixed(part) for part in parts):
            return False
        return word.certainty < self._limit_for(parts)

    def _limit_for(self, parts: Plain) -> float:
        unknown = any(part not in self._known for part in parts)
        return self.limits.unknown if unknown else self.limits.unsure

    def _exact(self, plain: Sequence[Plain]) -> _Exact:
        """The words that belong to a term as it stands in the lexicon: they are not written over."""
        tokens = [(token, at) for at, parts in enumerate(plain) for token in parts]
        kept: set[int] = set()
        alone: set[int] = set()
        phrases: set[tuple[int, int]] = set()
        for match in self._matcher.match([token for token, _ in tokens]):
            if match.kind == "cue":
                continue
            sounds = self.pronouncer.phrase(token for token, _ in tokens[match.first : match.last])
            certain = match.last - match.first > 1 or len(sounds) >= _LONG_TERM or match.kind == "place"
            if match.kind == "component" and match.last - match.first > 1:
                phrases.add((tokens[match.first][1], tokens[match.last - 1][1] + 1))
            (kept if certain else alone).update(at for _, at in tokens[match.first : match.last])
        return _Exact(kept, alone - kept, phrases)

    def _spans(
        self, words: Sequence[Word], plain: Sequence[Plain], doubtful: Sequence[bool], breaks: frozenset[int]
    ) -> Iterator[tuple[int, int]]:
        for first in range(len(words)):
            hopeful = False
            for last in range(first + 1, min(len(words), first + self.limits.words_most) + 1):
                at = last - 1
                if at > first and (at in breaks or _ends_clause(words[at - 1])):
                    break
                if not plain[at]:
                    break
                hopeful = hopeful or doubtful[at]
                if hopeful:
                    yield first, last

    def _near(
        self, spans: Sequence[tuple[int, int]], words: Sequence[Word], plain: Sequence[Plain]
    ) -> Iterator[tuple[tuple[int, int], Phrase, float]]:
        limits = self.limits
        longest = self._sounds.shape[1] + 4
        heard: list[Phones] = []
        kept: list[tuple[int, int]] = []
        for span in spans:
            sounds = self.pronouncer.phrase(token for parts in plain[span[0] : span[1]] for token in parts)
            if limits.sounds_least - 2 <= len(sounds) <= longest:
                heard.append(sounds)
                kept.append(span)
        if not heard:
            return
        rows = padded(heard, width=longest)
        counts = self._class_counts(rows)
        lengths = (rows > 0).sum(axis=1).astype(np.int16)
        pairs: list[tuple[int, NDArray[np.intp]]] = []
        total = 0
        for at in range(len(kept)):
            which = self._with_ends(kept[at], words, plain)
            most = np.maximum(self._lengths[which], lengths[at])
            apart = np.abs(self._counts[which] - counts[at]).sum(axis=1, dtype=np.int16)
            near = which[np.flatnonzero(apart <= limits.surplus * most)]
            if near.size:
                pairs.append((at, near))
                total += near.size
            if total >= _BATCH:
                yield from self._compared(pairs, rows, kept)
                pairs, total = [], 0
        if pairs:
            yield from self._compared(pairs, rows, kept)

    def _with_ends(
        self, span: tuple[int, int], words: Sequence[Word], plain: Sequence[Plain]
    ) -> NDArray[np.intp]:
        """The phrases that a stretch can be: words of certainty at its ends are the phrase's own."""
        first, last = plain[span[0]][0], plain[span[1] - 1][-1]
        sure = [
            words[at].certainty >= self.limits.sure and token in self._known
            for at, token in ((span[0], first), (span[1] - 1, last))
        ]
        begin = self._begin.get(first, _NONE) if sure[0] else None
        end = self._end.get(last, _NONE) if sure[1] else None
        if begin is not None and end is not None:
            return np.intersect1d(begin, end, assume_unique=True)
        if begin is not None:
            return begin
        return self._all if end is None else end

    def _compared(
        self,
        pairs: Sequence[tuple[int, NDArray[np.intp]]],
        rows: NDArray[np.int8],
        spans: Sequence[tuple[int, int]],
    ) -> Iterator[tuple[tuple[int, int], Phrase, float]]:
        heard = np.concatenate([np.full(near.size, at) for at, near in pairs])
        wanted = np.concatenate([near for _, near in pairs])
        cost = costs(_trimmed(rows[heard]), _trimmed(self._sounds[wanted]), phone_table())
        for at in np.flatnonzero(cost <= self._most[wanted]):
            yield spans[heard[at]], self.phrases[wanted[at]], float(cost[at])

    def _judged(
        self,
        first: int,
        last: int,
        phrase: Phrase,
        cost: float,
        words: Sequence[Word],
        plain: Sequence[Plain],
        exact: _Exact,
    ) -> Candidate | None:
        tokens = tuple(token for parts in plain[first:last] for token in parts)
        if tokens == phrase.words or _same_letters(tokens, phrase.words):
            return None
        close = cost <= self.limits.close_cost
        several = last - first > _SHORT_WORDS  # before the words that both share are left out
        fixed = tuple(token for token in tokens if self.is_fixed(token))
        if fixed != phrase.fixed and not (
            phrase.side and not fixed and set(phrase.fixed) <= self._long_sides
        ):
            return None  # "left" and "right" are too short to be told by sound, "passenger" is not
        written = phrase.text.split()
        held = written[0] == _HAS  # "rack's dry", heard as "rack stride": the "'s" belongs to the word before
        if held:
            if first == 0 or len(plain[first - 1]) != 1 or plain[first - 1][0] not in self._heads:
                return None
            if _ends_clause(words[first - 1]):
                return None
            written = written[1:]
        start = first
        while first < last and written and _same(plain[first], normalise_phrase(written[0])):
            first, written = first + 1, written[1:]
        while first < last and written and _same(plain[last - 1], normalise_phrase(written[-1])):
            last, written = last - 1, written[:-1]
        if first == last or not written:  # a word put in or left out, no word heard wrongly
            return None
        if held and first != start:
            return None
        if first and any(self.is_number(part) and not part.endswith(_HAS) for part in plain[first - 1]):
            return None  # what follows a number says what it counts, and may be a part of it ("30 seconds")
        left = [token for parts in plain[first:last] for token in parts]
        wanted = normalise_phrase(" ".join(written))
        if _same_letters(tuple(left), wanted) or self._everyday.issuperset(wanted):
            return None
        if len(wanted) > len(left) + 1:  # words were melted together, but not so many
            return None
        if not close and last - first > 1 and (left[0] in self._small or left[-1] in self._small):
            return None  # a stretch that takes in an "is" or a "the" beside it would read it away
        differing = _differing(first, plain, wanted, last)
        if not differing:  # words put in, none heard wrongly
            return None
        if _inflection(tuple(left), wanted) and differing & (exact.kept | exact.alone):
            return None
        alone = differing & exact.alone
        mostly_alone = 2 * len(alone) > len(differing)
        if differing & exact.kept or (mostly_alone and cost > self.limits.alone_cost):
            return None
        if not (close and several and len(differing) > 1) and (
            (alone and last - first <= _SHORT_WORDS) or len(alone) == len(differing)
        ):
            return None
        if any(first <= begin and end <= last for begin, end in exact.phrases):
            return None
        certainty = min(words[at].certainty for at in differing)
        unknown = any(token not in self._known for at in differing for token in plain[at])
        if not any(words[at].certainty < self._limit_for(plain[at]) for at in differing):
            return None
        changed = 0.0
        if not phrase.told:
            if len(phrase.sounds) < self.limits.sounds_enough and (
                last - first > _SHORT_WORDS or not (unknown or certainty < self.limits.short_unsure)
            ):
                return None
            pair = (self.pronouncer.phrase(left), self.pronouncer.phrase(wanted))
            changed = float(costs(padded(pair[:1]), padded(pair[1:]), phone_table())[0])
            longer, shorter = max(map(len, pair)), min(map(len, pair))
            if changed > self.limits.changed_cost or shorter < self.limits.length_share * longer:
                return None
        if held:
            first -= 1
            written = [f"{_bare_text(words[first].heard)}{_HAS}", *written]
        return Candidate(
            first,
            last,
            " ".join(written),
            phrase.text,
            cost,
            changed,
            certainty,
            unknown,
            phrase.side,
            len(phrase.sounds),
        )

    def _phrases(self, lexicon: Lexicon) -> Iterator[Phrase]:
        seen: set[tuple[Plain, Phones]] = set()
        for text, kind, like in (*_texts(lexicon), *((said, _TALK, "") for said in _talk(lexicon))):
            words = normalise_phrase(text)
            if any(any(letter.isdigit() for letter in word) for word in words):
                continue
            fixed = tuple(word for word in words if self.is_fixed(word))
            sounds = self.pronouncer.like(like) if like else self.pronouncer.phrase(words)
            least = {_TALK: self.limits.talk_sounds, "side": _LONG_SIDE}.get(kind, self.limits.sounds_least)
            if len(sounds) < least or (words, sounds) in seen:
                continue
            seen.add((words, sounds))
            yield Phrase(text, words, sounds, fixed, kind == "side", bool(like), kind == _TALK)
        for state in dict.fromkeys(_states(lexicon)):
            sounds = self.pronouncer.phrase((state,))
            for said, before in _COPULAS:
                if len(sounds) + 1 >= self.limits.sounds_least:
                    led = phone_table().numbers(before) + sounds
                    yield Phrase(f"{said} {state}", (said, state), led, (), False, False)

    def _class_counts(self, rows: NDArray[np.int8]) -> NDArray[np.int8]:
        classes = self._classes[rows]
        return np.stack([(classes == n).sum(axis=1) for n in range(1, _CLASSES + 1)], axis=1).astype(np.int8)


_HAS = "'s"
_TALK = "talk"
_COPULAS = ((_HAS, ("Z",)), ("is", ("IH", "Z")))


def _states(lexicon: Lexicon) -> Iterator[str]:
    """Every condition of one word: what may follow "is", and melt into one word with it."""
    for condition in lexicon.conditions.values():
        for said in condition.said:
            plain = normalise_phrase(said)
            if len(plain) == 1:
                yield plain[0]


def _bare_text(text: str) -> str:
    return text.strip("\"'“”‘’.,;:!?()[]")


_NONE: NDArray[np.intp] = np.zeros(0, np.intp)


def _by_word(phrases: Sequence[Phrase], place: int) -> dict[str, NDArray[np.intp]]:
    """The numbers of the phrases by their first (0) or last (-1) word."""
    found: dict[str, list[int]] = {}
    for number, phrase in enumerate(phrases):
        found.setdefault(phrase.words[place], []).append(number)
    return {word: np.array(numbers, np.intp) for word, numbers in found.items()}


def _texts(lexicon: Lexicon) -> Iterator[tuple[str, str, str]]:
    """Every phrase to look for: its text, what it is, and what it sounds like if that was written down."""
    for component in lexicon.components.values():
        for name in component.names:
            words = name.split()
            if _OF in words:  # "set of plugs": long by small words that anything sounds like
                continue
            yield name, "component", ""
            if not HEAD_ENDS & set(words):
                for form in number_forms(words[-1].lower())[1:]:
                    yield " ".join([*words[:-1], form]), "component", ""
        for like in component.sounds_like:
            yield component.name, "component", like
    for place in lexicon.places:
        if place.kind == "relative":  # "each one", "both": everyday words that carry no term
            continue
        if place.market in (None, lexicon.market) and place.said.split()[0] not in _LEADS:
            yield place.said, "side" if place.kind in ("side", "position") else "place", ""
    everyday = _everyday(lexicon)
    for condition in lexicon.conditions.values():
        for said in condition.said:
            if not _is_talk(said, everyday):
                yield said, "condition", ""
    for measure in lexicon.measures.values():
        for said in measure.said:
            yield said, "measure", ""


def _everyday(lexicon: Lexicon) -> set[str]:
    return {term.said for term in lexicon.grammar} | _LEADS


def _is_talk(said: str, everyday: set[str]) -> bool:
    """Whether a condition is of several words that are short or everyday: much else sounds like it."""
    plain = normalise_phrase(said)
    return len(plain) > 1 and (len(said) < _LONG_CONDITION or not everyday.isdisjoint(plain))


def _talk(lexicon: Lexicon) -> Iterator[str]:
    everyday = _everyday(lexicon)
    for condition in lexicon.conditions.values():
        yield from (said for said in condition.said if _is_talk(said, everyday))


def _side_words(lexicon: Lexicon) -> Iterator[str]:
    for place in lexicon.places:
        words = normalise_phrase(place.said)
        if len(words) == 1 and place.kind in ("side", "axle", "position"):
            yield words[0]


def _negations(lexicon: Lexicon) -> Iterator[str]:
    for cue in lexicon.cues:
        words = normalise_phrase(cue.said)
        if cue.kind == "negation" and len(words) == 1:
            yield words[0]


def _known_words(lexicon: Lexicon) -> Iterator[str]:
    texts: list[str] = [text for text, _, _ in _texts(lexicon)]
    texts += [said for action in lexicon.actions for said in action.said]
    texts += [cue.said for cue in lexicon.cues]
    texts += [said for measure in lexicon.measures.values() for said in measure.said]
    texts += [term.said for term in lexicon.grammar]
    for text in texts:
        yield from normalise_phrase(text)


def _phone_classes() -> NDArray[np.int8]:
    """A rough class for each phone, 0 for none: vowel, nasal, liquid, hiss, lips, tongue tip, back."""
    classes = [0]
    for row in table_rows("phones.csv"):
        if row["kind"] == "vowel":
            classes.append(1)
        elif row["nasal"] == "1":
            classes.append(2)
        elif row["stricture"] == "1":
            classes.append(3)
        elif row["sibilant"] == "1":
            classes.append(4)
        else:
            place = float(row["place"])
            classes.append(5 if place < 0.2 else 6 if place < 0.6 else 7)
    return np.array(classes, np.int8)


def _trimmed(rows: NDArray[np.int8]) -> NDArray[np.int8]:
    used = np.flatnonzero((rows > 0).any(axis=0))
    return rows[:, : int(used[-1]) + 1] if used.size else rows[:, :0]


def _ends_clause(word: Word) -> bool:
    return word.heard.endswith((".", "?", "!", ",", ";", ":"))


def _differing(first: int, plain: Sequence[Plain], wanted: Plain, last: int) -> set[int]:
    """The heard words of ``first:last`` that are not in ``wanted`` in their place."""
    tokens = [(token, at) for at in range(first, last) for token in plain[at]]
    matcher = SequenceMatcher(None, [token for token, _ in tokens], wanted, autojunk=False)
    same = {n for block in matcher.get_matching_blocks() for n in range(block.a, block.a + block.size)}
    return {at for n, (_, at) in enumerate(tokens) if n not in same}


def _same_letters(one: Plain, other: Plain) -> bool:
    """Whether two phrases are the same letters, with other spaces."""
    return "".join(one) == "".join(other)


def _inflection(one: Plain, other: Plain) -> bool:
    """Whether two phrases are the same words in other forms."""
    return len(one) == len(other) and all(stem(a) == stem(b) for a, b in zip(one, other, strict=True))


def _same(one: Plain, other: Plain) -> bool:
    """Whether two words are one, give or take a plural or a possessive."""
    return one == other or (len(one) == len(other) == 1 and _bare(one[0]) == _bare(other[0]))


def _bare(word: str) -> str:
    return word.removesuffix("'s").removesuffix("s")


def stem(word: str) -> str:
    """A word without the usual endings of English."""
    bare = word.removesuffix("'s").removesuffix("'")
    for ending in ("ing", "ed", "es", "s", "er", "y", "e"):
        if len(bare) - len(ending) >= 3 and bare.endswith(ending):
            bare = bare.removesuffix(ending)
            break
    return bare[:-1] if len(bare) > 3 and bare[-1] == bare[-2] else bare


def groups_of(candidates: Iterable[Candidate]) -> list[list[Candidate]]:
    """Candidates that overlap put together, in order of place."""
    groups: list[list[Candidate]] = []
    reached = 0
    for candidate in sorted(candidates, key=lambda c: (c.first, c.last, c.text)):
        if groups and candidate.first < reached:
            groups[-1].append(candidate)
        else:
            groups.append([candidate])
        reached = max(reached, candidate.last) if len(groups[-1]) > 1 else candidate.last
    return groups


def _rank(candidate: Candidate) -> tuple[float, str]:
    """The nearest in sound first, and of two as near the longer: it is less likely to be found by chance."""
    return candidate.cost - _LENGTH_COUNTS * len(candidate.phrase), candidate.text
