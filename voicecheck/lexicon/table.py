"""All phrases a lexicon can be said in, with every variant, and who owns each. Pure.

Both matchers look phrases up here; they differ only in how they find where in the words a phrase stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from itertools import chain, product
from typing import NamedTuple

from voicecheck.lexicon.extras import WordForms, forms_of
from voicecheck.lexicon.inflect import HEAD_ENDS, number_forms
from voicecheck.lexicon.model import Component, Lexicon, TermKind, TermMatch
from voicecheck.lexicon.normal import normalise_phrase
from voicecheck.records.vocabulary import Market

Phrase = tuple[str, ...]


class Entry(NamedTuple):
    """What a phrase means: the fields of a ``TermMatch`` besides its place."""

    id: str
    detail: str
    phrase: str


class PhraseTable:
    """All phrases by kind, and how the words of a transcript are put to be found in them."""

    def __init__(self, phrases: Mapping[TermKind, Mapping[Phrase, tuple[Entry, ...]]]) -> None:
        self._heads = {words[-1] for kind in _POSSESSIVE for words in phrases.get(kind, ())}
        # A phrase that holds "wheel's" must not keep "the wheel's bent" from being about the wheel.
        said = {word for entries in phrases.values() for words in entries for word in words}
        bare = {word: self._without_possessive(word) for word in said}
        changed = {word for word, plain in bare.items() if word != plain}
        folded: dict[TermKind, dict[Phrase, tuple[Entry, ...]]] = {}
        for kind, entries in phrases.items():
            folded[kind] = dict(entries)
            for words in [words for words in entries if not changed.isdisjoint(words)]:
                owners = folded[kind].pop(words)
                plain = tuple(bare[word] for word in words)
                folded[kind][plain] = tuple(dict.fromkeys((*folded[kind].get(plain, ()), *owners)))
        self.phrases: Mapping[TermKind, Mapping[Phrase, tuple[Entry, ...]]] = folded
        self.words = frozenset(bare.values())  # of all phrases

    def plain(self, words: Sequence[str]) -> list[str]:
        """As many words as were given: "rotor's" as "rotor", and one word for all unknown ones."""
        known = self.words
        bare = [self._without_possessive(word) for word in words]
        return [word if word in known else _OTHER for word in bare]

    def _without_possessive(self, word: str) -> str:
        bare = word.removesuffix("'s")
        return bare if bare in self._heads else word

    def matches(
        self, words: Sequence[str], found: Mapping[TermKind, Sequence[tuple[int, int]]]
    ) -> tuple[TermMatch, ...]:
        """The matches at spans of plain words, reduced within each kind, in order of their first word."""
        result: list[TermMatch] = []
        for kind, spans in found.items():
            said = {(first, last): tuple(words[first:last]) for first, last in spans}
            if kind == "component":
                said = {**dict(self._turned(words, spans)), **said}
            for first, last in longest_first(said, length=len(words)):
                result.extend(
                    TermMatch(first=first, last=last, kind=kind, id=e.id, detail=e.detail, phrase=e.phrase)
                    for e in self.phrases[kind][said[first, last]]
                )
        result.sort(key=lambda m: (m.first, -m.last, m.kind, m.id, m.detail))
        return tuple(result)

    def _turned(
        self, words: Sequence[str], spans: Iterable[tuple[int, int]]
    ) -> Iterator[tuple[tuple[int, int], Phrase]]:
        """Compounds said the other way round: "clutch of the fan" where "fan clutch" is a name.

        Not "wiper on the rear": where something sits is a place of its own, also where a name holds it.
        """
        names, places = self.phrases["component"], self.phrases["place"]
        for first, last in spans:
            if last >= len(words) or words[last] not in _TURNS:
                continue
            at = last + 1
            if at < len(words) and words[at] in _BEFORE_A_NAME:
                at += 1
            elif words[last] != "of":
                continue  # "alarm on, fire door shut"
            head = tuple(words[first:last])
            for end in range(at + 1, min(len(words), at + _MOST_OF_A_WHOLE) + 1):
                name = (*words[at:end], *head)
                if name in names and tuple(words[at:end]) not in places:
                    yield (first, end), name


# Kinds whose last word may be said with "'s" ("the rotor's below minimum", "the left's worse").
_POSSESSIVE: tuple[TermKind, ...] = ("component", "place")
# Stands for every word that is in no phrase: an engine may keep each string, and a server sees many.
_OTHER = "\ufffd"
# A compound the other way round: what joins its halves, what may stand before the second, how long that is.
_TURNS = frozenset({"of", "on", "for", "in"})
_BEFORE_A_NAME = frozenset({"the", "a", "that", "this", "its", "your", "his", "her"})
_MOST_OF_A_WHOLE = 3  # words
# How far a form is from what the term file says; the nearest one owns the form.
_LISTED, _INFLECTED, _RUN_TOGETHER = 0, 1, 2
_MIN_PART = 3  # letters of each half of a word split in two
# Kinds whose words are run together or split, and how long a phrase may be for that: names are compounds
# wherever two words meet; a longer condition is a sentence.
_COMPOUNDS: Mapping[TermKind, int] = {"component": 99, "place": 99, "measure": 2, "condition": 2}
_ANY_CONTEXT = ("n't", "'s")  # contractions that stay recognisable without their apostrophe


# How much a market makes a phrase one term's own.
OTHER_MARKET, ANY_MARKET, THIS_MARKET = 0, 1, 2


class _Claim(NamedTuple):
    """One term's claim to a phrase; of several the one with the least ``weight`` wins."""

    market: int
    rank: int
    entry: Entry

    @property
    def weight(self) -> tuple[int, int]:
        return (-self.market, self.rank)


