"""What a saying says of one part: its state, conditions, advice and urgency."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from voicecheck.findings.notes import Saying, names_reading
from voicecheck.findings.parts import PartTree
from voicecheck.findings.words import Words
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import ACTIONS, UNPRICED_ACTIONS, Action, State, Urgency

_URGENCY_ORDER: tuple[Urgency, ...] = ("now", "soon", "later")
_WORK = frozenset(ACTIONS) - {"none"}  # what a cue for advice can name itself
GOES_WITH = {
    "replace": ("adjust", "clean", "service", "tighten", "top up"),
    "service": ("clean", "top up"),
}
_NAMED_WORK = ("service", "clean")  # actions whose words name things as well
_UNSEEN_REACH = 2  # tokens between "didn't check" and what was not checked
_BEFORE_WORK = 2  # tokens between "already" and the work that was done
_BEHIND_WORK = 5  # ... and between the work and "recently"
_ADVICE_REACH = 5  # tokens between advice and the past form it governs ("should really both be replaced")


@dataclass(slots=True)
class Statement:
    """A saying weighed for one component."""

    state: State | None = None
    conditions: list[str] = field(default_factory=list)
    misfits: list[Mark] = field(default_factory=list)  # conditions that do not fit the component
    action: Action | None = None
    urgency: Urgency | None = None
    sublet: bool = False
    open_price: bool = False
    symptoms_only: bool = False  # no condition in it names a cause
    denied: bool = False  # negated advice: "no need to replace"


@dataclass(slots=True)
class _Tally:
    """Whether anything in a saying speaks for or against the part, or says that it is not there."""

    good: bool = False
    bad: bool = False
    missing: bool = False
    doubted: bool = False


class Weigher:
    """Weighs sayings with the lexicon's fits and states."""

    def __init__(
        self,
        lexicon: Lexicon,
        tokens: Sequence[Token],
        *,
        tree: PartTree | None = None,
        words: Words | None = None,
    ) -> None:
        self._lexicon = lexicon
        self._tokens = tokens
        self._tree = tree or PartTree(lexicon)
        self._words = words or Words.of(lexicon)

    def weigh(self, component: str, saying: Saying, *, has_reading: bool, strict: bool) -> Statement:
        """The statement about ``component``. With ``strict`` a condition that does not fit is only a
        misfit.
        """
        out = Statement()
        tally = self._tally(component, saying, out, strict=strict)
        if self._ends_well(component, saying):  # "a bit of rust, but they're fine": the last judgement stands
            tally = _Tally(good=True)
            out.conditions.clear()
        for cue in saying.cues("ok"):
            tally.doubted = tally.doubted or (cue.negated and cue.hedged)  # "I'm not convinced it's fine"
            tally.bad = tally.bad or (cue.negated and not cue.hedged)
            tally.good = tally.good or not cue.negated
        out.action, out.denied = self._action(saying)
        out.urgency = urgency_of(saying)
        out.sublet = bool(saying.cues("sublet"))
        out.open_price = bool(saying.cues("open_price"))
        out.symptoms_only = all(self._lexicon.conditions[c].symptom for c in out.conditions)
        priced = out.action is not None and out.action not in (*UNPRICED_ACTIONS, "diagnose")
        if tally.bad and (priced or not tally.doubted):
            out.state = "defect"
        elif tally.missing:
            out.state = "missing"
        elif tally.doubted:
            out.state = "suspect"
        elif saying.cues("not_checked"):
            out.state = "not_checked"
        elif tally.good or has_reading:
            out.state = "ok"
        return out

    def _tally(self, component: str, saying: Saying, out: Statement, *, strict: bool) -> _Tally:
        """What the conditions say; those that hold go into ``out``, and those that do not fit."""
        tally = _Tally()
        judged_ok = any(not cue.negated for cue in saying.cues("ok"))
        for mark in self._best(component, saying.of_kind("condition")):
            term = self._lexicon.conditions[mark.id]
            if self._is_verb(mark, saying) or self._is_unseen(mark, saying):
                continue  # "clean that": no judgement
            if (judged_ok or term.symptom) and names_reading(saying.marks, mark):
                continue  # "two thou end play, good", "six clicks": the name of what was measured
            if not self._lexicon.fits(term.fits, component):
                out.misfits.append(mark)
                if strict:
                    continue
            if term.state == "ok":
                tally.good, tally.bad = tally.good or not mark.negated, tally.bad or mark.negated
            elif mark.negated:
                tally.good = True
            else:
                _append(out.conditions, term.id)
                tally.doubted = tally.doubted or mark.hedged
                tally.bad = tally.bad or (not mark.hedged and term.state != "missing")
                tally.missing = tally.missing or (not mark.hedged and term.state == "missing")
        return tally

    def _ends_well(self, component: str, saying: Saying) -> bool:
        """Whether the part is said to be fine after its conditions, behind "but" or of "it" anew."""
        bad_at = [
            m.last
            for m in saying.of_kind("condition")
            if not m.negated and self._lexicon.conditions[m.id].state != "ok"
        ]
        ok_at = [m.first for m in saying.cues("ok") if not m.negated and not self._only_works(m)]
        if not saying.advises:  # "it's sound"; with work advised, such words tell of something else
            ok_at += [
                m.first
                for m in saying.of_kind("condition")
                if not m.negated
                and self._lexicon.conditions[m.id].state == "ok"
                and self._lexicon.fits(self._lexicon.conditions[m.id].fits, component)
            ]
        if not bad_at or not ok_at:
            return False
        last_bad, last_ok = max(bad_at), max(ok_at)
        anew = last_ok >= last_bad and saying.grammar("pronoun", "plural_pronoun")
        turns = [*saying.grammar("contrast"), *saying.cues("negation_end")]
        between = self._tokens[last_bad : last_ok + 1]
        yet = any(token.text in self._words.still for token in between)  # "rusty, still gas tight"
        return bool(anew) or yet or any(last_bad <= turn.first < last_ok for turn in turns)

    def _only_works(self, cue: Mark) -> bool:
        """ "It's cracked but it works": what works may still be damaged."""
        word = self._tokens[cue.last - 1].text
        return any(word in (verb, f"{verb}s", f"{verb}ing") for verb in self._words.working)

    def _best(self, component: str, marks: Sequence[Mark]) -> list[Mark]:
        """Of conditions over the same words, the one that fits this component most closely."""
        by_span: dict[tuple[int, int], list[Mark]] = {}
        for mark in marks:
            by_span.setdefault((mark.first, mark.last), []).append(mark)
        return [
            min(group, key=lambda m: self._distance(component, self._lexicon.conditions[m.id].fits))
            for group in by_span.values()
        ]

    def _distance(self, component: str, fits: Sequence[str]) -> int:
        """0 where the component itself is listed, then its kinds, its system, any; largest where it does not
        fit.
        """
        for step, general in enumerate(self._tree.line(component)):
            if general in fits:
                return step
        if not self._lexicon.fits(fits, component):
            return 1000
        return 500 if "any" in fits else 100

    def _action(self, saying: Saying) -> tuple[Action | None, bool]:
        action: Action | None = None
        denied = False
        advised = saying.cues("advice", "urgency")
        for mark in saying.of_kind("action"):
            if mark.negated or any(0 <= mark.first - cue.last <= 1 for cue in saying.cues("no_action")):
                denied = True  # "don't replace", "no need to change"
                continue
            if self._is_adjective(mark, saying) or self._comes_out(mark, saying):
                continue
            if not self._is_advice(mark, advised) or self._was_done(mark, saying, advised):
                continue
            if self._is_thing(mark, saying) or self._is_unseen(mark, saying):
                continue
            if mark.hedged and mark.id not in ("diagnose", *UNPRICED_ACTIONS):
                continue  # "might need replacing" is a suspicion and no order
            if mark.id in GOES_WITH.get(action or "", ()):
                continue  # "replace that and align it", "flush and refill": the lesser work goes with it
            action = mark.id  # type: ignore[assignment]
        for cue in saying.cues("no_action"):
            if action is None or action in UNPRICED_ACTIONS:
                action = cue.id if cue.id in ("monitor", "none") else "none"  # type: ignore[assignment]
        if action is None:
            for cue in saying.cues("advice"):
                if cue.negated:
                    denied = True
                elif cue.id in _WORK:
                    action = cue.id
        if denied and action is None:
            action = "none"
        return action, denied

    def _is_unseen(self, mark: Mark, saying: Saying) -> bool:
        """ "Didn't get a chance to check the oil in it": what was not looked at, and no condition."""
        return any(
            0 <= mark.first - cue.last <= _UNSEEN_REACH
            and not any(token.comma or token.stop for token in self._tokens[cue.last - 1 : mark.first])
            for cue in saying.cues("not_checked")
        )

    def _comes_out(self, mark: Mark, saying: Saying) -> bool:
        """ "weeping grease", "torn clean in half": what comes out of a leak or how it broke, and no order."""
        last = self._tokens[mark.first - 1] if mark.first else None
        if last is None or last.stop or last.comma or mark.id not in ("service", "clean"):
            return False  # "is leaking replace it", said without a rest, is an order
        if any(m.first == mark.last for m in saying.grammar("pronoun", "plural_pronoun")):
            return False  # "is torn clean it"
        return any(
            m.last == mark.first and "seal" in self._lexicon.conditions[m.id].fits
            for m in saying.of_kind("condition")
            if self._lexicon.conditions[m.id].state == "defect"
        )

    def _is_verb(self, mark: Mark, saying: Saying) -> bool:
        """Whether a condition's word is an action here: the same words are one, and no copula makes them a
        judgement.
        """
        twins = [m for m in saying.of_kind("action") if (m.first, m.last) == (mark.first, mark.last)]
        return any(not self._is_adjective(m, saying) for m in twins)

    def _is_adjective(self, mark: Mark, saying: Saying) -> bool:
        """ "the oil's clean": the same word as a condition, said of the part."""
        if not any((m.first, m.last) == (mark.first, mark.last) for m in saying.of_kind("condition")):
            return False
        if any(cue.last == mark.first for cue in saying.cues("advice", "urgency")):
            return False  # "needs adjusted"
        before = self._tokens[mark.first - 1].text if mark.first else ""
        if before.endswith("'s") or any(m.last == mark.first for m in saying.grammar("copula")):
            return True
        return self._ends_phrase(mark) and not self._follows_fault(mark, saying)

    def _ends_phrase(self, mark: Mark) -> bool:
        """ "both ends snug.": nothing follows that the word could be done to."""
        last = self._tokens[mark.last - 1]
        return mark.last == len(self._tokens) or last.stop or last.comma

    def _follows_fault(self, mark: Mark, saying: Saying) -> bool:
        """ "filter's dirty, clean": an order after a fault, and no praise."""
        return any(
            m.last <= mark.first and not m.negated and self._lexicon.conditions[m.id].state != "ok"
            for m in saying.of_kind("condition")
        )

    def _is_thing(self, mark: Mark, saying: Saying) -> bool:
        """ "With all that grease", "after the clean I gave it": the word is a thing, and no work to do."""
        if mark.last - mark.first > 1 or mark.id not in _NAMED_WORK:
            return False
        open_ended = {m.last for m in saying.grammar("indefinite")}
        return any(m.last == mark.first and m.last not in open_ended for m in saying.grammar("determiner"))

    def _was_done(self, mark: Mark, saying: Saying, advised: Sequence[Mark]) -> bool:
        """ "Somebody already put new pads on", "has had new shocks recently": work of an earlier day."""
        if any(0 <= mark.first - cue.last <= _ADVICE_REACH for cue in advised):
            return False
        fine = any(not m.negated for m in saying.cues("ok"))
        for done in saying.grammar("done_before"):
            if fine and done.id == "after" and done.first >= mark.last:
                return True  # "new tires, put on last week, all good"
            before = (
                done.id == "before"
                and 0 <= mark.first - done.last <= _BEFORE_WORK
                and not self._is_bare(mark)
                and not self._faulty_between(done.last, mark.first, saying)
            )
            behind = done.id == "after" and 0 <= done.first - mark.last <= _BEHIND_WORK
            apart = self._tokens[min(mark.last, done.last) - 1 : max(mark.first, done.first)]
            if (before or behind) and not any(token.comma or token.stop for token in apart):
                return True
        return False

    def _is_bare(self, mark: Mark) -> bool:
        """ "had cracks, so replace it", "already replace that": a verb as in an order, and nothing done."""
        text = self._tokens[mark.first].text
        return mark.last - mark.first == 1 and text != "new" and not text.endswith(self._words.past_ending)

    def _faulty_between(self, first: int, last: int, saying: Saying) -> bool:
        return any(first <= m.first < last and not m.negated for m in saying.of_kind("condition"))

    def _is_advice(self, mark: Mark, advised: Sequence[Mark]) -> bool:
        """Whether an action word is advice: "needs replacing", "replace it"; not "was replaced", "tested
        fine".
        """
        text = self._tokens[mark.first].text
        governed = any(0 <= mark.first - cue.last <= _ADVICE_REACH for cue in advised) or any(
            m.first <= mark.first < m.last for m in advised
        )
        if governed:
            return True
        if text.endswith(self._words.past_ending):
            before = self._tokens[max(0, mark.first - 3) : mark.first]
            if any(token.text in self._words.passive for token in before):
                return True
            causing = self._tokens[max(0, mark.first - _ADVICE_REACH) : max(0, mark.first - 1)]
            return any(token.text in self._words.causative and not token.comma for token in causing)
        return mark.id != "diagnose" or text not in self._words.testing


def urgency_of(saying: Saying) -> Urgency | None:
    """The most pressing urgency said."""
    said = {cue.id for cue in saying.cues("urgency") if not cue.negated}
    for urgency in _URGENCY_ORDER:
        if urgency in said:
            return urgency
    return None


def _append(values: list[str], value: str) -> None:
    if value not in values:
        values.append(value)
