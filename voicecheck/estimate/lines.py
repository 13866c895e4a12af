"""From a need, its operation and its hours to priced lines. Every amount is rounded once, half up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from voicecheck.estimate.labour import Charge, Task
from voicecheck.estimate.match import Match
from voicecheck.estimate.needs import Need
from voicecheck.estimate.scope import (
    SIDES,
    axle_of,
    half_said_axles,
    misplaced,
    partners,
    possible_spots,
    side_of,
    unsaid,
)
from voicecheck.estimate.texts import capital, coin, joined, named, plain, tenths, work
from voicecheck.records.asks import Ask
from voicecheck.records.estimate import Line
from voicecheck.records.money import round_money
from voicecheck.records.shopdata import Operation, PartUse, PriceProfile
from voicecheck.records.vocabulary import LineKind


def lines_of(
    need: Need,
    *,
    match: Match,
    task: Task | None,
    charge: Charge | None,
    prices: PriceProfile,
    asks: Sequence[Ask] = (),
    fluid_asks: Mapping[str, Ask] | None = None,
) -> list[Line]:
    """The lines of one need: what leads (labour or sublet work), then parts and fluids.

    ``asks`` are questions from outside this need; they go on the leading line with those about its scope and
    its place in the catalogue. ``fluid_asks`` go on the lines of the fluids that they name.
    """
    found = [*scope_asks(need, match.operation), *match.asks, *asks]
    if match.operation is None or task is None:
        return [_open_line(need, match, found, prices)]
    if need.sublet and not match.operation.sublet:
        return [_sent_out(need, match.operation, match, found)]
    lead = _lead_lines(need, match, task, charge, found, prices)
    parts = [_part_line(need, match.operation, task, use, prices) for use in match.operation.parts]
    for i, part in enumerate(parts):
        ask = (fluid_asks or {}).get(part.name) if part.kind == "fluid" else None
        if ask is not None:
            parts[i] = part.model_copy(update={"asks": (*part.asks, ask)})
    return [*lead, *parts]


def scope_asks(need: Need, operation: Operation | None) -> list[Ask]:
    """What has to be asked about where the work is, and whether the other side belongs to it."""
    what = named(need.ref.name, (), need.place)
    found = []
    possible = possible_spots(need.component)
    strange = misplaced(need.component, need.spots)
    if strange:
        found.append(
            Ask(
                code="place_unusual",
                field="positions",
                message=(
                    f"{capital(what)}: {joined(need.positions)} was said, and the term files have it at "
                    f"{joined(possible)} only. Where is it?"
                ),
                choices=_choices(possible),
            )
        )
    if any(map(unsaid, need.spots)):
        if not need.positions:
            found.append(
                Ask(
                    code="side_not_said",
                    field="positions",
                    message=f"Where the {what} sits was not said; one is counted. Which one is it?",
                    choices=_choices(possible),
                )
            )
        else:
            bare = any(p in SIDES for p in need.positions)
            found.append(
                Ask(
                    code="axle_not_said" if bare else "side_not_said",
                    field="positions",
                    message=(
                        f"{capital(what)}: “{joined(need.positions)}” leaves open which one it is; "
                        f"{len(need.spots)} counted. Which one is it?"
                    ),
                    choices=tuple(
                        p
                        for p in possible
                        if not bare or not side_of(p) or side_of(p) in {side_of(q) for q in need.positions}
                    ),
                )
            )
    elif need.component.sets == "axle set" and need.positions:
        halves = half_said_axles(need.component, need.positions)
        if halves:
            found.append(
                Ask(
                    code="axle_set",
                    field="positions",
                    message=(
                        f"{capital(what)}: only one side was named, and they come as an axle set. "
                        f"The {joined(halves)} set is counted; is that right?"
                    ),
                    choices=(f"Yes, the {joined(halves)} set", "No, one side only"),
                )
            )
    elif need.component.sets == "pair" and need.action == "replace":
        other = partners(need.component, need.spots)
        if other:
            whole = (
                " The catalogue counts this work by the axle, so its hours and parts are those of both sides."
                if operation is not None and operation.per == "axle"
                else ""
            )
            found.append(
                Ask(
                    code="pair_policy",
                    field="positions",
                    message=(
                        f"{capital(what)}: as shop policy both sides of an axle are replaced, and only "
                        f"{joined(need.positions)} was named. Do {joined(other)} as well?{whole}"
                    ),
                    choices=(f"Add {joined(other)}", f"Only {joined(need.positions)}"),
                )
            )
    return found


def _choices(possible: Sequence[str]) -> tuple[str, ...]:
    """The single places, then whole axles where both of their sides are among them."""
    whole = [
        f"both {axle}"
        for axle in ("front", "rear")
        if len([p for p in possible if axle_of(p) == axle and p != axle]) == 2
    ]
    if not whole and len(possible) == 2:
        whole = ["both"]
    return (*possible, *whole)


def _unit(need: Need) -> str:
    return "axle set" if need.component.sets == "axle set" else "each"


def _line(need: Need, **fields: Any) -> Line:
    base: dict[str, Any] = {
        "operation": need.action,
        "component": need.ref,
        "positions": need.positions,
        "place": need.place,
        "findings": need.findings,
        "why": need.why,
    }
    # sums and products drag zeros along: "1.600" h, "23.0000"
    for name, write in (("quantity", plain), ("hours", tenths), ("unit_price", coin)):
        value = fields.get(name)
        if isinstance(value, Decimal):
            fields[name] = Decimal(write(value))
    return Line.model_validate(base | fields)


def _open_line(need: Need, match: Match, asks: Sequence[Ask], prices: PriceProfile) -> Line:
    """Work that the catalogue does not have: counted, described, and without hours or price."""
    kind: LineKind = "sublet" if need.sublet else "labour"
    return _line(
        need,
        kind=kind,
        name=work(need.action, need.ref.name),
        quantity=Decimal(len(need.spots)),
        unit=_unit(need),
        unit_price=None if need.sublet else _rate(need, prices),
        candidates=match.candidates,
        arithmetic="To be priced.",
        asks=tuple(asks),
    )


def _sent_out(need: Need, operation: Operation, match: Match, asks: Sequence[Ask]) -> Line:
    """Work that was said to be sent out although the catalogue does it in the house."""
    ask = Ask(
        code="price_open",
        field="unit_price",
        message=(
            f"“{operation.name}” is to be sent out; the catalogue has only the shop's own hours for it. "
            "What does the specialist charge, parts included?"
        ),
    )
    return _line(
        need,
        kind="sublet",
        name=operation.name,
        quantity=Decimal(len(need.spots)),
        unit=_unit(need),
        catalogue=operation.code,
        candidates=match.candidates,
        arithmetic="To be priced.",
        asks=(*asks, ask),
    )


def _lead_lines(
    need: Need, match: Match, task: Task, charge: Charge | None, asks: list[Ask], prices: PriceProfile
) -> list[Line]:
    operation = task.operation
    lines: list[Line] = []
    common: dict[str, Any] = {
        "name": operation.name,
        "quantity": Decimal(len(need.spots)),
        "unit": _unit(need),
        "catalogue": operation.code,
        "candidates": match.candidates,
    }
    units = Decimal(len(task.units))
    if charge is not None:
        asks = asks + [Ask(code="charge_again", field="hours", message=m) for m in charge.uncertain]
        rate = _rate(need, prices)
        lines.append(
            _line(
                need,
                kind="labour",
                hours=charge.hours,
                unit_price=rate,
                amount=round_money(charge.hours * rate, prices.currency),
                arithmetic=_labour_arithmetic(task, charge, rate, prices.currency),
                asks=tuple(asks),
                **common,
            )
        )
    elif operation.price is not None and not operation.sublet:
        amount = round_money(operation.price * units, prices.currency)
        lines.append(
            _line(
                need,
                kind="labour",
                unit_price=operation.price,
                amount=amount,
                arithmetic=f"Fixed price {coin(operation.price)} × {plain(units)} = {coin(amount)}",
                asks=tuple(asks),
                **common,
            )
        )
    elif not operation.sublet:
        ask = Ask(
            code="time_open", field="hours", message=f"The catalogue has no hours for “{operation.name}”."
        )
        lines.append(
            _line(
                need,
                kind="labour",
                unit_price=_rate(need, prices),
                arithmetic="To be priced.",
                asks=(*asks, ask),
                **common,
            )
        )
    if operation.sublet:
        # the questions about scope are on the labour line where there is one
        lines.append(_sublet_line(need, operation, units, () if lines else asks, prices, common))
    return lines


def _labour_arithmetic(task: Task, charge: Charge, rate: Decimal, currency: str) -> str:
    each, units = task.operation.hours or Decimal(0), len(task.units)
    steps = f"{plain(each)} h"
    if units > 1:
        steps += f" × {units} = {plain(charge.full)} h"
    if charge.less:
        steps += f", less {'; less '.join(charge.less)} = {plain(charge.hours)} h"
    glue = "; " if charge.less or units > 1 else ""
    start = f"{plain(charge.hours)} h" if glue else ""
    exact, amount = charge.hours * rate, round_money(charge.hours * rate, currency)
    end = coin(exact) if exact == amount else f"{coin(exact)}, rounded to {coin(amount)}"
    return f"{steps}{glue}{start} × {coin(rate)} = {end}"


def _sublet_line(
    need: Need,
    operation: Operation,
    units: Decimal,
    asks: Sequence[Ask],
    prices: PriceProfile,
    common: dict[str, Any],
) -> Line:
    if operation.price is None:
        ask = Ask(
            code="price_open",
            field="unit_price",
            message=f"The price of “{operation.name}”, sent out, is to be found.",
        )
        return _line(need, kind="sublet", arithmetic="To be priced.", asks=(*asks, ask), **common)
    factor = 1 + prices.sublet_markup_percent / 100
    price = operation.price * factor
    amount = round_money(price * units, prices.currency)
    steps = f"cost {coin(operation.price)}"
    if prices.sublet_markup_percent:
        steps += f" + {plain(prices.sublet_markup_percent)} % = {coin(price)}"
    return _line(
        need,
        kind="sublet",
        unit_price=price,
        amount=amount,
        arithmetic=_times(steps, price, units, amount),
        asks=tuple(asks),
        **common,
    )


def _part_line(need: Need, operation: Operation, task: Task, use: PartUse, prices: PriceProfile) -> Line:
    units = Decimal(len(task.units))
    quantity = use.quantity * units
    common: dict[str, Any] = {
        "kind": use.kind,
        "name": use.name,
        "quantity": quantity,
        "unit": use.unit,
        "catalogue": operation.code,
        "why": need.why or f"Goes with “{operation.name}”.",
    }
    price, steps = _selling_price(use, prices)
    if price is None:
        ask = Ask(
            code="price_open", field="unit_price", message=f"The price of “{use.name}” is to be found{steps}."
        )
        return _line(need, arithmetic="To be priced.", asks=(ask,), **common)
    amount = round_money(price * quantity, prices.currency)
    return _line(
        need,
        unit_price=price,
        amount=amount,
        arithmetic=_times(steps, price, quantity, amount),
        **common,
    )


def _selling_price(use: PartUse, prices: PriceProfile) -> tuple[Decimal | None, str]:
    """The price of one unit and how it came about; without a price, why not (or "")."""
    if use.price is None:
        return None, ""
    if not prices.markup:
        return use.price, f"price {coin(use.price)}"
    bands = sorted(prices.markup, key=lambda b: (b.up_to is None, b.up_to or Decimal(0)))
    band = next((b for b in bands if b.up_to is None or use.price <= b.up_to), None)
    if band is None:
        return None, f": it costs {coin(use.price)}, and no markup band of the price profile reaches that far"
    price = use.price * band.factor
    return price, f"cost {coin(use.price)} × {plain(band.factor)} = {coin(price)}"


def _times(steps: str, price: Decimal, quantity: Decimal, amount: Decimal) -> str:
    """Appends the quantity and, where it changed anything, the rounding."""
    if quantity != 1:
        steps += f"; {plain(quantity)} × {coin(price)} = {coin(price * quantity)}"
    if amount != price * quantity:
        steps += f", rounded to {coin(amount)}"
    return steps


def _rate(need: Need, prices: PriceProfile) -> Decimal:
    if need.action == "diagnose" and prices.diagnostic_rate is not None:
        return prices.diagnostic_rate
    return prices.labour_rate