_Claims = dict[Phrase, dict[tuple[str, str], _Claim]]


def phrase_table(lexicon: Lexicon) -> PhraseTable:
    """Every phrase of every kind with its entries, variants made, clashes settled for the market."""
    variants = _Variants(forms_of(lexicon), known=frozenset(_words_of(lexicon)))
    claims: dict[TermKind, _Claims] = {
        "component": {}, "condition": {}, "action": {}, "place": {}, "cue": {}, "measure": {},
    }  # fmt: skip

    def claim(kind: TermKind, said: str, id_: str, detail: str = "", market: int = ANY_MARKET) -> None:
        entry = Entry(id_, detail, said)
        for words, rank in variants.of(kind, said):
            owners = claims[kind].setdefault(words, {})
            new, known = _Claim(market, rank, entry), owners.get((id_, detail))
            if known is None or new.weight < known.weight:
                owners[id_, detail] = new

    for component in lexicon.components.values():
        for name in component.names:
            claim("component", name, component.id, "", market_of_name(component, name, lexicon.market))
    for condition in lexicon.conditions.values():
        for said in condition.said:
            claim("condition", said, condition.id)
    for action in lexicon.actions:
        for said in action.said:
            claim("action", said, action.action)
    for place in lexicon.places:
        if place.market is None or place.market == lexicon.market:
            claim("place", place.said, place.value, place.kind, THIS_MARKET if place.market else ANY_MARKET)
    for cue in lexicon.cues:
        claim("cue", cue.said, cue.value, cue.kind)
    for measure in lexicon.measures.values():
        for said in measure.said:
            claim("measure", said, measure.id)

    table: dict[TermKind, dict[Phrase, tuple[Entry, ...]]] = {}
    for kind, phrases in claims.items():
        table[kind] = {}
        for words, owners in phrases.items():
            found = list(owners.values())
            if len(found) > 1:
                found = _settle(kind, found, lexicon)
            table[kind][words] = tuple(c.entry for c in found)
    return PhraseTable(table)


def _words_of(lexicon: Lexicon) -> Iterator[str]:
    """Every word that a phrase of the lexicon uses, and both numbers of those in component names."""
    for component in lexicon.components.values():
        for name in component.names:
            for word in normalise_phrase(name):
                yield from _number_forms(word)
    said = chain(
        (s for condition in lexicon.conditions.values() for s in condition.said),
        (s for action in lexicon.actions for s in action.said),
        (s for measure in lexicon.measures.values() for s in measure.said),
        (place.said for place in lexicon.places),
        (cue.said for cue in lexicon.cues),
    )
    for phrase in said:
        yield from normalise_phrase(phrase)


def names_in(component: Component, market: Market) -> tuple[str, ...]:
    """The names listed for one market."""
    return component.us if market == "US" else component.uk


def market_of_name(component: Component, name: str, market: Market) -> int:
    """How much a market makes a name the component's own: one listed there comes before a canonical one.

    So "driveshaft", canonical for the long shaft, can be the shaft to a wheel in the UK, where the long one
    has a name of its own. The result is one of the three levels above.
    """
    if name in names_in(component, market):
        return THIS_MARKET
    return ANY_MARKET if name == component.name else OTHER_MARKET


def ancestors(components: Mapping[str, Component], id_: str) -> tuple[str, ...]:
    """The ids a component is a kind of, nearest first; ends at a loop or an unknown id instead of hanging."""
    found: list[str] = []
    item = components.get(id_)
    while item is not None and item.kind_of is not None and item.kind_of not in (id_, *found):
        found.append(item.kind_of)
        item = components.get(item.kind_of)
    return tuple(found)


def _settle(kind: TermKind, claims: list[_Claim], lexicon: Lexicon) -> list[_Claim]:
    """Who owns a phrase: the general component, then the term of this market, then the nearest form."""
    if kind == "component":
        ids = {c.entry.id for c in claims}
        claims = [c for c in claims if ids.isdisjoint(ancestors(lexicon.components, c.entry.id))] or claims
    least = min(c.weight for c in claims)
    return [c for c in claims if c.weight == least]


def variants_of(kind: TermKind, said: str, *, forms: WordForms | None = None) -> frozenset[Phrase]:
    """All forms of one phrase that are understood by themselves, whatever else is listed; itself included."""
    variants = _Variants(forms or WordForms(), known=frozenset())
    return frozenset(words for words, _ in variants.of(kind, said))


