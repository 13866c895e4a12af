"""``make_estimate`` with a memory, because a replay asks for the same estimates again and again."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence

from voicecheck.estimate import make_estimate
from voicecheck.estimate.names import NameScorer
from voicecheck.estimate.result import EstimateResult
from voicecheck.lexicon.model import Lexicon
from voicecheck.records import (
    AddedLine,
    Catalogue,
    Finding,
    Line,
    LineChange,
    Market,
    Operation,
    Ref,
    ShopData,
)
from voicecheck.records.shopdata import FollowOn

_KEPT = 200  # estimates; one is some 50 kB


class Estimator:
    """Estimates of one shop. Keep one for as long as lexicon and shop data are the same; it may be shared
    by threads (at worst they compute the same twice)."""

    def __init__(
        self, *, lexicon: Lexicon, shop: ShopData, market: Market, scorer: NameScorer | None = None
    ) -> None:
        self.lexicon = lexicon
        self.shop = shop
        self.market = market
        self.made = 0  # estimates that were not remembered
        self._scorer = scorer
        self._kept: OrderedDict[str, EstimateResult] = OrderedDict()

    def __call__(
        self,
        findings: Sequence[Finding],
        *,
        changes: Sequence[LineChange] = (),
        added: Sequence[AddedLine] = (),
        put_off: frozenset[str] = frozenset(),
        follow_ons: Sequence[FollowOn] = (),
    ) -> EstimateResult:
        """As ``make_estimate``; ``follow_ons`` go before the shop's own."""
        records = (*findings, *changes, *added, *follow_ons)
        key = "\n".join([*(r.model_dump_json() for r in records), *sorted(put_off)])
        found = self._kept.get(key)
        if found is None:
            self.made += 1
            shop = self.shop
            if follow_ons:
                rules = {"follow_ons": (*follow_ons, *shop.policies.follow_ons)}
                policies = shop.policies.model_copy(update=rules)
                shop = shop.model_copy(update={"policies": policies})
            found = make_estimate(
                findings,
                lexicon=self.lexicon,
                shop=shop,
                market=self.market,
                scorer=self._scorer,
                changes=changes,
                added=added,
                put_off=put_off,
            )
            self._kept[key] = found
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return found

    def operation(self, code_or_name: str) -> Operation | None:
        """An entry of the labour catalogue by its code, else by its name; ``None`` where there is none."""
        operations = self.shop.catalogue.operations
        by_code = next((o for o in operations if o.code == code_or_name), None)
        plain = code_or_name.casefold()
        return by_code or next((o for o in operations if o.name.casefold() == plain), None)

    def lines_for(self, operation: Operation, finding: Finding) -> tuple[Line, ...]:
        """The lines of one operation at the places of ``finding``, priced by the shop's rules, by themselves.

        Empty where the catalogue entry is about no component of the term files.
        """
        component = self.lexicon.components.get(operation.component)
        if component is None:
            return ()
        alone = finding.model_copy(
            update={
                "component": Ref(id=component.id, name=component.name),
                "action": operation.action,
                "state": "defect",
                "asks": (),
                "done_with": None,
            }
        )
        key = f"{operation.code}\n{alone.model_dump_json()}"
        found = self._kept.get(key)
        if found is None:
            catalogue = Catalogue(name=self.shop.catalogue.name, operations=(operation,))
            found = make_estimate(
                (alone,),
                lexicon=self.lexicon,
                shop=self.shop.model_copy(update={"catalogue": catalogue}),
                market=self.market,
                scorer=self._scorer,
            )
            self._kept[key] = found
        return tuple(line for job in found.estimate.jobs for line in job.lines)
