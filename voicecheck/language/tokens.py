"""Transcript words to normalised tokens that remember their word, punctuation and pause."""

from __future__ import annotations

import re

from voicecheck.lexicon.normal import normalise_token
from voicecheck.records.reading import Token
from voicecheck.records.transcript import Transcript

_STOP = re.compile(r"[.?!;]+[\"'”’)]*$")
_COMMA = re.compile(r"[,:–—-]+[\"'”’)]*$")
_DASH_WORD = re.compile(r"^[–—-]+$")


def tokenise(transcript: Transcript) -> tuple[Token, ...]:
    """One or more tokens per word; words of punctuation only lend their mark to the token before them."""
    tokens: list[Token] = []
    words = transcript.words
    for index, word in enumerate(words):
        parts = normalise_token(word.read)
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
    return tuple(tokens)
