"""What the technician said, tidied for print: hesitations go, nothing else does."""

from __future__ import annotations

from voicecheck.records.papers import PlainWords

_STOPS = ".?!"
_MARKS = ".,;:?!…-–—"


def _bare(token: str) -> str:
    return token.strip(_MARKS).casefold()


def tidied(text: str, words: PlainWords) -> str:
    """``text`` without fillers ("um"), openers at its beginning ("okay so"), words said twice in a row, and
    what would lead on at its end ("and").

    Which words these are is data (``shared/plain_words.yaml``). A full stop that hangs on a filler stays, on
    the word before. Text of nothing but fillers comes back as it is.
    """
    tokens = text.split()
    for opener in sorted(words.openers, key=lambda o: -len(o.split())):
        parts = opener.split()
        if [_bare(t) for t in tokens[: len(parts)]] == parts:
            tokens = tokens[len(parts) :] or tokens
            break
    kept: list[str] = []
    for token in tokens:
        bare = _bare(token)
        if bare in words.fillers:
            if kept and token[-1] in _STOPS and kept[-1][-1] not in _STOPS:
                kept[-1] = kept[-1].rstrip(_MARKS) + token[-1]
            continue
        if kept and bare in words.stutters and bare == _bare(kept[-1]) and kept[-1][-1] not in _STOPS:
            kept.pop()
        kept.append(token)
    while len(kept) > 1 and _bare(kept[-1]) in words.closers:
        kept.pop()
    return " ".join(kept).rstrip(",;:-–— ") or text
