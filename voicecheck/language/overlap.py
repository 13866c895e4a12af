"""Which of several overlapping marks stands: the longest says most."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from voicecheck.records.reading import Mark

# At equal length a part beats a verb ("brake" in "brake pads" is no action), and a name beats a cue.
_RANK = {"component": 0, "quantity": 1, "condition": 2, "measure": 3, "action": 4, "place": 5, "cue": 6}


_WHERE = ("position", "side", "axle")
_BEFORE_SAYING = ("copula", "indefinite")  # what leads to a word that says something of a part


class _Cover:
    """For each token the marks that lie over it, so that no question looks at more than its own words."""

    def __init__(self, marks: Sequence[Mark], *, size: int) -> None:
        self._over: list[list[Mark]] = [[] for _ in range(size)]
        for mark in marks:
            for at in range(mark.first, mark.last):
                self._over[at].append(mark)

    def sharing(self, mark: Mark) -> list[Mark]:
        """The marks that share a token with ``mark``."""
        return [other for at in range(mark.first, mark.last) for other in self._over[at]]

    def holds(self, mark: Mark) -> bool:
        """Whether one of the marks covers all of ``mark``."""
        return any(other.first <= mark.first and mark.last <= other.last for other in self._over[mark.first])

    def opens_with(self, mark: Mark) -> bool:
        """Whether one of the marks that cover ``mark`` begins with it, or with one word before it."""
        return any(
            mark.first - other.first <= 1 and mark.last <= other.last for other in self._over[mark.first]
        )

    def said_behind(self, mark: Mark, ends: Collection[int]) -> bool:
        """Whether one of the marks that cover ``mark`` begins where ``ends`` says that a word ended: "pads
        are [oil soaked]", "has a [plug in the shoulder]" say something of another part.
        """
        return any(
            (other.first in ends or mark.first in ends) and mark.last < other.last
            for other in self._over[mark.first]
            if other.first <= mark.first
        )


def _behind_copula(marks: Sequence[Mark]) -> list[Mark]:
    """ "[is blown]" for a lamp, "is [blown]" for a strut: where a condition is known with its copula and
    another without, the other lies over the same words, so that the part decides between them.
    """
    copulas = {(m.first, m.last) for m in marks if m.kind == "grammar" and m.detail == "copula"}
    conditions = [m for m in marks if m.kind == "condition"]
    by_last: dict[int, list[Mark]] = {}
    for mark in conditions:
        by_last.setdefault(mark.last, []).append(mark)
    return [
        short.model_copy(update={"first": long.first})
        for long in conditions
        for short in by_last[long.last]
        if (long.first, short.first) in copulas and short.id != long.id
    ]


def _beside_names(mark: Mark, names: _Cover) -> Mark | None:
    """What is left of a place or condition that shares a word with a name.

    "offside [rear wheel cylinder]", "[headlight bulb]'s out": what stands beside the name is kept as the
    mark, with its whole meaning; a place inside a name is kept as it is. ``None`` for a condition inside a
    name, and for a mark that shares no word with any.
    """
    for name in names.sharing(mark):
        if name.first <= mark.first and mark.last <= name.last:
            return mark if mark.kind == "place" else None
        if mark.first < name.first < mark.last <= name.last:
            return mark.model_copy(update={"last": name.first})
        if name.first <= mark.first < name.last < mark.last:
            return mark.model_copy(update={"first": name.last})
    return None


def _longest(names: Sequence[Mark], *, size: int) -> list[Mark]:
    """The names that will stand among themselves: longest first, none overlapping a kept one."""
    kept: list[Mark] = []
    taken = [False] * size
    for name in sorted(names, key=lambda m: (m.first - m.last, m.first)):
        if not any(taken[name.first : name.last]):
            taken[name.first : name.last] = [True] * (name.last - name.first)
            kept.append(name)
    return kept


def settle(marks: Sequence[Mark], *, size: int, general: Collection[str] = ()) -> list[Mark]:
    """Drop marks that a longer one overlaps; marks over exactly the same tokens are all kept.

    ``size`` is the number of tokens, ``general`` are the components of which there are kinds ("line").
    Grammar marks never compete.
    """
    owner: list[tuple[int, int] | None] = [None] * size
    advising = {mark.first for mark in marks if mark.kind == "cue" and mark.detail == "advice"}
    urging: set[tuple[int, int] | None] = set()  # "must be replaced" urges and names the action in it
    names = _Cover(_longest([mark for mark in marks if mark.kind == "component"], size=size), size=size)
    marks = [*marks, *_behind_copula(marks)]
    longer = _Cover([mark for mark in marks if mark.kind == "condition"], size=size)
    says = {m.last for m in marks if m.kind == "grammar" and m.detail in _BEFORE_SAYING}
    kept: list[Mark] = []
    free: list[Mark] = []
    for mark in sorted(marks, key=lambda m: (m.first - m.last, _RANK.get(m.kind, 9), m.first)):
        hint = mark.kind == "cue" and mark.detail == "target"  # "leaking onto" leaves the leak a leak
        if hint or mark.kind in ("grammar", "measure"):  # what is only measured takes nothing from a name
            free.append(mark)
            continue
        span = (mark.first, mark.last)
        if (mark.kind == "place" and mark.detail in _WHERE) or mark.kind == "condition":
            beside = _beside_names(mark, names)
            if beside is not None:
                free.append(beside)
                continue
        named = mark.kind == "component" or (mark.kind == "place" and mark.detail == "position")
        if named and longer.holds(mark):
            said = mark.kind == "component" and longer.said_behind(mark, says)
            if mark.kind == "place" or (not said and (mark.id not in general or longer.opens_with(mark))):
                free.append(mark)  # "toe's out" names its part, "dry all round" says where
            continue  # "below the low line" names no line
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
