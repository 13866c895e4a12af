"""``load_shop``: defaults by market, a shop's own files, and the faults of all files together."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from voicecheck.catalogue import load_shop
from voicecheck.records import DataError
from voicecheck.resources import shared_dir


@pytest.mark.parametrize(("market", "currency"), [("US", "USD"), ("UK", "GBP")])
def test_the_market_chooses_the_shipped_prices(market: str, currency: str) -> None:
    shop = load_shop(market="UK" if market == "UK" else "US")
    assert (shop.prices.market, shop.prices.currency) == (market, currency)
    assert shop.catalogue.name == "catalogue"
    assert {limit.market for limit in shop.limits} == {None, "US", "UK"}


def test_own_files_take_the_place_of_the_shipped_ones(tmp_path: Path) -> None:
    own = tmp_path / "mine.csv"
    own.write_text("code,name,system,component,action,per,hours\nA,a,brakes,x,replace,each,1.0\n")
    shop = load_shop(catalogue=own, market="US")
    assert [o.code for o in shop.catalogue.operations] == ["A"]
    assert shop.catalogue.name == "mine"


def test_faults_of_all_files_come_together(tmp_path: Path) -> None:
    rates = tmp_path / "prices.yaml"
    rates.write_text("name: mine\n")
    with pytest.raises(DataError) as caught:
        load_shop(catalogue=tmp_path / "none.csv", prices=rates, limits=tmp_path, market="US")
    assert {p.file for p in caught.value.problems} == {"none.csv", "prices.yaml", tmp_path.name}
    assert "none.csv" in caught.value.message
    assert "prices.yaml" in caught.value.message


def test_prices_of_another_market_are_refused(tmp_path: Path) -> None:
    rates = tmp_path / "prices.yaml"
    shutil.copy(shared_dir() / "prices.uk.yaml", rates)
    with pytest.raises(DataError, match="is for UK and the market is US") as caught:
        load_shop(prices=rates, market="US")
    assert [p.field for p in caught.value.problems] == ["market"]


def test_unknown_components_are_found_when_ids_are_given() -> None:
    with pytest.raises(DataError) as caught:
        load_shop(market="US", component_ids={"brake_pads"})
    assert {p.file for p in caught.value.problems} == {
        "catalogue.csv",
        "limits.csv",
        "policies.yaml",
        "prices.us.yaml",
    }
