"""The shipped shop data: no error, complete against the lexicon, limits true to their source."""

from __future__ import annotations

import csv
import os
import re
from collections import Counter
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from voicecheck.catalogue import (
    check_catalogue,
    check_cautions,
    check_limits,
    check_prices,
    load_catalogue,
    load_cautions,
    load_limits,
    load_prices,
)
from voicecheck.records import Limit
from voicecheck.resources import lexicon_dir, shared_dir

SHARED = shared_dir()


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return [r for r in csv.DictReader(file) if not (r["id"] or "").startswith("#")]


# read plainly, so that these tests do not hang on the lexicon's loader
COMPONENTS = {
    r["id"]: {**r, "system": p.stem}
    for p in sorted((lexicon_dir() / "components").glob("*.csv"))
    for r in rows_of(p)
}
MEASURES = {r["id"] for r in rows_of(lexicon_dir() / "measures.csv")}


def test_no_fault_in_the_shipped_files() -> None:
    problems = [
        *check_catalogue(SHARED / "catalogue.csv", component_ids=COMPONENTS),
        *check_prices(SHARED / "prices.us.yaml"),
        *check_prices(SHARED / "prices.uk.yaml"),
        *check_limits(SHARED / "limits.csv", component_ids=COMPONENTS),
        *check_cautions(SHARED / "cautions.yaml"),
    ]
    assert [str(p) for p in problems] == []


def test_the_catalogue_covers_the_trade() -> None:
    operations = load_catalogue(SHARED / "catalogue.csv").operations
    assert len(operations) >= 300
    assert len({o.component for o in operations if o.action == "replace"}) >= 200
    actions = Counter(o.action for o in operations)
    for action in ("repair", "service", "adjust", "clean", "tighten", "install", "top up", "diagnose"):
        assert actions[action] >= 5, action
    assert actions["resurface"] >= 2
    general = {o.system for o in operations if o.component == "diagnosis"}
    assert general == {c["system"] for c in COMPONENTS.values()}


def test_an_operation_is_in_the_system_of_its_component() -> None:
    wrong = [
        o.code
        for o in load_catalogue(SHARED / "catalogue.csv").operations
        if o.component != "diagnosis" and o.system != COMPONENTS[o.component]["system"]
    ]
    assert wrong == []


def kin(component: str) -> list[str]:
    """The component and the more general ones, as an estimate looks for an operation."""
    found = [component]
    while above := COMPONENTS[found[-1]]["kind_of"]:
        found.append(above)
    return found


def test_what_is_renewed_by_axle_can_be_replaced_by_axle_or_one_by_one() -> None:
    per = {
        o.component: o.per
        for o in load_catalogue(SHARED / "catalogue.csv").operations
        if o.action == "replace"
    }
    by_axle = [c for c, r in COMPONENTS.items() if r["sets"] in ("axle set", "pair")]
    assert len(by_axle) >= 6
    counted = {c: next((per[k] for k in kin(c) if k in per), None) for c in by_axle}
    assert {c: p for c, p in counted.items() if p not in ("axle", "each")} == {}


def test_nearly_every_component_has_some_work() -> None:
    """What has none is a general word ("hose", "gasket") whose hours no one could give."""
    worked_on = {o.component for o in load_catalogue(SHARED / "catalogue.csv").operations}
    without = {c for c in COMPONENTS if not worked_on & set(kin(c))}
    assert without <= {c for c in COMPONENTS if c in {r["kind_of"] for r in COMPONENTS.values()}}


def test_parts_with_open_prices_exist_and_none_is_free() -> None:
    parts = [p for o in load_catalogue(SHARED / "catalogue.csv").operations for p in o.parts]
    assert sum(p.price is None for p in parts) >= 10
    assert [p.name for p in parts if p.price == 0] == []


def test_shared_time_never_exceeds_hours_and_names_are_told_apart() -> None:
    operations = load_catalogue(SHARED / "catalogue.csv").operations
    assert all(o.shared_hours <= (o.hours or 0) for o in operations)
    twice = [n for n, many in Counter(o.name.casefold() for o in operations).items() if many > 1]
    assert twice == []


