"""The estimate stage: findings in, jobs, money and open questions out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from voicecheck.estimate.jobs import Group, group
from voicecheck.estimate.labour import Task, charge, same_opening, units_of
from voicecheck.estimate.limits import Limits
from voicecheck.estimate.lines import lines_of
from voicecheck.estimate.match import Match, Matcher
from voicecheck.estimate.names import NameScorer, RapidfuzzScorer
from voicecheck.estimate.needs import Need, asks_for_work, conflicts, covering, natural, needs_of
from voicecheck.estimate.result import EstimateResult
from voicecheck.estimate.texts import capital, joined, named, work
from voicecheck.estimate.totals import total
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.estimate import Estimate, Job, Line
from voicecheck.records.finding import Finding
from voicecheck.records.money import sum_money
from voicecheck.records.shopdata import Operation, ShopData
from voicecheck.records.vocabulary import UNPRICED_ACTIONS, Market


def make_estimate(
    findings: Sequence[Finding],
    *,
    lexicon: Lexicon,
    shop: ShopData,
    market: Market,
    scorer: NameScorer | None = None,
) -> EstimateResult:
    """The draft estimate for a vehicle's findings.

    The result does not depend on the order of the findings. Findings come back as given, with asks added;
    giving them in again adds none twice. ``scorer`` compares names (rapidfuzz unless given).

    Raises ``InputError`` when the lexicon lacks a finding's component, ``ValueError`` when two findings have
    the same id.
    """
    repeated = [i for i, n in Counter(f.id for f in findings).items() if n > 1]
    if repeated:
        raise ValueError(f"more than one finding has the id {joined(sorted(repeated, key=natural))}")
    needs = needs_of(findings, lexicon)
    matcher = Matcher(shop.catalogue, lexicon=lexicon, scorer=scorer or RapidfuzzScorer())
    matches = [matcher.match(need) for need in needs]
    groups = group(needs, findings, market=market)
    jobs = _jobs(needs, matches, groups, shop)
    lines = [line for job in jobs for line in job.lines]
    prices = shop.prices
    return EstimateResult(
        estimate=Estimate(currency=prices.currency, jobs=tuple(jobs), totals=total(lines, prices)),
        findings=_with_asks(findings, needs, lexicon=lexicon, shop=shop, market=market),
        asks=_general_asks(shop, market),
    )


def _jobs(
    needs: Sequence[Need], matches: Sequence[Match], groups: Sequence[Group], shop: ShopData
) -> list[Job]:
    operations = {o.code: o for o in shop.catalogue.operations}
    tasks: dict[int, Task] = {}
    for job in groups:
        for i in job.needs:
            operation = matches[i].operation
            if operation is not None:
                tasks[i] = Task(
                    index=i,
                    need=needs[i],
                    operation=operation,
                    visit=job.visit,
                    units=units_of(needs[i], operation),
                    general=matches[i].general,
                )
    charges = charge(list(tasks.values()), operations)
    fluids = _fluid_asks(list(tasks.values()))
    extra = _line_asks(needs, matches, groups, operations)
    found = []
    for job in groups:
        lines: list[Line] = []
        for i in job.needs:
            lines += lines_of(
                needs[i],
                match=matches[i],
                task=tasks.get(i),
                charge=charges.get(i),
                prices=shop.prices,
                asks=extra[i],
                fluid_asks=fluids.get(i),
            )
        subtotal = sum_money((x.amount for x in lines if x.amount is not None), shop.prices.currency)
        found.append(
            Job(
                title=job.title,
                urgency=job.urgency,
                lines=tuple(lines),
                subtotal=subtotal,
                only_if=job.only_if,
            )
        )
    return found


def _fluid_asks(tasks: Sequence[Task]) -> dict[int, dict[str, Ask]]:
    """Fluids that two operations on the same opened system each bring: by need's index and fluid's name.

    Both are charged until someone answers, because a catalogue row does not say whether it fills or tops up.
    """
    asks: dict[int, dict[str, Ask]] = {}
    for n, task in enumerate(tasks):
        for use in task.operation.parts:
            before = [
                other.operation.name
                for other in tasks[:n]
                if same_opening(task, other)
                and any(
                    (u.kind, u.name, u.unit) == ("fluid", use.name, use.unit) for u in other.operation.parts
                )
            ]
            if use.kind == "fluid" and before:
                names = joined([f"“{name}”" for name in dict.fromkeys(before)])
                asks.setdefault(task.index, {})[use.name] = Ask(
                    code="fluid_twice",
                    field="quantity",
                    message=f"{capital(use.name)} is already on the draft with {names}: is it filled once?",
                    choices=("Once, leave this line off", "No, both are needed"),
                )
    return asks


def _line_asks(
    needs: Sequence[Need],
    matches: Sequence[Match],
    groups: Sequence[Group],
    operations: Mapping[str, Operation],
) -> dict[int, list[Ask]]:
    """Questions that arise between lines, by the index of the need whose leading line carries them."""
    asks: dict[int, list[Ask]] = {i: [] for i in range(len(needs))}
    clashing = conflicts(needs)
    for i, need in enumerate(needs):
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
    used = {m.operation.code for m in matches if m.operation is not None}
    wanted = {(n.component.id, n.action) for n in needs}
    after: dict[str, list[int]] = {}
    for i in (i for job in groups for i in job.needs):
        operation = matches[i].operation
        for code in operation.follow_on if operation else ():
            follow = operations.get(code)
            if follow and code not in used and (follow.component, follow.action) not in wanted:
                after.setdefault(code, []).append(i)
    for code, causes in after.items():
        name = operations[code].name
        why = joined(list(dict.fromkeys(f"“{op.name}”" for i in causes if (op := matches[i].operation))))
        asks[causes[0]].append(
            Ask(
                code="follow_on",
                field="follow_on",
                message=f"“{name}” ({code}) usually follows {why}: add it?",
                choices=("Add it", "Leave it off"),
            )
        )
    return asks


def _with_asks(
    findings: Sequence[Finding], needs: Sequence[Need], *, lexicon: Lexicon, shop: ShopData, market: Market
) -> tuple[Finding, ...]:
    limits = Limits(shop.limits, lexicon=lexicon, market=market)
    found = []
    for finding in findings:
        new = _finding_asks(finding, needs, limits, lexicon)
        asks = tuple(dict.fromkeys((*finding.asks, *new)))
        found.append(finding.model_copy(update={"asks": asks}) if asks != finding.asks else finding)
    return tuple(found)


def _finding_asks(finding: Finding, needs: Sequence[Need], limits: Limits, lexicon: Lexicon) -> list[Ask]:
    what = capital(named(finding.component.name, finding.positions, finding.place))
    covered = not asks_for_work(finding) and covering(finding, needs, lexicon) is not None
    advised = finding.action not in UNPRICED_ACTIONS
    if finding.state in ("defect", "missing") and finding.action == "none":
        return [] if covered else [_no_advice(finding, what, limits)]
    if advised and not asks_for_work(finding) and not covered:
        if finding.state == "suspect":
            return [
                Ask(
                    code="possible_only",
                    field="action",
                    message=(
                        f"{what}: said as possible only, and {finding.action} was advised. "
                        "Check first, or price it?"
                    ),
                    choices=("Check first", "Price it", "Leave it"),
                )
            ]
        state = "fine" if finding.state == "ok" else "not checked"
        return [
            Ask(
                code="advice_without_defect",
                field="action",
                message=f"{what}: said to be {state}, and {finding.action} was advised. Price it?",
                choices=(work(finding.action, finding.component.name), "Leave it"),
            )
        ]
    ask = limits.ask(finding, covered=covered)
    return [] if ask is None else [ask]


def _no_advice(finding: Finding, what: str, limits: Limits) -> Ask:
    wrong = joined([c.name for c in finding.conditions]) or (
        "missing" if finding.state == "missing" else "defective"
    )
    number = limits.crossed(finding)
    choices = (
        ("Install", "Leave it") if finding.state == "missing" else ("Replace", "Repair", "Watch", "Leave it")
    )
    return Ask(
        code="no_advice",
        field="action",
        message=f"{what}: {wrong}. {number}{' ' if number else ''}{_options(choices)}?",
        choices=choices,
    )


def _options(choices: Sequence[str]) -> str:
    """ "Replace, repair, watch or leave it"."""
    return capital(f"{', '.join(choices[:-1])} or {choices[-1]}".lower())


def _general_asks(shop: ShopData, market: Market) -> tuple[Ask, ...]:
    if shop.prices.market == market:
        return ()
    message = (
        f"The price profile “{shop.prices.name}” is for {shop.prices.market}, in {shop.prices.currency}, "
        f"and the recording was read as {market}. Which one is right?"
    )
    return (
        Ask(code="market_differs", field="market", message=message, choices=(market, shop.prices.market)),
    )
