"""What the shop has decided once: sets, what comes with some work, what a condition means for the advice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from voicecheck.estimate.match import Match, Matcher
from voicecheck.estimate.needs import Need, component_of, kin
from voicecheck.estimate.scope import partners, positions_at, possible_spots, spots_of, unsaid
from voicecheck.estimate.texts import work
from voicecheck.lexicon.model import Component, Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.estimate import AskedBy
from voicecheck.records.finding import Finding, Ref
from voicecheck.records.shopdata import (
    BEYOND_LIMIT,
    Conclusion,
    Mode,
    Operation,
    PartUse,
    Policies,
    Scope,
    SetPolicy,
)
from voicecheck.records.vocabulary import Action, Position
from voicecheck.records.wording import capital, joined


@dataclass(slots=True)
class Extras:
    """What policies and the catalogue bring to a draft.

    ``needs`` with their matches go after those that were said; ``parts`` and ``asks`` are by the index of the
    need whose lines carry them.
    """

    needs: list[tuple[Need, Match]] = field(default_factory=list)
    parts: dict[int, list[tuple[PartUse, str]]] = field(default_factory=dict)  # with the reason
    asks: dict[int, list[Ask]] = field(default_factory=dict)


def fits(scope: Scope, component: Component, action: Action, lexicon: Lexicon) -> bool:
    """Whether work on a component is within a rule's scope; a rule for a component holds for its kinds."""
    if scope.actions and action not in scope.actions:
        return False
    if not scope.components and not scope.systems:
        return True
    return component.system in scope.systems or any(c in scope.components for c in kin(component, lexicon))


def set_policy(policies: Policies, need: Need, lexicon: Lexicon) -> SetPolicy | None:
    """The first rule on sets that is about this work."""
    return next(
        (rule for rule in policies.sets if fits(rule.work, need.component, need.action, lexicon)), None
    )


def conclusion(
    policies: Policies, finding: Finding, *, beyond: bool, lexicon: Lexicon
) -> tuple[Conclusion, Component] | None:
    """The rule by which what was said asks for more than was advised, and the component it is about."""
    said = {c.id for c in finding.conditions} | ({BEYOND_LIMIT} if beyond else set())
    component = component_of(finding, lexicon)
    for rule in policies.conclusions:
        about = any(c in rule.components for c in kin(component, lexicon))
        if about and finding.action in rule.not_enough and said & set(rule.conditions):
            return rule, lexicon.components.get(rule.target, component)
    return None


def extras(
    needs: Sequence[Need], matches: Sequence[Match], *, policies: Policies, matcher: Matcher, lexicon: Lexicon
) -> Extras:
    """Everything that comes with the work that was said, added or asked as each policy has it."""
    return _Collector(needs, matches, policies=policies, matcher=matcher, lexicon=lexicon).collect()


@dataclass(frozen=True, slots=True)
class _Step:
    """Work that follows other work: what, who wants it, and why."""

    component: Component
    action: Action
    mode: Mode
    asked_by: AskedBy
    says: str
    operation: Operation | None = None  # where a row of the catalogue names it


