"""The price profile of a shop: ``prices.….yaml``."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Any, get_args

from babel.numbers import list_currencies

from voicecheck.catalogue import cells
from voicecheck.catalogue.faults import Faults, nearest, one_of
from voicecheck.catalogue.yaml_file import Item, check_keys, read_mapping
from voicecheck.records import MarkupBand, PriceProfile, Problem
from voicecheck.records.vocabulary import Market

REQUIRED = ("name", "market", "currency", "labour_rate")
OPTIONAL = (
    "diagnostic_rate",
    "markup",
    "sublet_markup_percent",
    "supplies_percent",
    "supplies_cap",
    "tax_percent",
    "taxed",
)
_RATES = ("labour_rate", "diagnostic_rate")
_PERCENTS = ("sublet_markup_percent", "supplies_percent", "tax_percent")
_TAX_CLASSES: tuple[str, ...] = get_args(get_args(PriceProfile.model_fields["taxed"].annotation)[0])
_MOST_FACTOR = Decimal(10)


def check_prices(path: Path) -> list[Problem]:
    """Every fault of a price profile; ``row`` is the line of the file."""
    faults = Faults(path)
    _read(path, faults)
    return faults.in_order()


def load_prices(path: Path) -> PriceProfile:
    """The price profile. Raises ``DataError`` with all problems when there is an error."""
    faults = Faults(path)
    fields = _read(path, faults)
    faults.stop_on_errors()
    return PriceProfile.model_validate(fields)


def _read(path: Path, faults: Faults) -> dict[str, Any]:
    top = read_mapping(path, faults)
    if top is None or top.pairs is None:
        return {}
    check_keys(top, faults, required=REQUIRED, optional=OPTIONAL)
    fields: dict[str, Any] = {}
    for key, item in top.pairs.items():
        row = top.lines[key]
        if key in ("markup", "taxed"):
            if item.items is None:
                faults.error("a list is needed", row=row, field=key)
            else:
                fields[key] = _markup(item, faults) if key == "markup" else _taxed(item, faults)
        elif key in REQUIRED or key in OPTIONAL:
            fields[key] = _scalar(key, item, faults, row)
    if fields.get("tax_percent") and fields.get("taxed", ()) == () and not faults.errors:
        faults.warn(
            "there is a tax and nothing that it applies to; list it under “taxed”",
            row=top.lines["tax_percent"],
            field="taxed",
        )
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
    if key == "name":
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
