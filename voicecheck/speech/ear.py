"""What the full ear does with the words of one window: echoes out, terms in by their sound, certainty.

Knows no engine: the sound is asked through a ``Scorer``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from voicecheck.lexicon import Lexicon, SimpleMatcher, normalise_phrase
from voicecheck.records import Word
from voicecheck.speech.certainty import Kind, calibrated, calibration
from voicecheck.speech.choices import (
    Hearing,
    Weighed,
    alternatives,
    better,
    choice,
    chosen_of,
    could_be_better,
    read_so,
)
from voicecheck.speech.choices import (
    features_of as choice_features,
)
from voicecheck.speech.evidence import Compared, compared
from voicecheck.speech.repair import (
    Acceptance,
    Asked,
    Seen,
    acceptance,
    chosen,
    dressed,
    features_of,
    least_for,
    read_as,
    silenced,
    support,
    with_text,
)
from voicecheck.speech.search import SoundIndex, groups_of
from voicecheck.speech.spelling import PLURAL_WHY, plurals
from voicecheck.speech.timeline import Stretch
from voicecheck.speech.topic import EchoLimits, Topic, TopicLimits, suspects

Scorer = Callable[[str, Stretch], float]
"""The log probability of a text for a stretch of the recording (inside one window)."""

AROUND = 5  # words before and after that are scored together with those in question
PER_PLACE = 8  # candidates that the sound is asked about for one stretch, likely by sight …
NEAREST = 2  # … and so many more that are the nearest in sound
ECHO_GAIN = -0.5  # a doubled hot word goes if the sound fits nearly as well without it
STRAY_GAIN = 1.0  # a hot word that stands alone goes only if the sound fits better without it
_ALL_FOR_IT = 100.0  # a gain beyond any: what could be read if the sound were all for it
ECHO_WHY = "written twice: the second is an echo of the words that were expected, not of the sound"
STRAY_WHY = "an echo of the words that were expected, not of the sound"


class LexiconTools:
    """What is made once from a lexicon: its matcher, topics and sounds. Making it takes about two seconds."""

    def __init__(self, lexicon: Lexicon, *, count_tokens: Callable[[str], int], hot_tokens: int) -> None:
        self.lexicon = lexicon
        self._sought = lexicon.sought()
        matcher = SimpleMatcher(self._sought)
        self._topic = Topic(
            self._sought, matcher=matcher, count_tokens=count_tokens, limits=TopicLimits(tokens=hot_tokens)
        )
        self.matcher = matcher
        self._index: SoundIndex | None = None

    @property
    def index(self) -> SoundIndex:
        """The phrases by their sound; made when first asked for."""
        if self._index is None:
            self._index = SoundIndex(self._sought, matcher=self.matcher)
        return self._index

    def hot_words(self, standing: Sequence[str], heard: Sequence[Word]) -> tuple[str, ...]:
        """The words to expect after what was ``heard``; see ``Topic.hot_words``."""
        recent = heard[-self._topic.limits.recent_words :]
        return self._topic.hot_words(
            standing, [token for word in recent for token in normalise_phrase(word.heard)]
        )

    def compared(self, words: Sequence[Word], first: int, last: int, text: str) -> Compared:
        """What the lexicon makes of words ``first:last``, and of ``text`` in their place."""
        return compared(words, first, last, text, matcher=self.matcher, is_strange=self.index.is_strange)

    def kinds(self, words: Sequence[Word]) -> list[Kind | None]:
        """What each word is to the calibration."""
        return [self._kind(word) for word in words]

    def _kind(self, word: Word) -> Kind | None:
        if word.why:
            return None  # a reading has the probability of its own
        parts = normalise_phrase(word.heard)
        if any(self.index.is_number(part) for part in parts):
            return "number"
        return "side" if any(part in self.index.sides for part in parts) else "word"

    def calibrated(self, words: Sequence[Word]) -> list[Word]:
        """The words with certainties that are shares of words heard rightly."""
        return calibrated(words, self.kinds(words), calibration())


def told_apart(
    words: Sequence[Word],
    hot_words: Sequence[str],
    score: Scorer | None = None,
    *,
    is_fixed: Callable[[str], bool] | None = None,
) -> list[Word]:
    """The words with echoes of hot words read as nothing.

    With ``score`` the sound decides about each suspect; without it only what is suspected most goes. A word
    that ``is_fixed`` (a number, a side, a negation) stays, also where it looks like an echo: "four, four" may
    be two readings.
    """
    result = list(words)
    suspected = suspects(words, hot_words, EchoLimits())
    if not suspected:
        return result
    for echo in suspected:
        tokens = [token for word in words[echo.first : echo.last] for token in normalise_phrase(word.heard)]
        if is_fixed is not None and any(is_fixed(token) for token in tokens):
            continue
        if score is not None:
            around = Around(words, echo.first, echo.last)
            left = " ".join(around.texts(""))
            if not left or score(left, around.stretch) - score(around.heard, around.stretch) < (
                ECHO_GAIN if echo.doubled else STRAY_GAIN
            ):
                continue
        for at in range(echo.first, echo.last):
            result[at] = silenced(words[at], ECHO_WHY if echo.doubled else STRAY_WHY)
    return result


class Around:
    """Words ``first:last`` with the few around them that the sound is asked about together with them."""

    def __init__(self, words: Sequence[Word], first: int, last: int) -> None:
        self._begin = max(0, first - AROUND)
        self._part = words[self._begin : last + AROUND]
        self._first, self._last = first - self._begin, last - self._begin
        self.stretch = Stretch(self._part[0].start or 0.0, self._part[-1].end or 0.0)
        self.heard = " ".join(word.heard for word in self._part)

    def texts(self, text: str, *, first: int | None = None, last: int | None = None) -> list[str]:
        """What was heard with ``text`` in the place of ``first:last`` (numbered as all words are)."""
        begin = self._first if first is None else first - self._begin
        end = self._last if last is None else last - self._begin
        if not text:
            return [word.heard for word in (*self._part[:begin], *self._part[end:])]
        return with_text(self._part, begin, end, text)


def mended(
    words: Sequence[Word],
    hot_words: Sequence[str],
    tools: LexiconTools,
    score: Scorer,
    *,
    hearings: Sequence[Hearing] = (),
    logprob: float = 0.0,
) -> list[Word]:
    """The words of one window with echoes read as nothing and terms read where the sound speaks for them.

    ``hearings`` is what else may have been heard, ``logprob`` the mean log probability of the words: below
    the bounds that were learned nothing is read otherwise than heard.
    """
    clean = told_apart(words, hot_words, score, is_fixed=tools.index.is_fixed)
    for number, text in plurals(clean, tools.index.plural_places):
        word = clean[number]
        why = PLURAL_WHY.format(heard=word.heard, read=text)
        clean[number] = word.model_copy(update={"read": dressed([word], 0, 1, text), "why": why})
    at = [number for number, word in enumerate(clean) if word.read]
    spoken = [clean[number] for number in at]
    taken: set[int] = set()
    if logprob < choice().least_logprob:
        hearings = ()
    for weighed in chosen_between(spoken, hearings, tools, score):
        span = range(weighed.alternative.first, weighed.alternative.last)
        taken.update(span)
        for number, word in zip(span, read_so(spoken, weighed), strict=True):
            clean[at[number]] = word
    if logprob < acceptance().least_logprob:
        return clean
    for asked in considered(spoken, tools, score):
        span = range(asked.candidate.first, asked.candidate.last)
        if taken.isdisjoint(span):
            for number, word in zip(span, read_as(spoken, asked), strict=True):
                clean[at[number]] = word
    return clean


def chosen_between(
    words: Sequence[Word], hearings: Sequence[Hearing], tools: LexiconTools, score: Scorer
) -> list[Weighed]:
    """Where another hearing is better than the words, by the sound and the lexicon; without overlaps."""
    learned = choice()
    weighed = []
    for one in alternatives(words, hearings, is_fixed=tools.index.is_fixed, is_number=tools.index.is_number):
        lexicon = tools.compared(words, one.first, one.last, one.text)
        if not could_be_better(choice_features(words, one, 0.0, lexicon), learned):
            continue
        around = Around(words, one.first, one.last)
        gain = score(" ".join(around.texts(one.text)), around.stretch) - score(around.heard, around.stretch)
        weighed.append(Weighed(one, gain, better(choice_features(words, one, gain, lexicon), learned)))
    return chosen_of(weighed, least=learned.least)


def considered(words: Sequence[Word], tools: LexiconTools, score: Scorer) -> list[Asked]:
    """The candidates that the sound speaks for; they do not overlap."""
    learned = acceptance()
    likely = [
        seen
        for seen in seen_by(words, tools)
        if support(seen.features, _ALL_FOR_IT, learned) >= least_for(seen.candidate, learned)
    ]
    taken: list[Asked] = []
    for group in seen_in_groups(likely, learned):
        taken += chosen(asked_about(group, words, score), learned)
    return taken


def seen_by(words: Sequence[Word], tools: LexiconTools) -> list[Seen]:
    """The candidates that sound like what was heard, with what is known of them by sight."""
    return [
        Seen(one, features_of(one, tools.compared(words, one.first, one.last, one.text)))
        for one in tools.index.find(words)
    ]


def seen_in_groups(seen: Iterable[Seen], learned: Acceptance) -> list[list[Seen]]:
    """Those that overlap together, of each group the likeliest few by sight and the nearest by sound: a term
    has longer relatives ("parking brake shoes") that would take all places."""
    by_candidate = {one.candidate: one for one in seen}
    groups = []
    for group in groups_of(by_candidate):
        ranked = sorted(
            (by_candidate[candidate] for candidate in group),
            key=lambda one: (-support(one.features, 0.0, learned), one.candidate.text),
        )
        nearest = sorted(ranked[PER_PLACE:], key=lambda one: one.candidate.cost)[:NEAREST]
        groups.append([*ranked[:PER_PLACE], *nearest])
    return groups


def asked_about(group: Sequence[Seen], words: Sequence[Word], score: Scorer) -> list[Asked]:
    """By how much the sound speaks for each candidate over what was heard."""
    learned = acceptance()
    first = min(one.candidate.first for one in group)
    around = Around(words, first, max(one.candidate.last for one in group))
    heard = score(around.heard, around.stretch)
    asked = []
    for candidate, features in group:
        texts = around.texts(candidate.text, first=candidate.first, last=candidate.last)
        gain = score(" ".join(texts), around.stretch) - heard
        asked.append(Asked(candidate, gain, support(features, gain, learned)))
    return asked
