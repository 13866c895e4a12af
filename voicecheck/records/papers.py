"""What a written document needs beside the draft: who, whose vehicle, when, and what a place's law wants on
it.

Everything is given in: dates are texts in ISO 8601 ("2026-03-14" or "2026-03-14T09:30"), so that nothing here
or in ``voicecheck.papers`` reads a clock.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal, get_args

from pydantic import BeforeValidator, Field

from voicecheck.records.base import Record
from voicecheck.records.vocabulary import Market

DATE = r"\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])"
TIME = r"(?:[01]\d|2[0-3]):[0-5]\d"

DateText = Annotated[str, Field(pattern=rf"^(?:{DATE})?$")]
"""A day, "2026-03-14", or "" where it is not known."""
MomentText = Annotated[str, Field(pattern=rf"^(?:{DATE}(?:[T ]{TIME})?)?$")]
"""A day with or without a time, "2026-03-14T09:30", or ""."""

LabourBasis = Literal["flat rate", "actual time", "both", ""]
DocumentKind = Literal["estimate", "draft", "work", "parts"]
DOCUMENT_KINDS: tuple[DocumentKind, ...] = get_args(DocumentKind)
Status = Literal["verified", "secondary", "memory", "common practice"]
"""How far a citation can be relied on: read in a stored copy of the law (which may be older than the law in
force), read on a page that retells it, written from memory, or no law at all but trade custom."""


def _split(value: object) -> object:
    """ "plate | vin" as ("plate", "vin"): how several values stand in one cell of our files."""
    return tuple(part.strip() for part in value.split("|")) if isinstance(value, str) else value


_SPLIT = BeforeValidator(_split)


# -- who and whose -------------------------------------------------------------------------------------------


class Registration(Record):
    """A number that an authority gave the shop. ``kind`` is a word of the law profiles ("epa id")."""

    kind: str
    name: str  # as it is printed: "EPA identification number"
    number: str


class ShopStatement(Record):
    """The text that the shop prints where a law prescribes the words; ``id`` is that of the profile."""

    id: str
    text: str


class ShopIdentity(Record):
    """The shop as its papers name it."""

    name: str
    address: tuple[str, ...] = ()
    phone: str = ""
    email: str = ""
    registrations: tuple[Registration, ...] = ()
    labour_basis: LabourBasis = ""
    place: str = "plain"  # id of the law profile that the shop had confirmed for itself
    statements: tuple[ShopStatement, ...] = ()


class Person(Record):
    """A customer, or someone else who may agree to work for them."""

    name: str = ""
    address: tuple[str, ...] = ()
    phone: str = ""
    email: str = ""


class VehicleParticulars(Record):
    """The vehicle as the customer or its plates give it; what was only spoken is on the draft."""

    year: int | None = Field(default=None, ge=1886, le=2200)
    make: str = ""
    model: str = ""
    plate: str = ""
    vin: str = ""
    odometer: str = ""  # with its unit, as read: "87,412 mi"


class DocumentParticulars(Record):
    """What names this one document. ``proposed_completion`` and ``valid_until`` are days."""

    number: str = ""
    given_in: MomentText = ""
    proposed_completion: DateText = ""
    complaint: str = ""  # what is wrong, as the customer told it
    valid_until: DateText = ""


class Particulars(Record):
    """Everything about one vehicle's papers that is neither on the draft nor of the shop."""

    customer: Person = Person()
    authorised_other: Person | None = None
    vehicle: VehicleParticulars = VehicleParticulars()
    document: DocumentParticulars = DocumentParticulars()


# -- what a place's law wants --------------------------------------------------------------------------------


PaperField = Literal[
    "shop_name", "shop_address", "shop_phone", "shop_email", "registration", "labour_basis",
    "customer_name", "customer_address", "customer_phone", "customer_email", "authorised_other",
    "year", "make", "model", "plate", "vin", "odometer",
    "number", "given_in", "time_given_in", "proposed_completion", "complaint", "valid_until",
]  # fmt: skip
PAPER_FIELDS: tuple[PaperField, ...] = get_args(PaperField)

LineCheck = Literal[
    "labour_rate_and_hours", "labour_price", "part_prices", "part_condition", "no_general_supplies",
    "waste_needs_registration",
]  # fmt: skip
LINE_CHECKS: tuple[LineCheck, ...] = get_args(LineCheck)

