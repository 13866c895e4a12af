"""``policies.yaml``, and what a price profile says of rates, fees, discounts and taxes."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from voicecheck.catalogue import check_policies, check_prices, load_policies, load_prices
from voicecheck.catalogue.cells import CellError, part, price
from voicecheck.lexicon import load_lexicon
from voicecheck.records import DataError, Policies
from voicecheck.resources import lexicon_dir, shared_dir

D = Decimal
COMPONENTS = {"brake_pads", "brake_rotor", "wheel_alignment", "strut", "tyre"}
CONDITIONS = {"below_minimum", "torn"}

GOOD = """\
catalogue_follow_ons: off
near_limit_percent: 20
sets:
  - id: rotors
    components: [brake_rotor]
    actions: [replace]
    by: axle
    says: So that the car brakes straight.
follow_ons:
  - id: alignment
    after: [strut]
    after_systems: [steering]
    actions: [replace]
    work: adjust wheel_alignment
    mode: add
    says: It sets the angles.
  - id: kit
    after: [brake_pads]
    part: "fitting kit * 1 kit @ 9.50-11"
    mode: ask
    says: Clips are renewed.
conclusions:
  - id: not_machined
    components: [brake_rotor]
    conditions: [below_minimum, beyond_limit]
    not_enough: [none, resurface]
    instead: replace
    says: It is replaced.
"""


def written(tmp_path: Path, text: str, name: str = "policies.yaml") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_good_file(tmp_path: Path) -> None:
    path = written(tmp_path, GOOD)
    assert check_policies(path, component_ids=COMPONENTS, condition_ids=CONDITIONS) == []
    found = load_policies(path)
    assert (found.catalogue_follow_ons, found.near_limit_percent) == ("off", D(20))
    assert (found.sets[0].by, found.sets[0].work.components) == ("axle", ("brake_rotor",))
    alignment, kit = found.follow_ons
    assert (alignment.action, alignment.component, alignment.mode) == ("adjust", "wheel_alignment", "add")
    assert (alignment.after.components, alignment.after.systems) == (("strut",), ("steering",))
    assert kit.part is not None
    assert (kit.part.name, kit.part.price, kit.part.price_high) == ("fitting kit", D("9.50"), D(11))
    assert (found.conclusions[0].instead, found.conclusions[0].target) == ("replace", "")


def test_a_file_may_say_one_thing_only(tmp_path: Path) -> None:
    assert load_policies(written(tmp_path, "near_limit_percent: 10\n")) == Policies(near_limit_percent=D(10))


@pytest.mark.parametrize(
    ("old", "new", "row", "field", "words"),
    [
        ("sets:", "set:", 3, "set", "nearest: sets; allowed: catalogue_follow_ons, near_limit_percent, sets"),
        (
            "catalogue_follow_ons: off",
            "catalogue_follow_ons: never",
            1,
            "catalogue_follow_ons",
            "add, ask, off",
        ),
        (
            "near_limit_percent: 20",
            "near_limit_percent: a lot",
            2,
            "near_limit_percent",
            "not a plain number",
        ),
        ("near_limit_percent: 20", "near_limit_percent: 120", 2, "near_limit_percent", "0 to 100"),
        ("by: axle", "by: axel", 7, "by", "nearest: axle; allowed: axle, side, ask"),
        ("    by: axle\n", "", 4, "by", "missing in an entry of “sets”"),
        ("[brake_rotor]\n    actions", "[brake_roter]\n    actions", 5, "components", "nearest: brake_rotor"),
        ("[brake_rotor]\n    actions", "brake_rotor\n    actions", 5, "components", "a list is needed"),
        ("    says: So that the car brakes straight.", "    says:", 8, "says", "empty"),
        ("[steering]", "[stearing]", 12, "after_systems", "nearest: steering"),
        ("adjust wheel_alignment", "align wheel_alignment", 14, "work", "does not begin with an action"),
        ("adjust wheel_alignment", "adjust wheels", 14, "work", "no component “wheels”"),
        ("adjust wheel_alignment", "adjust", 14, "work", "name the component"),
        ("mode: add", "mode: always", 15, "mode", "allowed: add, ask, off"),
        ("id: kit", "id: rotors", 17, "id", "already used in line 4"),
        ("* 1 kit @ 9.50-11", "@ 9.50", 19, "part", "the “*” is missing"),
        ("[below_minimum, beyond_limit]", "[belowminimum]", 25, "conditions", "nearest: below_minimum"),
        ("[none, resurface]", "[nothing]", 26, "not_enough", "unknown action"),
        (
            "    after: [strut]\n    after_systems: [steering]\n",
            "",
            10,
            "after",
            "say after which components",
        ),
        ("    work: adjust wheel_alignment\n", "", 10, "work", "either the work that follows"),
    ],
)
def test_a_broken_value_is_one_error_with_its_line(
    tmp_path: Path, old: str, new: str, row: int, field: str, words: str
) -> None:
    assert old in GOOD
    path = written(tmp_path, GOOD.replace(old, new, 1))
    found = check_policies(path, component_ids=COMPONENTS, condition_ids=CONDITIONS)
    assert [(p.row, p.field) for p in found] == [(row, field)], [str(p) for p in found]
    assert words in found[0].message
    with pytest.raises(DataError, match=r"policies\.yaml cannot be used"):
        load_policies(path, component_ids=COMPONENTS, condition_ids=CONDITIONS)


def test_the_shipped_policies_add_nothing_by_themselves() -> None:
    """The labels of accuracy hold what a technician said, so by default nothing else is on a draft."""
    lexicon = load_lexicon(lexicon_dir(), None, market="US")
    path = shared_dir() / "policies.yaml"
    known = {"component_ids": lexicon.components.keys(), "condition_ids": lexicon.conditions.keys()}
    assert check_policies(path, **known) == []
    found = load_policies(path, **known)
    assert all(rule.by == "ask" for rule in found.sets)
    assert {rule.mode for rule in found.follow_ons} <= {"ask", "off"}
    assert found.catalogue_follow_ons == "ask"
    assert len(found.follow_ons) > 8
    reasons = [r.says for r in found.sets] + [r.says for r in found.follow_ons]
    assert all(says.endswith(".") for says in (*reasons, *(r.says for r in found.conclusions)))


# -- prices ---

PROFILE = """\
name: a shop
market: US
currency: USD
labour_rate: 100
electrical_rate: 110.50
rate_for:
  - {type: electrical, systems: [lighting], actions: [replace]}
