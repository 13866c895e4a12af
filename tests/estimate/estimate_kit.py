"""A small invented shop: a few components, operations and prices, and short ways to write findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from voicecheck.estimate import EstimateResult, make_estimate
from voicecheck.lexicon.model import Component, Cue, Lexicon, MeasureTerm, UnitRange
from voicecheck.records import (
    Ask,
    Catalogue,
    Finding,
    Limit,
    Line,
    MarkupBand,
    Measure,
    Operation,
    PartUse,
    PriceProfile,
    Ref,
    ShopData,
    Span,
)

D = Decimal


def component(id: str, system: str, places: str = "one", sets: str = "each", **more: Any) -> Component:
    """A component called by its id with spaces, unless ``name`` says otherwise; places are split at ``|``."""
    fields = {"name": id.replace("_", " "), **more}
    return Component.model_validate(
        {"id": id, "system": system, "places": tuple(places.split("|")), "sets": sets, **fields}
    )


COMPONENTS = [
    component("brake_pads", "brakes", "corners", "axle set"),
    component("brake_shoes", "brakes", "rear corners", "axle set"),
    component("brake_rotor", "brakes", "corners", "pair"),
    component("brake_caliper", "brakes", "corners", "pair"),
    component("wheel_cylinder", "brakes", "rear corners", "each"),
    component("master_cylinder", "brakes"),
    component("brake_hose", "brakes", "corners", "each"),
    component("tyre", "wheels_tyres", "corners", "each"),
    component("wheel_alignment", "steering"),
    component("tie_rod_end", "steering", "front corners", "each"),
    component("tie_rod_end_outer", "steering", "front corners", kind_of="tie_rod_end"),
    component("tie_rod_end_boot", "steering", "front corners", part_of="tie_rod_end_outer"),
    component("sway_bar", "suspension", "axles"),
    component("strut", "suspension", "front corners", "pair"),
    component("strut_mount", "suspension", "front corners"),
    component("radiator", "cooling"),
    component("water_pump", "cooling"),
    component("radiator_hose_upper", "cooling"),
    component("radiator_hose_lower", "cooling"),
    component("battery", "electrical"),
    component("starter", "electrical"),
    component("headlamp", "lighting", "sides"),
    component("wiper_blade", "glass_wipers", "front sides|rear"),
    component("differential", "driveline", "one|axles"),
    component("muffler", "exhaust"),
]


def measure_term(id: str, unit: str, said: Sequence[str] = ()) -> MeasureTerm:
    return MeasureTerm.model_validate(
        {
            "id": id,
            "name": id.replace("_", " "),
            "fits": ("any",),
            "units": (UnitRange.model_validate({"unit": unit, "low": D(0), "high": D(100)}),),
            "unit_us": unit,
            "unit_uk": unit,
            "said": tuple(said),
        }
    )


def lexicon(*more: Component) -> Lexicon:
    return Lexicon(
        market="US",
        components={c.id: c for c in (*COMPONENTS, *more)},
        conditions={},
        actions=(),
        places=(),
        cues=(
            Cue(kind="limit", said="minimum is", value="min"),
            Cue(kind="limit", said="maximum is", value="max"),
            Cue(kind="limit", said="new is", value="new"),
        ),
        measures={
            m.id: m
            for m in (
                measure_term("tread_depth", "1/32 in", ["tread"]),
                measure_term("pad_thickness", "mm"),
                measure_term("rotor_thickness", "mm"),
                measure_term("cold_cranking", "A"),
            )
        },
    )


def part(
    name: str, price: str | None, quantity: str = "1", unit: str = "each", kind: str = "part"
) -> PartUse:
    return PartUse.model_validate(
        {
            "name": name,
            "kind": kind,
            "quantity": D(quantity),
            "unit": unit,
            "price": None if price is None else D(price),
        }
    )


def operation(
    code: str, system: str, component: str, action: str, per: str, hours: str | None, **more: Any
) -> Operation:
    fields = {"name": f"{action.capitalize()} {component.replace('_', ' ')}", **more}
    return Operation.model_validate(
        {
            "code": code,
            "system": system,
            "component": component,
            "action": action,
            "per": per,
            "hours": None if hours is None else D(hours),
            **fields,
        }
    )


WHEEL = {"shares": ("wheel off",), "shared_hours": D("0.2")}
DRAIN = {"shares": ("coolant drained",), "shared_hours": D("0.4")}

OPERATIONS = [
    operation("B10", "brakes", "brake_pads", "replace", "axle", "1.0", shares=("wheel off",),
              shared_hours=D("0.4"), parts=(part("brake pads, axle set", "41.00", unit="set"),)),
    operation("B11", "brakes", "brake_shoes", "replace", "axle", "1.4",
              parts=(part("brake shoes, axle set", "30.00", unit="set"),)),
    operation("B20", "brakes", "brake_rotor", "replace", "each", "0.5", **WHEEL,
              parts=(part("brake rotor", "60.00"),)),
    operation("B21", "brakes", "brake_rotor", "resurface", "each", None, sublet=True, price=D("20.00")),
    operation("B30", "brakes", "brake_caliper", "replace", "each", "0.9", **WHEEL, includes=("B80",),
              parts=(part("brake caliper", "120.00"), part("brake fluid", "12.00", "0.5", "L", "fluid"))),
    operation("B40", "brakes", "wheel_cylinder", "replace", "each", "0.7",
              parts=(part("wheel cylinder", None),)),
    operation("B80", "brakes", "brake_hose", "replace", "each", "0.6", parts=(part("brake hose", "15.00"),)),
    operation("B90", "brakes", "diagnosis", "diagnose", "vehicle", "0.8", name="Brake diagnosis"),
    operation("W10", "wheels_tyres", "tyre", "replace", "each", "0.4", **WHEEL,
              parts=(part("tyre", "100.00"),)),
    operation("S10", "steering", "tie_rod_end", "replace", "side", "0.7", follow_on=("S90",),
              parts=(part("tie rod end", "25.00"),)),
    operation("S90", "steering", "wheel_alignment", "adjust", "vehicle", "1.0", name="Wheel alignment"),
    operation("U10", "suspension", "strut", "replace", "each", "1.5", includes=("U11",), follow_on=("S90",),
              parts=(part("strut", "80.00"),)),
    operation("U11", "suspension", "strut_mount", "replace", "each", "1.2",
              parts=(part("strut mount", "20.00"),)),
    operation("C10", "cooling", "radiator", "replace", "vehicle", "2.0", **DRAIN,
              parts=(part("radiator", "150.00"), part("coolant", "5.00", "6", "L", "fluid"))),
    operation("C20", "cooling", "water_pump", "replace", "vehicle", "2.5", **DRAIN,
              parts=(part("water pump", "70.00"),)),
    operation("C30", "cooling", "radiator_hose_upper", "replace", "each", "0.6", **DRAIN,
              parts=(part("radiator hose, upper", "18.00"),)),
    operation("E10", "electrical", "battery", "replace", "vehicle", "0.3",
              parts=(part("battery", "110.00"),)),
    operation("E11", "electrical", "battery", "service", "vehicle", None, price=D("29.00")),
    operation("E20", "electrical", "starter", "repair", "vehicle", None, sublet=True),
    operation("L10", "lighting", "headlamp", "replace", "each", "0.5", parts=(part("headlamp", "90.00"),)),
]  # fmt: skip


def prices(**changes: Any) -> PriceProfile:
    fields: dict[str, Any] = {
        "name": "test prices",
        "market": "US",
        "currency": "USD",
        "labour_rate": D("120.00"),
        "diagnostic_rate": D("140.00"),
        "markup": (
            MarkupBand(up_to=D("50.00"), factor=D("1.6")),
            MarkupBand(up_to=None, factor=D("1.4")),
        ),
        "sublet_markup_percent": D(15),
        "supplies_percent": D(5),
        "supplies_cap": D("30.00"),
        "tax_percent": D("8.25"),
        "taxed": ("part", "fluid"),
    }
    return PriceProfile.model_validate(fields | changes)


LIMITS = (
    Limit(id="tread", component="tyre", measure="tread_depth", bound="min", value=D(2), unit="1/32 in",
          market="US", source="a law", status="verified"),
    Limit(id="tread_uk", component="tyre", measure="tread_depth", bound="min", value=D("1.6"), unit="mm",
          market="UK", source="another law", status="verified"),
    Limit(id="pads", component="brake_pads", measure="pad_thickness", bound="min", value=D(3), unit="mm",
          source="common practice", status="common practice"),
)  # fmt: skip


def shop(
    *more: Operation, limits: tuple[Limit, ...] = LIMITS, without: Sequence[str] = (), **price_changes: Any
) -> ShopData:
    """The test shop with ``more`` operations, and ``without`` some of its own."""
    operations = (*(o for o in OPERATIONS if o.code not in without), *more)
    return ShopData(
        catalogue=Catalogue(name="test", operations=operations), prices=prices(**price_changes), limits=limits
    )


def finding(id: str, component: str, *positions: str, **more: Any) -> Finding:
    """A stated defect to be replaced, unless told otherwise."""
    fields: dict[str, Any] = {
        "id": id,
        "component": Ref(id=component, name=component.replace("_", " ")),
        "positions": positions,
        "state": "defect",
        "conditions": (Ref(id="worn", name="worn"),),
        "action": "replace",
        "heard": (span(component),),
    }
    return Finding.model_validate(fields | more)


def span(text: str) -> Span:
    return Span(first=0, last=1, start=0.5, end=1.5, heard=text, read=text)


def reading(what: str, value: str, unit: str, **more: Any) -> Measure:
    return Measure.model_validate({"what": what, "value": D(value), "unit": unit, **more})


def estimate(*findings: Finding, data: ShopData | None = None, **options: Any) -> EstimateResult:
    settings: dict[str, Any] = {"lexicon": lexicon(), "market": "US", **options}
    return make_estimate(findings, shop=data or shop(), **settings)


def lines(result: EstimateResult, *kinds: str) -> list[Line]:
    """All lines in order, of the kinds given or of every kind."""
    return [x for job in result.estimate.jobs for x in job.lines if not kinds or x.kind in kinds]


def line(result: EstimateResult, kind: str = "labour") -> Line:
    """The only line of a kind."""
    (found,) = lines(result, kind)
    return found


def codes(asks: Sequence[Ask]) -> list[str]:
    return [a.code for a in asks]


def every_ask(result: EstimateResult) -> Iterator[Ask]:
    yield from result.asks
    for item in result.findings:
        yield from item.asks
    for row in lines(result):
        yield from row.asks
