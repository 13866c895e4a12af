"""From a need, its operation and its hours to priced lines. Every amount is rounded once, half up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from voicecheck.estimate.labour import Charge, Task
from voicecheck.estimate.match import Match
from voicecheck.estimate.needs import Need
from voicecheck.estimate.pricing import rate_of, rounded, selling_price, sublet_price, times
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
from voicecheck.estimate.texts import coin, named, work
from voicecheck.records.asks import Ask
from voicecheck.records.estimate import Basis, Less, Line
from voicecheck.records.money import round_money
from voicecheck.records.shopdata import FeeRule, Operation, PartUse, PriceProfile, SetPolicy
from voicecheck.records.vocabulary import LineKind
from voicecheck.records.wording import capital, hours_text, joined, number


def lines_of(
    need: Need,
    *,
    key: str,
    match: Match,
    task: Task | None,
    charge: Charge | None,
    prices: PriceProfile,
    asks: Sequence[Ask] = (),
    set_rule: SetPolicy | None = None,
    fluid_asks: Mapping[str, Ask] | None = None,
    extra_parts: Sequence[tuple[PartUse, str]] = (),
    fees: Sequence[FeeRule] = (),
    payers: Mapping[int, str] | None = None,
    note: str = "",
    said: str = "",
) -> list[Line]:
    """The lines of one need: what leads (labour or sublet work), then parts and fluids, then fees.

    ``key`` begins their ids. ``asks`` are questions from outside this need; they go on the leading line with
    those about its scope and its place in the catalogue. ``fluid_asks`` go on the lines of the fluids that
    they name. ``extra_parts`` come with the work by policy, each with its reason. ``payers`` are the ids of
    the lines that pay for shared hours; ``note`` ends the arithmetic of the labour. ``said`` are the words
    behind the need: a line to be priced by hand shows them.
    """
    found = [*scope_asks(need, match.operation, set_rule), *match.asks, *asks]
    if match.operation is None or task is None:
        lines = [_open_line(need, match, found, prices, said)]
    elif need.sublet and not match.operation.sublet:
        lines = [_sent_out(need, match.operation, match, found)]
    else:
        lines = _lead_lines(need, match, task, charge, found, prices, payers or {}, note)
        for use in match.operation.parts:
            part = _part_line(need, match.operation, task, use, prices)
            ask = (fluid_asks or {}).get(part.name) if part.kind == "fluid" else None
            lines.append(part.model_copy(update={"asks": (*part.asks, ask)}) if ask else part)
    for use, says in extra_parts:
        lines.append(_policy_part(need, match, task, use, says, prices))
    lines += [_fee_line(need, match, rule, prices) for rule in fees]
    return _with_ids(lines, key)


def key_of(need: Need, match: Match) -> str:
    """How the ids of a need's lines begin: the first finding behind it, and what is done."""
    what = match.operation.code if match.operation else f"{need.action.replace(' ', '_')}_{need.component.id}"
    by = "" if need.asked_by == "technician" else f"{need.asked_by}:"
    return f"{need.findings[0]}:{by}{what}"


def lead_id(key: str, need: Need, match: Match) -> str:
    """The id of a need's first line: its labour, or the work that is sent out."""
    operation = match.operation
    sent_out = operation is not None and operation.sublet
    sublet = (operation.hours is None) if operation and sent_out else need.sublet
    return f"{key}:{'sublet' if sublet else 'labour'}"


def _with_ids(lines: Sequence[Line], key: str) -> list[Line]:
    counts: dict[str, int] = {}
    found = []
    for line in lines:
        counts[line.kind] = counts.get(line.kind, 0) + 1
        number = "" if line.kind in ("labour", "sublet") else str(counts[line.kind])
        found.append(line.model_copy(update={"id": f"{key}:{line.kind}{number}"}))
    return found


