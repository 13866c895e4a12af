"""Decisions applied one after another to a draft. ``worktop`` is the door; this is the machinery.

Only findings and what is laid over the estimate (changed, added, left-off lines, jobs put off) are kept here;
lines and questions are computed from them whenever they are needed. A decision that cannot be applied adds a
sentence to ``idle`` and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

from voicecheck.desk import decisions as d
from voicecheck.desk.answers import Answering
from voicecheck.desk.asks import (
    RECORDING,
    RULES,
    ask_key,
    outcome_of,
)
from voicecheck.desk.content import content_of
from voicecheck.desk.estimator import Estimator
from voicecheck.desk.held import (
    Added,
    Aside,
    Closing,
    Confirmed,
    Held,
    LineEdit,
    Settled,
    Typed,
    Waiting,
)
from voicecheck.desk.regroup import merge_objection, merged, split, split_ids, split_objection
from voicecheck.desk.states import Idle
from voicecheck.estimate.needs import natural
from voicecheck.estimate.result import EstimateResult
from voicecheck.estimate.scope import tidy
from voicecheck.estimate.texts import name_of
from voicecheck.records import (
    Ask,
    Draft,
    Finding,
    LedgerEntry,
    Line,
    LineChange,
    Ref,
    Word,
    span_of,
)
from voicecheck.records.shopdata import FollowOn
from voicecheck.records.wording import joined


class _NoEffectError(Exception):
    """A decision that does not apply; the text says why."""


class Replay:
    """The state between two decisions."""

    def __init__(self, base: Draft, estimator: Estimator) -> None:
        self.base = base
        self.estimator = estimator
        self.lexicon = estimator.lexicon
        self.held: dict[str, Held] = {}
        for finding in base.findings:
            own = tuple(a for a in finding.asks if a.code not in _ESTIMATES_ASKS)
            self.held[finding.id] = Held(finding.model_copy(update={"asks": own}), (finding.id,))
        self.machine = {f.id: f for f in base.findings}
        self.moved: dict[str, tuple[str, ...]] = {}
        self.aside: dict[str, Aside] = {}
        self.edits: dict[str, LineEdit] = {}
        self.to_be_priced: set[str] = set()
        self.added: dict[str, Added] = {}
        self.follow_ons: dict[int, FollowOn] = {}  # by decision
        self.put_off: dict[str, int] = {}
        self.confirmed: dict[str, Confirmed] = {}
        self.closed: dict[str, Closing] = {}
        self.waiting: dict[str, Waiting] = {}
        self.settled: dict[tuple[int, int], Settled] = {}
        self.typed: list[Typed] = []
        self.idle: list[Idle] = []
        self._plain: EstimateResult | None = None
        self._before: dict[str, tuple[str, str, Ask]] | None = None

    # --- what follows from the state

    def findings(self) -> tuple[Finding, ...]:
        """The findings on the draft, in order."""
        return tuple(self.held[i].finding for i in sorted(self.held, key=natural))

    def plain(self) -> EstimateResult:
        """The estimate of the findings alone, without anything laid over it."""
        if self._plain is None:
            self._plain = self.estimator(self.findings(), follow_ons=tuple(self.follow_ons.values()))
        return self._plain

    def lines(self) -> dict[str, Line]:
        """The lines that the findings bring, by id; those left off are among them."""
        return {line.id: line for job in self.plain().estimate.jobs for line in job.lines}

    def has_line(self, line: str) -> bool:
        return line in self.added or line in self.lines()

    def full(self) -> EstimateResult:
        """The estimate with everything laid over it."""
        jobs = {line.id: job.id for job in self.plain().estimate.jobs for line in job.lines}
        lines = []
        heads: dict[int, str] = {}  # lines of one answer that has no job yet make one job
        for added in self.added.values():
            line = added.line
            if added.about:  # where what it rests on is now
                job = jobs.get(added.about) or heads.get(added.seq)
                heads.setdefault(added.seq, line.id)
                line = line.model_copy(update={"job": job})
            lines.append(line)
        return self.estimator(
            self.findings(),
            changes=tuple(edit.change for edit in self.edits.values()),
            added=tuple(lines),
            put_off=frozenset(self.put_off),
            follow_ons=tuple(self.follow_ons.values()),
        )

    def asks(self, result: EstimateResult) -> dict[str, tuple[str, str, Ask]]:
        """Every question there is, by key, with the id of what it is about and what that is called."""
        found: dict[str, tuple[str, str, Ask]] = {}
        whole = [a for a in self.base.asks if a.code not in _ESTIMATES_ASKS]
        for ask in (*whole, *result.asks):
            found[ask_key(RECORDING, ask)] = (RECORDING, "the recording", ask)
        for finding in result.findings:
            for ask in finding.asks:
                found[ask_key(finding.id, ask)] = (finding.id, name_of(finding), ask)
        for job in result.estimate.jobs:
            for line in job.lines:
                for ask in line.asks:
                    found[ask_key(line.id, ask)] = (line.id, f"“{line.name}”", ask)
        return found

    def still_open(self, about: str, asks: Sequence[Ask], open_keys: Collection[str]) -> tuple[Ask, ...]:
        """Of the questions on a finding or line those that are still open."""
        return tuple(a for a in asks if ask_key(about, a) in open_keys)

    # --- applying

    def apply(self, item: d.Numbered) -> None:
        """Applies one decision, or notes why it does not apply."""
        handler = _HANDLERS[type(item.decision)]
        try:
            handler(self, item.decision, item)
        except _NoEffectError as error:
            self.idle.append(Idle(seq=item.seq, text=str(error)))

    def note_changes(self, seq: int) -> None:
        """After a change of findings: questions that are gone by it are closed by it."""
        before = self._before if self._before is not None else {}
        after = self.asks(self._renewed())
        for key, (about, name, ask) in before.items():
            if key not in after and key not in self.closed:
                answer = self.waiting[key].answer if key in self.waiting else ""
                self.closed[key] = Closing(ask, about, name, seq, answer, "change", lasting=False)
        self._before = after

    def _renewed(self) -> EstimateResult:
        self._plain = None
        return self.plain()

    def asked_now(self) -> dict[str, tuple[str, str, Ask]]:
        """The questions that the findings raise now, by key."""
        if self._before is None:
            self._before = self.asks(self.plain())
        return self._before

    def _finding(self, id_: str) -> Held:
        held = self.held.get(id_)
        if held is not None:
            return held
        if id_ in self.aside:
            raise _NoEffectError(f"Finding {id_} is put aside; bring it back first.")
        if id_ in self.moved:
            raise _NoEffectError(f"Finding {id_} is now {joined(self.moved[id_])}.")
        raise _NoEffectError(f"There is no finding {id_} on the draft.")

    def _line(self, id_: str) -> None:
        if not self.has_line(id_):
            raise _NoEffectError(f"There is no line {id_} on the draft.")

    # findings

    def change_finding(self, decision: d.ChangeFinding, item: d.Numbered) -> None:
        held = self._finding(decision.finding)
        update: dict[str, Any] = {}
        if decision.component is not None:
            component = self.lexicon.components.get(decision.component)
            if component is None:
                raise _NoEffectError(f"The term files have no part “{decision.component}”.")
            update["component"] = Ref(id=component.id, name=component.name)
        if decision.conditions is not None:
            unknown = [c for c in decision.conditions if c not in self.lexicon.conditions]
            if unknown:
                raise _NoEffectError(f"The term files have no condition “{unknown[0]}”.")
            update["conditions"] = tuple(
                Ref(id=c, name=self.lexicon.conditions[c].name) for c in dict.fromkeys(decision.conditions)
            )
        for name in ("place", "state", "action", "urgency", "only_if"):
            if (value := getattr(decision, name)) is not None:
                update[name] = value
        for name in ("positions", "action_positions"):
            if (value := getattr(decision, name)) is not None:
                update[name] = tidy(value)
        update = {k: v for k, v in update.items() if v != getattr(held.finding, k)}
        if not update:
            raise _NoEffectError(f"Finding {decision.finding} has these values already.")
        self.update(decision.finding, update, item, decision.reason)

    def update(self, id_: str, update: Mapping[str, Any], item: d.Numbered, reason: str) -> None:
        """New values for a finding, with what follows for the questions about it."""
        self.asked_now()
        held = self.held[id_]
        mine = {id_, *(line.id for line in self.lines().values() if id_ in line.findings)}
        for key, closing in list(self.closed.items()):
            rule = RULES.get(closing.ask.code)
            touched = rule is not None and set(rule.settled_by) & set(update)
            if closing.about in mine and touched and rule is not None and rule.made_by == "estimate":
                del self.closed[key]  # what it was answered with no longer holds: it may be asked again
        for ask in held.finding.asks:
            key, rule = ask_key(id_, ask), RULES.get(ask.code)
            if key not in self.closed and rule is not None and set(rule.settled_by) & set(update):
                answer = self.waiting[key].answer if key in self.waiting else ""
                self.closed[key] = Closing(ask, id_, name_of(held.finding), item.seq, answer, "change")
        sure = {k: 1.0 for k in update if k in held.finding.certainty}
        values = dict(update)
        if sure:
            values["certainty"] = held.finding.certainty | sure
        held = replace(
            held,
            finding=held.finding.model_copy(update=values),
            changed=held.changed | dict.fromkeys(update, item.seq),
            why=_why(reason, item.by) or held.why,
            no_work=None if {"state", "action"} & set(update) else held.no_work,
        )
        self.held = self.held | {id_: held}
        self.note_changes(item.seq)

    def split(self, decision: d.Split, item: d.Numbered) -> None:
        held = self._finding(decision.finding)
        objection = split_objection(held.finding, decision.into)
        if objection:
            raise _NoEffectError(f"Finding {decision.finding} was not split: {objection}.")
        ids = split_ids(decision.finding, len(decision.into))
        taken = [i for i in ids if self._known(i)]
        if taken:
            raise _NoEffectError(f"Finding {decision.finding} was not split: there is a {taken[0]} already.")
        self.asked_now()
        del self.held[decision.finding]
        for part in split(held.finding, decision.into):
            self.held[part.id] = replace(
                held, finding=part, made="split", changed=held.changed | {"positions": item.seq}
            )
            self._carry(decision.finding, part.id)
        self._move(decision.finding, ids)
        self.note_changes(item.seq)

    def merge(self, decision: d.Merge, item: d.Numbered) -> None:
        held = [self._finding(i) for i in decision.findings]
        objection = merge_objection([h.finding for h in held])
        if objection:
            raise _NoEffectError(f"{joined(decision.findings)} were not merged: {objection}.")
        self.asked_now()
        whole = merged([h.finding for h in held])
        changed: dict[str, int] = {}
        for one in held:
            changed |= one.changed
        no_work = [h.no_work for h in held]
        for id_ in decision.findings:
            del self.held[id_]
            if id_ != whole.id:
                self._carry(id_, whole.id)
                self._move(id_, (whole.id,))
        if whole.done_with is not None and whole.done_with in decision.findings:
            whole = whole.model_copy(update={"done_with": None})
        self.held[whole.id] = Held(
            finding=whole,
            origins=tuple(sorted({o for h in held for o in h.origins}, key=natural)),
            made="merged",
            changed=changed | {"positions": item.seq},
            why="; ".join(dict.fromkeys(h.why for h in held if h.why)),
            no_work=max(n for n in no_work if n is not None) if all(n is not None for n in no_work) else None,
        )
        self.note_changes(item.seq)

    def _known(self, id_: str) -> bool:
        return id_ in self.held or id_ in self.aside or id_ in self.moved or id_ in self.machine

    def _carry(self, old: str, new: str) -> None:
        """What was answered about a finding stays answered about the one that it became."""
        for closing in [c for c in self.closed.values() if c.about == old]:
            self.closed.setdefault(ask_key(new, closing.ask), replace(closing, about=new))
        for key, (about, _, ask) in (self._before or {}).items():
            if about == old and key in self.waiting:
                self.waiting.setdefault(ask_key(new, ask), self.waiting[key])

    def _move(self, old: str, new: tuple[str, ...]) -> None:
        self.moved[old] = new
        for held in self.held.values():
            if held.finding.done_with == old:
                other = new[0] if new[0] != held.finding.id else None
                held.finding = held.finding.model_copy(update={"done_with": other})

    def say(self, decision: d.Say, item: d.Numbered) -> None:
        unknown = [f.component.id for f in decision.findings if f.component.id not in self.lexicon.components]
        if unknown:
            raise _NoEffectError(f"The term files have no part “{unknown[0]}”.")
        first = len(self.base.transcript.words) + sum(len(t.text.split()) for t in self.typed)
        ids = {f.id: f"s{item.seq}-{n}" for n, f in enumerate(decision.findings, start=1)}
        self.asked_now()
        for finding in decision.findings:
            heard = tuple(
                s.model_copy(update={"first": s.first + first, "last": s.last + first}) for s in finding.heard
            )
            own = tuple(a for a in finding.asks if a.code not in _ESTIMATES_ASKS)
            update = {
                "id": ids[finding.id],
                "heard": heard,
                "asks": own,
                "done_with": ids.get(finding.done_with or ""),
            }
            new = finding.model_copy(update=update)
            self.held[new.id] = Held(new, (new.id,), made="typed", why=_why("Typed at the desk", item.by))
        self.typed.append(Typed(item.seq, decision.text, first, tuple(ids.values())))
        if decision.findings:
            self.note_changes(item.seq)
        if decision.answers:
            key = decision.answers
            if self._asked(key) is None:
                raise _NoEffectError("The sentence stays, but the question it was to answer is not open.")
            self._close(key, item.seq, decision.text)

    # lines

    def change_line(self, decision: d.ChangeLine, item: d.Numbered) -> None:
        change = decision.change
        self._line(change.line)
        given = {f: getattr(change, f) for f in _LINE_FIELDS if getattr(change, f) is not None}
        if not given and not change.left_off and not decision.to_be_priced:
            raise _NoEffectError(f"Nothing is changed on line {change.line}.")
        if change.left_off:
            self.leave_off(change.line, change.reason, item)
        if given:
            self.edit(change.line, given, item, change.reason)
        if decision.to_be_priced:
            self.to_be_priced.add(change.line)
        settling = set(given) | ({"hours", "unit_price"} if decision.to_be_priced else set())
        asked = self.asks(self.full()) if change.line in self.added else self.asked_now()
        for key, (about, _, ask) in asked.items():
            rule = RULES.get(ask.code)
            if about != change.line or key in self.closed or rule is None:
                continue
            if set(rule.settled_by) & settling and (key in self.waiting or ask.code in _OF_WORK):
                answer = self.waiting[key].answer if key in self.waiting else ""
                self._close(key, item.seq, answer, how="change")

    def edit(self, line: str, given: Mapping[str, Any], item: d.Numbered, reason: str) -> None:
        """New values for a line, over those given before."""
        edit = self.edits.get(line) or LineEdit(LineChange(line=line), [])
        said = "; ".join(dict.fromkeys(t for t in (edit.change.reason, reason) if t))
        who = item.by or edit.change.by
        change = edit.change.model_copy(update={**given, "reason": said, "by": who})
        self.edits[line] = LineEdit(change, [*edit.seqs, item.seq])

    def add_line(self, decision: d.AddLine, item: d.Numbered) -> None:
        line = decision.line
        if line.component is not None and line.component.id not in self.lexicon.components:
            raise _NoEffectError(f"The term files have no part “{line.component.id}”.")
        id_ = line.id or f"a{item.seq}"
        if self.has_line(id_):
            raise _NoEffectError(f"There is a line {id_} already.")
        if line.job is not None and line.job not in {j.id for j in self.full().estimate.jobs}:
            raise _NoEffectError(f"There is no job {line.job} on the draft.")
        self.added[id_] = Added(line.model_copy(update={"id": id_, "by": line.by or item.by}), item.seq)

    def put_aside(self, decision: d.PutAside, item: d.Numbered) -> None:
        if decision.target in self.aside:
            raise _NoEffectError(f"{decision.target} is put aside already.")
        if self.has_line(decision.target):
            self.leave_off(decision.target, decision.reason, item)
        else:
            self.aside_finding(decision.target, decision.reason, item)

    def aside_finding(self, id_: str, reason: str, item: d.Numbered) -> None:
        """Takes a finding off the draft and keeps it in sight."""
        held = self._finding(id_)
        self.asked_now()
        del self.held[id_]
        self.aside[id_] = Aside("finding", name_of(held.finding), reason, item.seq, held=held)
        self.note_changes(item.seq)

    def leave_off(self, line: str, reason: str, item: d.Numbered) -> None:
        """Takes a line off the draft and keeps it in sight."""
        if line in self.aside:
            raise _NoEffectError(f"Line {line} is put aside already.")
        name = self.added[line].line.name if line in self.added else self.lines()[line].name
        self.aside[line] = Aside("line", name, reason, item.seq)
        self.edit(line, {"left_off": True}, item, reason)

    def bring_back(self, decision: d.BringBack, item: d.Numbered) -> None:
        aside = self.aside.get(decision.target)
        if aside is None:
            raise _NoEffectError(f"{decision.target} is not put aside.")
        self.asked_now()
        if aside.held is not None:
            del self.aside[decision.target]
            self.held[decision.target] = aside.held
            self.note_changes(item.seq)
            return
        del self.aside[decision.target]
        edit = self.edits[decision.target]
        kept = edit.change.model_copy(update={"left_off": False})
        if any(getattr(kept, f) is not None for f in _LINE_FIELDS):
            self.edits[decision.target] = LineEdit(kept, [*edit.seqs, item.seq])
        else:
            del self.edits[decision.target]

    def put_off_job(self, decision: d.PutOff, item: d.Numbered) -> None:
        if decision.job in self.put_off:
            raise _NoEffectError("This job is put off already.")
        self.put_off[decision.job] = item.seq

    def confirm(self, decision: d.Confirm, item: d.Numbered) -> None:
        content = decision.content
        if not content:
            lines = {x.id: x for job in self.full().estimate.jobs for x in job.lines}
            if decision.line not in lines:
                raise _NoEffectError(f"There is no line {decision.line} on the draft to confirm.")
            content = content_of(lines[decision.line])
        self.confirmed[decision.line] = Confirmed(item.seq, content)

    def unconfirm(self, decision: d.Unconfirm, item: d.Numbered) -> None:  # noqa: ARG002
        if self.confirmed.pop(decision.line, None) is None:
            raise _NoEffectError(f"Line {decision.line} is not confirmed.")

    # words

    def settle_unplaced(self, decision: d.SettleUnplaced, item: d.Numbered) -> None:
        if decision.finding:
            self._finding(decision.finding)
        settled = Settled(decision.how, item.seq, decision.finding)
        if not self._settle(decision.first, decision.last, settled):
            raise _NoEffectError(f"No words without a place are at {decision.first}–{decision.last - 1}.")

    def place_words(self, decision: d.PlaceWords, item: d.Numbered) -> None:
        held = self._finding(decision.finding)
        words = self.base.transcript.words
        if not 0 <= decision.first < decision.last <= len(words):
            raise _NoEffectError(f"The recording has no words {decision.first}–{decision.last - 1}.")
        settled = self._settle(
            decision.first, decision.last, Settled("evidence of a finding", item.seq, decision.finding)
        )
        span = span_of(words, decision.first, decision.last)
        if span in held.finding.heard:
            if settled:
                return
            raise _NoEffectError(f"These words are evidence of {decision.finding} already.")
        heard = tuple(sorted((*held.finding.heard, span), key=lambda s: (s.first, s.last)))
        finding = held.finding.model_copy(update={"heard": heard})
        self.asked_now()
        self.held = self.held | {decision.finding: replace(held, finding=finding)}
        self.note_changes(item.seq)

    def _settle(self, first: int, last: int, settled: Settled) -> bool:
        inside = [u for u in self.base.unplaced if first <= u.first and u.last <= last]
        for unplaced in inside:
            self.settled[unplaced.first, unplaced.last] = settled
        return bool(inside)

    # answers

    def answer(self, decision: d.Answer, item: d.Numbered) -> None:
        found = self._asked(decision.key)
        if found is None:
            raise _NoEffectError("The question that was answered is not asked any more.")
        about, name, ask = found
        said = "; ".join(t for t in (decision.choice.strip(), decision.text.strip()) if t)
        if about in self.aside:
            raise _NoEffectError(f"The question is about {name}, which is put aside.")
        outcome = outcome_of(ask, choice=decision.choice, text=decision.text)
        # closed first, so that a change that makes it vanish is this answer and not a change by itself
        self.closed.pop(decision.key, None)
        self.waiting.pop(decision.key, None)
        reader = Answering(self, item, about=about, ask=ask, decision=decision, outcome=outcome)
        todo = reader.carry_out()
        if todo:
            self.waiting[decision.key] = Waiting(item.seq, said, todo)
            return
        self.closed[decision.key] = Closing(ask, about, name, item.seq, said, "answer")

    def _close(self, key: str, seq: int, answer: str, *, how: Literal["answer", "change"] = "answer") -> None:
        found = self._asked(key)
        if found is not None:
            about, name, ask = found
            self.waiting.pop(key, None)
            self.closed[key] = Closing(ask, about, name, seq, answer, how)

    def _asked(self, key: str) -> tuple[str, str, Ask] | None:
        """A question by its key; those of added lines are asked only with everything laid over."""
        return self.asked_now().get(key) or (self.asks(self.full()).get(key) if self.added else None)

    def undo(self, decision: d.Undo, item: d.Numbered) -> None:
        """Which decisions are taken back is worked out before the replay."""

    # --- transcript and ledger

    def words(self) -> tuple[Word, ...]:
        typed = (Word(heard=w, read=w) for t in self.typed for w in t.text.split())
        return (*self.base.transcript.words, *typed)

    def ledger(self) -> tuple[LedgerEntry, ...]:
        """Where every word is now, those typed at the desk at the end."""
        found = [self._entry(e) for e in self.base.ledger.entries]
        for typed in self.typed:
            found += self._typed_entries(typed)
        return tuple(found)

    def now_called(self, ids: Iterable[str]) -> tuple[str, ...]:
        """The findings on the draft (or put aside) that these have become."""
        found: dict[str, None] = {}
        todo = list(ids)
        while todo:
            id_ = todo.pop(0)
            if id_ in self.held or id_ in self.aside or id_ not in self.moved:
                found[id_] = None
            else:
                todo = [*self.moved[id_], *todo]
        return tuple(found)

    def _entry(self, entry: LedgerEntry) -> LedgerEntry:
        settled = self.settled.get((entry.first, entry.last))
        if entry.kind == "unplaced" and settled is not None:
            if settled.finding:
                findings = tuple(i for i in self.now_called([settled.finding]) if i in self.held)
                if findings:
                    return entry.model_copy(
                        update={"kind": "evidence", "findings": findings, "why": settled.how}
                    )
            return entry.model_copy(update={"kind": "talk", "why": settled.how})
        if not entry.findings:
            return entry
        now = self.now_called(entry.findings)
        there = tuple(i for i in now if i in self.held)
        if there:
            return entry.model_copy(update={"findings": there})
        reasons = [self.aside[i].reason for i in now if i in self.aside]
        return entry.model_copy(
            update={"kind": "talk", "findings": (), "why": f"put aside: {joined(reasons)}"}
        )

    def _typed_entries(self, typed: Typed) -> list[LedgerEntry]:
        found: list[LedgerEntry] = []
        for at in range(typed.first, typed.first + len(typed.text.split())):
            findings = tuple(
                i
                for i in sorted(self.held, key=natural)
                if any(s.first <= at < s.last for s in self.held[i].finding.heard)
            )
            kind: Literal["evidence", "talk"] = "evidence" if findings else "talk"
            why = "typed at the desk"
            last = found[-1] if found else None
            if last is not None and (last.kind, last.findings) == (kind, findings):
                found[-1] = last.model_copy(update={"last": at + 1})
            else:
                found.append(LedgerEntry(first=at, last=at + 1, kind=kind, findings=findings, why=why))
        return found


def _why(reason: str, by: str) -> str:
    return f"{reason} ({by})" if reason and by else reason or (f"by {by}" if by else "")


_ESTIMATES_ASKS = frozenset(code for code, rule in RULES.items() if rule.made_by == "estimate")
_OF_WORK = frozenset({"price_open", "time_open", "not_in_catalogue", "charge_again", "fluid_twice"})
_LINE_FIELDS = ("hours", "unit_price", "quantity", "name", "part_condition")
_HANDLERS: Mapping[type, Callable[[Replay, Any, d.Numbered], None]] = {
    d.Confirm: Replay.confirm,
    d.Unconfirm: Replay.unconfirm,
    d.ChangeFinding: Replay.change_finding,
    d.ChangeLine: Replay.change_line,
    d.AddLine: Replay.add_line,
    d.PutAside: Replay.put_aside,
    d.BringBack: Replay.bring_back,
    d.Split: Replay.split,
    d.Merge: Replay.merge,
    d.Say: Replay.say,
    d.Answer: Replay.answer,
    d.SettleUnplaced: Replay.settle_unplaced,
    d.PlaceWords: Replay.place_words,
    d.PutOff: Replay.put_off_job,
    d.Undo: Replay.undo,
}
