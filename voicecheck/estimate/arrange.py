"""From needs and their operations to jobs with lines: charged, changed, put off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from voicecheck.estimate.changes import by_line, changed, left_off, line_of
from voicecheck.estimate.jobs import Group, group
from voicecheck.estimate.labour import Charge, Task, charge, packages, same_opening, units_of
from voicecheck.estimate.lines import key_of, lead_id, lines_of
from voicecheck.estimate.match import Match
from voicecheck.estimate.needs import Need, conflicts
from voicecheck.estimate.policies import Extras, fits, set_policy
from voicecheck.estimate.texts import named
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.estimate import AddedLine, Job, Line, LineChange
from voicecheck.records.finding import Finding
from voicecheck.records.money import sum_money
from voicecheck.records.shopdata import ShopData
from voicecheck.records.vocabulary import Market
from voicecheck.records.wording import capital, joined, number


@dataclass(slots=True)
class Work:
    """All the work of a draft by index: needs, their matches, what comes with them, and the jobs."""

    needs: tuple[Need, ...]
    matches: tuple[Match, ...]
    extras: Extras
    findings: Mapping[str, Finding]
    shop: ShopData
    lexicon: Lexicon
    market: Market
    groups: tuple[Group, ...] = ()

    def __post_init__(self) -> None:
        inside = packages(self.needs, [m.operation for m in self.matches], self.shop.catalogue.by_code)
        found = group(self.needs, list(self.findings.values()), market=self.market, packages=inside)
        self.groups = tuple(found)

    def keys(self) -> list[str]:
        """How the ids of each need's lines begin, unique in the estimate."""
        found: list[str] = []
        for need, match in zip(self.needs, self.matches, strict=True):
            key, n = key_of(need, match), 1
            while (unique := key if n == 1 else f"{key}~{n}") in found:
                n += 1
            found.append(unique)
        return found

    def leads(self, keys: Sequence[str]) -> list[str]:
        """The id of each need's first line."""
        return [lead_id(*found) for found in zip(keys, self.needs, self.matches, strict=True)]


@dataclass(frozen=True, slots=True)
class Arranged:
    """The jobs with their lines, the lines left off, changes without a line, ids that are no job's."""

    jobs: tuple[Job, ...]
    left_off: tuple[Line, ...]
    unmatched: tuple[LineChange, ...]
    unknown_jobs: tuple[str, ...]


def arrange(
    todo: Work, changes: Sequence[LineChange], added: Sequence[AddedLine], put_off: frozenset[str]
) -> Arranged:
    """All jobs as they were decided on. Ids of lines and jobs do not depend on the decisions.

    Raises ``ValueError`` for an added line whose id is taken.
    """
    keys = todo.keys()
    wanted = by_line(changes)
    leads = todo.leads(keys)
    gone = {i for i, lead in enumerate(leads) if any(c.left_off for c in wanted.get(lead, ()))}
    ids = {n: leads[g.needs[0]] for n, g in enumerate(todo.groups)}
    off = {n for n, job_id in ids.items() if job_id in put_off}
    charges = _charged(todo, off, gone)
    notes = {}
    if off:
        notes = _moved(todo, _charged(todo, set(), gone), charges, off)
    lines = _lines(todo, keys, charges, notes, _fluid_asks(todo, off))
    matched: set[str] = set()
    left: list[Line] = []
    currency = todo.shop.prices.currency

    def settled(line: Line) -> Line | None:
        """The line with its changes, or ``None`` where it was left off."""
        matched.add(line.id)
        for change in wanted.get(line.id, ()):
            if change.left_off:
                left.append(left_off(line, change))
                return None
            line = changed(line, change, currency)
        return line

    found: dict[str, tuple[Group | None, list[Line]]] = {
        ids[n]: (job, [x for i in job.needs for row in lines[i] if (x := settled(row)) is not None])
        for n, job in enumerate(todo.groups)
    }
    unknown = [i for i in sorted(put_off) if i not in found]
    taken = {x.id for rows in lines.values() for x in rows}
    for extra in added:
        if extra.id in taken:
            raise ValueError(f"a line with the id {extra.id} is there already")
        taken.add(extra.id)
        line = settled(line_of(extra, todo.shop.prices, todo.lexicon))
        if extra.job is not None and extra.job not in found:
            unknown.append(extra.job)
        job_id = extra.job if extra.job is not None and extra.job in found else extra.id
        found.setdefault(job_id, (None, []))[1].extend([line] if line is not None else [])
    unknown = [i for i in unknown if i not in found]
    jobs = [
        _job(job_id, job, rows, put_off=job_id in put_off, currency=currency)
        for job_id, (job, rows) in found.items()
        if rows
    ]
    return Arranged(
        jobs=tuple(jobs),
        left_off=tuple(left),
        unmatched=tuple(c for c in changes if c.line not in matched),
        unknown_jobs=tuple(dict.fromkeys(unknown)),
    )


def _job(job_id: str, job: Group | None, lines: Sequence[Line], *, put_off: bool, currency: str) -> Job:
    high = any(x.amount_high is not None for x in lines)
    tops = [x.amount if x.amount_high is None else x.amount_high for x in lines]
    return Job(
        id=job_id,
        title=job.title if job else capital(lines[0].name),
        urgency=job.urgency if job else "unstated",
        lines=tuple(lines),
        subtotal=sum_money((x.amount for x in lines if x.amount is not None), currency),
        subtotal_high=sum_money((t for t in tops if t is not None), currency) if high else None,
        only_if=job.only_if if job else "",
        put_off=put_off,
    )


