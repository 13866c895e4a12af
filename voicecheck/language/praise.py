"""Words that praise only as what is said of a part: "the sill's sound", not "a sound from the sill"."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from voicecheck.records.reading import Mark, Token

_ADVERBS = 3  # words between the verb and the praise ("is all nice and sound")


def praise_marks(tokens: Sequence[Token], marks: Sequence[Mark], words: Collection[str]) -> list[Mark]:
    """Marks of praise for ``words`` that end a phrase behind a verb of being or looking."""
    covering = [m for m in marks if m.kind != "grammar" and m.detail != "negation"]  # "is not sound"
    covered = {at for m in covering for at in range(m.first, m.last)}
    verbs = {m.last for m in marks if m.kind == "grammar" and m.detail in ("copula", "contrast")}
    joins = {m.first for m in marks if m.kind == "grammar" and m.detail == "conjunction"}
    found = []
    for at, token in enumerate(tokens):
        ends = token.comma or token.stop or at + 1 == len(tokens) or at + 1 in joins
        if token.text not in words or at in covered or not ends:
            continue
        for start in range(at, max(-1, at - _ADVERBS - 1), -1):
            said_of_part = start > 0 and tokens[start - 1].text.endswith(("'s", "'re"))
            if start in verbs or said_of_part:
                found.append(Mark(kind="cue", first=at, last=at + 1, id="", detail="ok"))
                break
            if start == 0 or tokens[start - 1].comma or tokens[start - 1].stop or start - 1 in covered:
                break
    return found
