"""Names what a written estimate lacks for a place, before it is issued."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from voicecheck.records.estimate import Estimate, Line
from voicecheck.records.papers import (
    ConsentField,
    FieldRule,
    Lack,
    LawProfile,
    LineRule,
    Occasion,
    PaperField,
    Particulars,
    Rule,
    ShopIdentity,
    Statement,
    Status,
)

_STATUS: dict[Status, str] = {
    "verified": "read in a stored copy of the law",
    "secondary": "read on a page that retells the law",
    "memory": "from memory, not confirmed",
    "common practice": "no rule behind it",
}


def missing(
    *, shop: ShopIdentity, particulars: Particulars, estimate: Estimate, profile: LawProfile
) -> tuple[Lack, ...]:
    """Everything that ``profile`` wants on a written estimate and this one lacks, in the profile's order.

    Empty means that nothing known to the profile is missing, not that the law is kept: ``Laws.confirm`` says
    so and belongs beside every result. Jobs that are put off are not looked at.
    """
    found = [
        _lack("field", rule)
        for rule in profile.fields
        if not any(_given(field, rule, shop, particulars) for field in rule.fields)
    ]
    for line_rule in profile.lines:
        if about := _faulty(line_rule, estimate, shop):
            found.append(_lack(line_rule.check, line_rule, about=", ".join(dict.fromkeys(about))))
    own = {statement.id for statement in shop.statements if statement.text.strip()}
    found += [
        _lack("statement", statement)
        for statement in profile.statements
        if statement.prescribed and _applies(statement.when, estimate) and statement.id not in own
    ]
    return tuple(found)


def statements_to_print(
    *, shop: ShopIdentity, estimate: Estimate, profile: LawProfile
) -> tuple[Statement, ...]:
    """The statements that belong on this estimate, the shop's own text in the place of ours.

    A statement whose words the law prescribes is printed in our words until the shop puts the law's in;
    ``missing`` names it until then.
    """
    own = {statement.id: statement.text for statement in shop.statements if statement.text.strip()}
    return tuple(
        statement.model_copy(update={"text": own.get(statement.id, statement.text)})
        for statement in profile.statements
        if _applies(statement.when, estimate)
    )


def missing_consent(given: Collection[ConsentField], *, profile: LawProfile) -> tuple[Lack, ...]:
    """What a record of consent lacks that holds the fields ``given``."""
    return tuple(_lack("consent", rule) for rule in profile.consent if rule.field not in given)


def _lack(code: str, rule: Rule, *, about: str = "") -> Lack:
    where = f" ({about})" if about else ""
    return Lack(
        code=code,
        sentence=f"Missing: {rule.say}{where}. Wanted by {rule.citation}; {_STATUS[rule.status]}.",
        citation=rule.citation,
        status=rule.status,
    )


# -- fields --------------------------------------------------------------------------------------------------


def _given(field: PaperField, rule: FieldRule, shop: ShopIdentity, particulars: Particulars) -> bool:
    return bool(field_text(field, shop=shop, particulars=particulars, registration=rule.registration).strip())


def field_text(
    field: PaperField, *, shop: ShopIdentity, particulars: Particulars, registration: str = ""
) -> str:
    """What stands in a field, or "". ``registration`` is the kind where that is the field."""
    customer, vehicle, document = particulars.customer, particulars.vehicle, particulars.document
    other = particulars.authorised_other
    if field == "registration":
        return next((r.number for r in shop.registrations if r.kind == registration), "")
    texts: dict[PaperField, str] = {
        "shop_name": shop.name,
        "shop_address": " ".join(shop.address),
        "shop_phone": shop.phone,
        "shop_email": shop.email,
        "labour_basis": shop.labour_basis,
        "customer_name": customer.name,
        "customer_address": " ".join(customer.address),
        "customer_phone": customer.phone,
        "customer_email": customer.email,
        "authorised_other": other.name if other else "",
        "year": "" if vehicle.year is None else str(vehicle.year),
        "make": vehicle.make,
        "model": vehicle.model,
        "plate": vehicle.plate,
        "vin": vehicle.vin,
        "odometer": vehicle.odometer,
        "number": document.number,
        "given_in": document.given_in[:10],
        "time_given_in": document.given_in[11:],
        "proposed_completion": document.proposed_completion,
        "complaint": document.complaint,
        "valid_until": document.valid_until,
    }
    return texts[field]


# -- lines ---------------------------------------------------------------------------------------------------


def _lines(estimate: Estimate, *kinds: str) -> Iterator[Line]:
    """The lines of the jobs that are not put off."""
    for job in estimate.jobs:
        if not job.put_off:
            yield from (line for line in job.lines if line.kind in kinds)


def _quoted(line: Line) -> str:
    return f"“{line.name}”"


def _faulty(rule: LineRule, estimate: Estimate, shop: ShopIdentity) -> list[str]:
    """What breaks a demand on the lines, each as words for the sentence; empty where nothing does."""
    if rule.check == "labour_rate_and_hours":
        return [
            _quoted(line)
            for line in _lines(estimate, "labour")
            if line.hours is None or line.unit_price is None or line.amount is None
        ]
    if rule.check == "labour_price":
        return [_quoted(line) for line in _lines(estimate, "labour", "sublet", "fee") if line.amount is None]
    if rule.check == "part_prices":
        return [_quoted(line) for line in _lines(estimate, "part", "fluid") if line.amount is None]
    if rule.check == "part_condition":
        return [_quoted(line) for line in _lines(estimate, "part") if not line.part_condition]
    charged = [line for line in _lines(estimate, "fee") if _named(line, rule)]
    if rule.check == "waste_needs_registration":
        known = any(r.kind == rule.registration and r.number.strip() for r in shop.registrations)
        return [] if known else [_quoted(line) for line in charged]
    return [*_general_supplies(estimate), *(_quoted(line) for line in charged)]


def _general_supplies(estimate: Estimate) -> list[str]:
    """The charge that is a share of labour, also where it happens to come to nothing on this estimate."""
    percent = estimate.terms.supplies_percent if estimate.terms is not None else 0
    if estimate.totals.supplies > 0:
        return [f"{estimate.totals.supplies:f} {estimate.currency} of supplies are charged"]
    return [f"the price profile charges {percent:f} % of labour"] if percent > 0 else []


def _named(line: Line, rule: LineRule) -> bool:
    return any(word.lower() in line.name.lower() for word in rule.words)


def _applies(when: tuple[Occasion, ...], estimate: Estimate) -> bool:
    holds: dict[Occasion, bool] = {
        "always": True,
        "supplies": estimate.totals.supplies > 0,
        "sublet": any(True for _ in _lines(estimate, "sublet")),
        "fees": any(True for _ in _lines(estimate, "fee")),
    }
    return any(holds[occasion] for occasion in when)
