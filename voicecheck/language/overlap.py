"""Which of several overlapping marks stands: the longest says most."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.reading import Mark

# At equal length a part beats a verb ("brake" in "brake pads" is no action), and a name beats a cue.
_RANK = {"component": 0, "quantity": 1, "condition": 2, "measure": 3, "action": 4, "place": 5, "cue": 6}


def settle(marks: Sequence[Mark], *, size: int) -> list[Mark]:
    """Drop marks that a longer one overlaps; marks over exactly the same tokens are all kept.

    ``size`` is the number of tokens. Grammar marks never compete.
    """
    owner: list[tuple[int, int] | None] = [None] * size
    urging: set[tuple[int, int] | None] = set()  # "must be replaced" urges and names the action in it
    kept: list[Mark] = []
    free: list[Mark] = []
    for mark in sorted(marks, key=lambda m: (m.first - m.last, _RANK.get(m.kind, 9), m.first)):
        if mark.kind == "grammar":
            free.append(mark)
            continue
        span = (mark.first, mark.last)
        holders = {owner[at] for at in range(mark.first, mark.last)} - {None}
        if holders - {span} and not (mark.kind == "action" and holders - {span} <= urging):
            continue
        if mark.kind == "cue" and mark.detail in ("urgency", "advice"):
            urging.add(span)
        for at in range(mark.first, mark.last):
            owner[at] = span
        kept.append(mark)
    return sorted([*kept, *free], key=lambda m: (m.first, m.last))
