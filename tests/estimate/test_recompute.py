"""Every amount of every sample again, from the exported JSON alone (texts only; nothing is said of which)."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from recompute_kit import Again, Json

from voicecheck.documents import to_json
from voicecheck.estimate import make_estimate
from voicecheck.pipeline import (
    Workshop,
    draft_from_transcript,
    load_workshop,
    text_recording,
    transcript_from_text,
)
from voicecheck.records import Market

SAMPLES = Path(__file__).resolve().parents[2] / "samples_synthetic"
ONE_IN = 16  # lessons


@pytest.fixture(scope="module")
def workshop_for() -> Callable[[Market], Workshop]:
    made: dict[Market, Workshop] = {}

    def of(market: Market) -> Workshop:
        if market not in made:
            made[market] = load_workshop(market=market, rules_alone=True)  # sums are the same mechanism
        return made[market]

    return of


@pytest.fixture(scope="module")
def estimates(workshop_for: Callable[[Market], Workshop]) -> list[Json]:
    """The exported estimate of every sample's text, and of some of the many lessons."""
    return list(drafts(workshop_for))


def drafts(workshop_for: Callable[[Market], Workshop]) -> Iterator[Json]:
    lessons = sorted(SAMPLES.glob("lessons/*.txt"))
    others = [path for path in sorted(SAMPLES.glob("*/*.txt")) if path.parent.name != "lessons"]
    for path in (*others, *lessons[::ONE_IN]):
        label = path.with_suffix(".gold.yaml")
        if not label.exists():
            continue
        market: Market = "UK" if "market: UK" in label.read_text(encoding="utf-8") else "US"
        text = path.read_text(encoding="utf-8")
        draft = draft_from_transcript(
            workshop_for(market), transcript_from_text(text), recording=text_recording("notes", text)
        )
        yield json.loads(to_json(draft))["estimate"]


def test_every_amount_of_every_sample_computes_again(estimates: list[Json]) -> None:
    assert len(estimates) > 200
    assert sum(len(Again(e).lines()) for e in estimates) > 500
    wrong = [fault for estimate in estimates for fault in Again(estimate).faults()]
    assert len(wrong) == 0, f"{len(wrong)} faults in {len(estimates)} estimates"


def test_no_line_has_a_silent_zero_price(estimates: list[Json]) -> None:
    zero = [
        x
        for e in estimates
        for x in Again(e).lines()
        if x["amount"] is not None and Decimal(x["amount"]) == 0
    ]
    assert all("less" in x["arithmetic"] for x in zero)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda e: e["totals"].update(total="1.00"),
        lambda e: e["totals"].update(tax="0.01"),
        lambda e: e["jobs"][0].update(subtotal="0.01"),
        lambda e: e["jobs"][0]["lines"][0].update(amount="0.01"),
        lambda e: e["jobs"][0]["lines"][0].update(hours="99"),
        lambda e: e["jobs"][0]["lines"][0].update(amount="0.00", hours="0", arithmetic="free"),
        lambda e: e["jobs"][0]["lines"][0].update(id=e["jobs"][0]["lines"][1]["id"]),
        lambda e: e["terms"].update(supplies_percent="77", supplies_cap=None),
        lambda e: e["terms"].update(markup=[{"up_to": None, "factor": "9"}]),
    ],
)
def test_the_computation_notices_what_is_wrong(
    workshop_for: Callable[[Market], Workshop], spoil: Callable[[Json], None]
) -> None:
    text = "Front brake pads are worn out, replace the front pads."
    draft = draft_from_transcript(
        workshop_for("US"), transcript_from_text(text), recording=text_recording("notes", text)
    )
    estimate: Json = json.loads(to_json(draft))["estimate"]
    assert Again(estimate).faults() == []
    wrong = copy.deepcopy(estimate)
    spoil(wrong)
    assert Again(wrong).faults()


WORKED = (
    "The front rotors are scored, replace the front pads and rotors. "
    "The left front brake hose is cracked, replace it. "
    "The cabin filter is dirty, replace it next time."
)


def test_the_worked_example(workshop_for: Callable[[Market], Workshop]) -> None:
    """The README's, with the shipped prices: a reader can do it with a pencil.

    Rotors 1.6 h × 135 = 216.00; the pads are part of that. Hose 0.7 h, of which 0.2 h for the wheel that is
    off anyway: 0.5 h × 135 = 67.50. Filter 0.3 h × 135 = 40.50. Labour 324.00.
    Parts 161.20 + 4.80 + 84.00 + 19.00 + 0.70 + 42.00 + 4.80 + 26.25 = 342.75.
    Supplies 6 % of 324.00 = 19.44.
    Tax 7 % of 342.75 = 23.9925. Total 324.00 + 342.75 + 19.44 + 23.99 = 710.18.
    """
    workshop = workshop_for("US")
    draft = draft_from_transcript(
        workshop, transcript_from_text(WORKED), recording=text_recording("notes", WORKED)
    )
    brakes, cabin = draft.estimate.jobs
    assert (brakes.title, brakes.subtotal, cabin.title, cabin.subtotal) == (
        "Front brakes", Decimal("600.00"), "Air conditioning", Decimal("66.75"),
    )  # fmt: skip
    assert {x.name: x.arithmetic for x in brakes.lines if x.kind == "labour"} == {
        "Replace brake rotor, per axle": "1.6 h × 135.00 = 216.00",
        "Replace brake pads, per axle": (
            "1.2 h, less 1.2 h that is part of “Replace brake rotor, per axle” = 0 h; 0 h × 135.00 = 0.00"
        ),
        "Replace brake hose, one": (
            "0.7 h, less 0.2 h for wheel off, front left, already in “Replace brake rotor, per axle” "
            "= 0.5 h; 0.5 h × 135.00 = 67.50"
        ),
    }
    assert [(x.name, x.amount) for x in brakes.lines if x.kind == "part"][:2] == [
        ("brake rotor", Decimal("161.20")),  # 52.00 × 1.55 = 80.60, two of them
        ("rotor screw", Decimal("4.80")),
    ]
    totals = draft.estimate.totals
    assert (totals.labour, totals.parts, totals.supplies, totals.tax) == (
        Decimal("324.00"), Decimal("342.75"), Decimal("19.44"), Decimal("23.99"),
    )  # fmt: skip
    assert totals.arithmetic["total"] == (
        "labour 324.00 + parts 342.75 + supplies 19.44 + tax 23.99 = 710.18"
    )
    later = make_estimate(
        draft.findings,
        lexicon=workshop.lexicon,
        shop=workshop.shop,
        market="US",
        put_off=frozenset({cabin.id}),
    ).estimate.totals
    # without the filter: 283.50 + 316.50 + 6 % of 283.50 = 17.01 + 7 % of 316.50 = 22.16
    assert later.total == Decimal("639.17")
