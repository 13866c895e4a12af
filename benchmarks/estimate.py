"""How fast findings become an estimate with a large labour catalogue.

    python benchmarks/estimate.py [--operations 50000] [--findings 25] [--drafts 500] [--check]

Generates a catalogue over the shipped components, then times: the first drafts after loading (which compare
names), one of them again, and a batch of different drafts. ``--check`` exits 1 where the median of the first
ones is above 50 ms.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import time
from collections.abc import Sequence
from decimal import Decimal

from voicecheck.estimate import make_estimate
from voicecheck.lexicon import Lexicon, load_lexicon
from voicecheck.lexicon.model import Component
from voicecheck.records import (
    ACTIONS,
    CORNERS,
    UNPRICED_ACTIONS,
    Action,
    Catalogue,
    Finding,
    MarkupBand,
    Operation,
    PartUse,
    Position,
    PriceProfile,
    Ref,
    ShopData,
    Span,
)
from voicecheck.resources import lexicon_dir

MOST_MS = 50.0
FRESH = 5  # drafts that are timed as the first of their kind
WORK: tuple[Action, ...] = tuple(a for a in ACTIONS if a not in UNPRICED_ACTIONS)
KINDS = ("", "heavy duty", "with sensor", "without sensor", "four wheel drive", "early type", "late type",
         "sport suspension", "automatic", "manual")  # fmt: skip
STEPS = ("wheel off", "caliper off", "coolant drained", "cover off")
HEARD = (Span(first=0, last=1, start=0.0, end=1.0, heard="x", read="x"),)


def make_catalogue(lexicon: Lexicon, count: int, rng: random.Random) -> Catalogue:
    """``count`` invented operations over the lexicon's components and every action, in several kinds each."""
    found: list[Operation] = []
    components = list(lexicon.components.values())
    while len(found) < count:
        component = components[len(found) % len(components)]
        round_of = len(found) // len(components)
        action = WORK[round_of % len(WORK)]
        kind = KINDS[round_of // len(WORK) % len(KINDS)]
        name = f"{action.capitalize()} {component.name}{f', {kind}' if kind else ''}"
        hours = Decimal(rng.randint(3, 40)) / 10
        shares = tuple(rng.sample(STEPS, rng.randint(0, 2)))
        part = PartUse(
            name=component.name,
            kind="part",
            quantity=Decimal(1),
            unit="each",
            price=Decimal(rng.randint(100, 20000)) / 100,
        )
        found.append(
            Operation(
                code=f"OP-{len(found):05d}",
                name=name,
                system=component.system,
                component=component.id,
                action=action,
                per="axle" if component.sets == "axle set" else "each",
                hours=hours,
                includes=(found[-1].code,) if found and rng.random() < 0.1 else (),
                shares=shares,
                shared_hours=Decimal("0.2") if shares else Decimal(0),
                parts=(part,),
            )
        )
    return Catalogue(name="generated", operations=tuple(found))


def make_findings(components: Sequence[Component], rng: random.Random) -> list[Finding]:
    """One stated defect with advice for each component, at one corner where it has any."""
    found = []
    for n, component in enumerate(components, 1):
        corners: tuple[Position, ...] = (rng.choice(CORNERS),) if "corners" in component.places else ()
        found.append(
            Finding(
                id=f"f{n}",
                component=Ref(id=component.id, name=component.name),
                positions=corners,
                state="defect",
                conditions=(Ref(id="worn", name="worn"),),
                action=rng.choice(WORK),
                heard=HEARD,
            )
        )
    return found


def make_prices() -> PriceProfile:
    """Invented prices."""
    return PriceProfile(
        name="generated",
        market="US",
        currency="USD",
        labour_rate=Decimal("135.00"),
        markup=(MarkupBand(up_to=None, factor=Decimal("1.5")),),
        supplies_percent=Decimal(6),
        tax_percent=Decimal(7),
        taxed=("part",),
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--operations", type=int, default=50_000)
    parser.add_argument("--findings", type=int, default=25)
    parser.add_argument("--drafts", type=int, default=500)
    parser.add_argument("--check", action="store_true")
    wanted = parser.parse_args()

    rng = random.Random(7)
    lexicon = load_lexicon(lexicon_dir(), None, market="US")
    components = list(lexicon.components.values())
    began = time.perf_counter()
    shop = ShopData(
        catalogue=make_catalogue(lexicon, wanted.operations, rng), prices=make_prices(), limits=()
    )
    print(f"catalogue of {wanted.operations:,} operations made in {time.perf_counter() - began:.1f} s")
    began = time.perf_counter()
    make_estimate(make_findings(components[:1], rng), lexicon=lexicon, shop=shop, market="US")
    print(f"loaded: indexed, one finding estimated, in {(time.perf_counter() - began) * 1000:.0f} ms")

    def timed(findings: Sequence[Finding]) -> float:
        """Milliseconds of this process, which other work on the machine does not lengthen."""
        start = time.process_time()
        make_estimate(findings, lexicon=lexicon, shop=shop, market="US")
        return (time.process_time() - start) * 1000

    batch = [make_findings(rng.sample(components, wanted.findings), rng) for _ in range(wanted.drafts)]
    fresh = [timed(findings) for findings in batch[:FRESH]]
    print(
        f"{len(fresh)} drafts of {wanted.findings} findings, none of whose names was compared before: "
        f"first {fresh[0]:.1f} ms, median {statistics.median(fresh):.1f} ms"
    )
    print(f"the same again: {timed(batch[0]):.1f} ms")
    took = [timed(findings) for findings in batch]
    print(
        f"{wanted.drafts} drafts: {sum(took) / 1000:.2f} s, median {statistics.median(took):.1f} ms, "
        f"slowest {max(took):.1f} ms"
    )
    if wanted.check and statistics.median(fresh) > MOST_MS:
        print(f"a fresh draft took more than {MOST_MS:.0f} ms", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