class _Variants:
    """Makes the forms of a phrase, each with its distance from what was listed."""

    def __init__(self, forms: WordForms, *, known: frozenset[str]) -> None:
        self._known = known
        self._halves: dict[str, tuple[tuple[str, str], ...]] = {}
        self._spellings: dict[str, set[str]] = {}
        for us, uk in forms.spellings:
            for one, other in zip(number_forms(us), number_forms(uk), strict=False):
                self._spellings.setdefault(one, {one}).add(other)
                self._spellings.setdefault(other, {other}).add(one)
        self._contractions: dict[Phrase, list[Phrase]] = {}
        for short, long in forms.contractions:
            a, b = normalise_phrase(short), normalise_phrase(long)
            self._contractions.setdefault(a, []).append(b)
            self._contractions.setdefault(b, []).append(a)

    def of(self, kind: TermKind, said: str) -> Iterator[tuple[Phrase, int]]:
        listed = normalise_phrase(said)
        if not listed:
            return
        yield listed, _LISTED
        near: set[Phrase] = {listed}
        if kind in ("component", "measure"):
            near = set(_numbers(listed))
        else:
            near |= set(self._contracted(listed))
        near = {spelled for words in near for spelled in self._spelled(words)}
        near |= {bare for words in near for bare in _without_apostrophes(words)}
        far: set[Phrase] = set()
        if len(listed) <= _COMPOUNDS.get(kind, 0):
            far = {form for words in near for form in self._run_together(words)}
        for words in near - {listed}:
            yield words, _INFLECTED
        for words in far - near:
            yield words, _RUN_TOGETHER

    def _spelled(self, words: Phrase) -> Iterable[Phrase]:
        if not any(w in self._spellings for w in words):
            return (words,)
        return product(*(sorted(self._spellings.get(w, {w})) for w in words))

    def _contracted(self, words: Phrase) -> Iterator[Phrase]:
        """The phrase with any of its contractions written the other way, each word changed at most once.

        Never twice: "it is" → "it's" → "it has" would change what is said.
        """
        if not words:
            yield ()
            return
        for rest in self._contracted(words[1:]):
            yield (words[0], *rest)
        for length in (1, 2):
            for other in self._contractions.get(words[:length], ()):
                for rest in self._contracted(words[length:]):
                    yield (*other, *rest)

    def _run_together(self, words: Phrase) -> Iterator[Phrase]:
        """Two neighbours as one word ("balljoint"), initials as one ("psi"), one word as two ("wind shield").

        The words that the term files use by themselves are the dictionary: both halves must be among them, or
        one if both are too long to be an ending.
        """
        yield _initials_joined(words)
        joins = [word.isalpha() and word not in HEAD_ENDS for word in words]
        for i in range(len(words) - 1):
            if joins[i] and joins[i + 1]:
                yield (*words[:i], words[i] + words[i + 1], *words[i + 2 :])
        for i, word in enumerate(words):
            halves = self._halves.get(word)
            if halves is None:
                halves = self._halves[word] = tuple(self._halves_of(word))
            for half, other in halves:
                yield (*words[:i], half, other, *words[i + 1 :])

    def _halves_of(self, word: str) -> Iterator[tuple[str, str]]:
        for cut in range(_MIN_PART, len(word) - _MIN_PART + 1):
            half, other = word[:cut], word[cut:]
            known = (half in self._known) + (other in self._known)
            if known == 2 or (known and min(len(half), len(other)) > _MIN_PART):
                yield half, other


_number_forms = cache(number_forms)  # of the words that end names; there are few


def _numbers(words: Phrase) -> Iterator[Phrase]:
    """Singular and plural of the head noun: the last word, and the one before "of", "on" …"""
    heads = {len(words) - 1}
    heads |= {i - 1 for i, w in enumerate(words) if w in HEAD_ENDS and i > 0}
    yield words
    for head in heads:
        for form in _number_forms(words[head]):
            yield (*words[:head], form, *words[head + 1 :])


def _without_apostrophes(words: Phrase) -> Iterator[Phrase]:
    """As people also write it: "isnt". Not where one word alone becomes another ("we're", "were")."""
    if any("'" in w and (len(words) > 1 or w.endswith(_ANY_CONTEXT)) for w in words):
        yield tuple(w.replace("'", "") for w in words)


def _initials_joined(words: Phrase) -> Phrase:
    """Runs of single letters as one word: "p s i" as "psi"."""
    joined: list[str] = []
    open_run = False
    for word in words:
        letter = len(word) == 1 and word.isalpha()
        if letter and open_run:
            joined[-1] += word
        else:
            joined.append(word)
        open_run = letter
    return tuple(joined)


def longest_first(spans: Iterable[tuple[int, int]], *, length: int) -> list[tuple[int, int]]:
    """Of overlapping half-open spans in ``length`` words the longest, leftmost first; in order of place."""
    taken = bytearray(length)
    kept: list[tuple[int, int]] = []
    for first, last in sorted(set(spans), key=lambda s: (s[0] - s[1], s[0])):
        # Longer ones are placed already, so an overlap always shows at an end.
        if not taken[first] and not taken[last - 1]:
            taken[first:last] = b"\x01" * (last - first)
            kept.append((first, last))
    kept.sort()
    return kept