fees:
  - {name: tyre disposal, amount: 3.50, components: [tyre], actions: [replace]}
discounts:
  - {reason: Fleet, on: parts, percent: 10}
jurisdiction: There
taxes:
  - {name: State tax, percent: 6.25, on: [part, fluid], jurisdiction: There}
  - {name: Tyre tax, percent: 1, on: [fee]}
"""


def test_a_profile_with_rules(tmp_path: Path) -> None:
    path = written(tmp_path, PROFILE, "prices.yaml")
    assert check_prices(path, component_ids=COMPONENTS) == []
    found = load_prices(path)
    assert (found.electrical_rate, found.rate_for[0].systems) == (D("110.50"), ("lighting",))
    assert (found.fees[0].amount, found.fees[0].per, found.fees[0].work.components) == (
        D("3.50"),
        "each",
        ("tyre",),
    )
    assert (found.discounts[0].on, found.discounts[0].percent, found.discounts[0].amount) == (
        "parts",
        D(10),
        None,
    )
    assert [(t.name, t.percent, t.on, t.jurisdiction) for t in found.taxes] == [
        ("State tax", D("6.25"), ("part", "fluid"), "There"), ("Tyre tax", D(1), ("fee",), ""),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "row", "field", "words"),
    [
        ("type: electrical", "type: electric", 7, "type", "nearest: electrical"),
        ("[lighting]", "[lights]", 7, "systems", "unknown system “lights”"),
        ("[tyre]", "[tire]", 9, "components", "no component “tire”"),
        ("components: [tyre]", "components: []", 9, "components", "needs the components"),
        ("amount: 3.50", "amount: 3.505", 9, "amount", "more than two decimals"),
        ("name: tyre disposal, ", "", 9, "name", "missing in an entry of “fees”"),
        ("percent: 10", "percent: 10, amount: 5", 11, "discounts", "either a percent or an amount"),
        ("on: parts", "on: part", 11, "on", "nearest: parts"),
        ("jurisdiction: There\ntaxes", "jurisdiction: Their\ntaxes", 12, "jurisdiction", "nearest: There"),
        ("[part, fluid]", "[]", 14, "on", "needs the kinds"),
        ("percent: 6.25", "percent: 625", 14, "percent", "0 to 100"),
        ("taxes:", "tax_percent: 7\ntaxed: [part]\ntaxes:", 15, "taxes", "not both"),
    ],
)
def test_a_broken_rule_of_prices_is_named(
    tmp_path: Path, old: str, new: str, row: int, field: str, words: str
) -> None:
    assert old in PROFILE
    path = written(tmp_path, PROFILE.replace(old, new, 1), "prices.yaml")
    found = check_prices(path, component_ids=COMPONENTS)
    assert (found[0].row, found[0].field) == (row, field), [str(p) for p in found]
    assert words in found[0].message


def test_taxes_of_places_without_a_place_are_warned_about(tmp_path: Path) -> None:
    path = written(tmp_path, PROFILE.replace("jurisdiction: There\ntaxes", "taxes"), "prices.yaml")
    (found,) = check_prices(path, component_ids=COMPONENTS)
    assert (found.severity, found.field) == ("warning", "jurisdiction")


# -- cells ---


@pytest.mark.parametrize(
    ("cell", "low", "high"), [("48", "48", None), ("48-56", "48", "56"), ("48.50 – 56", "48.50", "56")]
)
def test_a_price_or_a_range(cell: str, low: str, high: str | None) -> None:
    assert price(cell) == (D(low), None if high is None else D(high))


def test_a_price_to_be_found() -> None:
    assert price("?") == (None, None)


@pytest.mark.parametrize("cell", ["56-48", "48-48", "48-", "-48", "4,5", "48-56-60"])
def test_what_is_no_price(cell: str) -> None:
    with pytest.raises(CellError):
        price(cell)


def test_parts_with_everything() -> None:
    found = part("fluid: brake fluid * 0.5 L @ =12.00")
    assert (found.kind, found.fixed, found.price, found.condition) == ("fluid", True, D("12.00"), "new")
    found = part("caliper * 1 each @ 88-96 rebuilt")
    assert (found.price, found.price_high, found.condition) == (D(88), D(96), "rebuilt")
    assert part("fee: disposal * 1 each @ 3").kind == "fee"
    with pytest.raises(CellError, match="“broken” is not one of new, used, rebuilt, reconditioned"):
        part("caliper * 1 each @ 88 broken")