def test_what_follows_steering_hydraulics_and_gaskets_is_asked() -> None:
    operations = load_catalogue(SHARED / "catalogue.csv").operations
    by_code = {o.code: o for o in operations}
    follows = {(o.component, o.action): {by_code[c].component for c in o.follow_on} for o in operations}
    for component in ("tie_rod_end_outer", "control_arm_lower", "strut"):
        assert "wheel_alignment" in follows[component, "replace"], component
    for component in ("brake_caliper", "brake_hose", "wheel_cylinder"):
        assert "brake_fluid" in follows[component, "replace"], component


def test_the_profiles_tax_as_their_markets_do() -> None:
    us, uk = load_prices(SHARED / "prices.us.yaml"), load_prices(SHARED / "prices.uk.yaml")
    assert (us.market, us.currency, us.taxed) == ("US", "USD", ("part", "fluid"))
    assert (uk.market, uk.currency, uk.tax_percent) == ("UK", "GBP", Decimal(20))
    assert set(uk.taxed) == {"labour", "part", "fluid", "sublet", "fee", "supplies"}


def test_no_caution_calls_a_vehicle_safe() -> None:
    for market in ("US", "UK"):
        cautions = load_cautions(SHARED / "cautions.yaml", market="UK" if market == "UK" else "US")
        assert len(cautions) >= 8
        assert any("qualified technician" in c for c in cautions)
        assert [c for c in cautions if "safe" in c] == [
            c for c in cautions if c.startswith("Nothing here says")
        ]


def test_limits_name_measures_of_the_lexicon() -> None:
    unknown = {x.measure for x in load_limits(SHARED / "limits.csv")} - MEASURES
    assert unknown <= {"wheel_runout"}  # no one says it in a way that the lexicon knows yet


# What each limit must be, found in the text of the facts: a fragment of the line, and which of the numbers of
# that line's value column it is (by position, in the order written). In inches, or in the limit's own unit.
EXPECTED = {
    "tread_us": ("| 570.9(a) |", 0),
    "tread_us_maryland": ("Maryland COMAR", 0),
    "tread_us_heavy_front": ("| Tread, each front tyre", 0),
    "tread_us_heavy_other": ("| Tread, all other tyres, min", 0),
    "tread_us_commercial_front": ("| 393.75(b) |", 0),
    "tread_us_commercial_other": ("| 393.75(c) |", 0),
    "pads_us": ("Lining/pad over shoe (bonded), min", 0),
    "pads_us_riveted": ("Lining/pad over fastener (riveted), min", 0),
    "pads_us_heavy": ("Lining/pad over fastener / over shoe (bonded), min", 1),
    "pads_us_heavy_riveted": ("Lining/pad over fastener / over shoe (bonded), min", 0),
    "shoes_us": ("Lining/pad over shoe (bonded), min", 0),
    "shoes_us_riveted": ("Lining/pad over fastener (riveted), min", 0),
    "shoes_us_heavy": ("Lining/pad over fastener / over shoe (bonded), min", 1),
    "shoes_us_heavy_riveted": ("Lining/pad over fastener / over shoe (bonded), min", 0),
    "pads_us_virginia": ("Virginia safety inspection", 0),
    "shoes_us_virginia": ("Virginia safety inspection", 0),
    "pads_us_commercial_steer_air": ("Steering axle, air disc, min", 0),
    "pads_us_commercial_steer_hydraulic": ("Steering axle, hydraulic disc/drum", 0),
    "shoes_us_commercial_steer_hydraulic": ("Steering axle, hydraulic disc/drum", 0),
    "shoes_us_commercial_steer_strip": ("Steering axle, air drum: continuous", 0),
    "shoes_us_commercial_steer_two_pad": ("Steering axle, air drum: two-pad", 0),
    "shoes_us_commercial_other_air": ("Non-steering, air drum / air disc", 0),
    "pads_us_commercial_other_air": ("Non-steering, air drum / air disc", 1),
    "pads_us_commercial_other_hydraulic": ("Non-steering, hydraulic or electric", 0),
    "shoes_us_commercial_other_hydraulic": ("Non-steering, hydraulic or electric", 0),
    "brake_imbalance_us": ("Left/right brake force difference", 0),
    "free_play_us_16": ("**Steering free play at rim, max**", 0),
    "free_play_us_18": ("**Steering free play at rim, max**", 1),
    "free_play_us_20": ("**Steering free play at rim, max**", 2),
    "free_play_us_22": ("**Steering free play at rim, max**", 3),
    "free_play_us_heavy_16": ("| Steering lash, max: <=16", 0),
    "free_play_us_heavy_18": ("| Steering lash, max: <=16", 1),
    "free_play_us_heavy_20": ("| Steering lash, max: <=16", 2),
    "free_play_us_heavy_22": ("| Steering lash, max: <=16", 3),
    "free_play_us_commercial_manual_16": ("**Steering lash max, manual / power**", 0),
    "free_play_us_commercial_power_16": ("**Steering lash max, manual / power**", 1),
    **{
        f"free_play_us_commercial_{kind}_{size}": (f"| {size} in |", place)
        for size in (18, 19, 20, 21, 22)
        for place, kind in enumerate(("manual", "power"))
    },
    "linkage_play_us": ("Steering linkage play at front or rear of tread", 0),
    "linkage_play_us_heavy_16": ("Linkage play, max, by nominal rim", 0),
    "linkage_play_us_heavy_18": ("Linkage play, max, by nominal rim", 1),
    "linkage_play_us_heavy_over_18": ("Linkage play, max, by nominal rim", 2),
    "wheel_runout_us": ("Bead-area lateral and radial run-out, max", 0),
    "wheel_runout_us_heavy": ("Bead-area run-out for heavy wheels", 0),
    "brake_fluid_dot3_dry": ("| DOT 3 |", 0),
    "brake_fluid_dot4_dry": ("| DOT 4 |", 0),
    "brake_fluid_dot51_dry": ("| DOT 5 (silicone base), DOT 5.1", 0),
}  # fmt: skip

