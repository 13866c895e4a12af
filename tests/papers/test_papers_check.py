"""What a place's law wants, and what a document lacks of it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicecheck.catalogue.identity import load_identity, load_laws
from voicecheck.papers import missing, missing_consent, statements_to_print
from voicecheck.records import Estimate, Job, Line, Totals
from voicecheck.records.papers import (
    CONSENT_FIELDS,
    DocumentParticulars,
    LawProfile,
    Particulars,
    Person,
    Registration,
    ShopIdentity,
    ShopStatement,
    Tolerance,
    VehicleParticulars,
)
from voicecheck.resources import shared_dir

D = Decimal
LAWS = load_laws(shared_dir() / "papers.yaml")
FULL = Particulars(
    customer=Person(name="Robin Sample", address=("22 Larch Street",), phone="555-0177"),
    vehicle=VehicleParticulars(year=2016, make="Anymake", model="Wagon", plate="S 1", odometer="87,412 mi"),
    document=DocumentParticulars(
        number="1", given_in="2026-03-14T09:30", proposed_completion="2026-03-17", complaint="It clunks."
    ),
)
SHOP = ShopIdentity(
    name="Harrow Lane Motor Works",
    address=("1180 Harrow Lane",),
    phone="555-0142",
    labour_basis="flat rate",
    registrations=(
        Registration(kind="repair registration", name="Repair registration", number="S-1"),
        Registration(kind="facility number", name="Facility", number="F-1"),
    ),
)


def profile(place: str) -> LawProfile:
    found = LAWS.of(place)
    assert found is not None
    return found


def line(kind: str, name: str, **more: object) -> Line:
    values: dict[str, object] = {
        "kind": kind, "name": name, "operation": "replace", "component": None, "quantity": D(1),
        "unit_price": D(50), "amount": D(50),
    }  # fmt: skip
    if kind == "labour":
        values["hours"] = D(1)
    if kind == "part":
        values["part_condition"] = "new"
    return Line.model_validate(values | more)


def estimate(*lines: Line, supplies: str = "0", put_off: bool = False) -> Estimate:
    zero = D(0)
    return Estimate(
        currency="USD",
        jobs=(Job(title="A job", urgency="now", lines=lines, subtotal=D(100), put_off=put_off),),
        totals=Totals(
            labour=D(50), parts=D(50), sublet=zero, supplies=D(supplies), tax=zero, total=D(100), open_lines=0
        ),
    )


WHOLE = estimate(line("labour", "replace pads"), line("part", "pads"))


def codes(place: str, made: Estimate, *, shop: ShopIdentity = SHOP, given: Particulars = FULL) -> list[str]:
    found = missing(shop=shop, particulars=given, estimate=made, profile=profile(place))
    for lack in found:
        assert lack.citation in lack.sentence
        assert lack.sentence.startswith("Missing: ")
        assert lack.sentence.endswith(".")
    return [lack.code for lack in found]


def said(place: str, given: Particulars) -> str:
    found = missing(shop=SHOP, particulars=given, estimate=WHOLE, profile=profile(place))
    return "\n".join(lack.sentence for lack in found)


PLACES = ["plain", "california", "michigan", "florida", "new_york"]


def test_the_profiles_are_there() -> None:
    assert [p.id for p in LAWS.profiles] == PLACES
    assert "must have it confirmed for its own place" in LAWS.confirm


@pytest.mark.parametrize("place", PLACES)
def test_nothing_is_missing_from_a_whole_estimate(place: str) -> None:
    assert codes(place, WHOLE) == []


@pytest.mark.parametrize("place", PLACES)
def test_every_field_of_a_profile_is_named_when_it_is_not_there(place: str) -> None:
    nothing = ShopIdentity(name="")
    found = missing(shop=nothing, particulars=Particulars(), estimate=WHOLE, profile=profile(place))
    assert [lack.code for lack in found] == ["field"] * len(profile(place).fields)
    for lack, rule in zip(found, profile(place).fields, strict=True):
        assert rule.say in lack.sentence


def test_florida_wants_the_time_the_odometer_and_the_completion_date() -> None:
    document = FULL.document.model_copy(update={"given_in": "2026-03-14", "proposed_completion": ""})
    vehicle = FULL.vehicle.model_copy(update={"odometer": " ", "plate": ""})
    told = said("florida", FULL.model_copy(update={"document": document, "vehicle": vehicle}))
    for words in ("time of day", "odometer", "license plate", "proposed completion date", "559.905(1)"):
        assert words in told
    assert "Missing: the date." not in told
    assert codes("florida", WHOLE, shop=SHOP.model_copy(update={"labour_basis": ""})) == ["field"]


def test_one_of_several_fields_is_enough() -> None:
    vehicle = FULL.vehicle.model_copy(update={"plate": "", "vin": "1M8GDM9AXKP042788"})
    assert said("new_york", FULL.model_copy(update={"vehicle": vehicle})) == ""
    neither = FULL.vehicle.model_copy(update={"plate": "", "vin": ""})
    assert "plate or VIN" in said("new_york", FULL.model_copy(update={"vehicle": neither}))


def test_registrations_are_asked_for_by_kind() -> None:
    other = (Registration(kind="vat", name="VAT", number="GB 1"),)
    bare = SHOP.model_copy(update={"registrations": other})
    assert codes("california", WHOLE, shop=bare) == ["field"]
    assert codes("new_york", WHOLE, shop=bare) == ["field"]
    assert codes("plain", WHOLE, shop=bare) == []


def test_california_names_general_supplies() -> None:
    charged = estimate(line("labour", "replace pads"), supplies="12.40")
    assert codes("california", charged) == ["no_general_supplies"]
    as_fee = estimate(line("fee", "Shop supplies"), line("labour", "replace pads"))
    assert codes("california", as_fee) == ["no_general_supplies"]
    listed = estimate(line("part", "brake cleaner"), line("labour", "replace pads"))
    assert codes("california", listed) == []
    assert codes("michigan", charged) == []


def test_a_waste_charge_needs_the_epa_number_in_california() -> None:
    charged = estimate(line("fee", "Hazardous waste"))
    assert codes("california", charged) == ["waste_needs_registration"]
    known = Registration(kind="epa id", name="EPA identification number", number="CAL0")
    shop = SHOP.model_copy(update={"registrations": (*SHOP.registrations, known)})
    assert codes("california", charged, shop=shop) == []
    assert codes("california", estimate(line("fee", "tire recycling fee"))) == []


def test_the_condition_of_a_part_has_to_be_said() -> None:
    unsaid = estimate(line("part", "alternator", part_condition=""))
    assert codes("california", unsaid) == ["part_condition"]
    assert codes("new_york", unsaid) == ["part_condition"]
    assert codes("california", estimate(line("part", "alternator", part_condition="rebuilt"))) == []


def test_open_prices_are_named_once_per_demand() -> None:
    unknown = estimate(
        line("labour", "replace pads", amount=None), line("part", "pads", amount=None),
        line("part", "rotor", amount=None),
    )  # fmt: skip
    found = missing(shop=SHOP, particulars=FULL, estimate=unknown, profile=profile("california"))
    assert [lack.code for lack in found] == ["labour_price", "part_prices"]
    assert "“pads”, “rotor”" in found[1].sentence


def test_michigan_wants_hours_and_rate() -> None:
    fixed = estimate(line("labour", "replace pads", hours=None))
    assert codes("michigan", fixed) == ["labour_rate_and_hours"]
    assert codes("california", fixed) == []


def test_jobs_put_off_are_not_looked_at() -> None:
    unknown = estimate(line("labour", "replace pads", amount=None), put_off=True)
    assert codes("california", unknown) == []


def test_prescribed_words_are_missing_until_the_shop_puts_them_in() -> None:
    charged = estimate(line("labour", "replace pads"), supplies="5")
    assert codes("florida", charged) == ["statement"]
    own = SHOP.model_copy(
        update={"statements": (ShopStatement(id="supplies_and_waste", text="The law's words."),)}
    )
    assert codes("florida", charged, shop=own) == []
    printed = statements_to_print(shop=own, estimate=charged, profile=profile("florida"))
    assert printed[0].text == "The law's words."
    printed = statements_to_print(shop=SHOP, estimate=WHOLE, profile=profile("florida"))
    assert [s.id for s in printed] == ["may_cancel"]


def test_work_sent_out_brings_its_statement() -> None:
    sent = estimate(line("sublet", "weld"))
    printed = statements_to_print(shop=SHOP, estimate=sent, profile=profile("california"))
    assert "sublet" in [s.id for s in printed]
    printed = statements_to_print(shop=SHOP, estimate=WHOLE, profile=profile("california"))
    assert "sublet" not in [s.id for s in printed]


def test_a_record_of_consent() -> None:
    lacks = missing_consent({"date", "time", "name", "added_work"}, profile=profile("california"))
    assert len(lacks) == 3
    assert "new total" in lacks[-1].sentence
    for place in PLACES:
        assert missing_consent(CONSENT_FIELDS, profile=profile(place)) == ()
        assert missing_consent((), profile=profile(place))


# -- tolerance -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "agreed", "more"),
    [
        ("california", "500", "0"),
        ("new_york", "500", "0"),
        ("plain", "500", "0"),
        ("michigan", "500", "10"),  # the lesser of $10 and 10 %
        ("michigan", "60", "6"),
        ("florida", "60", "10"),  # the greater of $10 and 10 %
        ("florida", "300", "30"),
        ("florida", "5000", "50"),  # capped at $50
    ],
)
def test_how_far_the_price_may_rise(place: str, agreed: str, more: str) -> None:
    assert profile(place).tolerance.allowed_above(D(agreed)) == D(more)


money = st.decimals(min_value=0, max_value=100_000, places=2)


@given(money, money)
def test_a_lower_price_never_asks_and_a_dearer_estimate_never_allows_less(one: Decimal, two: Decimal) -> None:
    low, high = sorted((one, two))
    for place in PLACES:
        tolerance = profile(place).tolerance
        assert D(0) <= tolerance.allowed_above(low) <= tolerance.allowed_above(high)


@pytest.mark.parametrize(
    ("kind", "amount", "percent", "cap", "more"),
    [
        ("none", None, None, None, "0"),
        ("none", "25", "10", None, "0"),
        ("percent", None, "10", None, "20"),
        ("percent", "25", "10", None, "20"),
        ("lesser", "25", "10", None, "20"),
        ("greater", "25", "10", None, "25"),
        ("greater", "25", "10", "15", "15"),
        ("greater", "25", None, None, "25"),
        ("greater", None, None, None, "0"),
        ("lesser", "25", None, None, "0"),  # what is not there allows nothing
        ("percent", None, "0.333", None, "0.666"),  # not rounded
    ],
)
def test_how_much_more_a_tolerance_allows(
    kind: str, amount: str | None, percent: str | None, cap: str | None, more: str
) -> None:
    given_in = {"kind": kind, "amount": amount, "percent": percent, "cap": cap}
    tolerance = Tolerance.model_validate({**given_in, "citation": "none", "status": "memory"})
    assert tolerance.allowed_above(D(200)) == D(more)


# -- the shipped shops ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("market", ["us", "uk"])
def test_the_shipped_shops_have_a_known_place(market: str) -> None:
    shop = load_identity(shared_dir() / f"shop.{market}.yaml")
    assert LAWS.of(shop.place) is not None


def test_what_was_not_read_in_the_law_does_not_say_that_it_was() -> None:
    """The statuses as they were when the sources were read; whoever reads one again changes both."""

    def statuses(place: str, words: str) -> set[str]:
        law = profile(place)
        rules = [*law.fields, *law.lines, *law.statements, *law.consent]
        return {rule.status for rule in rules if words in rule.citation}

    assert statuses("california", "3353(a)") == {"verified"}
    assert statuses("california", "3357") == {"verified"}
    assert statuses("california", "2007 notice") == {"secondary"}
    assert statuses("california", "9884.9(b)") == {"secondary"}
    assert statuses("michigan", "MCL") == {"verified"}
    assert statuses("florida", "559.90") == {"verified"}
    assert statuses("new_york", "82.5(a)") == {"verified"}
    assert profile("michigan").tolerance.kind == "lesser"
    assert profile("florida").tolerance.cap == D(50)
