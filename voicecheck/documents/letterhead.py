"""The head of every paper: the shop, the customer, the vehicle, the document. Views of records, no layout."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from babel.dates import format_date, format_time

from voicecheck.documents import plain
from voicecheck.records import Draft, Market, Record, canonical
from voicecheck.records.papers import (
    Caution,
    DocumentKind,
    Particulars,
    Person,
    ShopIdentity,
    VehicleParticulars,
)


class Fact(Record):
    """A label and what stands beside it."""

    label: str
    value: str


class FactGroup(Record):
    """Facts under one title; a group without facts is not made."""

    title: str
    facts: tuple[Fact, ...]


class Head(Record):
    """What stands on top of a paper."""

    title: str
    number: str
    language: str  # BCP 47
    shop: str
    shop_lines: tuple[str, ...]  # address, telephone, e-mail
    registrations: tuple[Fact, ...]
    groups: tuple[FactGroup, ...]


def fingerprint(view: Record) -> str:
    """The sha256 (64 hexadecimal digits) of a view: of its JSON in UTF-8, keys sorted, no spaces.

    Equal views have equal fingerprints; page and PDF of one view share it, and a consent that names it names
    the words and prices that were shown.
    """
    return canonical.fingerprint(view.model_dump(mode="json"))


def filled_from(draft: Draft, particulars: Particulars) -> Particulars:
    """Particulars, with what was said of the vehicle where they give nothing of their own."""
    given, said = particulars.vehicle, draft.vehicle
    year = given.year if given.year is not None else said.year
    return particulars.model_copy(
        update={
            "vehicle": VehicleParticulars(
                year=year if year is not None and 1886 <= year <= 2200 else None,
                make=given.make,
                model=given.model,
                plate=given.plate or said.plate or "",
                vin=given.vin or said.vin or "",
                odometer=given.odometer or (plain.amount_of(said.odometer) if said.odometer else ""),
            )
        }
    )


def day(text: str, market: Market) -> str:
    """A day, or a day with its time, as the market writes it: "March 14, 2026, 9:30 AM"."""
    if not text:
        return ""
    locale = plain.locale_of(market)
    shown = str(format_date(date.fromisoformat(text[:10]), format="long", locale=locale))
    if len(text) > 10:
        time = format_time(datetime.fromisoformat(text).time(), format="short", locale=locale)
        shown += f", {time}".replace("\u202f", " ")
    return shown


def head(
    title: str,
    *,
    draft: Draft,
    shop: ShopIdentity,
    particulars: Particulars,
    customer: bool = True,
) -> Head:
    """The head of a paper; ``customer=False`` leaves out who the customer is (work and parts lists)."""
    market = draft.market
    known = filled_from(draft, particulars)
    groups = [
        _group("Vehicle", _vehicle(known.vehicle, market)),
        _group("Document", _document(known, market, shop=shop, customer=customer)),
    ]
    if customer:
        groups.insert(0, _group("Customer", _person(known.customer)))
    return Head(
        title=title,
        number=plain.visible(known.document.number),
        language=plain.language_of(market),
        shop=plain.visible(shop.name),
        shop_lines=_clean([*shop.address, shop.phone, shop.email]),
        registrations=tuple(
            Fact(label=plain.visible(r.name), value=plain.visible(r.number)) for r in shop.registrations
        ),
        groups=tuple(group for group in groups if group is not None),
    )


def cautions_for(kind: DocumentKind, cautions: Iterable[Caution], market: Market) -> tuple[str, ...]:
    """The cautions of a kind of document in a market, in their order."""
    return tuple(c.text for c in cautions if kind in c.on and (not c.markets or market in c.markets))


def _clean(lines: Iterable[str]) -> tuple[str, ...]:
    return tuple(plain.visible(line) for line in lines if line.strip())


def _group(title: str, facts: Iterable[tuple[str, str]]) -> FactGroup | None:
    kept = tuple(Fact(label=label, value=plain.visible(value)) for label, value in facts if value.strip())
    return FactGroup(title=title, facts=kept) if kept else None


def _person(person: Person) -> list[tuple[str, str]]:
    return [
        ("Name", person.name),
        ("Address", ", ".join(line for line in person.address if line.strip())),
        ("Telephone", person.phone),
        ("E-mail", person.email),
    ]


def _vehicle(vehicle: VehicleParticulars, market: Market) -> list[tuple[str, str]]:
    return [
        ("Year", "" if vehicle.year is None else str(vehicle.year)),
        ("Make and model", f"{vehicle.make} {vehicle.model}".strip()),
        ("License plate" if market == "US" else "Number plate", vehicle.plate),
        ("VIN", vehicle.vin),
        ("Odometer", vehicle.odometer),
    ]


def _document(
    particulars: Particulars, market: Market, *, shop: ShopIdentity, customer: bool
) -> list[tuple[str, str]]:
    document = particulars.document
    facts = [
        ("Number", document.number),
        ("Date", day(document.given_in, market)),
        ("Proposed completion", day(document.proposed_completion, market)),
    ]
    if customer:
        labour = plain.capital(plain.labour_word(market))
        facts += [
            ("Valid until", day(document.valid_until, market)),
            (
                f"{labour} is charged by",
                {"both": "flat rate and actual time"}.get(shop.labour_basis, shop.labour_basis),
            ),
        ]
    return facts
