"""How far "no", "not" and "might be" reach.

Speech gives no reliable sentence ends, so reach ends at the next statement: a new part that no preposition or
list word ties to what came before or that has a verb of its own, a cue that ends it ("but", "apart from"), a
stop, a pause, or seven words. Words that the lexicon does not know can use a denial up ("no drama there, the
pads are worn"): what follows their comma is a new statement, unless it is a list that "or" closes.
"""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.records.reading import Mark, Token

REACH = 7  # tokens past the last word that was reached
_LONGEST_LIST = 60  # tokens
_SHORT_DOUBT = 2  # words of a doubt that may as well be of what follows
_PAUSE_S = 0.7
_TURNED = {"condition", "action"}
_TURNED_CUES = {"ok", "urgency", "advice"}
_TIES = {"preposition", "source", "target", "list"}
_SUBJECTS = {"pronoun", "plural_pronoun"}
_SAYS_LITTLE = {"article", "determiner", "indefinite"}  # words that no denial is used up by
_IDLE_CUES = {"filler", "chatter"}
_ALTERNATIVE = "alternative"  # the value of list words that deny all they join: or, nor


def _is_turned(mark: Mark) -> bool:
    return mark.kind in _TURNED or (mark.kind == "cue" and mark.detail in _TURNED_CUES)


def _judges(mark: Mark) -> bool:
    return mark.kind == "condition" or mark.detail == "ok"


class _Line:
    """Tokens and marks of one clause, by position."""

    def __init__(self, tokens: Sequence[Token], marks: Sequence[Mark], first: int, last: int) -> None:
        self.tokens = tokens
        self.first, self.last = first, last
        self.marks = [mark for mark in marks if first <= mark.first and mark.last <= last]
        self.starts: dict[int, list[Mark]] = {}
        self.grammar_at: dict[int, set[str]] = {}
        self.ends_negation: set[int] = set()
        self._alternatives: set[int] = set()
        self._idle: set[int] = set()
        self._place_ends: dict[int, int] = {}  # end of a place, to its first token
        for mark in self.marks:
            if mark.kind == "grammar":
                for at in range(mark.first, mark.last):
                    self.grammar_at.setdefault(at, set()).add(mark.detail)
                if mark.detail == "list" and mark.id == _ALTERNATIVE:
                    self._alternatives.add(mark.first)
            elif mark.kind in ("component", "place") or _is_turned(mark):
                self.starts.setdefault(mark.first, []).append(mark)
                if mark.kind == "place":
                    self._place_ends[mark.last] = min(mark.first, self._place_ends.get(mark.last, mark.first))
            if mark.kind == "cue" and mark.detail in ("negation_end", "except", "clause", "correction"):
                self.ends_negation.add(mark.first)
            if mark.kind == "cue" and mark.detail in _IDLE_CUES:
                self._idle.update(range(mark.first, mark.last))

    def reached(self, start: int, *, reach: int) -> list[Mark]:
        """The marks that a cue ending before token ``start`` turns.

        A new statement ends the reach for judgements ("no drama there, the pads are worn"). Advice stays
        reached: work that was perhaps denied is not to be charged.
        """
        found: list[Mark] = []
        at, budget = start, reach
        tied = True  # whether a new part would still belong to the same statement
        listed = False  # ... because of a list word alone
        met = False  # whether something that can be turned was met
        passed = parts = False  # whether words that tell something, or a part, stand between cue and here
        spent = False  # whether such words and a comma used the denial up
        judging = True  # whether judgements are still reached
        aside = self._comma_before(start)  # a comma right after the cue begins an aside, and no statement
        enumerated = self._enumerated(start)
        while at < self.last and budget > 0:
            if at in self.ends_negation or (at > start and self._rests_before(at)):
                break
            comma = at > start and self._comma_before(at)
            spent = spent or (comma and passed and not aside)
            if (met or passed or parts) and self._new_subject(at, comma=comma):
                judging = False
            here = self.starts.get(at, [])
            if here:
                longest = max(here, key=lambda mark: mark.last)
                used_up = spent and not met and at >= enumerated and not self._list_word_before(at)
                if any(mark.kind in ("component", "place") for mark in here):
                    if met and (not tied or (comma and not self._list_word_before(at))):
                        break
                    if (used_up and not parts) or (
                        longest.kind == "component"
                        and self._opens_statement(longest, met, listed, passed, parts)
                    ):
                        judging = False
                    tied = longest.kind == "place"
                    parts = parts or longest.kind == "component"
                elif any(_is_turned(mark) for mark in here):
                    if met and comma and at >= enumerated and not self._list_word_before(at):
                        break
                    if used_up or (met and parts and self._modifies_part(longest)):
                        judging = False
                    found.extend(m for m in here if _is_turned(m) and (judging or not _judges(m)))
                    met = True
                    tied = listed = False
                    budget = reach if judging else budget - 1
                at = longest.last
                continue
            kinds = self.grammar_at.get(at, set())
            if comma and parts and not kinds & _TIES:
                judging = False  # "not the fan, I watched that run"
            if kinds & _TIES:
                tied = True
                listed = "list" in kinds
            elif "conjunction" in kinds and met:
                break
            if "time" in kinds and met:
                judging = False  # "isn't sticking after the clean it got"
            passed = passed or (at not in self._idle and not kinds & _SAYS_LITTLE)
            budget -= at >= enumerated
            at += 1
        return found

    def _opens_statement(self, part: Mark, met: bool, listed: bool, passed: bool, parts: bool) -> bool:
        """Whether a part has a statement of its own: "no leaks and [the boot] is torn"."""
        if met:
            return listed and self._says_of(part)
        return passed and not parts and self._joined_before(part.first) and self._says_of(part)

    def _rests_before(self, at: int) -> bool:
        return self.tokens[at - 1].stop or self.tokens[at - 1].pause_s > _PAUSE_S

    def _comma_before(self, at: int) -> bool:
        return at > 0 and self.tokens[at - 1].comma

    def _list_word_before(self, at: int) -> bool:
        """Whether a list word stands right before ``at`` ("worn, or cracked")."""
        return "list" in self.grammar_at.get(at - 1, set())

    def _joined_before(self, at: int) -> bool:
        """Whether a joining word or a comma stands before ``at``, past articles and places."""
        while at > self.first:
            kinds = self.grammar_at.get(at - 1, set())
            if kinds & {"conjunction", "list"} or self._comma_before(at):
                return True
            if at in self._place_ends:
                at = self._place_ends[at]
            elif kinds & _SAYS_LITTLE:
                at -= 1
            else:
                return False
        return False

    def _new_subject(self, at: int, *, comma: bool) -> bool:
        """ "... and it is cracked": a pronoun right after a comma or a joining word."""
        joined = comma or "conjunction" in self.grammar_at.get(at - 1, set())
        return joined and bool(self.grammar_at.get(at, set()) & _SUBJECTS)

    def _says_of(self, part: Mark) -> bool:
        """Whether a statement about the part follows it: a verb or condition, past parts listed with it."""
        at = part.last
        while at < self.last and not self._rests_before(at):
            if self.tokens[at - 1].text.endswith("'s"):
                return True
            kinds = self.grammar_at.get(at, set())
            here = self.starts.get(at, [])
            parts = [mark.last for mark in here if mark.kind == "component"]
            if parts:
                at = max(parts)
            elif any(_judges(mark) for mark in here) or "copula" in kinds:
                return True
            elif kinds & {"list", *_SAYS_LITTLE}:
                at += 1
            else:
                return False
        return False

    def _modifies_part(self, mark: Mark) -> bool:
        """ "torn boot": the condition stands right before a part, with no list word before it."""
        following = self.starts.get(mark.last, [])
        return (
            mark.kind == "condition"
            and any(other.kind == "component" for other in following)
            and not self._comma_before(mark.last)
            and not self._list_word_before(mark.first)
        )

    def _enumerated(self, start: int) -> int:
        """Up to where a list goes that "or" closes ("no drips, weeps or cracks"); ``start`` for none."""
        end = start
        commas = False
        for at in range(start, min(self.last, start + _LONGEST_LIST)):
            if at in self.ends_negation or (at > start and self._rests_before(at)):
                break
            commas = commas or (at > start and self._comma_before(at))
            kinds = self.grammar_at.get(at, set())
            if commas and kinds & {"copula", "contrast", *_SUBJECTS}:
                break
            if at in self._alternatives:
                end = at + 1
        return end


