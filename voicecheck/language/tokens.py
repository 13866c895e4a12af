"""Transcript words to normalised tokens that remember their word, punctuation and pause."""

from __future__ import annotations

import re
from collections.abc import Sequence

from voicecheck.language.quantities import is_number_word
from voicecheck.lexicon.normal import normalise_token
from voicecheck.records.reading import Token
from voicecheck.records.transcript import Transcript

_STOP = re.compile(r"[.?!;]+[\"'”’)]*$")
_COMMA = re.compile(r"[,:–—-]+[\"'”’)]*$")
_DASH_WORD = re.compile(r"^[–—-]+$")

_FEW_RESTS = 8  # with fewer marked silences the speaker's own rhythm is not known
_COMMA_REST_S = 0.27
_STOP_TO_COMMA = 1.2
_SHORTEST_REST_S = 0.32
_LONGEST_REST_S = 0.8
_UNMARKED = 1.3  # an unmarked silence must be longer to count: people also rest inside a sentence


def tokenise(transcript: Transcript) -> tuple[Token, ...]:
    """One or more tokens per word; words of punctuation only lend their mark to the token before them."""
    tokens: list[Token] = []
    words = transcript.words
    for index, word in enumerate(words):
        parts = _numbers_apart(normalise_token(word.read))
        stop = bool(_STOP.search(word.read))
        comma = bool(_COMMA.search(word.read)) or bool(_DASH_WORD.match(word.read))
        following = words[index + 1] if index + 1 < len(words) else None
        pause_s = 0.0
        if word.end is not None and following is not None and following.start is not None:
            pause_s = max(0.0, following.start - word.end)
        if not parts:
            if tokens and (stop or comma):
                tokens[-1] = tokens[-1].model_copy(
                    update={"stop": tokens[-1].stop or stop, "comma": tokens[-1].comma or comma}
                )
            continue
        for number, text in enumerate(parts, start=1):
            ends = number == len(parts)
            tokens.append(
                Token(
                    text=text,
                    word=index,
                    stop=stop and ends,
                    comma=comma and ends,
                    pause_s=pause_s if ends else 0.0,
                )
            )
    return tuple(_with_rests(tokens))


_IS = "'s"
_PRONOUN = "one"  # "that one's": no number


def _numbers_apart(parts: tuple[str, ...]) -> tuple[str, ...]:
    """ "thirty's all you get": the number, and the verb melted into it."""
    last = parts[-1] if parts else ""
    if not last.endswith(_IS):
        return parts
    stem = last.removesuffix(_IS)
    return (*parts[:-1], stem, "is") if stem != _PRONOUN and is_number_word(stem) else parts


def _with_rests(tokens: Sequence[Token]) -> list[Token]:
    """Commas with the silence of a full stop become stops; long unmarked silences become commas or stops.

    Recognisers write a comma where a hurried speaker ends a sentence, hot words make them do so throughout.
    How long a speaker rests is taken from the recording: a quarter of all marked silences are surely commas,
    a stop is clearly longer than those.
    """
    marked = sorted(token.pause_s for token in tokens if (token.comma or token.stop) and token.pause_s > 0)
    if not marked:
        return list(tokens)
    short = marked[len(marked) // 4] if len(marked) >= _FEW_RESTS else _COMMA_REST_S
    rest = min(_LONGEST_REST_S, max(_SHORTEST_REST_S, _STOP_TO_COMMA * short))
    result = []
    for token in tokens:
        if token.pause_s < rest or token.stop:
            result.append(token)
        elif token.comma or token.pause_s >= rest * _UNMARKED:
            result.append(token.model_copy(update={"stop": True}))
        else:
            result.append(token.model_copy(update={"comma": True}))
    return result