Occasion = Literal["always", "supplies", "sublet", "fees"]
ConsentField = Literal[
    "date", "time", "name", "way", "contact", "added_work", "added_amount", "new_total", "signature",
]  # fmt: skip
CONSENT_FIELDS: tuple[ConsentField, ...] = get_args(ConsentField)


class Rule(Record):
    """One demand: ``say`` is what is wanted, as it goes on from "missing: "; ``citation`` its source."""

    say: str
    citation: str
    status: Status


class FieldRule(Rule):
    """One of ``fields`` has to be filled in; ``registration`` is the kind where that is the field."""

    fields: Annotated[tuple[PaperField, ...], _SPLIT] = Field(min_length=1)
    registration: str = ""


class LineRule(Rule):
    """A demand on the lines. ``words`` name the charges that it is about, where it needs them."""

    check: LineCheck
    words: Annotated[tuple[str, ...], _SPLIT] = ()
    registration: str = ""


class Statement(Rule):
    """A sentence to print, in our words. ``prescribed``: the law has its own words, which only the shop can
    put in (``ShopStatement``); until it has, they are missing."""

    id: str
    text: str
    when: Annotated[tuple[Occasion, ...], _SPLIT] = ("always",)
    prescribed: bool = False


class ConsentRule(Rule):
    """What a record of consent has to hold."""

    field: ConsentField


class Tolerance(Record):
    """How far the price may rise above what was agreed before the customer has to be asked again.

    ``none``: not at all. ``lesser``, ``greater``: of the amount and the percentage, the greater one capped.
    ``percent``: the percentage alone. This is the law's least: the programme's own papers promise ``none``
    everywhere, which every profile allows.
    """

    kind: Literal["none", "lesser", "greater", "percent"]
    amount: Decimal | None = None
    percent: Decimal | None = None
    cap: Decimal | None = None
    citation: str
    status: Status

    def allowed_above(self, agreed: Decimal) -> Decimal:
        """The most above ``agreed`` that needs no new consent, exact and not rounded: 0 for "none"."""
        share = agreed * (self.percent or Decimal(0)) / 100
        amount = self.amount or Decimal(0)
        more = {
            "none": Decimal(0),
            "percent": share,
            "lesser": min(amount, share),
            "greater": max(amount, share),
        }
        return more[self.kind] if self.cap is None else min(more[self.kind], self.cap)


class LawProfile(Record):
    """What the law of one place wants on a written estimate, as far as it is known here."""

    id: str
    name: str
    market: Market | None = None
    scope: str = ""  # for which jobs it holds, in one sentence
    fields: tuple[FieldRule, ...] = ()
    lines: tuple[LineRule, ...] = ()
    statements: tuple[Statement, ...] = ()
    consent: tuple[ConsentRule, ...] = ()
    tolerance: Tolerance
    notes: tuple[str, ...] = ()


class Caution(Record):
    """A sentence for the foot of the documents ``on``."""

    text: str
    on: Annotated[tuple[DocumentKind, ...], _SPLIT]
    markets: Annotated[tuple[Market, ...], _SPLIT] = ()


class Laws(Record):
    """All profiles, the sentence that goes with every one of them, and the cautions of the documents."""

    confirm: str
    cautions: tuple[Caution, ...]
    profiles: tuple[LawProfile, ...]

    def of(self, place: str) -> LawProfile | None:
        """The profile ``place``, or ``None``."""
        return next((profile for profile in self.profiles if profile.id == place), None)


class Lack(Record):
    """Something that a document lacks for a place, as a sentence."""

    code: str
    sentence: str
    citation: str
    status: Status


# -- plain words ---------------------------------------------------------------------------------------------


class PlainWord(Record):
    """What a component does and why it matters when it is worn: common practice, of no vehicle in
    particular."""

    does: str
    matters: str


class PlainWords(Record):
    """Plain words by component id, falling back to kind and system already; and how speech is tidied.

    ``fillers`` are left out wherever they stand, ``openers`` at the beginning, ``closers`` at
    the end, ``stutters`` when said twice.
    """

    components: dict[str, PlainWord]
    fillers: tuple[str, ...] = ()
    openers: tuple[str, ...] = ()
    stutters: tuple[str, ...] = ()
    closers: tuple[str, ...] = ()
