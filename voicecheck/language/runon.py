"""Talk without rests: where the next statement begins, when neither a mark nor a silence tells it.

Some people talk on without a breath, and some recognisers write no punctuation. A long stretch without any
rest is broken before a part (with its article and place) that begins a statement of its own, once the
statement before it has said something.
"""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.reading import Mark, Token

_LONG = 24  # tokens without a rest that make a stretch run on
_REST_S = 0.3  # a silence that counts as a rest
_SAYING = ("condition", "action", "quantity")
_SAYING_CUES = ("ok", "advice", "not_checked", "no_action", "urgency")
_BEFORE_PART = ("determiner", "article")
_OPENERS = ("filler", "chatter", "opener")
_SUBJECTS = ("pronoun", "plural_pronoun")
_ASIDES = ("reported", "not_checked", "general")  # cues that open a statement by themselves
_HOLDS = ("preposition", "target", "source", "negation", "hedge", "because", "time", "existential")
_ORDERS = ("advice", "no_action", "not_checked", "quantity")
_VERBS = ("copula", "singular_copula")


def with_breaks(tokens: Sequence[Token], marks: Sequence[Mark]) -> list[Token] | None:
    """The tokens with stops where statements end in stretches without rests; ``None`` for no such place."""
    stretches = _stretches(tokens)
    if not stretches:
        return None
    view = _View(tokens, marks)
    stops = {at for first, last in stretches for at in view.breaks(first, last)}
    if not stops:
        return None
    return [t.model_copy(update={"stop": True}) if at + 1 in stops else t for at, t in enumerate(tokens)]


def _stretches(tokens: Sequence[Token]) -> list[tuple[int, int]]:
    """Token ranges that are long and have no rest inside."""
    found = []
    first = 0
    for at, token in enumerate(tokens, start=1):
        if token.stop or token.comma or token.pause_s > _REST_S or at == len(tokens):
            if at - first > _LONG:
                found.append((first, at))
            first = at
    return found


class _View:
    """Marks by their first and last token."""

    def __init__(self, tokens: Sequence[Token], marks: Sequence[Mark]) -> None:
        self._tokens = tokens
        self._starting: dict[int, list[Mark]] = {}
        self._ending: dict[int, list[Mark]] = {}
        for mark in marks:
            self._starting.setdefault(mark.first, []).append(mark)
            self._ending.setdefault(mark.last, []).append(mark)

    def breaks(self, first: int, last: int) -> list[int]:
        """The tokens inside ``first:last`` before which a statement ends."""
        found: list[int] = []
        told = False
        begun = first
        bare_end = 0  # where the part before ends, if nothing orders it: "pads and rotors are worn"
        at = first
        while at < last:
            here = self._starting.get(at, [])
            end = self._subject_end(here)
            if end:
                start = self._start_of(at, floor=begun, places=any(m.kind == "component" for m in here))
                listed = bare_end in {m.first for m in self._ending.get(start, []) if m.detail == "list"}
                if told and start > begun and not listed and self._begins(start, at, end):
                    found.append(start)
                    begun, told = start, False
                bare_end = 0 if self._is_held(start) else end
                at = end
                continue
            if told and at > begun and any(m.detail in _ASIDES for m in here) and not self._ending.get(at):
                found.append(at)
                begun, told = at, False
            told = told or any(_says(m) for m in here)
            at += 1
        return found

    def _subject_end(self, here: Sequence[Mark]) -> int:
        """Where the part ends that starts here, or a place that stands for one ("fronts", "right one's");
        0 where nothing is named.
        """
        parts = [m.last for m in here if m.kind == "component"]
        if parts:
            return max(parts)
        places = [m.last for m in here if m.kind == "place" and m.detail in ("position", "axle", "side")]
        for last in places:
            if any(m.detail == "pronoun_one" for m in self._starting.get(last, [])):
                return last + 1
            if self._has_verb(last):
                return last
        return 0

    def _begins(self, start: int, at: int, end: int) -> bool:
        """Whether the part at ``at:end``, with its own words from ``start``, begins a statement."""
        before = self._ending.get(start, [])
        if any(m.detail in _HOLDS for m in before):
            return False
        if self._has_verb(end):
            return True
        held = self._is_held(start) or any(m.detail == "list" for m in before)
        bare = start == at and any(m.kind == "condition" for m in before)
        return not held and not bare and self._tells(end)

    def _is_held(self, start: int) -> bool:
        """Whether an order stands right before: "replace [the belt]"."""
        return any(m.kind == "action" or m.detail in _ORDERS for m in self._ending.get(start, []))

    def _has_verb(self, end: int) -> bool:
        """ "belt's", "belt is"."""
        following = {m.detail for m in self._starting.get(end, [])}
        if following.isdisjoint(_SUBJECTS) and not following.isdisjoint(_VERBS):
            return True
        return self._tokens[end - 1].text.endswith("'s")

    def _start_of(self, at: int, *, floor: int, places: bool) -> int:
        """Back from a part over its places and articles, then over what opens a sentence, not before
        ``floor``.
        """
        for kinds in (_BEFORE_PART, _OPENERS):
            moved = True
            while moved and at > floor:
                moved = False
                marks = self._ending.get(at, [])
                details = {m.detail for m in marks}
                if not details.isdisjoint(_SUBJECTS) and "determiner" not in details:
                    break  # "flush it": not in "that strut's dry"
                for mark in marks:
                    opens = kinds is _OPENERS and self._is_judgement(mark)
                    where = places and mark.kind == "place" and kinds is _BEFORE_PART
                    idle = where or mark.detail in kinds
                    if idle and not opens and floor <= mark.first < at:
                        at, moved = mark.first, True
                        break
        return at

    def _is_judgement(self, mark: Mark) -> bool:
        """ "shocks are okay": the opener is what is said of the part before."""
        return any(m.detail in _VERBS for m in self._ending.get(mark.first, []))

    def _tells(self, at: int) -> bool:
        """Whether a place or a judgement follows the part: a statement of its own."""
        here = self._starting.get(at, [])
        after = [m.last for m in here if m.detail in ("article", "determiner")]
        near = [*here, *(m for last in after for m in self._starting.get(last, []))]
        return any(_says(m) or m.kind == "place" for m in near)


def _says(mark: Mark) -> bool:
    return mark.kind in _SAYING or (mark.kind == "cue" and mark.detail in _SAYING_CUES)
