"""Which of several overlapping marks stands: the longest says most."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.reading import Mark

# At equal length a part beats a verb ("brake" in "brake pads" is no action), and a name beats a cue.
_RANK = {"component": 0, "quantity": 1, "condition": 2, "measure": 3, "action": 4, "place": 5, "cue": 6}


_WHERE = ("position", "side", "axle")


def _beside_names(mark: Mark, names: Sequence[Mark]) -> Mark | None:
    """A place or condition that shares a word with a name ("offside [rear wheel cylinder]", "[headlight bulb]'s
    out"): what stands beside the name is kept as the mark, with its whole meaning; a place inside a name is kept
    as it is."""
    for name in names:
        if name.first <= mark.first and mark.last <= name.last:
            return mark if mark.kind == "place" else None
        if mark.first < name.first < mark.last <= name.last:
            return mark.model_copy(update={"last": name.first})
        if name.first <= mark.first < name.last < mark.last:
            return mark.model_copy(update={"first": name.last})
    return None


def _longest(names: Sequence[Mark]) -> list[Mark]:
    """The names that will stand among themselves: longest first, none overlapping a kept one."""
    kept: list[Mark] = []
    for name in sorted(names, key=lambda m: (m.first - m.last, m.first)):
        if not any(name.first < k.last and k.first < name.last for k in kept):
            kept.append(name)
    return kept


def settle(marks: Sequence[Mark], *, size: int) -> list[Mark]:
    """Drop marks that a longer one overlaps; marks over exactly the same tokens are all kept.

    ``size`` is the number of tokens. Grammar marks never compete.
    """
    owner: list[tuple[int, int] | None] = [None] * size
    advising = {mark.first for mark in marks if mark.kind == "cue" and mark.detail == "advice"}
    urging: set[tuple[int, int] | None] = set()  # "must be replaced" urges and names the action in it
    names = _longest([mark for mark in marks if mark.kind == "component"])
    longer = [mark for mark in marks if mark.kind == "condition"]  # "toe's out" names its part
    kept: list[Mark] = []
    free: list[Mark] = []
    for mark in sorted(marks, key=lambda m: (m.first - m.last, _RANK.get(m.kind, 9), m.first)):
        if mark.kind in ("grammar", "measure"):  # a hint of what is measured takes nothing from a name
            free.append(mark)
            continue
        span = (mark.first, mark.last)
        if (mark.kind == "place" and mark.detail in _WHERE) or mark.kind == "condition":
            beside = _beside_names(mark, names)
            if beside is not None:
                free.append(beside)
                continue
        if mark.kind == "component" and any(c.first <= mark.first and mark.last <= c.last for c in longer):
            free.append(mark)
            continue
        inside = any(c.first <= mark.first and mark.last <= c.last for c in longer)
        if mark.kind == "place" and mark.detail == "position" and inside:
            free.append(mark)  # "dry all round" says where, too
            continue
        holders = {owner[at] for at in range(mark.first, mark.last)} - {None}
        if holders - {span} and not (mark.kind == "action" and holders - {span} <= urging):
            continue
        if (mark.kind == "cue" and mark.detail in ("urgency", "advice")) or (
            mark.kind == "condition" and mark.first in advising
        ):
            urging.add(span)
        for at in range(mark.first, mark.last):
            owner[at] = span
        kept.append(mark)
    return sorted([*kept, *free], key=lambda m: (m.first, m.last))