class _Collector:
    """Goes once through a draft's work and gathers what comes with it."""

    def __init__(
        self,
        needs: Sequence[Need],
        matches: Sequence[Match],
        *,
        policies: Policies,
        matcher: Matcher,
        lexicon: Lexicon,
    ) -> None:
        self._needs = needs
        self._matches = matches
        self._policies = policies
        self._matcher = matcher
        self._lexicon = lexicon
        self._done = {(n.component.id, n.action) for n in needs}
        self._used = {m.operation.code for m in matches if m.operation is not None}
        self._found = Extras()

    def collect(self) -> Extras:
        for i, need in enumerate(self._needs):
            self._other_side(i, need)
        settled: dict[tuple[str, Action], set[int]] = {}  # what a policy decides, whatever the rows say
        for rule in self._policies.follow_ons:
            causes = [
                i for i, n in enumerate(self._needs) if fits(rule.after, n.component, n.action, self._lexicon)
            ]
            target = self._lexicon.components.get(rule.component)
            if rule.action is not None and target is not None:
                settled.setdefault((target.id, rule.action), set()).update(causes)
                if not self._there(target, rule.action):
                    self._follow(_Step(target, rule.action, rule.mode, "policy", rule.says), causes)
            elif rule.part is not None:
                for i in causes:
                    self._part(rule.part, rule.mode, rule.says, i)
        self._rows_follow(settled)
        return self._found

    def _other_side(self, i: int, need: Need) -> None:
        """The other side of an axle, where only one was said and policy adds it."""
        rule = set_policy(self._policies, need, self._lexicon)
        if rule is None or rule.by != "axle" or any(map(unsaid, need.spots)):
            return
        operation = self._matches[i].operation
        if operation and operation.per in ("axle", "vehicle"):
            return  # the row's hours and parts are those of both sides
        same = [n for n in self._needs if (n.component.id, n.action) == (need.component.id, need.action)]
        taken = {s for n in same for s in n.spots}
        left = tuple(s for s in partners(need.component, need.spots) if s not in taken)
        if left:
            added = replace(
                need, positions=positions_at(left), spots=left, asked_by="policy", beside=i, why=rule.says
            )
            self._found.needs.append((added, self._matches[i]))

    def _there(self, target: Component, action: Action) -> bool:
        """Whether the work, or the same on a kind of the component or a more general one, is on the draft."""
        above = set(kin(target, self._lexicon))
        return any(
            a == action and (c in above or target.id in kin(self._lexicon.components[c], self._lexicon))
            for c, a in self._done
        )

    def _follow(self, step: _Step, causes: Sequence[int]) -> None:
        """Add or ask about work after its causes; not after rows that bring its fluid themselves."""
        if step.mode == "off" or not causes:
            return
        operation = step.operation or self._matcher.match(self._after(step, causes)).operation
        if step.asked_by == "policy" and operation is not None:
            fluids = _fluids(operation)
            causes = [i for i in causes if not fluids & _fluids(self._matches[i].operation)]
        if not causes or (operation is not None and operation.code in self._used):
            return
        need = self._after(step, causes)
        match = Match(step.operation) if step.operation else self._matcher.match(need)
        operation = match.operation
        self._done.add((step.component.id, step.action))
        if operation is not None:
            self._used.add(operation.code)
        if step.mode == "add":
            self._found.needs.append((need, match))
            return
        name = work(step.action, need.ref.name)
        what = f"“{operation.name}” ({operation.code})" if operation else f"“{name}”"
        after = joined(list(dict.fromkeys(map(self._called, causes))))
        reason = f" {step.says}" if step.asked_by == "policy" else ""
        self._ask(causes[0], f"{what} usually follows {after}: add it?{reason}")

    def _after(self, step: _Step, causes: Sequence[int]) -> Need:
        """The work as a need, at the places of its causes and with the urgency of the first."""
        places: tuple[Position, ...] = ()
        if "one" not in step.component.places and possible_spots(step.component):
            places = tuple(dict.fromkeys(p for i in causes for p in self._needs[i].positions))
        return replace(
            self._needs[causes[0]],
            component=step.component,
            ref=Ref(id=step.component.id, name=step.component.name),
            action=step.action,
            place=(),
            positions=places,
            spots=spots_of(step.component, places),
            sublet=False,
            findings=tuple(dict.fromkeys(f for i in causes for f in self._needs[i].findings)),
            why=step.says,
            asked_by=step.asked_by,
            beside=causes[0],
        )

    def _called(self, i: int) -> str:
        operation, need = self._matches[i].operation, self._needs[i]
        return f"“{operation.name if operation else work(need.action, need.ref.name)}”"

    def _part(self, use: PartUse, mode: Mode, says: str, at: int) -> None:
        operation = self._matches[at].operation
        there = operation is not None and any(
            p.name.casefold() == use.name.casefold() for p in operation.parts
        )
        if mode == "off" or there:
            return
        if mode == "add":
            self._found.parts.setdefault(at, []).append((use, says))
        else:
            self._ask(at, f"{capital(use.name)} usually goes with this: add it? {says}")

    def _ask(self, at: int, message: str) -> None:
        ask = Ask(code="follow_on", field="follow_on", message=message, choices=("Add it", "Leave it off"))
        self._found.asks.setdefault(at, []).append(ask)

    def _rows_follow(self, settled: Mapping[tuple[str, Action], set[int]]) -> None:
        """What the catalogue's rows name as commonly needed afterwards."""
        after: dict[str, list[int]] = {}
        for i, match in enumerate(self._matches):
            for code in match.operation.follow_on if match.operation else ():
                after.setdefault(code, []).append(i)
        for code, named in after.items():
            row = self._matcher.catalogue.by_code.get(code)
            target = self._lexicon.components.get(row.component) if row else None
            if row is None or target is None or (row.component, row.action) in self._done:
                continue
            causes = [i for i in named if i not in settled.get((row.component, row.action), ())]
            if causes:
                says = f"The catalogue names it as following {self._called(causes[0])}."
                mode = self._policies.catalogue_follow_ons
                self._follow(_Step(target, row.action, mode, "catalogue", says, row), causes)


def _fluids(operation: Operation | None) -> set[str]:
    return {p.name.casefold() for p in operation.parts if p.kind == "fluid"} if operation else set()
