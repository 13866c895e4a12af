"""The price profile of a shop: ``prices.….yaml``."""

from __future__ import annotations

from collections.abc import Callable, Container
from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

from babel.numbers import list_currencies

from voicecheck.catalogue import cells
from voicecheck.catalogue.entries import entries, percent
from voicecheck.catalogue.faults import Faults, nearest, one_of
from voicecheck.catalogue.yaml_file import Item, check_keys, read_mapping
from voicecheck.lexicon.parse import SYSTEMS
from voicecheck.records import (
    PRICED_ACTIONS,
    Discount,
    FeeRule,
    MarkupBand,
    PriceProfile,
    Problem,
    RateRule,
    TaxRule,
)
from voicecheck.records.shopdata import RateType, TaxClass
from voicecheck.records.vocabulary import Market

REQUIRED = ("name", "market", "currency", "labour_rate")
OPTIONAL = (
    "electrical_rate",
    "diagnostic_rate",
    "rate_for",
    "markup",
    "sublet_markup_percent",
    "fees",
    "supplies_percent",
    "supplies_cap",
    "discounts",
    "tax_percent",
    "taxed",
    "jurisdiction",
    "taxes",
)
_RATES = ("labour_rate", "electrical_rate", "diagnostic_rate")
_TEXTS = ("name", "jurisdiction")
_PERCENTS = ("sublet_markup_percent", "supplies_percent", "tax_percent")
_TAX_CLASSES: tuple[str, ...] = get_args(TaxClass)
_RATE_TYPES: tuple[str, ...] = get_args(RateType)
_MOST_FACTOR = Decimal(10)


def check_prices(path: Path, *, component_ids: Container[str] | None = None) -> list[Problem]:
    """Every fault of a price profile; ``row`` is the line of the file.

    The components of its fees are checked when ``component_ids`` is given.
    """
    faults = Faults(path)
    _read(path, faults, component_ids)
    return faults.in_order()


def load_prices(path: Path, *, component_ids: Container[str] | None = None) -> PriceProfile:
    """The price profile. Raises ``DataError`` with all problems when there is an error."""
    faults = Faults(path)
    fields = _read(path, faults, component_ids)
    faults.stop_on_errors()
    return PriceProfile.model_validate(fields)


def _read(path: Path, faults: Faults, component_ids: Container[str] | None) -> dict[str, Any]:
    top = read_mapping(path, faults)
    if top is None or top.pairs is None:
        return {}
    check_keys(top, faults, required=REQUIRED, optional=OPTIONAL)
    lists: dict[str, Callable[[Item, Faults], tuple[Any, ...]]] = {
        "rate_for": _rate_for,
        "markup": _markup,
        "fees": lambda item, faults: _fees(item, faults, component_ids),
        "discounts": _discounts,
        "taxed": _taxed,
        "taxes": _taxes,
    }
    fields: dict[str, Any] = {}
    for key, item in top.pairs.items():
        row = top.lines[key]
        if key in lists:
            if item.items is None:
                faults.error("a list is needed", row=row, field=key)
            else:
                fields[key] = lists[key](item, faults)
        elif key in REQUIRED or key in OPTIONAL:
            fields[key] = _scalar(key, item, faults, row)
    if fields.get("tax_percent") and fields.get("taxed", ()) == () and not faults.errors:
        faults.warn(
            "there is a tax and nothing that it applies to; list it under “taxed”",
            row=top.lines["tax_percent"],
            field="taxed",
        )
    if not faults.errors:
        _check_taxes(fields, top, faults)
    return {key: value for key, value in fields.items() if value is not None}


def _scalar(key: str, item: Item, faults: Faults, row: int) -> str | Decimal | None:
    """One value as the profile takes it, or ``None`` (nothing written, or a fault noted)."""
    text = item.text
    if item.pairs is not None or item.items is not None:
        faults.error("one value is needed, not a list", row=row, field=key)
        return None
    if not text:
        if key in REQUIRED:
            faults.error("the value is empty", row=row, field=key)
        return None
    if key == "market":
        if text not in get_args(Market):
            faults.error(f"unknown market “{text}”; allowed: {one_of(get_args(Market))}", row=row, field=key)
        return text
    if key == "currency":
        if text not in list_currencies():
            faults.error(
                f"“{text}” is not a currency code of ISO 4217 (three capitals, such as USD or GBP)",
                row=row,
                field=key,
            )
        return text
    if key in _TEXTS:
        return text
    try:
        value = cells.number(text) if key in _PERCENTS else cells.amount(text)
    except cells.CellError as error:
        faults.error(str(error), row=row, field=key)
        return None
    if key in _PERCENTS and not 0 <= value <= 100:
        faults.error(f"“{text}” is not a percentage from 0 to 100", row=row, field=key)
    if key in _RATES and value == 0:
        faults.error("a rate must be above nought", row=row, field=key)
    return value


def _taxed(item: Item, faults: Faults) -> tuple[str, ...]:
    found: list[str] = []
    for entry in item.items or ():
        if entry.text not in _TAX_CLASSES:
            faults.error(
                f"unknown tax class “{entry.text}”{nearest(entry.text or '', _TAX_CLASSES)}; "
                f"allowed: {one_of(_TAX_CLASSES)}",
                row=entry.line,
                field="taxed",
            )
        elif entry.text in found:
            faults.warn(f"“{entry.text}” is listed twice", row=entry.line, field="taxed")
        else:
            found.append(entry.text)
    return tuple(found)


