"""What the tests of the papers share: invented particulars, drafts of every awkward kind, amounts."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import NamedTuple

from pypdf import PdfReader
from sample_draft import empty_draft, sample_draft, uk_draft

from voicecheck.catalogue.identity import load_identity, load_laws
from voicecheck.catalogue.plain_words import load_plain_words
from voicecheck.documents import customer, parts_list, work
from voicecheck.lexicon import load_lexicon
from voicecheck.papers import missing, statements_to_print
from voicecheck.records import Draft, Estimate, Job, Line, Market
from voicecheck.records.papers import (
    DocumentParticulars,
    Laws,
    Particulars,
    Person,
    PlainWords,
    ShopIdentity,
    VehicleParticulars,
)
from voicecheck.resources import lexicon_dir, shared_dir

D = Decimal
AMOUNT = re.compile(r"[$£]\d[\d,]*\.\d\d")

PARTICULARS = Particulars(
    customer=Person(
        name="Robin Sample", address=("22 Larch Street", "Sample City"), phone="555-0177",
        email="robin@mail.example",
    ),
    authorised_other=Person(name="Kit Sample", phone="555-0178"),
    vehicle=VehicleParticulars(
        year=2016, make="Anymake", model="Wagon", plate="SMPL 123", odometer="87,412 mi"
    ),
    document=DocumentParticulars(
        number="E-2026-0117", given_in="2026-03-14T09:30", proposed_completion="2026-03-17",
        complaint="It clunks over bumps.", valid_until="2026-04-13",
    ),
)  # fmt: skip


@cache
def words_of(market: Market) -> PlainWords:
    """The shipped plain words."""
    terms = load_lexicon(lexicon_dir(), None, market=market)
    return load_plain_words(shared_dir() / "plain_words.yaml", components=terms.components, market=market)


@cache
def shop_of(market: Market) -> ShopIdentity:
    return load_identity(shared_dir() / f"shop.{market.lower()}.yaml")


@cache
def laws() -> Laws:
    return load_laws(shared_dir() / "papers.yaml")


def customer_view(
    draft: Draft, *, particulars: Particulars = PARTICULARS, place: str = "plain"
) -> customer.CustomerView:
    """The customer's estimate of a draft with everything that is shipped."""
    shop, profile = shop_of(draft.market), laws().of(place)
    assert profile is not None
    lacks = missing(shop=shop, particulars=particulars, estimate=draft.estimate, profile=profile)
    return customer.view(
        draft,
        shop=shop,
        particulars=particulars,
        words=words_of(draft.market),
        statements=statements_to_print(shop=shop, estimate=draft.estimate, profile=profile),
        cautions=laws().cautions,
        lacking=len(lacks),
    )


class Pair(NamedTuple):
    """One paper both ways."""

    html: str
    pdf: bytes


@cache
def papers_named(name: str) -> dict[str, Pair]:
    """The papers of one of ``DRAFTS``, made once."""
    particulars = HOSTILE_PARTICULARS if name == "hostile" else PARTICULARS
    return papers_of(DRAFTS[name](), particulars=particulars)


def papers_of(draft: Draft, *, particulars: Particulars = PARTICULARS) -> dict[str, Pair]:
    """Every paper that has one view for page and PDF."""
    shop, cautions = shop_of(draft.market), laws().cautions
    shown = customer_view(draft, particulars=particulars)
    listed = work.view(
        draft, shop=shop, particulars=particulars, words=words_of(draft.market), cautions=cautions
    )
    parts = parts_list.view(draft, shop=shop, particulars=particulars, cautions=cautions)
    return {
        "estimate": Pair(customer.to_html(shown), customer.to_pdf(shown)),
        "work": Pair(work.to_html(listed), work.to_pdf(listed)),
        "parts": Pair(parts_list.to_html(parts), parts_list.to_pdf(parts)),
    }


