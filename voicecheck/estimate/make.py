"""The estimate stage: findings in, jobs, money and open questions out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from voicecheck.estimate.arrange import Work, arrange
from voicecheck.estimate.limits import Limits
from voicecheck.estimate.match import matcher_for
from voicecheck.estimate.names import NameScorer, RapidfuzzScorer
from voicecheck.estimate.needs import natural, needs_of
from voicecheck.estimate.policies import extras
from voicecheck.estimate.questions import general_asks, is_covered, with_asks
from voicecheck.estimate.result import EstimateResult
from voicecheck.estimate.totals import terms_of, total
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.estimate import AddedLine, Estimate, LineChange
from voicecheck.records.finding import Finding
from voicecheck.records.shopdata import Discount, ShopData
from voicecheck.records.vocabulary import Market
from voicecheck.records.wording import joined

_SCORER = RapidfuzzScorer()


def make_estimate(
    findings: Sequence[Finding],
    *,
    lexicon: Lexicon,
    shop: ShopData,
    market: Market,
    scorer: NameScorer | None = None,
    changes: Sequence[LineChange] = (),
    added: Sequence[AddedLine] = (),
    put_off: frozenset[str] = frozenset(),
    discounts: Sequence[Discount] = (),
) -> EstimateResult:
    """The draft estimate for a vehicle's findings.

    The result does not depend on the order of the findings. Findings come back as given, with asks added;
    giving them in again adds none twice. ``scorer`` compares names (rapidfuzz unless given).

    ``changes`` and ``added`` are what an advisor did to the lines of the same findings; ``put_off`` the ids
    of jobs that the customer does not want now: they stay in the estimate, are in no total, and the hours
    that they paid for others go to the jobs that remain. ``discounts`` are taken after the profile's own.

    Raises ``InputError`` when the lexicon lacks a finding's component, ``ValueError`` when two findings or
    two lines have the same id.
    """
    repeated = [i for i, n in Counter(f.id for f in findings).items() if n > 1]
    if repeated:
        raise ValueError(f"more than one finding has the id {joined(sorted(repeated, key=natural))}")
    said = needs_of(findings, lexicon)
    matcher = matcher_for(shop.catalogue, lexicon=lexicon, scorer=scorer or _SCORER)
    matches = [matcher.match(need) for need in said]
    more = extras(said, matches, policies=shop.policies, matcher=matcher, lexicon=lexicon)
    todo = Work(
        needs=(*said, *(need for need, _ in more.needs)),
        matches=(*matches, *(match for _, match in more.needs)),
        extras=more,
        findings={f.id: f for f in findings},
        shop=shop,
        lexicon=lexicon,
        market=market,
    )
    decided = arrange(todo, changes, added, put_off)
    limits = Limits(
        shop.limits, lexicon=lexicon, market=market, near_percent=shop.policies.near_limit_percent
    )
    terms = terms_of(shop.prices, discounts)
    counted = [line for job in decided.jobs if not job.put_off for line in job.lines]
    estimate = Estimate(
        currency=shop.prices.currency,
        jobs=decided.jobs,
        totals=total(counted, terms, shop.prices.currency),
        terms=terms,
        left_off=decided.left_off,
        checks=tuple(
            check
            for f in sorted(findings, key=lambda f: natural(f.id))
            for check in limits.checks(f, covered=is_covered(f, said, lexicon))
        ),
    )
    return EstimateResult(
        estimate=estimate,
        findings=with_asks(findings, said, limits, lexicon=lexicon, shop=shop),
        asks=general_asks(shop, market),
        unmatched=decided.unmatched,
        unknown_jobs=decided.unknown_jobs,
    )
