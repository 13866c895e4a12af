"""What has to be asked about each finding, and about the whole estimate."""

from __future__ import annotations

from collections.abc import Sequence

from voicecheck.estimate.limits import Limits
from voicecheck.estimate.needs import Need, asks_for_work, covering
from voicecheck.estimate.policies import conclusion
from voicecheck.estimate.texts import name_of, work, wrong_with
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.finding import Finding
from voicecheck.records.shopdata import ShopData
from voicecheck.records.vocabulary import UNPRICED_ACTIONS, Action, Market
from voicecheck.records.wording import capital, joined

# Advice that makes no sense without a fault; maintenance does.
_FOR_A_FAULT: frozenset[Action] = frozenset({"replace", "repair", "resurface"})


def with_asks(
    findings: Sequence[Finding], needs: Sequence[Need], limits: Limits, *, lexicon: Lexicon, shop: ShopData
) -> tuple[Finding, ...]:
    """The findings as given, each with the questions that it raises added once."""
    found = []
    for finding in findings:
        new = _finding_asks(finding, needs, limits, lexicon, shop)
        asks = tuple(dict.fromkeys((*finding.asks, *new)))
        found.append(finding.model_copy(update={"asks": asks}) if asks != finding.asks else finding)
    return tuple(found)


def is_covered(finding: Finding, needs: Sequence[Need], lexicon: Lexicon) -> bool:
    """Whether work on the draft settles a finding that asks for none itself."""
    return not asks_for_work(finding) and covering(finding, needs, lexicon) is not None


def _finding_asks(
    finding: Finding, needs: Sequence[Need], limits: Limits, lexicon: Lexicon, shop: ShopData
) -> list[Ask]:
    what = name_of(finding)
    covered = is_covered(finding, needs, lexicon)
    advised = finding.action not in UNPRICED_ACTIONS
    beyond = limits.crossed(finding)
    ruled = None
    if finding.state in ("defect", "missing") and not covered:
        ruled = conclusion(shop.policies, finding, beyond=bool(beyond), lexicon=lexicon)
    more = (work(ruled[0].instead, ruled[1].name), ruled[0].says) if ruled else None
    if finding.state in ("defect", "missing") and finding.action == "none":
        return [] if covered else [_no_advice(finding, what, beyond, more)]
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
    if more:
        return [
            Ask(
                code="condition_vs_advice",
                field="action",
                message=f"{what}: {_advice(finding)}. {more[1]} {more[0]}?",
                choices=(more[0], "Leave it as said"),
            )
        ]
    ask = limits.ask(finding, covered=covered)
    if ask is None and asks_for_work(finding) and _for_no_fault(finding):
        ask = Ask(
            code="no_fault_said",
            field="conditions",
            message=(
                f"{what}: {finding.action} was advised, and nothing was said to be wrong with it. Price it?"
            ),
            choices=("Price it", "Say what is wrong", "Leave it"),
        )
    return [] if ask is None else [ask]


def _for_no_fault(finding: Finding) -> bool:
    """Whether a defect is known from the advice alone, and nothing else asks about the finding yet."""
    bare = not finding.conditions and not finding.measures and not finding.because
    return bare and finding.state == "defect" and finding.action in _FOR_A_FAULT and not finding.asks


def _advice(finding: Finding) -> str:
    said = joined([c.name for c in finding.conditions])
    advice = "to keep an eye on it" if finding.action == "monitor" else f"to {finding.action} it"
    return f"{said}, and the advice was {advice}" if said else f"the advice was {advice}"


def _no_advice(finding: Finding, what: str, number: str, more: tuple[str, str] | None) -> Ask:
    choices = (
        ("Install", "Leave it") if finding.state == "missing" else ("Replace", "Repair", "Watch", "Leave it")
    )
    said = f" {more[1]} {more[0]}, or else:" if more else ""
    options = capital(joined(choices, last="or").lower())
    return Ask(
        code="no_advice",
        field="action",
        message=f"{what}: {wrong_with(finding)}.{said} {number}{' ' if number else ''}{options}?",
        choices=(more[0], *choices) if more and more[0] not in choices else choices,
    )


def general_asks(shop: ShopData, market: Market) -> tuple[Ask, ...]:
    """Questions about the whole estimate."""
    if shop.prices.market == market:
        return ()
    message = (
        f"The price profile “{shop.prices.name}” is for {shop.prices.market}, in {shop.prices.currency}, "
        f"and the recording was read as {market}. Which one is right?"
    )
    return (
        Ask(code="market_differs", field="market", message=message, choices=(market, shop.prices.market)),
    )