def sheets(pdf: bytes) -> list[str]:
    """The text of each page, white space made single."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def shown_text(html: str) -> str:
    """What a reader sees of a page, white space made single."""
    body = html[html.index("<body") :]
    text = re.sub(r"<[^>]+>", " ", body)
    for entity, character in (("&lt;", "<"), ("&gt;", ">"), ("&#34;", '"'), ("&#39;", "'"), ("&amp;", "&")):
        text = text.replace(entity, character)
    return " ".join(text.split())


# -- awkward drafts ------------------------------------------------------------------------------------------


def _with_estimate(draft: Draft, estimate: Estimate) -> Draft:
    return draft.model_copy(update={"estimate": estimate})


def _each_line(draft: Draft, change: Callable[[Line], Line]) -> tuple[Job, ...]:
    return tuple(
        job.model_copy(update={"lines": tuple(change(line) for line in job.lines)})
        for job in draft.estimate.jobs
    )


def all_open() -> Draft:
    """The sample with not one price known."""
    draft = sample_draft()
    zero = D("0.00")
    jobs = tuple(
        job.model_copy(update={"subtotal": zero})
        for job in _each_line(
            draft, lambda line: line.model_copy(update={"amount": None, "unit_price": None, "hours": None})
        )
    )
    totals = draft.estimate.totals.model_copy(
        update={
            "labour": zero, "parts": zero, "sublet": zero, "supplies": zero, "tax": zero, "total": zero,
            "open_lines": sum(len(job.lines) for job in jobs),
        }
    )  # fmt: skip
    return _with_estimate(draft, draft.estimate.model_copy(update={"jobs": jobs, "totals": totals}))


def long_draft(lines: int = 60) -> Draft:
    """One job of many lines."""
    draft = sample_draft()
    job = draft.estimate.jobs[2]
    many = tuple(
        job.lines[at % len(job.lines)].model_copy(
            update={"id": f"l{at}", "name": f"part or work number {at}", "kind": "part"}
        )
        for at in range(lines)
    )
    amounts = [line.amount for line in many if line.amount is not None]
    whole = job.model_copy(update={"lines": many, "subtotal": sum(amounts, D("0.00"))})
    return _with_estimate(draft, draft.estimate.model_copy(update={"jobs": (whole,)}))


HOSTILE = "<script>alert('x')</script> & \"Łódź\" 日本 \u202eabc\x1b[31m " + "W" * 150
HOSTILE_PARTICULARS = Particulars(
    customer=Person(name=HOSTILE, address=(HOSTILE,), phone=HOSTILE, email=HOSTILE),
    authorised_other=Person(name=HOSTILE),
    vehicle=VehicleParticulars(make=HOSTILE, model=HOSTILE, plate=HOSTILE, vin=HOSTILE, odometer=HOSTILE),
    document=DocumentParticulars(number=HOSTILE, complaint=HOSTILE * 3),
)


def hostile_draft() -> Draft:
    """Markup, other scripts, control characters and long words in every name."""
    draft = sample_draft()
    draft = _with_estimate(draft, draft.estimate.model_copy(update={"jobs": draft.estimate.jobs[1:4]}))
    jobs = tuple(
        job.model_copy(update={"title": HOSTILE, "only_if": HOSTILE})
        for job in _each_line(
            draft, lambda line: line.model_copy(update={"name": HOSTILE, "why": HOSTILE, "unit": HOSTILE})
        )
    )
    findings = tuple(
        finding.model_copy(
            update={
                "because": HOSTILE,
                "component": finding.component.model_copy(update={"name": HOSTILE}),
                "heard": tuple(span.model_copy(update={"read": HOSTILE}) for span in finding.heard),
            }
        )
        for finding in draft.findings
    )
    estimate = draft.estimate.model_copy(update={"jobs": jobs})
    return draft.model_copy(update={"estimate": estimate, "findings": findings})


DRAFTS: dict[str, Callable[[], Draft]] = {
    "sample": sample_draft,
    "typed, UK": uk_draft,
    "empty": empty_draft,
    "all open": all_open,
    "60 lines": long_draft,
    "hostile": hostile_draft,
}
TUNE = Path(__file__).resolve().parents[2] / "samples_synthetic" / "tune"