# Limits whose number stands in running text: the line's fragment and the words with the number in them.
IN_WORDS = {
    "tread_uk": ("UK car tyre", "1.6 mm across"),
    "tread_uk_advice": ("Advice to replace pads", "tyres at 3-4 mm"),
    "tread_us_advice": ("Advice to replace pads", "4/32 in"),
    "pads_advice": ("Advice to replace pads", "pads at ~3 mm"),
    "pads_uk": ("UK MOT manual 1.1.13", "below 1.5 mm"),
    "shoes_uk": ("UK MOT manual 1.1.13", "below 1.5 mm"),
    "shoes_us_periodic_steer": ("Periodic inspection: steering-axle drum", "drum 1/4 in"),
    "pads_us_periodic_steer_air": ("Periodic inspection: steering-axle drum", "air disc 1/8 in"),
    "pads_us_periodic_steer_hydraulic": ("Periodic inspection: steering-axle drum", "electric 1/16 in"),
    "brake_fluid_dot3_wet": ("| DOT 3 |", "140 C"),
    "brake_fluid_dot4_wet": ("| DOT 4 |", "155 C"),
    "brake_fluid_dot51_wet": ("| DOT 5 (silicone base), DOT 5.1", "180 C"),
    "rotor_runout_typical": ("Lateral run-out limit, typical", "0.002 in"),
    "rotor_thickness_variation_typical": ("Disc thickness variation limit, typical", "0.0002-0.0005 in"),
    "battery_load": ("| Load test |", ">= 9.6 V"),
    "battery_load_16c": ("| Temperature allowance |", "9.5 V @16 C"),
    "battery_load_10c": ("| Temperature allowance |", "9.4 @10"),
    "battery_load_4c": ("| Temperature allowance |", "9.3 @4"),
    "battery_load_minus_1c": ("| Temperature allowance |", "9.1 @-1,"),
    "battery_load_minus_7c": ("| Temperature allowance |", "8.9 @-7"),
    "battery_load_minus_12c": ("| Temperature allowance |", "8.7 @-12"),
    "battery_load_minus_18c": ("| Temperature allowance |", "8.5 @-18"),
    "battery_rest": ("| 75 % | 12.45", "| 12.4 |"),
    "charging_low": ("Running charging voltage, conventional", "13.5-14.7 V"),
    "charging_high": ("Running charging voltage, conventional", "13.5-14.7 V"),
}

