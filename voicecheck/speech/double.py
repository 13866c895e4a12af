"""A recogniser that hears what it was told to: for tests and for trying later stages without weights."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.lexicon import Lexicon
from voicecheck.recording import Sound
from voicecheck.records import Transcript, Word
from voicecheck.speech.recogniser import Progress


class ScriptedRecogniser:
    """Gives the same words for every sound, and remembers what it was asked.

    ``words`` are ``Word``s, or one text whose words are laid out evenly over the sound with full certainty.
    """

    def __init__(self, words: str | Sequence[Word], *, note: str = "") -> None:
        self._words = words if isinstance(words, str) else tuple(words)
        self._note = note
        self.asked: list[tuple[str, tuple[str, ...]]] = []  # name of the sound, hot words

    def hear(
        self,
        sound: Sound,
        *,
        hot_words: Sequence[str] = (),
        lexicon: Lexicon | None = None,
        progress: Progress | None = None,
    ) -> Transcript:
        """The scripted words; see ``Recogniser.hear``."""
        del lexicon  # what was scripted is read as it is
        self.asked.append((sound.name, tuple(hot_words)))
        words = _laid_out(self._words, sound.seconds) if isinstance(self._words, str) else self._words
        if progress is not None:
            progress(1.0)
        return Transcript(
            text=" ".join(word.read for word in words),
            words=words,
            seconds=round(sound.seconds, 3),
            note=self._note,
        )


def _laid_out(text: str, seconds: float) -> tuple[Word, ...]:
    spoken = text.split()
    step = seconds / max(1, len(spoken))
    return tuple(
        Word(heard=word, read=word, start=round(step * n, 3), end=round(step * (n + 1), 3))
        for n, word in enumerate(spoken)
    )
