"""What an advisor changes and adds. Every change is shown on its line, none is dropped in silence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from voicecheck.estimate.pricing import rate_of, rounded
from voicecheck.estimate.texts import coin
from voicecheck.lexicon.model import Lexicon
from voicecheck.records.asks import Ask
from voicecheck.records.estimate import AddedLine, Basis, Line, LineChange
from voicecheck.records.money import round_money
from voicecheck.records.shopdata import PriceProfile
from voicecheck.records.wording import hours_text, number

_HOURS = Decimal("0.001")
_PRICE_ASKS = ("price_open", "time_open", "not_in_catalogue")  # answered once the line has an amount


def changed(line: Line, change: LineChange, currency: str) -> Line:
    """A line as an advisor wants it: the numbers as given, the amount from them, and what was changed.

    More or fewer of a labour line scales its hours, unless those are given too. A price for work without
    hours is its fixed price.
    """
    fields: dict[str, Any] = {}
    said = []
    if change.name is not None and change.name != line.name:
        fields["name"] = change.name
        said.append(f"“{line.name}” became “{change.name}”")
    if change.part_condition is not None and change.part_condition != line.part_condition:
        fields["part_condition"] = change.part_condition
        said.append(f"{line.part_condition or 'not said'} became {change.part_condition or 'not said'}")
    hours = change.hours if line.kind == "labour" else None
    if hours != change.hours:
        said.append("hours, which this line does not have, were not")
    figures: list[tuple[str, Decimal | None, Decimal | None]] = [
        ("quantity", line.quantity, change.quantity),
        ("hours", line.hours, hours),
        ("unit_price", line.unit_price, change.unit_price),
    ]
    for name, old, new in figures:
        if new is not None and new != old:
            fields[name] = new
            said.append(f"{name.replace('_', ' ')} {'open' if old is None else number(old)} → {number(new)}")
    if "unit_price" in fields:
        fields["unit_price_high"] = None
    if "quantity" in fields and hours is None and line.hours is not None and line.quantity:
        fields["hours"] = (line.hours * fields["quantity"] / line.quantity).quantize(_HOURS)
    if fields.keys() & {"quantity", "hours", "unit_price"}:
        fields |= _priced(line.model_copy(update=fields), change, line, currency)
    who = f" by {change.by}" if change.by else ""
    why = f": {change.reason}" if change.reason else ""
    note = f"{'; '.join(said) or 'Nothing'} changed{who}{why}"
    fields["changed"] = f"{line.changed}; {note}" if line.changed else note
    return line.model_copy(update=fields)


def _priced(line: Line, change: LineChange, before: Line, currency: str) -> dict[str, Any]:
    """The amount of a line whose numbers were changed, with its arithmetic and without answered asks."""
    price = line.unit_price
    fixed = line.kind == "labour" and line.hours is None
    if price is None or (fixed and before.amount is None and change.unit_price is None):
        return {"basis": Basis()}
    units = line.hours if line.hours is not None else line.quantity
    if fixed and before.amount is not None:  # a fixed price is for what the catalogue counts
        units = before.basis.units * line.quantity / before.quantity
    amount = round_money(units * price, currency)
    high = None if line.unit_price_high is None else round_money(units * line.unit_price_high, currency)
    what = f"{hours_text(units)} h" if line.hours is not None else number(units)
    steps = f"{what} × {coin(price)} = {rounded(units * price, currency)}"
    if high is not None and line.unit_price_high is not None:
        steps += f" to {what} × {coin(line.unit_price_high)} = {coin(high)}"
    return {
        "amount": amount,
        "amount_high": high,
        "basis": Basis(units=units),
        "arithmetic": f"{steps}, as changed; before: {before.arithmetic}",
        "asks": tuple(a for a in line.asks if a.code not in _PRICE_ASKS),
    }


def line_of(added: AddedLine, prices: PriceProfile, lexicon: Lexicon) -> Line:
    """The line that an advisor adds. Labour without a rate gets the profile's; without a price it is open."""
    component = lexicon.components.get(added.component.id) if added.component else None
    fields: dict[str, Any] = {}
    price = added.unit_price
    units = added.quantity
    if added.kind == "labour" and (added.hours is not None or price is None):
        kind, rate = rate_of(component.system if component else "", added.operation, prices)
        price = rate if price is None else price
        fields["rate_type"] = kind
        units = added.hours if added.hours is not None else added.quantity
    known = price is not None and not (
        added.kind == "labour" and added.hours is None and not added.unit_price
    )
    asks: tuple[Ask, ...] = ()
    if known and price is not None:
        what = f"{hours_text(units)} h" if added.hours is not None else number(units)
        fields["amount"] = round_money(units * price, prices.currency)
        fields["arithmetic"] = f"{what} × {coin(price)} = {rounded(units * price, prices.currency)}"
    else:
        fields["arithmetic"] = "To be priced."
        asks = (
            Ask(code="price_open", field="unit_price", message=f"“{added.name}” was added without a price."),
        )
    return Line(
        id=added.id,
        kind=added.kind,
        name=added.name,
        operation=added.operation,
        component=added.component,
        positions=added.positions,
        quantity=added.quantity,
        unit=added.unit,
        hours=added.hours,
        unit_price=price,
        part_condition="new" if added.kind in ("part", "fluid") else "",
        basis=Basis(units=units),
        asked_by="advisor",
        why=_reason(added),
        asks=asks,
        **fields,
    )


def _reason(added: AddedLine) -> str:
    who = f"Added by {added.by}" if added.by else "Added"
    return f"{who}: {added.reason}" if added.reason else f"{who}."


def left_off(line: Line, change: LineChange) -> Line:
    """A line that is taken out, saying by whom and why."""
    who = f" by {change.by}" if change.by else ""
    why = f": {change.reason}" if change.reason else ""
    return line.model_copy(update={"changed": f"Left off{who}{why}"})


def by_line(changes: Sequence[LineChange]) -> Mapping[str, list[LineChange]]:
    """Changes by the line they are about, in the order given."""
    found: dict[str, list[LineChange]] = {}
    for change in changes:
        found.setdefault(change.line, []).append(change)
    return found