_INCHES = {"1/32 in": Fraction(1, 32), "0.001 in": Fraction(1, 1000), "in": Fraction(1)}
_STATUS = {
    "**V": "verified",
    "V2": "secondary",
    "same": "secondary",  # as the line above it, which is secondary for the voltages that were read
    "M": "memory",
    "P": "common practice",
}
_MARK = re.compile(r"\*\*V\b|\bV2\b|\bsame\b|\bM\b|\bP\b")
_NUMBER = re.compile(r"\d+ \d+/\d+|\d+/\d+|\d+\.\d+|\d+")


def facts() -> list[str]:
    path = Path(
        os.environ.get("VOICECHECK_FACTS", Path(__file__).parents[3] / "shared" / "reference_facts.md")
    )
    if not path.is_file():
        pytest.skip(f"the collected facts are not at {path}; set VOICECHECK_FACTS to the file")
    return path.read_text(encoding="utf-8").splitlines()


def value(text: str) -> Fraction:
    """ "2 1/4" as a fraction."""
    return sum((Fraction(word) for word in text.split()), Fraction(0))


def in_source_unit(limit: Limit) -> Fraction:
    """The limit's value in inches, or in its own unit where that is no inch."""
    return Fraction(limit.value) * _INCHES.get(limit.unit, Fraction(1))


def line_with(fragment: str, lines: list[str]) -> str:
    found = [line for line in lines if fragment in line]
    assert len(found) == 1, f"{len(found)} lines with “{fragment}”"
    return found[0]


def without_remarks(text: str) -> str:
    """A value column without what stands in brackets and after a semicolon."""
    return re.sub(r"\([^)]*\)", "", text).split(";")[0]


LIMITS = {x.id: x for x in load_limits(SHARED / "limits.csv")} if (SHARED / "limits.csv").is_file() else {}


def test_every_limit_is_held_against_its_source() -> None:
    assert set(EXPECTED) | set(IN_WORDS) == set(LIMITS)
    assert not set(EXPECTED) & set(IN_WORDS)


@pytest.mark.external
@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_limit_has_the_value_of_its_source(name: str) -> None:
    """Against ``reference_facts.md``, collected from regulations and trade sources outside this project."""
    fragment, place = EXPECTED[name]
    columns = [c.strip() for c in line_with(fragment, facts()).strip("|").split("|")]
    numbers = [value(n) for n in _NUMBER.findall(without_remarks(columns[1]))]
    assert in_source_unit(LIMITS[name]) == numbers[place]


@pytest.mark.external
@pytest.mark.parametrize("name", sorted(IN_WORDS))
def test_a_limit_has_the_number_in_the_words_of_its_source(name: str) -> None:
    """Against ``reference_facts.md``, collected from regulations and trade sources outside this project."""
    fragment, words = IN_WORDS[name]
    assert words in line_with(fragment, facts())
    numbers = [value(n) for n in _NUMBER.findall(words)]
    assert in_source_unit(LIMITS[name]) in numbers


@pytest.mark.external
@pytest.mark.parametrize("name", sorted({**EXPECTED, **IN_WORDS}))
def test_a_limit_claims_no_more_than_its_source_bears(name: str) -> None:
    """Against the mark of the line in ``reference_facts.md``: V read, V2 secondary, M memory, P practice."""
    fragment = (EXPECTED.get(name) or IN_WORDS[name])[0]
    status = line_with(fragment, facts()).rstrip(" |").rsplit("|", 1)[-1]
    first = _MARK.search(status)  # what follows the first mark is about something else, or about a detail
    assert first is not None, status
    assert LIMITS[name].status == _STATUS[first.group()]
