"""A shop with a folder of its own files, an owner who is signed in, and the words that tests speak."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient
from shop_kit import Member, Shop, make_shop

from voicecheck.desk.decisions import parse_decision
from voicecheck.shop import bench as benches

# “snubber ring” is nobody's name: it is taken for more about the brake hose. “widget” finds no place.
WORDS = (
    "The front brake hose is cracked, replace it. Left rear snubber ring is torn, replace it. Oil pan is dry."
)
UNPLACED = "The thermal widget is cracked."


@dataclass(frozen=True)
class OwnShop:
    """A shop with its owner, and where its own files are."""

    shop: Shop
    owner: Member
    client: TestClient
    folder: Path

    def page(self, path: str) -> str:
        answer = self.client.get(path)
        assert answer.status_code == 200, answer.text
        return answer.text


def own_shop(folder: Path, *, files: bool = True, **options: Any) -> OwnShop:
    """``options`` as for ``make_shop``. Without ``files`` the shipped words are shared by all tests."""
    own = folder / "data" / "shop"
    if files:
        own.mkdir(parents=True)
    shop = make_shop(folder, **options)
    olive = shop.person("owner", "Olive")
    return OwnShop(shop, olive, shop.client(olive), own)


def correct(shop: Shop, walkaround: str, *, words: str, component: str) -> None:
    """What the desk does when a name was not known: the finding that ``words`` are in is of ``component``."""
    bench = benches.look(shop.services, walkaround)
    assert bench.base is not None
    finding = next(f for f in bench.base.findings if any(words in s.read for s in f.heard))
    decision = parse_decision(
        {"kind": "change_finding", "finding": finding.id, "component": component, "words": words}
    )
    ada = next((m for m in shop.members if m.role == "advisor"), None) or shop.person("advisor", "Ada")
    benches.decide(shop.services, bench, expected_seq=bench.row.seq, person=ada.id, decision=decision)


def parts_of(shop: Shop, walkaround: str) -> set[str]:
    """The components of a walk-around's draft, as the machine made it."""
    base = benches.look(shop.services, walkaround).base
    assert base is not None
    return {f.component.id for f in base.findings}
