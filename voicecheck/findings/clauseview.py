"""A clause's tokens and marks by position, and the reach of a part's own words in it."""

from __future__ import annotations

from collections.abc import Container, Sequence

from voicecheck.records.reading import Clause, Mark, Token

_LEADING_CUES = ("negation", "hedge", "advice", "no_action", "quantity", "filler", "not_checked")
_TIES = ("preposition", "source", "target")
_TIES_TOLD = ("target", "source", "preposition")  # the most telling first
_ARTICLES = ("determiner", "existential")
_JOINTS = ("conjunction", "list", "copula", *_TIES)
_SKIPPED_WORDS = 3  # adverbs allowed between a copula and its condition ("is pretty badly torn")
_REST_S = 0.6  # a silence that separates like a comma


class ClauseView:
    """One clause's tokens and marks by position."""

    def __init__(self, tokens: Sequence[Token], clause: Clause) -> None:
        self.tokens = tokens
        self.clause = clause
        self._prepositions = {m.first for m in clause.marks if m.detail == "preposition"}
        self._ending: dict[int, list[Mark]] = {}
        for mark in clause.marks:
            self._ending.setdefault(mark.last, []).append(mark)

    def between(self, first: int, last: int) -> list[Mark]:
        """Marks that lie inside tokens ``first:last``."""
        return [mark for mark in self.clause.marks if mark.first >= first and mark.last <= last]

    def has_stop(self, first: int, last: int) -> bool:
        """Whether a comma, a stop or a long pause lies in ``first:last`` (before token ``last``)."""
        return any(self._stops(at) for at in range(max(first, 0), last))

    def _stops(self, at: int) -> bool:
        token = self.tokens[at]
        return token.comma or token.stop or token.pause_s > _REST_S

    def ends_at(self, last: int) -> bool:
        """Whether nothing more is said in the clause, or a rest comes, at token ``last``."""
        return last >= self.clause.last or self._stops(last - 1)

    def adjacent(self, before: Mark, here: Mark) -> bool:
        """Nothing stands between the two, not even a comma."""
        return before.last == here.first and not self._stops(before.last - 1)

    def _grammar_ending(self, at: int) -> dict[str, Mark]:
        found: dict[str, Mark] = {}
        for mark in self._ending.get(at, ()):
            if mark.kind == "grammar":
                known = found.get(mark.detail)
                if known is None or mark.first < known.first:
                    found[mark.detail] = mark
        return found

    def begins_freely(self, mark: Mark) -> bool:
        """Whether a part is named without an article: "there's oil", "some coolant"."""
        return "article" not in self._grammar_ending(mark.first)

    def is_likeness(self, mark: Mark) -> bool:
        """Whether a part is only what something is compared with ("as a")."""
        return "likeness" in self._grammar_ending(mark.first)

    def names_cause(self, at: int) -> bool:
        """Whether the words before token ``at`` say that what follows is what is wrong ("it's the ...")."""
        return "names_cause" in self._grammar_ending(at)

    def has_own_verb(self, mark: Mark) -> bool:
        """Whether a singular verb follows right after ("lower arm, [bushing] is torn")."""
        return any(m.detail == "singular_copula" and m.first == mark.last for m in self.clause.marks) or (
            self.tokens[mark.last - 1].text.endswith("'s")
        )

    def has_list_word(self, first: int, last: int) -> bool:
        """Whether "and", "or" or the like stands in ``first:last``."""
        return any("list" in self._grammar_ending(at) for at in range(first + 1, last + 1))

    def is_list(self, first: int, last: int) -> bool:
        """Only list words, commas or nothing in ``first:last``."""
        at = last
        while at > first:
            joining = self._grammar_ending(at).get("list")
            if joining is None:
                return False
            at = joining.first
        return last > first or self._stops(first - 1)

    def tie_before(self, mark: Mark, *, floor: int) -> str:
        """The tie (target, source, preposition) right before a part, past its articles and places; "" for
        none.
        """
        at = mark.first
        while at > floor:
            if any(m.kind == "action" for m in self._ending.get(at, ())):
                return ""  # "top off the coolant": no tie, but what is done
            ending = self._grammar_ending(at)
            for kind in _TIES_TOLD:
                if kind in ending and (ending[kind].first >= floor or kind == "target"):
                    return kind
            step = [m for m in self._ending.get(at, ()) if m.kind == "place" or m.detail == "determiner"]
            if not step:
                return ""
            at = min(m.first for m in step)
            if at >= floor and any(m.kind == "place" for m in step) and at in self._prepositions:
                return "preposition"  # "the boot on the right tie rod end": the place phrase holds the tie
        return ""

    def _after_copula(self, mark: Mark) -> bool:
        """Whether a condition is said of what came before it ("is torn") rather than of what follows ("torn
        boot").
        """
        at = mark.first
        if "determiner" in self._grammar_ending(at):
            return False
        for _ in range(_SKIPPED_WORDS + 1):
            ending = self._grammar_ending(at)
            if "existential" in ending:
                return False
            if "copula" in ending:
                return True
            if at - 1 < self.clause.first or self._stops(at - 1):
                return False
            if self.tokens[at - 1].text.endswith("'s"):
                return True
            if any(m.kind in ("component", "place", "condition", "action") for m in self._ending.get(at, ())):
                return True  # "caliper leaking", "left one torn"
            if "conjunction" in ending:
                return False
            at -= 1
        return False

    def _is_counted(self, condition: Mark) -> bool:
        """Whether a condition's word only names what a number before it counts."""
        return any(
            m.kind == "quantity" and m.unit is not None and 0 <= condition.first - m.last <= 1
            for m in self.clause.marks
        )

    def lead_start(self, mark: Mark, *, floor: int) -> int:
        """Where a part's own words begin, not before token ``floor``: back over what can stand before a
        part.
        """
        at = mark.first
        tied = False
        unknown = 0
        while at > floor and not self._stops(at - 1):
            marks = [m for m in self._ending.get(at, ()) if m.first >= floor]
            grammar = {m.detail: m for m in marks if m.kind == "grammar"}
            solid = [m for m in marks if m.kind != "grammar"]
            if "time" in grammar or any(self._ends_lead(m, grammar, tied=tied, floor=floor) for m in solid):
                break
            steps = [m.first for m in solid if self._leads(m, mark, tied=tied, floor=floor)]
            tie = next((grammar[kind] for kind in _TIES if kind in grammar and not tied), None)
            article = next((grammar[kind] for kind in _ARTICLES if kind in grammar), None)
            if steps:
                at, unknown = steps[-1], 0
            elif tie is not None:
                at, unknown, tied = tie.first, 0, True
            elif article is not None:
                at, unknown = article.first, 0
            elif solid or unknown or not grammar.keys().isdisjoint(_JOINTS):
                break
            else:
                at, unknown = at - 1, 1
        return at

    def _ends_lead(self, mark: Mark, grammar: Container[str], *, tied: bool, floor: int) -> bool:
        """Whether a condition before a part is said of the part before it, or the part is an exception."""
        if mark.kind == "cue" and mark.detail == "except":
            return True  # "the bulbs work apart from the fog light"
        if mark.kind != "condition":
            return False
        if "target" in grammar or self._is_counted(mark):
            return True  # "grease all over the arm", "sixty thou of play on the gauge"
        return tied and floor > self.clause.first and self._after_copula(mark)

    def _leads(self, mark: Mark, part: Mark, *, tied: bool, floor: int) -> bool:
        """Whether a mark before a part belongs to it."""
        if mark.kind in ("condition", "action"):
            return floor == self.clause.first or not self._after_copula(mark)
        if mark.kind == "cue" and mark.detail == "ok":
            ties = (mark.last - 1) in self._prepositions  # "nothing wrong with the struts"
            return tied or mark.last == part.first or ties
        if mark.kind == "quantity":
            return mark.unit is None or tied  # "six millimeters on the pads"
        return mark.kind in ("place", "measure") or (mark.kind == "cue" and mark.detail in _LEADING_CUES)