def _markup(item: Item, faults: Faults) -> tuple[MarkupBand, ...]:
    """The bands in order: each ``up_to`` above the one before, the open one last."""
    bands: list[MarkupBand] = []
    for entry in item.items or ():
        if entry.pairs is None:
            faults.error("a band needs “up_to” and “factor”", row=entry.line, field="markup")
            continue
        check_keys(entry, faults, required=("up_to", "factor"), optional=(), inside="a markup band")
        if set(entry.pairs) != {"up_to", "factor"}:
            continue
        ceiling, factor = entry.pairs["up_to"], entry.pairs["factor"]
        try:
            up_to = cells.amount(ceiling.text) if ceiling.text else None
            times = cells.number(factor.text or "")
        except cells.CellError as error:
            faults.error(str(error), row=entry.line, field="markup")
            continue
        if not 0 < times <= _MOST_FACTOR:
            faults.error(
                f"the factor {times} is not above 0 and up to {_MOST_FACTOR}", row=entry.line, field="markup"
            )
        elif times < 1:
            faults.warn(f"the factor {times} sells below cost", row=entry.line, field="markup")
        if bands and bands[-1].up_to is None:
            faults.error("no band can follow the one without an upper end", row=entry.line, field="markup")
        elif bands and up_to is not None and bands[-1].up_to is not None and up_to <= bands[-1].up_to:
            faults.error("the bands must rise", row=entry.line, field="markup")
        bands.append(MarkupBand(up_to=up_to, factor=times))
    if bands and bands[-1].up_to is not None:
        faults.warn(
            f"no band covers parts above {bands[-1].up_to}; end with “up_to: null”",
            row=item.line,
            field="markup",
        )
    return tuple(bands)


def _rate_for(item: Item, faults: Faults) -> tuple[RateRule, ...]:
    found = []
    for entry in entries(item, "rate_for", faults, required=("type",), optional=("systems", "actions")):
        fields = {
            "type": entry.one("type", _RATE_TYPES),
            "systems": entry.words("systems", SYSTEMS, what="unknown system"),
            "actions": entry.words("actions", PRICED_ACTIONS, what="unknown action"),
        }
        if not faults.errors:
            found.append(RateRule.model_validate(fields))
    return tuple(found)


def _fees(item: Item, faults: Faults, component_ids: Container[str] | None) -> tuple[FeeRule, ...]:
    found = []
    required, optional = ("name", "amount", "components"), ("per", "actions")
    for entry in entries(item, "fees", faults, required=required, optional=optional):
        components = entry.words("components", component_ids, what="the lexicon has no component")
        if not components:
            entry.fault("a fee needs the components that it comes with", "components")
        fields = {
            "name": entry.text("name", needed=True),
            "amount": entry.value("amount", cells.amount),
            "per": entry.one("per", ("each", "line"), default="each"),
            "work": {
                "components": components,
                "actions": entry.words("actions", PRICED_ACTIONS, what="unknown action"),
            },
        }
        if fields["amount"] is None and entry.text("amount") == "":
            entry.fault("the value is empty", "amount")
        if not faults.errors:
            found.append(FeeRule.model_validate(fields))
    return tuple(found)


def _discounts(item: Item, faults: Faults) -> tuple[Discount, ...]:
    found = []
    required, optional = ("reason", "on"), ("percent", "amount")
    for entry in entries(item, "discounts", faults, required=required, optional=optional):
        fields = {
            "reason": entry.text("reason", needed=True),
            "on": entry.one("on", ("labour", "parts", "total")),
            "percent": entry.value("percent", percent),
            "amount": entry.value("amount", cells.amount),
        }
        if bool(entry.text("percent")) == bool(entry.text("amount")):
            entry.fault("a discount needs either a percent or an amount", "discounts")
        if not faults.errors:
            found.append(Discount.model_validate(fields))
    return tuple(found)


def _taxes(item: Item, faults: Faults) -> tuple[TaxRule, ...]:
    found = []
    required = ("name", "percent", "on")
    for entry in entries(item, "taxes", faults, required=required, optional=("jurisdiction",)):
        fields = {
            "name": entry.text("name", needed=True),
            "percent": entry.value("percent", percent),
            "on": entry.words("on", _TAX_CLASSES, what="unknown tax class"),
            "jurisdiction": entry.text("jurisdiction"),
        }
        if not fields["on"]:
            entry.fault("a tax needs the kinds that it applies to", "on")
        if fields["percent"] is None and not entry.text("percent"):
            entry.fault("the value is empty", "percent")
        if not faults.errors:
            found.append(TaxRule.model_validate(fields))
    return tuple(found)


def _check_taxes(fields: dict[str, Any], top: Item, faults: Faults) -> None:
    """Note a jurisdiction that no tax is for, and taxes that hold nowhere for want of one."""
    taxes: tuple[TaxRule, ...] = fields.get("taxes") or ()
    places = sorted({t.jurisdiction for t in taxes} - {""})
    here = fields.get("jurisdiction") or ""
    if taxes and fields.get("tax_percent"):
        faults.error(
            "write either “tax_percent” with “taxed”, or “taxes”, not both",
            row=top.lines["taxes"],
            field="taxes",
        )
    if here and here not in places:
        faults.error(
            f"no tax is for “{here}”{nearest(here, places)}",
            row=top.lines["jurisdiction"],
            field="jurisdiction",
        )
    if places and not here:
        faults.warn(
            f"the taxes of {one_of(places)} are not charged: no “jurisdiction” is chosen",
            row=top.lines["taxes"],
            field="jurisdiction",
        )
