"""How well a recording was heard: word errors and missed trade terms against its text. The jiwer adapter."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

import jiwer
from text_to_num import alpha2digit

from voicecheck.lexicon import Lexicon, TermMatcher, normalise_phrase
from voicecheck.lexicon.table import longest_first
from voicecheck.measure.counts import Hearing
from voicecheck.records import Transcript

_NUMBER = re.compile(r"^\d+(?:\.\d+)?$")
_WITH_UNIT = re.compile(r"^(\d+(?:\.\d+)?)([a-z]+)$")
_RUN_TOGETHER = re.compile(r"^(\d{1,2})30$")  # "430 seconds": the same sound as "four thirty-seconds"
_SECONDS = frozenset({"second", "seconds", "2nd", "2nds", "nd", "nds"})
_TERM_KINDS = ("component", "place", "condition")

Term = frozenset[tuple[str, str, str]]


def score_hearing(text: str, transcript: Transcript, *, lexicon: Lexicon, matcher: TermMatcher) -> Hearing:
    """Word and term errors of a transcript against the text that was read out.

    Words are compared as ``normalise_phrase`` makes them: lower case, no punctuation but apostrophes inside
    words, hyphens split. ``matcher`` is one for ``lexicon``. Raises ``ValueError`` for a text without
    words.
    """
    units = {normalise_phrase(g.said): g.value for g in lexicon.grammar if g.kind == "unit"}
    heard = " ".join(word.heard for word in transcript.words)
    wanted, wanted_plain = plain_numbers(text, units=units), normalise_phrase(text)
    if not wanted_plain:
        raise ValueError("the text is empty: it has no words to compare with")
    terms = terms_of(text, matcher)
    return Hearing(
        words=len(wanted),
        errors=word_errors(wanted, plain_numbers(transcript.text, units=units)),
        plain_words=len(wanted_plain),
        plain_errors=word_errors(wanted_plain, normalise_phrase(transcript.text)),
        heard_errors=word_errors(wanted, plain_numbers(heard, units=units)),
        terms=len(terms),
        terms_missed=missed_terms(terms, terms_of(transcript.text, matcher)),
        heard_missed=missed_terms(terms, terms_of(heard, matcher)),
    )


def word_errors(wanted: Sequence[str], got: Sequence[str]) -> int:
    """Substitutions, deletions and insertions by jiwer."""
    output = jiwer.process_words(" ".join(wanted), " ".join(got))
    return int(output.substitutions + output.deletions + output.insertions)


def alignment(wanted: Sequence[str], got: Sequence[str]) -> tuple[tuple[int, int, int, int], ...]:
    """Where two rows of words are the same and where they differ, by jiwer.

    ``(first, last, first, last)`` of ``wanted`` and of ``got``, half-open and in order; together they cover
    both rows. No two stretches that differ stand next to each other.
    """
    if not wanted:
        return ((0, 0, 0, len(got)),) if got else ()
    reference, heard = (" ".join(word.replace(" ", "_") for word in row) for row in (wanted, got))
    chunks = jiwer.process_words(reference, heard).alignments[0]  # a unit may be two words
    found: list[tuple[int, int, int, int]] = []
    differs = False
    for chunk in chunks:
        span = (chunk.ref_start_idx, chunk.ref_end_idx, chunk.hyp_start_idx, chunk.hyp_end_idx)
        if found and differs and chunk.type != "equal":
            found[-1] = (found[-1][0], span[1], found[-1][2], span[3])
        else:
            found.append(span)
        differs = chunk.type != "equal"
    return tuple(found)


def plain_numbers(text: str, *, units: dict[tuple[str, ...], str] | None = None) -> tuple[str, ...]:
    """The plain words of ``text`` with numbers in digits, so that two spellings of one number are equal.

    Number words become digits ("twenty-seven point five" → "27.5", "the second one" → "the 2nd 1"),
    thirty-seconds a fraction ("four thirty seconds", "4/32nds", "430 seconds" → "4/32"), halves a decimal
    ("two and a half" → "2.5"), and a unit right after a number its symbol ("3 millimeters", "3 mil", "3mm" →
    "3", "mm"). ``units`` are the plain words of each unit and its symbol.
    """
    digits = alpha2digit(re.sub(r"(?<=[^\W\d_])[-–](?=[^\W\d_])", " ", text), "en", threshold=0.0)
    tokens = list(normalise_phrase(digits))
    symbols = units or {}
    longest = max((len(said) for said in symbols), default=0)
    found: list[str] = []
    at = 0
    while at < len(tokens):
        token, after = tokens[at], tokens[at + 1 : at + 4]
        joined = _WITH_UNIT.match(token)
        if joined and (joined.group(2),) in symbols:
            found += [joined.group(1), symbols[joined.group(2),]]
            at += 1
            continue
        number, at = _number(token, after), at + 1
        found.append(number[0])
        at += number[1]
        if not number[2]:
            continue
        for length in range(min(longest, len(tokens) - at), 0, -1):
            symbol = symbols.get(tuple(tokens[at : at + length]))
            if symbol is not None:
                found.append(symbol)
                at += length
                break
    return tuple(found)


def _number(token: str, after: Sequence[str]) -> tuple[str, int, bool]:
    """A token in its one form, how many tokens after it belong to it, and whether it is a number."""
    following = [*after, "", "", ""]
    if token.endswith("/32"):
        return token, int(following[0] in _SECONDS), False
    together = _RUN_TOGETHER.match(token)
    if together and following[0] in _SECONDS:
        return f"{together.group(1)}/32", 1, False
    if not _NUMBER.match(token):
        return token, 0, False
    if following[0] == "30" and following[1] in _SECONDS:
        return f"{token}/32", 2, False
    if following[0] in ("32nd", "32nds"):
        return f"{token}/32", 1, False
    if following[:3] == ["and", "a", "half"] and "." not in token:
        return f"{token}.5", 3, True
    if "/" in following[0] and "." not in token and re.fullmatch(r"[13]/[24]", following[0]):
        return f"{float(int(token) + Fraction(following[0])):g}", 1, True
    return token, 0, True


# -- terms


def terms_of(text: str, matcher: TermMatcher) -> list[Term]:
    """The trade terms of a text in order: components, places, conditions, each by what it can mean.

    Where terms overlap, the longest counts: "inner" in "inner tie rod" is no place of its own.
    """
    words = normalise_phrase(text)
    matches = [m for m in matcher.match(words) if m.kind in _TERM_KINDS]
    spans = longest_first([(m.first, m.last) for m in matches], length=len(words))
    at: dict[tuple[int, int], set[tuple[str, str, str]]] = {span: set() for span in spans}
    for match in matches:
        if (match.first, match.last) in at:
            at[match.first, match.last].add((match.kind, match.id, match.detail))
    return [frozenset(at[span]) for span in spans]


def missed_terms(wanted: Sequence[Term], got: Sequence[Term]) -> int:
    """How many wanted terms are not in ``got`` in the same order (all but the longest common subsequence)."""
    row = [0] * (len(got) + 1)
    for term in wanted:
        before, row = row, [0]
        for at, other in enumerate(got, start=1):
            row.append(before[at - 1] + 1 if term == other else max(before[at], row[at - 1]))
    return len(wanted) - row[-1]
