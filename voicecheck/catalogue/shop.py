"""Everything a shop brings, in one call."""

from __future__ import annotations

from collections.abc import Callable, Collection, Container
from pathlib import Path
from typing import TypeVar

from voicecheck.catalogue.limits import load_limits
from voicecheck.catalogue.operations import load_catalogue
from voicecheck.catalogue.policies import load_policies
from voicecheck.catalogue.prices import load_prices
from voicecheck.records import DataError, Market, Problem, ShopData
from voicecheck.resources import shared_dir

T = TypeVar("T")


def load_shop(
    *,
    catalogue: Path | None = None,
    prices: Path | None = None,
    limits: Path | None = None,
    policies: Path | None = None,
    market: Market,
    component_ids: Container[str] | None = None,
    measure_ids: Container[str] | None = None,
    condition_ids: Collection[str] | None = None,
) -> ShopData:
    """Catalogue, prices, limits and policies from the paths given, else the shipped ones.

    Raises one ``DataError`` with the problems of all files. A price profile of another market than
    ``market`` is refused, because units, sides and limits would not be those of its prices.
    """
    failed: list[DataError] = []

    def attempt(load: Callable[[], T]) -> T | None:
        try:
            return load()
        except DataError as error:
            failed.append(error)
            return None

    shared = shared_dir()
    profile = prices or shared / f"prices.{market.lower()}.yaml"
    operations = attempt(
        lambda: load_catalogue(catalogue or shared / "catalogue.csv", component_ids=component_ids)
    )
    money = attempt(lambda: load_prices(profile, component_ids=component_ids))
    published = attempt(
        lambda: load_limits(
            limits or shared / "limits.csv", component_ids=component_ids, measure_ids=measure_ids
        )
    )
    decided = attempt(
        lambda: load_policies(
            policies or shared / "policies.yaml", component_ids=component_ids, condition_ids=condition_ids
        )
    )
    if money is not None and money.market != market:
        message = f"the price profile is for {money.market} and the market is {market}"
        failed.append(
            DataError(
                f"{profile}: {message}.",
                problems=[Problem(file=profile.name, row=None, field="market", message=message)],
                hint="Choose the other market or another price profile.",
            )
        )
    if len(failed) == 1:
        raise failed[0]
    if operations is None or money is None or published is None or decided is None or failed:
        raise DataError(
            " ".join(f"{e.message.rstrip('.')}." for e in failed),
            problems=[p for e in failed for p in e.problems],
            hint="Correct the rows named, then try again.",
        )
    return ShopData(catalogue=operations, prices=money, limits=published, policies=decided)