def scope_asks(need: Need, operation: Operation | None, rule: SetPolicy | None = None) -> list[Ask]:
    """What has to be asked about where the work is, and whether the other side belongs to it.

    ``rule`` is the shop's policy on the set; without one the component's own entry decides.
    """
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
        if halves and not (rule and rule.by == "axle"):
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
    elif rule.by == "ask" if rule else need.component.sets == "pair" and need.action == "replace":
        other = partners(need.component, need.spots)
        if other and need.positions:
            whole = (
                " The catalogue counts this work by the axle, so its hours and parts are those of both sides."
                if operation is not None and operation.per == "axle"
                else ""
            )
            only = f"only {joined(need.positions)} was named"
            policy = "as shop policy both sides of an axle are replaced"
            reason = f"{only}. {rule.says}" if rule else f"{policy}, and {only}."
            found.append(
                Ask(
                    code="pair_policy",
                    field="positions",
                    message=(f"{capital(what)}: {reason} Do {joined(other)} as well?{whole}"),
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
        "asked_by": need.asked_by,
    }
    # sums and products drag zeros along: "1.600" h, "23.0000"
    for name, write in (
        ("quantity", number), ("hours", hours_text), ("unit_price", coin), ("unit_price_high", coin),
    ):  # fmt: skip
        value = fields.get(name)
        if isinstance(value, Decimal):
            fields[name] = Decimal(write(value))
    return Line.model_validate(base | fields)


def _open_line(need: Need, match: Match, asks: Sequence[Ask], prices: PriceProfile, said: str) -> Line:
    """Work that the catalogue does not have: counted, in the words spoken, without hours or price."""
    kind: LineKind = "sublet" if need.sublet else "labour"
    labour = {} if need.sublet else _rate(need, prices)
    if said and not need.why:
        labour["why"] = f"To be priced from what was said: “{said}”"
    return _line(
        need,
        kind=kind,
        name=work(need.action, need.ref.name),
        quantity=Decimal(len(need.spots)),
        unit=_unit(need),
        basis=Basis(units=Decimal(len(need.spots))),
        **labour,
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


def _rate(need: Need, prices: PriceProfile) -> dict[str, Any]:
    kind, rate = rate_of(need.component.system, need.action, prices)
    return {"rate_type": kind, "unit_price": rate}


def _lead_lines(
    need: Need,
    match: Match,
    task: Task,
    charge: Charge | None,
    asks: list[Ask],
    prices: PriceProfile,
    payers: Mapping[int, str],
    note: str,
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
        labour = _rate(need, prices)
        rate = labour["unit_price"]
        less = tuple(
            Less(hours=s.hours, by=payers.get(s.by, ""), reason=s.reason) for s in charge.less if s.hours
        )
        lines.append(
            _line(
                need,
                kind="labour",
                hours=charge.hours,
                amount=round_money(charge.hours * rate, prices.currency),
                basis=Basis(units=units, hours_each=operation.hours, less=less),
                arithmetic=_labour_arithmetic(task, charge, rate, prices.currency) + note,
                asks=tuple(asks),
                **labour,
                **common,
            )
        )
    elif operation.price is not None and not operation.sublet:
        top = operation.price_high
        amount = round_money(operation.price * units, prices.currency)
        high = None if top is None else round_money(top * units, prices.currency)
        each, whole = _to(operation.price, top), _to(amount, high)
        lines.append(
            _line(
                need,
                kind="labour",
                unit_price=operation.price,
                unit_price_high=top,
                amount=amount,
                amount_high=high,
                rate_type=rate_of(need.component.system, need.action, prices)[0],
                basis=Basis(units=units),
                arithmetic=f"Fixed price {each} × {number(units)} = {whole}",
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
                basis=Basis(units=units),
                arithmetic="To be priced.",
                asks=(*asks, ask),
                **_rate(need, prices),
                **common,
            )
        )
    if operation.sublet:
        # the questions about scope are on the labour line where there is one
        lines.append(_sublet_line(need, operation, units, () if lines else asks, prices, common))
    return lines


def _to(low: Decimal, high: Decimal | None) -> str:
    return coin(low) if high is None else f"{coin(low)} to {coin(high)}"


def _labour_arithmetic(task: Task, charge: Charge, rate: Decimal, currency: str) -> str:
    each, units = task.operation.hours or Decimal(0), len(task.units)
    less = [f"{number(s.hours)} h {s.reason}" for s in charge.less if s.hours]
    steps = f"{number(each)} h"
    if units > 1:
        steps += f" × {units} = {number(charge.full)} h"
    if less:
        steps += f", less {'; less '.join(less)} = {number(charge.hours)} h"
    start = f"; {number(charge.hours)} h" if less or units > 1 else ""
    return f"{steps}{start} × {coin(rate)} = {rounded(charge.hours * rate, currency)}"


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
        return _line(
            need,
            kind="sublet",
            basis=Basis(units=units),
            arithmetic="To be priced.",
            asks=(*asks, ask),
            **common,
        )
    price = sublet_price(operation.price, operation.price_high, prices)
    amount, high, steps = times(price, units, prices.currency)
    return _line(
        need,
        kind="sublet",
        unit_price=price.low,
        unit_price_high=price.high,
        amount=amount,
        amount_high=high,
        basis=price.basis.model_copy(update={"units": units}),
        arithmetic=steps,
        asks=tuple(asks),
        **common,
    )


def _part_line(need: Need, operation: Operation, task: Task, use: PartUse, prices: PriceProfile) -> Line:
    units = Decimal(len(task.units))
    fields = {
        "catalogue": operation.code,
        "why": need.why or f"Goes with “{operation.name}”.",
        "asked_by": need.asked_by if need.asked_by != "technician" else "catalogue",
    }
    return _priced(need, use, units, prices, fields)


def _policy_part(
    need: Need, match: Match, task: Task | None, use: PartUse, says: str, prices: PriceProfile
) -> Line:
    units = Decimal(len(task.units) if task else len(need.spots))
    code = match.operation.code if match.operation else None
    return _priced(need, use, units, prices, {"catalogue": code, "why": says, "asked_by": "policy"})


def _priced(need: Need, use: PartUse, units: Decimal, prices: PriceProfile, fields: dict[str, Any]) -> Line:
    quantity = use.quantity * units
    common: dict[str, Any] = fields | {
        "kind": use.kind,
        "name": use.name,
        "quantity": quantity,
        "unit": use.unit,
        "part_condition": "" if use.kind == "fee" else use.condition,
    }
    price = selling_price(use, prices)
    if isinstance(price, str):
        ask = Ask(
            code="price_open", field="unit_price", message=f"The price of “{use.name}” is to be found{price}."
        )
        basis = Basis(units=units, cost=use.price, cost_high=use.price_high)
        return _line(need, basis=basis, arithmetic="To be priced.", asks=(ask,), **common)
    amount, high, steps = times(price, quantity, prices.currency)
    return _line(
        need,
        unit_price=price.low,
        unit_price_high=price.high,
        amount=amount,
        amount_high=high,
        basis=price.basis.model_copy(update={"units": units}),
        arithmetic=steps,
        **common,
    )


def _fee_line(need: Need, match: Match, rule: FeeRule, prices: PriceProfile) -> Line:
    what = match.operation.name if match.operation else work(need.action, need.ref.name)
    use = PartUse(name=rule.name, kind="fee", quantity=Decimal(1), unit="each", price=rule.amount)
    units = Decimal(len(need.spots) if rule.per == "each" else 1)
    code = match.operation.code if match.operation else None
    why = f"The price profile has it with “{what}”."
    return _priced(need, use, units, prices, {"catalogue": code, "why": why, "asked_by": "policy"})
