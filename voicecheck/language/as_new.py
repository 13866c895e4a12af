"""Where "new" tells how a part is and orders none: "the discs are new", "new tires, put on last week"."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.reading import Mark, Token

_NEW = ("new",)
_BEHIND = 10  # tokens between "new tires" and when they were fitted


def with_new_as_state(
    tokens: Sequence[Token], marks: Sequence[Mark], *, condition: str, ends: Sequence[str]
) -> list[Mark]:
    """The marks with such words as the ``condition`` of a new part.

    ``ends``: words that may stand behind it and end the statement ("as well").
    """
    verbs = {m.last for m in marks if m.detail == "copula" and tokens[m.last - 1].text != "be"}
    advice = [m for m in marks if m.kind == "cue" and m.detail in ("advice", "urgency")]
    return [
        m.model_copy(update={"kind": "condition", "id": condition})
        if m.kind == "action"
        and tuple(t.text for t in tokens[m.first : m.last]) == _NEW
        and not any(a.first <= m.first and m.first - a.last <= 1 for a in advice if a.last > m.first - 5)
        and (_is_said_of_part(tokens, m, verbs, ends) or _was_fitted(tokens, m, marks, advice))
        else m
        for m in marks
    ]


def _is_said_of_part(tokens: Sequence[Token], mark: Mark, verbs: set[int], ends: Sequence[str]) -> bool:
    """ "they're new.", "is new as well,": behind a verb of being, and nothing follows that would be new."""
    before = tokens[mark.first - 1] if mark.first else None
    if before is None or before.stop or before.comma:
        return False
    if mark.first not in verbs and not before.text.endswith(("'s", "'re")):
        return False
    last = tokens[mark.last - 1]
    rest = " ".join(t.text for t in tokens[mark.last : mark.last + 3])
    return last.comma or last.stop or not rest or any(f"{rest} ".startswith(f"{end} ") for end in ends)


def _was_fitted(tokens: Sequence[Token], mark: Mark, marks: Sequence[Mark], advice: Sequence[Mark]) -> bool:
    """ "New tires, put on last week": it opens the sentence, and when it was done follows; no fault between
    and no advice.
    """
    if mark.first and not tokens[mark.first - 1].stop:
        return False
    end = mark.last
    while end < len(tokens) and not tokens[end - 1].stop:
        end += 1
    done = [m for m in marks if m.detail == "done_before" and m.id == "after" and mark.last <= m.first < end]
    inside = [m for m in marks if mark.last <= m.first < end]
    work = [m for m in inside if m.kind == "action" and not tokens[m.first].text.endswith("ed")]
    told = any(m.last < done[0].first for m in work if done)
    told = told or any(mark.last <= a.first < end for a in advice)
    faulty = any(m.kind == "condition" and m.first < done[0].first for m in inside) if done else True
    return bool(done) and not told and not faulty and done[0].first - mark.last <= _BEHIND
