"""What a saying says of one part: its state, conditions, advice and urgency."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from voicecheck.findings.notes import Saying, names_reading
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.reading import Mark, Token
from voicecheck.records.vocabulary import UNPRICED_ACTIONS, Action, State, Urgency

_URGENCY_ORDER: tuple[Urgency, ...] = ("now", "soon", "later")
_PAST = ("ed", "bled", "reset")
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


class Weigher:
    """Weighs sayings with the lexicon's fits and states."""

    def __init__(self, lexicon: Lexicon, tokens: Sequence[Token]) -> None:
        self._lexicon = lexicon
        self._tokens = tokens

    def weigh(self, component: str, saying: Saying, *, has_reading: bool, strict: bool) -> Statement:
        """The statement about ``component``. With ``strict`` a condition that does not fit is only a misfit."""
        out = Statement()
        good = bad = missing = doubted = False
        judged_ok = any(not cue.negated for cue in saying.cues("ok"))
        for mark in self._best(component, saying.of_kind("condition")):
            term = self._lexicon.conditions[mark.id]
            if self._is_verb(mark, saying):
                continue  # "clean that": no judgement
            if (judged_ok or term.symptom) and names_reading(saying.marks, mark):
                continue  # "two thou end play, good", "six clicks": the name of what was measured
            if not self._lexicon.fits(term.fits, component):
                out.misfits.append(mark)
                if strict:
                    continue
            if term.state == "ok":
                good, bad = (good or not mark.negated), (bad or mark.negated)
            elif mark.negated:
                good = True
            elif mark.hedged:
                doubted = True
                _append(out.conditions, term.id)
            else:
                bad = bad or term.state != "missing"
                missing = missing or term.state == "missing"
                _append(out.conditions, term.id)
        contrast = [m.first for m in saying.grammar("contrast")] + [
            m.first for m in saying.cues("negation_end")
        ]
        bad_at = [
            m.last
            for m in saying.of_kind("condition")
            if not m.negated and self._lexicon.conditions[m.id].state != "ok"
        ]
        ok_at = [m.first for m in saying.cues("ok") if not m.negated]
        last_word = bool(bad_at and ok_at) and max(ok_at) > max(bad_at) and saying.grammar("pronoun", "plural_pronoun")
        if bad_at and (last_word or any(max(bad_at) <= but < at for but in contrast for at in ok_at)):
            bad = missing = doubted = False  # "a bit of rust, but they're fine": the last judgement stands
            good = True
            out.conditions.clear()
        unchecked = False
        for cue in saying.cues("ok", "not_checked"):
            if cue.detail == "not_checked":
                unchecked = True
            elif cue.negated:
                bad = True
            else:
                good = True
        out.action, out.denied = self._action(component, saying)
        out.urgency = urgency_of(saying)
        out.sublet = bool(saying.cues("sublet"))
        out.open_price = bool(saying.cues("open_price"))
        out.symptoms_only = all(self._lexicon.conditions[c].symptom for c in out.conditions)
        priced = out.action is not None and out.action not in (*UNPRICED_ACTIONS, "diagnose")
        if bad and not (doubted and not priced):
            out.state = "defect"
        elif missing:
            out.state = "missing"
        elif doubted:
            out.state = "suspect"
        elif unchecked:
            out.state = "not_checked"
        elif good or has_reading:
            out.state = "ok"
        return out

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
        """0 where the component itself is listed, then its kinds, its system, any; largest where it does not fit."""
        step = 0
        at: str | None = component
        while at is not None:
            if at in fits:
                return step
            at = self._lexicon.components[at].kind_of
            step += 1
        if not self._lexicon.fits(fits, component):
            return 1000
        return 500 if "any" in fits else 100

    def _action(self, component: str, saying: Saying) -> tuple[Action | None, bool]:
        action: Action | None = None
        denied = False
        advised = saying.cues("advice", "urgency")
        for mark in saying.of_kind("action"):
            if mark.negated or any(0 <= mark.first - cue.last <= 1 for cue in saying.cues("no_action")):
                denied = True  # "don't replace", "no need to change"
                continue
            if self._is_adjective(mark, saying):
                continue
            if not self._is_advice(mark, saying, advised):
                continue
            if action == "replace" and mark.id in ("adjust", "clean", "service", "tighten", "top up"):
                continue  # "replace that and align it": the lesser work goes with it
            action = mark.id  # type: ignore[assignment]
        for cue in saying.cues("no_action"):
            if action is None or action in UNPRICED_ACTIONS:
                action = cue.id if cue.id in ("monitor", "none") else "none"  # type: ignore[assignment]
        if action is None:
            for cue in saying.cues("advice"):
                if cue.negated:
                    denied = True
                elif cue.id in ("replace", "repair", "service", "adjust", "clean", "tighten", "install", "resurface",
                                "top up", "diagnose", "monitor"):  # fmt: skip
                    action = cue.id  # type: ignore[assignment]
        if denied and action is None:
            action = "none"
        return action, denied

    def _is_verb(self, mark: Mark, saying: Saying) -> bool:
        """Whether a condition's word is an action here: the same words are one, and no copula makes them a judgement."""
        twins = [m for m in saying.of_kind("action") if (m.first, m.last) == (mark.first, mark.last)]
        return any(not self._is_adjective(m, saying) for m in twins)

    def _is_adjective(self, mark: Mark, saying: Saying) -> bool:
        """ "the oil's clean": the same word as a condition, said of the part."""
        if not any((m.first, m.last) == (mark.first, mark.last) for m in saying.of_kind("condition")):
            return False
        before = self._tokens[mark.first - 1].text if mark.first else ""
        return before.endswith("'s") or any(m.last == mark.first for m in saying.grammar("copula"))

    def _is_advice(self, mark: Mark, saying: Saying, advised: Sequence[Mark]) -> bool:
        """Whether an action word is advice: "needs replacing", "replace it"; not "was replaced", "tested fine"."""
        text = self._tokens[mark.first].text
        governed = any(0 <= mark.first - cue.last <= _ADVICE_REACH for cue in advised) or any(
            m.first <= mark.first < m.last for m in advised
        )
        if text.endswith(_PAST) and not governed:
            before = [t.text for t in self._tokens[max(0, mark.first - 3) : mark.first]]
            return "be" in before or "get" in before or "getting" in before
        if mark.id == "diagnose" and text in ("test", "tests", "tested", "testing") and not governed:
            return False
        return True


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