def apply_polarity(tokens: Sequence[Token], marks: Sequence[Mark], *, first: int, last: int) -> list[Mark]:
    """The clause's marks with ``negated`` and ``hedged`` set from the cues in it."""
    line = _Line(tokens, marks, first, last)
    negated: dict[int, str] = {}
    hedged: dict[int, str] = {}
    order = {id(mark): number for number, mark in enumerate(line.marks)}
    for cue in line.marks:
        if cue.kind != "cue" or cue.detail not in ("negation", "hedge"):
            continue
        words = " ".join(token.text for token in tokens[cue.first : cue.last])
        if cue.detail == "negation" and cue.id != "after":
            for mark in line.reached(cue.last, reach=REACH):
                negated[order[id(mark)]] = words
        elif cue.detail == "negation":
            for mark in _before(line, cue):
                negated[order[id(mark)]] = words
        else:
            ahead = line.reached(cue.last, reach=REACH - 1) if cue.id != "after" else []
            for mark in ahead or _before(line, cue):
                hedged[order[id(mark)]] = words
    result = []
    for number, mark in enumerate(line.marks):
        if number in negated or number in hedged:
            reasons = [*(["not: " + negated[number]] if number in negated else []),
                       *(["maybe: " + hedged[number]] if number in hedged else [])]  # fmt: skip
            mark = mark.model_copy(
                update={"negated": number in negated, "hedged": number in hedged, "by": "; ".join(reasons)}
            )
        result.append(mark)
    return result


def _before(line: _Line, cue: Mark) -> list[Mark]:
    """The last turned mark within four tokens before the cue, with nothing stronger than a comma between."""
    short = cue.last - cue.first <= _SHORT_DOUBT  # "I think it's ...", "..., I think": either way
    ahead = cue.detail == "hedge" and (cue.id != "after" or short)
    if ahead and cue.last < line.last and not line.tokens[cue.last - 1].comma:
        return []  # "cupped, so maybe ...": what follows is doubted, and it is no condition
    candidates = [m for m in line.marks if _is_turned(m) and m.last <= cue.first and cue.first - m.last <= 4]
    return candidates[-1:]