def _tasks(todo: Work, job: Group, gone: set[int]) -> list[Task]:
    found = []
    for i in job.needs:
        operation = todo.matches[i].operation
        if operation is not None and i not in gone:
            found.append(
                Task(
                    index=i,
                    need=todo.needs[i],
                    operation=operation,
                    units=units_of(todo.needs[i], operation),
                    urgency=job.urgency,
                    only_if=job.only_if,
                    general=todo.matches[i].general,
                )
            )
    return found


def _charged(todo: Work, off: set[int], gone: set[int]) -> dict[int, Charge]:
    """Hours by need: the jobs that are agreed to in one visit, each that is put off by itself.

    The labour of ``gone`` was left off; it is charged as if alone, for the line that says so.
    """
    operations = todo.shop.catalogue.by_code
    visits = [[t for n, g in enumerate(todo.groups) if n not in off for t in _tasks(todo, g, gone)]]
    visits += [_tasks(todo, todo.groups[n], gone) for n in sorted(off)]
    visits += [[t] for g in todo.groups for t in _tasks(todo, g, set()) if t.index in gone]
    return {i: c for tasks in visits for i, c in charge(tasks, operations).items()}


def _moved(
    todo: Work, before: Mapping[int, Charge], now: Mapping[int, Charge], off: set[int]
) -> dict[int, str]:
    """What to say on labour that costs more because a job that paid for it is put off."""
    away = {i for n in off for i in todo.groups[n].needs}
    notes = {}
    for i, charge_now in now.items():
        more = charge_now.hours - before[i].hours
        if i in away or more <= 0:
            continue
        payers = dict.fromkeys(s.by for s in before[i].less if s.by in away)
        names = [f"“{op.name}”" for p in payers if (op := todo.matches[p].operation)]
        with_whom = (
            f" with {joined(names)}, which {'is' if len(names) == 1 else 'are'} put off" if names else ""
        )
        notes[i] = f"; {number(more)} h of it {'was' if names else 'is no longer'} shared{with_whom}"
    return notes


def _lines(
    todo: Work,
    keys: Sequence[str],
    charges: Mapping[int, Charge],
    notes: Mapping[int, str],
    fluids: Mapping[int, Mapping[str, Ask]],
) -> dict[int, list[Line]]:
    """The lines of every need, by its index."""
    tasks = {t.index: t for g in todo.groups for t in _tasks(todo, g, set())}
    asks = _line_asks(todo)
    payers = dict(enumerate(todo.leads(keys)))
    found = {}
    for i, (need, match) in enumerate(zip(todo.needs, todo.matches, strict=True)):
        found[i] = lines_of(
            need,
            key=keys[i],
            match=match,
            task=tasks.get(i),
            charge=charges.get(i),
            prices=todo.shop.prices,
            asks=asks[i],
            set_rule=set_policy(todo.shop.policies, need, todo.lexicon),
            fluid_asks=fluids.get(i),
            extra_parts=todo.extras.parts.get(i, ()),
            fees=[
                f for f in todo.shop.prices.fees if fits(f.work, need.component, need.action, todo.lexicon)
            ],
            payers=payers,
            note=notes.get(i, ""),
            said=_words(todo, need),
        )
    return found


def _words(todo: Work, need: Need) -> str:
    """What the technician said of the findings behind a need."""
    spans = [s.read for f in need.findings for s in todo.findings[f].heard if s.read]
    return " … ".join(dict.fromkeys(spans))


def _fluid_asks(todo: Work, off: set[int]) -> dict[int, dict[str, Ask]]:
    """Fluids that two operations on the same opened system each bring: by need's index and fluid's name.

    Both are charged until someone answers, because a catalogue row does not say whether it fills or tops up.
    """
    asks: dict[int, dict[str, Ask]] = {}
    visits = [[t for n, g in enumerate(todo.groups) if n not in off for t in _tasks(todo, g, set())]]
    visits += [_tasks(todo, todo.groups[n], set()) for n in sorted(off)]
    for tasks in visits:
        for n, task in enumerate(tasks):
            for use in task.operation.parts:
                before = [
                    other.operation.name
                    for other in tasks[:n]
                    if same_opening(task, other)
                    and any(
                        (u.kind, u.name, u.unit) == ("fluid", use.name, use.unit)
                        for u in other.operation.parts
                    )
                ]
                if use.kind == "fluid" and before:
                    names = joined([f"“{name}”" for name in dict.fromkeys(before)])
                    asks.setdefault(task.index, {})[use.name] = Ask(
                        code="fluid_twice",
                        field="quantity",
                        message=(
                            f"{capital(use.name)} is already on the draft with {names}: is it filled once?"
                        ),
                        choices=("Once, leave this line off", "No, both are needed"),
                    )
    return asks


def _line_asks(todo: Work) -> dict[int, list[Ask]]:
    """Questions that arise between lines, by the index of the need whose leading line carries them."""
    asks: dict[int, list[Ask]] = {i: [] for i in range(len(todo.needs))}
    clashing = conflicts(todo.needs)
    for i, need in enumerate(todo.needs):
        if need in clashing:
            what, new = named(need.ref.name, need.positions, need.place), clashing[need].action
            asks[i].append(
                Ask(
                    code="two_actions",
                    field="action",
                    message=f"Both {need.action} and {new} were advised for the {what}; which one?",
                    choices=(capital(new), capital(need.action), "Both"),
                )
            )
        asks[i] += todo.extras.asks.get(i, ())
    return asks
