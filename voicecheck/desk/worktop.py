"""A machine's draft with people's decisions laid over it, and what still keeps it from being issued."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from voicecheck.desk.asks import RECORDING, offered
from voicecheck.desk.content import content_of, differing, lapse
from voicecheck.desk.decisions import Numbered, Undo
from voicecheck.desk.estimator import Estimator
from voicecheck.desk.replay import Replay
from voicecheck.desk.states import (
    AsideState,
    AskState,
    FindingState,
    Hindrance,
    Idle,
    LineState,
    Summary,
    TypedState,
    UnplacedState,
    Worktop,
)
from voicecheck.estimate.needs import covering, needs_of
from voicecheck.estimate.result import EstimateResult
from voicecheck.estimate.texts import name_of, named, wrong_with
from voicecheck.lexicon.model import Lexicon
from voicecheck.records import Ask, Draft, Estimate, Finding, Line, Market, RefusedError, ShopData
from voicecheck.records.transcript import joined as joined_words
from voicecheck.records.wording import joined

__all__ = ["Estimator", "Numbered", "Worktop", "active_decisions", "check", "worktop"]


def worktop(
    base: Draft,
    decisions: Sequence[Numbered],
    *,
    lexicon: Lexicon,
    shop: ShopData,
    market: Market,
    estimator: Estimator | None = None,
) -> Worktop:
    """The draft ``base`` after ``decisions``, in the order of their numbers.

    The same input gives the same result, and no decision is too odd: one that does not apply (any more) is
    kept, changes nothing, and is in ``idle`` with a sentence. ``estimator`` remembers estimates between
    calls; it must have been made with the same lexicon, shop data and market.

    Raises ``InputError`` when the lexicon lacks a component of the draft's findings, ``ValueError`` when two
    decisions have the same number.
    """
    ordered = sorted(decisions, key=lambda n: n.seq)
    if len({n.seq for n in ordered}) < len(ordered):
        raise ValueError("two decisions have the same number")
    active, undone, idle = _active(ordered)
    replay = Replay(base, estimator or Estimator(lexicon=lexicon, shop=shop, market=market))
    machine = replay.lines()
    for item in active:
        replay.apply(item)
    return _Finish(replay, machine).worktop(undone=undone, idle=idle, seq=ordered[-1].seq if ordered else 0)


def check(before: Worktop, after: Worktop) -> None:
    """Whether the last decision of ``after`` did something.

    Raises ``RefusedError`` with its sentence where it did not: it should not be kept then.
    """
    known = {i.seq for i in before.idle}
    for idle in after.idle:
        if idle.seq == after.seq and idle.seq not in known:
            raise RefusedError(idle.text)


def active_decisions(decisions: Sequence[Numbered]) -> tuple[Numbered, ...]:
    """The decisions that count, in order: without those taken back."""
    return tuple(_active(sorted(decisions, key=lambda n: n.seq))[0])


def _active(ordered: Sequence[Numbered]) -> tuple[list[Numbered], tuple[int, ...], list[Idle]]:
    """The decisions that count, the numbers of those taken back, and undos that took nothing back.

    Only a later decision takes one back, so that going from the last to the first settles each once.
    """
    known = {n.seq for n in ordered}
    dead: dict[int, int] = {}
    idle: list[Idle] = []
    for item in reversed(ordered):
        if item.seq in dead or not isinstance(item.decision, Undo):
            continue
        target = item.decision.seq
        if target not in known or target >= item.seq:
            idle.append(Idle(seq=item.seq, text=f"There is no earlier decision {target} to take back."))
        elif target in dead:
            idle.append(Idle(seq=item.seq, text=f"Decision {target} is taken back already."))
        else:
            dead[target] = item.seq
    return [n for n in ordered if n.seq not in dead], tuple(sorted(dead)), idle


_LEADING = ("labour", "sublet")


class _Finish:
    """From the state after the last decision to what is shown."""

    def __init__(self, replay: Replay, machine: dict[str, Line]) -> None:
        self.replay = replay
        self.machine = machine
        self._drop_what_rests_on_nothing()
        self.result: EstimateResult = replay.full()
        self.estimate: Estimate = self._asked_by_advisor(self.result.estimate)
        self.lines = {line.id: (job, line) for job in self.estimate.jobs for line in job.lines}
        self.left_off = {line.id: line for line in self.estimate.left_off}
        self._note_what_matched_nothing()

    def worktop(self, *, undone: tuple[int, ...], idle: Sequence[Idle], seq: int) -> Worktop:
        open_asks = self._open_asks()
        lines = self._lines()
        unplaced = self._unplaced()
        findings, loose = self._findings(open_asks)
        asks = self._asks(open_asks)
        hindrances = self._hindrances(lines, asks, unplaced, loose)
        totals = self.estimate.totals
        return Worktop(
            draft=self._draft(open_asks, unplaced),
            lines=lines,
            findings=findings,
            asks=asks,
            unplaced=unplaced,
            aside=self._aside(),
            typed=tuple(TypedState(seq=t.seq, text=t.text, findings=t.findings) for t in self.replay.typed),
            hindrances=hindrances,
            idle=tuple(sorted((*idle, *self.replay.idle), key=lambda i: i.seq)),
            undone=undone,
            seq=seq,
            summary=Summary(
                open_asks=sum(1 for a in asks if a.state == "open"),
                unconfirmed=sum(1 for x in lines if x.confirmed is None),
                unplaced=sum(1 for u in unplaced if u.state == "open"),
                hindrances=len(hindrances),
                total=totals.total,
                total_high=totals.total_high,
                currency=self.estimate.currency,
                open_lines=totals.open_lines,
            ),
        )

    def _asked_by_advisor(self, estimate: Estimate) -> Estimate:
        """The estimate takes what was added to follow as a policy's; a person wanted it."""
        says = {rule.says for rule in self.replay.follow_ons.values()}
        if not says:
            return estimate

        def told(line: Line) -> Line:
            return line.model_copy(update={"asked_by": "advisor"}) if line.why in says else line

        jobs = tuple(
            job.model_copy(update={"lines": tuple(told(line) for line in job.lines)}) for job in estimate.jobs
        )
        return estimate.model_copy(update={"jobs": jobs, "left_off": tuple(map(told, estimate.left_off))})

    # --- decisions that came to nothing later

    def _drop_what_rests_on_nothing(self) -> None:
        replay = self.replay
        there = {*replay.lines(), *replay.held}
        lost: dict[int, list[str]] = {}
        for id_, added in list(replay.added.items()):
            if added.about and added.about not in there:
                lost.setdefault(added.seq, []).append(added.line.name)
                del replay.added[id_]
                replay.edits.pop(id_, None)
                replay.aside.pop(id_, None)
        for seq, names in lost.items():
            what = joined([f"“{n}”" for n in names])
            text = f"{what} went on the draft with something that is not on it any more, and is off again."
            replay.idle.append(Idle(seq=seq, text=text))

    def _note_what_matched_nothing(self) -> None:
        replay = self.replay
        reasons = {line.why for line in replay.lines().values()}
        for seq, rule in replay.follow_ons.items():
            if rule.says not in reasons:
                text = "The work that this was to follow is not on the draft any more, nor is this."
                replay.idle.append(Idle(seq=seq, text=text))
        for change in self.result.unmatched:
            edit = replay.edits[change.line]
            replay.aside.pop(change.line, None)
            for seq in edit.seqs:
                text = f"Line {change.line}, which was changed, is not on the draft any more."
                replay.idle.append(Idle(seq=seq, text=text))
        for job in self.result.unknown_jobs:
            if job in replay.put_off:
                text = f"Job {job}, which was put off, is not on the draft any more."
                replay.idle.append(Idle(seq=replay.put_off[job], text=text))
            for added in replay.added.values():
                if added.line.job == job and not added.about:
                    text = f"Job {job}, to which “{added.line.name}” was added, is not on the draft any more."
                    replay.idle.append(Idle(seq=added.seq, text=text))
        for line, confirmed in replay.confirmed.items():
            if line not in self.lines and line not in self.left_off:
                text = f"Line {line}, which was confirmed, is not on the draft any more."
                replay.idle.append(Idle(seq=confirmed.seq, text=text))

    # --- states

    def _lines(self) -> tuple[LineState, ...]:
        return tuple(self._line(id_) for id_ in self.lines)

    def _line(self, id_: str) -> LineState:
        job, line = self.lines[id_]
        machine, added = self.machine.get(id_), self.replay.added.get(id_)
        content = content_of(line)
        given = self.replay.confirmed.get(id_)
        holds = given is not None and given.content == content
        lapsed = lapse(given.content, line) if given is not None and not holds else ""
        alone, since = self._left_alone(line)
        if given is not None and holds and given.seq < since:
            holds, lapsed = False, alone
        return LineState(
            line=line,
            job=job.id,
            put_off=job.put_off,
            content=content,
            confirmed=given.seq if given is not None and holds else None,
            lapsed=lapsed,
            changed=differing(machine, line) if machine is not None else (),
            machine=machine,
            why=line.changed or (added.line.reason if added is not None else ""),
            to_be_priced=id_ in self.replay.to_be_priced and line.amount is None,
        )

    def _left_alone(self, line: Line) -> tuple[str, int]:
        """Of a line that only comes with work which was put aside: what to say, and the decision.

        A part without its labour, or what follows work that is not done, may be meant; somebody has to say.
        """
        mine = set(line.findings)
        comes_with = line.asked_by != "technician" or line.kind not in _LEADING
        causes = [
            x
            for x in self.replay.lines().values()
            if x.kind in _LEADING
            and x.asked_by == "technician"
            and x.id != line.id
            and mine & set(x.findings)
        ]
        asides = [self.replay.aside[x.id] for x in causes if x.id in self.replay.aside]
        if not comes_with or not causes or len(asides) < len(causes):
            return "", 0
        names = joined([f"“{a.name}”" for a in asides])
        text = f"It goes with {names}, which was put aside since. Put it aside as well, or confirm it again."
        return text, max(a.seq for a in asides)

    def _open_asks(self) -> dict[str, tuple[str, str, Ask]]:
        closed = self.replay.closed
        return {
            key: found
            for key, found in self.replay.asks(self.result).items()
            if key not in closed or not closed[key].lasting
        }

    def _asks(self, open_asks: dict[str, tuple[str, str, Ask]]) -> tuple[AskState, ...]:
        found = []
        for key, (about, name, ask) in open_asks.items():
            waiting = self.replay.waiting.get(key)
            state = AskState(key=key, ask=ask, about=about, name=name, choices=offered(ask))
            if waiting is not None:
                update = {"answer": waiting.answer, "todo": waiting.todo, "seq": waiting.seq}
                state = state.model_copy(update=update)
            found.append(state)
        for key, closing in self.replay.closed.items():
            # of a finding that was split or merged: the question is now about what it became
            if key not in open_asks and closing.about not in self.replay.moved:
                found.append(
                    AskState(
                        key=key, ask=closing.ask, about=closing.about, name=closing.name,
                        choices=offered(closing.ask), state="answered", answer=closing.answer,
                        how=closing.how, seq=closing.seq,
                    )
                )  # fmt: skip
        return tuple(found)

    def _unplaced(self) -> tuple[UnplacedState, ...]:
        found = []
        for words in self.replay.base.unplaced:
            settled = self.replay.settled.get((words.first, words.last))
            found.append(
                UnplacedState(
                    **words.model_dump(),
                    state="open" if settled is None else "settled",
                    how=settled.how if settled else "",
                    finding=settled.finding if settled else "",
                    seq=settled.seq if settled else None,
                )
            )
        return tuple(found)

    def _aside(self) -> tuple[AsideState, ...]:
        found = []
        for target, aside in self.replay.aside.items():
            found.append(
                AsideState(
                    target=target,
                    kind=aside.kind,
                    name=aside.name,
                    reason=aside.reason,
                    seq=aside.seq,
                    finding=aside.held.finding if aside.held else None,
                    line=self.left_off.get(target),
                    origins=aside.held.origins if aside.held else (),
                )
            )
        return tuple(found)

    def _findings(
        self, open_asks: dict[str, tuple[str, str, Ask]]
    ) -> tuple[tuple[FindingState, ...], tuple[Hindrance, ...]]:
        replay = self.replay
        on, off = self._lines_of_findings()
        asked = {about for about, _, _ in open_asks.values()}
        answered = {
            c.about for c in replay.closed.values() if c.ask.code == "no_advice" and c.how == "answer"
        }
        states, loose = [], []
        needs = needs_of(replay.findings(), replay.lexicon)
        for finding in self.result.findings:
            held = replay.held[finding.id]
            lines = (*on.get(finding.id, ()), *off.get(finding.id, ()))
            text = ""
            if lines:
                stands = "work"
            elif (
                finding.state not in ("defect", "missing")
                or finding.action == "monitor"
                or held.no_work is not None
                or finding.id in answered
            ):
                stands = "noted"
            else:
                stands = "open"
                need = covering(finding, needs, replay.lexicon) if finding.action == "none" else None
                if need is not None:
                    dealt = any(set(on.get(i, ())) for i in need.findings)
                    stands = "covered" if dealt else "open"
                    what = named(need.ref.name, need.positions)
                    text = f"the work that was to deal with it, on the {what}, is off the draft"
                elif finding.id not in asked:
                    text = "nothing on the draft deals with it"
                if stands == "open" and text:
                    wrong = f"{name_of(finding)}: {wrong_with(finding)}"
                    whole = f"{wrong}, and {text}. Name the work, or put it aside."
                    loose.append(Hindrance(kind="finding", target=finding.id, text=whole))
            states.append(
                FindingState(
                    finding=self._without(finding, open_asks),
                    origins=held.origins,
                    machine=tuple(replay.machine[i] for i in held.origins if i in replay.machine),
                    made=held.made,
                    changed=tuple(held.changed),
                    lines=lines,
                    stands=stands,
                    why=held.why,
                )
            )
        return tuple(states), tuple(loose)

    def _lines_of_findings(self) -> tuple[dict[str, tuple[str, ...]], dict[str, tuple[str, ...]]]:
        """The ids of lines on the draft, and of those left off, by finding."""
        on: dict[str, tuple[str, ...]] = {}
        off: dict[str, tuple[str, ...]] = {}
        for line in (line for _, line in self.lines.values()):
            added = self.replay.added.get(line.id)
            owners = line.findings
            if added is not None and added.about:
                about = self.replay.lines().get(added.about)
                owners = about.findings if about is not None else (added.about,)
            for finding in owners:
                on[finding] = (*on.get(finding, ()), line.id)
        for line in self.left_off.values():
            for finding in line.findings:
                off[finding] = (*off.get(finding, ()), line.id)
        return on, off

    def _hindrances(
        self,
        lines: Sequence[LineState],
        asks: Sequence[AskState],
        unplaced: Sequence[UnplacedState],
        loose: Sequence[Hindrance],
    ) -> tuple[Hindrance, ...]:
        found = []
        for state in asks:
            if state.state == "open":
                todo = f" {state.todo}" if state.todo else ""
                text = f"Open question on {state.name}: {state.ask.message}{todo}"
                found.append(Hindrance(kind="ask", target=state.key, text=text))
        for line in lines:
            name = f"“{line.line.name}”"
            where = f" ({joined(line.line.positions)})" if line.line.positions else ""
            if line.line.amount is None and not line.to_be_priced:
                text = f"{name}{where} has no price yet; type one, or mark it to be priced."
                found.append(Hindrance(kind="price", target=line.id, text=text))
            if line.confirmed is None:
                text = f"{name}{where}: {line.lapsed}" if line.lapsed else f"{name}{where} is not confirmed."
                found.append(Hindrance(kind="line", target=line.id, text=text))
        for words in unplaced:
            if words.state == "open":
                text = f"Words without a place: “{words.text}” ({words.why})."
                found.append(Hindrance(kind="unplaced", target=f"{words.first}-{words.last}", text=text))
        return (*found, *loose)

    # --- the draft

    def _draft(self, open_asks: dict[str, tuple[str, str, Ask]], unplaced: Sequence[UnplacedState]) -> Draft:
        base = self.replay.base
        words = self.replay.words()
        jobs = tuple(
            job.model_copy(update={"lines": tuple(self._line_without(line, open_asks) for line in job.lines)})
            for job in self.estimate.jobs
        )
        still = {(u.first, u.last) for u in unplaced if u.state == "open"}
        typed = len(words) > len(base.transcript.words)
        return base.model_copy(
            update={
                "transcript": base.transcript.model_copy(
                    update={"words": words, "text": joined_words(w.read for w in words)}
                )
                if typed
                else base.transcript,
                "findings": tuple(self._without(f, open_asks) for f in self.result.findings),
                "ledger": base.ledger.model_copy(update={"entries": self.replay.ledger()}),
                "estimate": self.estimate.model_copy(update={"jobs": jobs}),
                "unplaced": tuple(u for u in base.unplaced if (u.first, u.last) in still),
                "asks": tuple(a for about, _, a in open_asks.values() if about == RECORDING),
            }
        )

    def _without(self, finding: Finding, open_asks: Collection[str]) -> Finding:
        kept = self.replay.still_open(finding.id, finding.asks, open_asks)
        return finding if kept == finding.asks else finding.model_copy(update={"asks": kept})

    def _line_without(self, line: Line, open_asks: Collection[str]) -> Line:
        kept = self.replay.still_open(line.id, line.asks, open_asks)
        return line if kept == line.asks else line.model_copy(update={"asks": kept})


def origins_of(worktop_: Worktop) -> frozenset[str]:
    """The machine's findings that are still in sight: on the draft or put aside."""
    here = {o for f in worktop_.findings for o in f.origins}
    return frozenset(here | {o for a in worktop_.aside for o in a.origins})
