"""What the full ear does with the words of one window: echoes out, terms in by their sound, certainty corrected.

Knows no engine: the sound is asked through a ``Scorer``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from voicecheck.lexicon import Lexicon, SimpleMatcher, normalise_phrase
from voicecheck.records import Word
from voicecheck.speech.certainty import Kind, calibrated, calibration
from voicecheck.speech.repair import acceptance, chosen, read_as, silenced, with_text
from voicecheck.speech.search import Candidate, SoundIndex, best_apart
from voicecheck.speech.topic import EchoLimits, Topic, TopicLimits, suspects

Scorer = Callable[[str], float]
"""The log probability of a text for the sound of one window."""

PER_PLACE = 3  # candidates that the sound is asked about for one stretch
ECHO_GAIN = -0.5  # a doubled hot word goes if the sound fits nearly as well without it
STRAY_GAIN = 1.0  # a hot word that stands alone goes only if the sound fits better without it
ECHO_WHY = "written twice: the second is an echo of the words that were expected, not of the sound"
STRAY_WHY = "an echo of the words that were expected, not of the sound"


class LexiconTools:
    """What is made once from a lexicon: its matcher, topics and sounds. Making it takes about two seconds."""

    def __init__(self, lexicon: Lexicon, *, count_tokens: Callable[[str], int], hot_tokens: int) -> None:
        self.lexicon = lexicon
        matcher = SimpleMatcher(lexicon)
        self._topic = Topic(
            lexicon, matcher=matcher, count_tokens=count_tokens, limits=TopicLimits(tokens=hot_tokens)
        )
        self._matcher = matcher
        self._index: SoundIndex | None = None

    @property
    def index(self) -> SoundIndex:
        """The phrases by their sound; made when first asked for."""
        if self._index is None:
            self._index = SoundIndex(self.lexicon, matcher=self._matcher)
        return self._index

    def hot_words(self, standing: Sequence[str], heard: Sequence[Word]) -> tuple[str, ...]:
        """The words to expect after what was ``heard``; see ``Topic.hot_words``."""
        recent = heard[-self._topic.limits.recent_words :]
        return self._topic.hot_words(
            standing, [token for word in recent for token in normalise_phrase(word.heard)]
        )

    def kinds(self, words: Sequence[Word]) -> list[Kind]:
        """What each word is to the calibration."""
        return [self._kind(word) for word in words]

    def _kind(self, word: Word) -> Kind:
        if word.why:
            return "repair"
        parts = normalise_phrase(word.heard)
        if any(self.index.is_number(part) for part in parts):
            return "number"
        return "side" if any(part in self.index.sides for part in parts) else "word"

    def calibrated(self, words: Sequence[Word]) -> list[Word]:
        """The words with certainties that are shares of words heard rightly."""
        return calibrated(words, self.kinds(words), calibration())


def told_apart(words: Sequence[Word], hot_words: Sequence[str], score: Scorer | None = None) -> list[Word]:
    """The words with echoes of hot words read as nothing.

    With ``score`` the sound decides about each suspect; without it only what is suspected most goes.
    """
    result = list(words)
    suspected = suspects(words, hot_words, EchoLimits())
    if not suspected:
        return result
    whole = score(" ".join(word.heard for word in words)) if score is not None else 0.0
    for echo in suspected:
        if score is not None:
            left = " ".join(word.heard for word in (*words[: echo.first], *words[echo.last :]))
            if not left or score(left) - whole < (ECHO_GAIN if echo.doubled else STRAY_GAIN):
                continue
        for at in range(echo.first, echo.last):
            result[at] = silenced(words[at], ECHO_WHY if echo.doubled else STRAY_WHY)
    return result


def mended(words: Sequence[Word], hot_words: Sequence[str], tools: LexiconTools, score: Scorer) -> list[Word]:
    """The words of one window with echoes read as nothing and terms read where the sound speaks for them."""
    clean = told_apart(words, hot_words, score)
    at = [number for number, word in enumerate(clean) if word.read]
    spoken = [clean[number] for number in at]
    for candidate, gain in considered(spoken, tools.index, score):
        read = read_as(spoken, candidate, gain)
        for number, word in zip(range(candidate.first, candidate.last), read, strict=True):
            clean[at[number]] = word
    return clean


def considered(words: Sequence[Word], index: SoundIndex, score: Scorer) -> list[tuple[Candidate, float]]:
    """The candidates that the sound speaks for, each with its gain; they do not overlap."""
    groups = best_apart(index.find(words), per_place=PER_PLACE)
    if not groups:
        return []
    learned = acceptance()
    whole = score(" ".join(word.heard for word in words))
    taken: list[tuple[Candidate, float]] = []
    for group in groups:
        gains = [score(" ".join(with_text(words, c.first, c.last, c.text))) - whole for c in group]
        taken += chosen(group, gains, learned)
    return taken
