"""What an answer to a question does to the draft: one method per effect of ``asks.Effect``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from voicecheck.desk import decisions as d
from voicecheck.desk.asks import (
    Outcome,
    amount_in,
    condition_in,
    hours_in,
    part_in,
    places_in,
)
from voicecheck.desk.held import (
    Added,
    Closing,
)
from voicecheck.estimate.scope import misplaced, positions_at, possible_spots, spots_of, tidy, unsaid
from voicecheck.estimate.texts import coin, work
from voicecheck.lexicon.model import Component
from voicecheck.records import (
    ACTIONS,
    UNPRICED_ACTIONS,
    AddedLine,
    Ask,
    Finding,
    Line,
    Operation,
    Position,
    Ref,
)
from voicecheck.records.shopdata import FollowOn, Scope
from voicecheck.records.wording import capital

if TYPE_CHECKING:
    from voicecheck.desk.replay import Replay


class Answering:
    """Carries out one answer. Every effect gives back what is still to be done, "" where it is done."""

    def __init__(
        self,
        replay: Replay,
        item: d.Numbered,
        *,
        about: str,
        ask: Ask,
        decision: d.Answer,
        outcome: Outcome,
    ) -> None:
        self.replay = replay
        self.item = item
        self.about = about
        self.ask = ask
        self.choice = decision.choice.strip()
        self.text = decision.text.strip()
        self.outcome = outcome
        self.reason = f"Answer: {'; '.join(t for t in (self.choice, self.text) if t)}"
        self.line = replay.lines().get(about)

    def carry_out(self) -> str:
        handler: Callable[[], str] = getattr(self, f"_{self.outcome.effect}")
        return handler()

    def _ids(self) -> tuple[str, ...]:
        """The findings that the question is about."""
        ids = (self.about,) if self.line is None else self.line.findings
        return tuple(i for i in ids if i in self.replay.held)

    def _component(self, finding: Finding) -> Component:
        return self.replay.lexicon.components[finding.component.id]

    def _update(self, id_: str, **update: Any) -> None:
        held = self.replay.held[id_]
        new = {k: v for k, v in update.items() if v != getattr(held.finding, k)}
        if new:
            self.replay.update(id_, new, self.item, self.reason)

    def _no_more(self) -> str:
        """For an effect that needs more than was said."""
        return self.outcome.todo or "Change the draft accordingly."

    def _or_words(self) -> str:
        """An answer in free words closes; a ready one that lacks something stays open."""
        return self._no_more() if self.choice or not self.text else ""

    # --- nothing changes

    def _close(self) -> str:
        return ""

    def _hold(self) -> str:
        return self._no_more()

    def _leave(self) -> str:
        """No work is wanted on the findings: nor is there anything to ask about what to do."""
        for id_ in self._ids():
            held = self.replay.held[id_]
            self.replay.held = self.replay.held | {id_: replace(held, no_work=self.item.seq)}
            for key, (about, name, ask) in self.replay.asked_now().items():
                if about == id_ and ask.code == "no_advice" and key not in self.replay.closed:
                    self.replay.closed[key] = Closing(
                        ask, about, name, self.item.seq, self.choice or self.text, "answer"
                    )
        return ""

    # --- findings

    def _named(self, possible: Sequence[str]) -> tuple[Position, ...]:
        lexicon = self.replay.lexicon
        for text in (self.text, self.choice):
            found = places_in(text, lexicon, possible) if text else ()
            if found:
                return found
        return ()

    def _places(self) -> str:
        ids = self._ids()
        if not ids:
            return self._or_words()
        found = self._named(possible_spots(self._component(self.replay.held[ids[0]].finding)))
        if not found:
            return self._or_words()
        for id_ in self._doubtful(ids):
            self._place(id_, found)
        return ""

    def _doubtful(self, ids: Sequence[str]) -> Sequence[str]:
        """Of several findings behind one line those whose place is in doubt; all where that is none."""
        found = []
        for id_ in ids:
            finding = self.replay.held[id_].finding
            component = self._component(finding)
            spots = spots_of(component, finding.action_positions or finding.positions)
            if any(map(unsaid, spots)) or misplaced(component, spots):
                found.append(id_)
        return found or ids

    def _place(self, id_: str, found: tuple[Position, ...]) -> None:
        finding = self.replay.held[id_].finding
        component = self._component(finding)
        spots = spots_of(component, finding.positions)
        known = bool(finding.positions) and not any(map(unsaid, spots)) and not misplaced(component, spots)
        if finding.action_positions and known:
            self._update(id_, action_positions=tidy(found))
        else:
            self._update(id_, positions=tidy(found), action_positions=())

    def _all_places(self) -> str:
        for id_ in self._ids():
            possible = possible_spots(self._component(self.replay.held[id_].finding))
            self._place(id_, tidy(positions_at(possible)))
        return ""

    def _add_places(self) -> str:
        ids = self._ids()
        choice = self.choice.casefold().removeprefix("add ")
        found = places_in(self.text or choice, self.replay.lexicon) or places_in(choice, self.replay.lexicon)
        if not ids or not found:
            return self._or_words()
        for id_ in ids:
            finding = self.replay.held[id_].finding
            wide = tidy([*(finding.action_positions or finding.positions), *found])
            self._update(id_, action_positions=wide)
        return ""

    def _action(self) -> str:
        for id_ in self._ids():
            self._update(id_, action=self.outcome.value)
        return ""

    def _defect(self) -> str:
        for id_ in self._ids():
            finding = self.replay.held[id_].finding
            usual = self._component(finding).advice
            action = usual if finding.action in UNPRICED_ACTIONS else finding.action
            self._update(id_, state="defect", action=action)
        return ""

    def _no_work(self) -> str:
        for id_ in self._ids():
            self._update(id_, action="none")
        return self._leave()

    def _which_action(self) -> str:
        """The findings of the work that is not wanted ask for the other instead: one line, all evidence."""
        wanted = self.choice.casefold() or self.text.casefold()
        if self.line is None or self.line.component is None:
            return self._no_more()
        part = self.line.component.id
        chosen = [a for a in _WORK_ACTIONS if a == wanted]
        if not chosen:
            return self._or_words()
        names = {c.casefold() for c in self.ask.choices}
        for id_, held in list(self.replay.held.items()):
            finding = held.finding
            component = self._component(finding)
            here = spots_of(component, finding.action_positions or finding.positions)
            there = spots_of(component, self.line.positions)
            clash = finding.action.casefold() in names and finding.action != wanted
            if finding.component.id == part and clash and (set(here) & set(there) or not here or not there):
                self._update(id_, action=chosen[0])
        return ""

    def _put_aside(self) -> str:
        for id_ in self._ids():
            self.replay.aside_finding(id_, self.reason, self.item)
        return ""

    def _other_part(self) -> str:
        part = part_in(self.text, self.replay.lexicon) if self.text else ""
        if not part:
            return self._or_words()
        component = self.replay.lexicon.components[part]
        for id_ in self._ids():
            self._update(id_, component=Ref(id=component.id, name=component.name))
        return ""

    def _other_part_or_place(self) -> str:
        if self.text and part_in(self.text, self.replay.lexicon):
            return self._other_part()
        ids = self._ids()
        found = self._named(possible_spots(self._component(self.replay.held[ids[0]].finding))) if ids else ()
        if not found:
            return self._or_words()
        for id_ in ids:
            self._place(id_, found)
        return ""

    def _condition(self) -> str:
        condition = condition_in(self.text, self.replay.lexicon) if self.text else ""
        if not condition:
            return self._or_words()
        ref = Ref(id=condition, name=self.replay.lexicon.conditions[condition].name)
        for id_ in self._ids():
            known = self.replay.held[id_].finding.conditions
            self._update(id_, conditions=(*known, ref) if ref not in known else known)
        return ""

    # --- lines

    def _leave_off(self) -> str:
        if self.line is None:
            return self._no_more()
        self.replay.leave_off(self.about, self.reason, self.item)
        return ""

    def _price(self) -> str:
        amount = amount_in(self.text or self.choice)
        if amount is None:
            return self._no_more()
        self.replay.edit(self.about, {"unit_price": amount}, self.item, self.reason)
        return ""

    def _hours(self) -> str:
        hours = hours_in(self.text or self.choice)
        if hours is None:
            return self._no_more()
        self.replay.edit(self.about, {"hours": hours}, self.item, self.reason)
        return ""

    def _open_price(self) -> str:
        if self.line is None:
            return self._no_more()
        hours = hours_in(self.text, unit_needed=True)
        if hours is not None and self.line.kind == "labour":
            self.replay.edit(self.about, {"hours": hours}, self.item, self.reason)
            return ""
        if amount_in(self.text) is None:
            return self._no_more()
        return self._price() if self.line.kind != "labour" else self._by_hand()

    def _to_be_priced(self) -> str:
        self.replay.to_be_priced.add(self.about)
        return ""

    def _by_hand(self) -> str:
        """One line with the typed price in the place of the lines of this operation."""
        amount = amount_in(self.text)
        line = self.line
        if amount is None or line is None:
            return self._or_words() if line is not None else self._no_more()
        self._replace_with(
            [
                AddedLine(
                    id=f"{line.id}=",
                    kind=line.kind,
                    name=work(line.operation, line.component.name) if line.component else line.name,
                    operation=line.operation,
                    component=line.component,
                    positions=line.positions,
                    unit_price=amount,
                    reason=self.reason,
                    by=self.item.by,
                )
            ]
        )
        return ""

    def _other_operation(self) -> str:
        line = self.line
        operation = self.replay.estimator.operation(self.choice or self.text)
        if line is None or operation is None:
            return self._open_price() if self.ask.code == "not_in_catalogue" else self._or_words()
        if line.catalogue == operation.code:
            return ""
        lines = self._priced(operation, self._at(line, line.positions))
        if not lines:
            return self.outcome.todo or "Add the line by hand: the catalogue entry cannot be priced."
        self._replace_with(lines)
        return ""

    def _add_follow_on(self) -> str:
        """From here on this follows by itself, as if it were a policy: hours are shared, questions asked."""
        line = self.line
        rule = self._rule_asked(line) if line is not None else None
        if rule is None:
            return self._no_more()
        kept = dict(self.replay.follow_ons)
        self.replay.follow_ons = kept | {self.item.seq: rule}
        self.replay.note_changes(self.item.seq)
        if any(line.why == rule.says for line in self.replay.lines().values()):
            return ""
        self.replay.follow_ons = kept
        self.replay.note_changes(self.item.seq)
        return self._no_more()

    def _rule_asked(self, line: Line | None) -> FollowOn | None:
        """What the question would add, after the work that it names."""
        shop, message = self.replay.estimator.shop, self.ask.message
        named_ = [x for x in self.replay.lines().values() if f"“{x.name}”" in message]
        causes = [x for x in (line, *named_) if x is not None and x.component is not None]
        after = Scope(
            components=tuple(dict.fromkeys(x.component.id for x in causes if x.component is not None)),
            actions=tuple(dict.fromkeys(x.operation for x in causes)),
        )
        who = f" by {self.item.by}" if self.item.by else ""
        rule = FollowOn(id=f"desk-{self.item.seq}", after=after, mode="add", says=f"Added at the desk{who}.")
        for operation in shop.catalogue.operations:
            if message.startswith(f"“{operation.name}” ({operation.code}) "):
                update = {"component": operation.component, "action": operation.action}
                return rule.model_copy(update=update)
        for known in shop.policies.follow_ons:
            target = self.replay.lexicon.components.get(known.component)
            if known.part is not None and message.startswith(f"{capital(known.part.name)} "):
                return rule.model_copy(update={"part": known.part})
            if target is None or known.action is None:
                continue
            if message.startswith(f"“{work(known.action, target.name)}” "):
                return rule.model_copy(update={"component": target.id, "action": known.action})
        return None

    def _price_it(self) -> str:
        """The advised work as added lines; what was said of the state stays as it was said."""
        ids = self._ids()
        if not ids:
            return self._no_more()
        finding = self.replay.held[ids[0]].finding
        return self._work_of(finding)

    def _other_work(self) -> str:
        """The work that the answer names: of the same part its action, of another as added lines."""
        ids = self._ids()
        said = (self.choice or self.text).casefold()
        action = next((a for a in ACTIONS if said.startswith(f"{a} ")), None)
        part = part_in(said.removeprefix(f"{action} "), self.replay.lexicon) if action else ""
        if not ids or action is None or not part:
            return self._or_words()
        finding = self.replay.held[ids[0]].finding
        if finding.component.id == part:
            for id_ in ids:
                self._update(id_, action=action)
            return ""
        component = self.replay.lexicon.components[part]
        ref = Ref(id=component.id, name=component.name)
        return self._work_of(finding.model_copy(update={"component": ref, "action": action}))

    def _work_of(self, finding: Finding) -> str:
        """Adds the lines that this finding alone would bring, unless they leave something open."""
        alone = finding.model_copy(
            update={"state": "defect", "asks": (), "done_with": None, "conditions": (), "measures": ()}
        )
        result = self.replay.estimator((alone,))
        lines = [line for job in result.estimate.jobs for line in job.lines]
        doubts = [a for line in lines for a in line.asks if a.code in _MUST_BE_KNOWN]
        if doubts or not lines:
            return doubts[0].message if doubts else "Add the line by hand."
        self._add([self._as_added(line, operation=None) for line in lines])
        return self._leave()

    def _at(self, line: Line, positions: Sequence[Position]) -> Finding:
        """A finding at the places of a line, to price an operation there."""
        finding = self.replay.held[self._ids()[0]].finding
        update = {
            "positions": tuple(positions), "action_positions": (), "measures": (), "conditions": (),
            "place": line.place,
        }  # fmt: skip
        return finding.model_copy(update=update)

    def _priced(self, operation: Operation, finding: Finding) -> list[AddedLine]:
        component = self.replay.lexicon.components.get(operation.component)
        if component is None:
            return []
        if component.id != finding.component.id and not possible_spots(component):
            finding = finding.model_copy(update={"positions": (), "place": ()})
        return [
            self._as_added(line, operation=operation)
            for line in self.replay.estimator.lines_for(operation, finding)
        ]

    def _as_added(self, line: Line, *, operation: Operation | None) -> AddedLine:
        tail = line.id.split(":", 1)[-1]
        if operation is not None and operation.code not in tail:
            tail = f"{operation.code}:{tail}"
        price, name, reason = line.unit_price, line.name, self.reason
        if line.unit_price_high is not None:  # an added line has no range: open, not the lower end
            reason += f"; its price is {coin(line.unit_price or Decimal(0))} to {coin(line.unit_price_high)}"
            price = None
        if line.part_condition not in ("", "new"):
            name = f"{name} ({line.part_condition})"
        return AddedLine(
            id=f"{self.about}+{tail}",
            kind=line.kind,
            name=name,
            operation=line.operation,
            component=line.component,
            positions=line.positions,
            quantity=line.quantity,
            unit=line.unit,
            hours=line.hours,
            unit_price=price,
            reason=reason,
            by=self.item.by,
        )

    def _add(self, lines: Sequence[AddedLine]) -> None:
        for line in lines:
            self.replay.added[line.id] = Added(line, self.item.seq, about=self.about)

    def _replace_with(self, lines: Sequence[AddedLine]) -> None:
        """The lines of this question's operation are left off, and others are there instead."""
        line = self.line
        if line is None:
            return
        for other in self.replay.lines().values():
            same = (other.findings, other.catalogue, other.operation) == (
                line.findings,
                line.catalogue,
                line.operation,
            )
            if same and other.id not in self.replay.aside:
                self.replay.leave_off(other.id, self.reason, self.item)
        self._add(lines)


_WORK_ACTIONS = ("replace", "repair", "resurface", "install")
# a line that is added carries no questions: these have to be settled before
_MUST_BE_KNOWN = frozenset(
    {
        "side_not_said", "axle_not_said", "place_unusual", "not_in_catalogue", "catalogue_match",
        "catalogue_choice", "time_open",
    }
)  # fmt: skip
