"""The customer's estimate, the work list, the parts list and the advisor's draft, as pages and as PDF."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from decimal import Decimal
from typing import cast

import pytest
import yaml
from papers_kit import (
    AMOUNT,
    DRAFTS,
    PARTICULARS,
    TUNE,
    customer_view,
    laws,
    papers_named,
    papers_of,
    sheets,
    shop_of,
    shown_text,
    words_of,
)
from pypdf import PdfReader
from pypdf.generic import DictionaryObject
from sample_draft import sample_draft, uk_draft

from voicecheck.documents import customer, parts_list, plain, to_html, work
from voicecheck.documents.arranged import arrange
from voicecheck.documents.draft_pdf import draft_to_pdf
from voicecheck.documents.letterhead import day, filled_from, fingerprint
from voicecheck.pipeline import Workshop, draft_from_transcript, text_recording, transcript_from_text
from voicecheck.records import Draft, Job, Market
from voicecheck.records.estimate import DiscountLine, LimitCheck, TaxLine
from voicecheck.records.papers import Particulars

D = Decimal
WorkshopOf = Callable[[Market], Workshop]
NARRATIONS = ("terse-compact", "clipped-coupe", "uk-hatchback", "clean-bill-crossover")


_MADE: dict[str, Draft] = {}


def tune_draft(rules_of: WorkshopOf, name: str) -> Draft:
    """The draft of a narration, made once."""
    if name not in _MADE:
        _MADE[name] = _tune_draft(rules_of, name)
    return _MADE[name]


def _tune_draft(rules_of: WorkshopOf, name: str) -> Draft:
    text = (TUNE / f"{name}.txt").read_text(encoding="utf-8")
    market = yaml.safe_load((TUNE / f"{name}.gold.yaml").read_text(encoding="utf-8"))["market"]
    return draft_from_transcript(
        rules_of(market), transcript_from_text(text), recording=text_recording(name, text)
    )


def same_amounts(html: str, pdf: bytes) -> set[str]:
    """The amounts of a paper, after checking that page and PDF have the same ones."""
    on_page = set(AMOUNT.findall(shown_text(html)))
    assert on_page == set(AMOUNT.findall(" ".join(sheets(pdf))))
    return on_page


# -- one view, two forms -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", DRAFTS)
def test_page_and_pdf_show_the_same_amounts(name: str) -> None:
    for pair in papers_named(name).values():
        same_amounts(*pair)


@pytest.mark.parametrize("name", NARRATIONS)
def test_amounts_of_real_drafts(name: str, rules_of: WorkshopOf) -> None:
    draft = tune_draft(rules_of, name)
    made = papers_of(draft)
    shown = same_amounts(*made["estimate"])
    currency, market = draft.estimate.currency, draft.market
    for job in draft.estimate.jobs:
        for line in job.lines:
            if line.amount:
                assert plain.money(line.amount, currency, market) in shown
    assert plain.money(draft.estimate.totals.total, currency, market) in shown
    same_amounts(*made["parts"])
    same_amounts(to_html(draft), draft_to_pdf(draft))
    assert not same_amounts(*made["work"])


@pytest.mark.parametrize("name", NARRATIONS)
def test_every_line_stands_beside_its_amount_in_both(name: str, rules_of: WorkshopOf) -> None:
    shown = customer_view(tune_draft(rules_of, name))
    page = shown_text(customer.to_html(shown))
    pdf = " ".join(sheets(customer.to_pdf(shown)))
    assert shown.jobs
    for job in shown.jobs:
        assert job.title in page
        assert f"{job.number}. {job.title}" in pdf
        for line in job.lines:
            figures = [line.quantity, line.hours, line.unit_price, line.amount]
            row = r"\s*".join(
                re.escape(text) for text in [line.text, *line.notes, *(f for f in figures if f)]
            ).replace(r"\ ", r"\s+")
            row = re.sub(r"\\s\*(?=\S)", r"[\\s–;]*", row)
            assert re.search(row, page), line
            assert re.search(row, pdf), line


def test_the_fingerprint_is_on_both_and_names_the_content() -> None:
    draft = sample_draft()
    shown = customer_view(draft)
    mark = fingerprint(shown)
    assert re.fullmatch(r"[0-9a-f]{64}", mark)
    assert mark in customer.to_html(shown)
    assert all(mark in sheet for sheet in sheets(customer.to_pdf(shown)))
    assert fingerprint(customer_view(sample_draft())) == mark
    job = draft.estimate.jobs[0]
    line = job.lines[0].model_copy(update={"amount": D("38.51")})
    jobs = (job.model_copy(update={"lines": (line, *job.lines[1:])}), *draft.estimate.jobs[1:])
    other = draft.model_copy(update={"estimate": draft.estimate.model_copy(update={"jobs": jobs})})
    assert fingerprint(customer_view(other)) != mark


@pytest.mark.parametrize("name", DRAFTS)
def test_a_view_comes_back_from_its_json_with_the_same_fingerprint(name: str) -> None:
    shown = customer_view(DRAFTS[name]())
    again = customer.CustomerView.model_validate_json(shown.model_dump_json())
    assert again == shown
    assert fingerprint(again) == fingerprint(shown)
    assert customer.to_html(again) == customer.to_html(shown)


def test_what_was_said_of_the_vehicle_fills_what_was_not_given() -> None:
    known = filled_from(sample_draft(), Particulars())
    assert (known.vehicle.year, known.vehicle.odometer) == (2016, "87,412 mi")
    given = PARTICULARS.model_copy(
        update={"vehicle": PARTICULARS.vehicle.model_copy(update={"year": 2015, "odometer": "90,000 mi"})}
    )
    known = filled_from(sample_draft(), given)
    assert (known.vehicle.year, known.vehicle.odometer, known.vehicle.make) == (2015, "90,000 mi", "Anymake")


@pytest.mark.parametrize(
    ("text", "us", "uk"),
    [
        ("2026-03-14", "March 14, 2026", "14 March 2026"),
        ("2026-03-14T09:30", "March 14, 2026, 9:30 AM", "14 March 2026, 09:30"),
        ("2026-03-14 23:05", "March 14, 2026, 11:05 PM", "14 March 2026, 23:05"),
        ("", "", ""),
    ],
)
def test_days(text: str, us: str, uk: str) -> None:
    assert (day(text, "US"), day(text, "UK")) == (us, uk)


def test_the_same_view_gives_the_same_bytes() -> None:
    shown = customer_view(sample_draft())
    assert customer.to_pdf(shown) == customer.to_pdf(shown)
    assert draft_to_pdf(sample_draft()) == draft_to_pdf(sample_draft())


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_sheet_sizes(paper: str, points: tuple[int, int]) -> None:
    shown = customer_view(sample_draft())
    pdf = customer.to_pdf(shown, paper="A4" if paper == "A4" else "Letter")
    box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == pytest.approx(points, abs=1)
    assert f"size: {paper};" in customer.to_html(shown, paper="A4" if paper == "A4" else "Letter")


def test_the_market_chooses_the_sheet() -> None:
    us = PdfReader(io.BytesIO(customer.to_pdf(customer_view(sample_draft())))).pages[0].mediabox
    uk = PdfReader(io.BytesIO(customer.to_pdf(customer_view(uk_draft())))).pages[0].mediabox
    assert (round(float(us.width)), round(float(uk.width))) == (612, 595)


def fonts_of(pdf: bytes) -> dict[str, bool]:
    """The typefaces of a PDF, and whether they are inside."""
    found: dict[str, bool] = {}
    for page in PdfReader(io.BytesIO(pdf)).pages:
        resources = cast(DictionaryObject, page["/Resources"])
        for name in cast(DictionaryObject, resources["/Font"]).values():
            font = cast(DictionaryObject, name.get_object())
            about = cast(DictionaryObject, font.get("/FontDescriptor", DictionaryObject()).get_object())
            found[str(font["/BaseFont"])] = "/FontFile2" in about
    return found


@pytest.mark.parametrize("name", DRAFTS)
def test_every_typeface_is_embedded(name: str) -> None:
    made = [*(pair.pdf for pair in papers_named(name).values()), draft_to_pdf(DRAFTS[name]())]
    for pdf in made:
        fonts = fonts_of(pdf)
        assert fonts
        assert all("Vera" in font for font in fonts)
        assert all(fonts.values())


# -- the customer's estimate ---------------------------------------------------------------------------------


def test_no_zero_where_nothing_is_priced() -> None:
    made = papers_named("all open")
    for pair in made.values():
        assert not same_amounts(*pair)
        assert "0.00" not in shown_text(pair.html)
        assert "0.00" not in " ".join(sheets(pair.pdf))
    assert "to be priced, and no total yet" in made["estimate"].html


def test_an_empty_estimate_says_so() -> None:
    made = papers_named("empty")
    assert "There is no work in this estimate" in made["estimate"].html
    assert "Your decision" not in made["estimate"].html
    assert "There is nothing to do on this list." in made["work"].html
    assert "There is no part to order." in made["parts"].html
    for pair in made.values():
        assert len(sheets(pair.pdf)) == 1
        assert not AMOUNT.findall(pair.html)


def test_the_technicians_words_come_first_and_are_marked() -> None:
    shown = customer_view(sample_draft())
    job = next(job for job in shown.jobs if "Valve cover" in job.title)
    (told,) = job.told
    assert told.quotes[0].startswith("Valve cover gasket is seeping")
    assert (told.because, told.otherwise) == ("it is dripping onto the exhaust manifold", "you will smell it")
    page = customer.to_html(shown)
    at = [page.index(text) for text in (told.quotes[0], told.because + "</q>", job.general[0].does)]
    assert at == sorted(at)
    assert "In general, valve cover gasket:" in page


def test_general_words_are_only_those_of_the_data() -> None:
    known = {(w.does, w.matters) for w in words_of("US").components.values()}
    shown = customer_view(sample_draft())
    used = [(g.does, g.matters) for job in shown.jobs for g in job.general]
    assert used
    assert set(used) <= known


def test_what_has_no_price_is_listed_without_one() -> None:
    shown = customer_view(sample_draft())
    listed = {part.title: [told.title for told in part.items] for part in shown.listed}
    assert listed == {
        "Found, with no work advised": ["Bumper cover, rear"],
        "Only suspected": ["Wheel bearing, rear right"],
        "Keep an eye on": ["Upper coolant hose"],
        "Not checked": ["Cabin filter"],
        "Said to be fine": ["Outer tie rod end, front left", "Battery", "Tire"],
    }
    fine = next(part for part in shown.listed if part.title == "Said to be fine")
    assert "Only what was said is listed" in fine.gloss


def test_open_questions_and_lacks_make_it_a_draft() -> None:
    shown = customer_view(sample_draft(), particulars=Particulars())
    assert [text.split(maxsplit=1)[1] for text in shown.unfinished] == [
        "questions to the technician or the advisor",
        "remark of the technician not yet sorted in",
        "things that a written estimate has to have",
    ]
    assert "Still a draft." in customer.to_html(shown)
    assert "Still a draft." in " ".join(sheets(customer.to_pdf(shown)))
    assert customer_view(uk_draft()).unfinished == ()


def test_every_job_can_be_signed_for_by_itself() -> None:
    shown = customer_view(sample_draft())
    page = customer.to_html(shown)
    decide = page[page.index('class="decide') :]
    pdf = sheets(customer.to_pdf(shown))
    signing = next(sheet for sheet in pdf if "Your decision" in sheet)
    for job in shown.jobs:
        assert f"{job.number}. {job.title}" in decide
        assert f"{job.number}. {job.title} {job.price}" in signing
    for word in ("Yes", "Not now", "Name", "Date", "Signature"):
        assert word in decide
        assert word in signing
    assert "Kit Sample (555-0178)" in page
    assert page.index("says that the vehicle is safe") < page.index("Your decision")


def test_put_off_jobs_ranges_discounts_and_taxes() -> None:
    draft = sample_draft()
    jobs = list(draft.estimate.jobs)
    line = jobs[0].lines[0].model_copy(update={"amount_high": D("52.00"), "part_condition": "rebuilt"})
    jobs[0] = jobs[0].model_copy(update={"id": "j0", "lines": (line,), "subtotal_high": D("52.00")})
    jobs[1] = jobs[1].model_copy(update={"put_off": True})
    totals = draft.estimate.totals.model_copy(
        update={
            "discount": D("10.00"),
            "discount_lines": (
                DiscountLine(reason="first visit", on="labour", base=D(100), amount=D("10.00")),
            ),
            "tax": D("48.43"),
            "tax_lines": (TaxLine(name="State tax", percent=D("7.25"), base=D("667.96"), amount=D("48.43")),),
            "total_high": D("2500.00"),
        }
    )
    estimate = draft.estimate.model_copy(update={"jobs": tuple(jobs), "totals": totals})
    shown = customer_view(draft.model_copy(update={"estimate": estimate}))
    assert [job.title for job in shown.put_off] == [jobs[1].title]
    assert jobs[1].title not in [job.title for job in shown.jobs]
    wipers = next(job for job in shown.jobs if job.id == "j0")
    assert (wipers.lines[0].amount, wipers.price) == ("$38.50 to $52.00", "$38.50 to $52.00")
    assert wipers.lines[0].notes == ("rebuilt part",)
    rows = {row.label: row.text for row in shown.totals}
    assert rows["Discount: first visit"] == "less $10.00"
    assert rows["State tax, 7.25 % of $667.96"] == "$48.43"
    assert shown.total == "$2,403.59 to $2,500.00"
    text = " ".join(sheets(customer.to_pdf(shown)))
    decision = text[text.index("Your decision") :]
    assert jobs[1].title not in decision
    same_amounts(customer.to_html(shown), customer.to_pdf(shown))


def test_statements_of_the_place_are_printed() -> None:
    shown = customer_view(sample_draft(), place="california")
    assert len(shown.statements) == 3
    for statement in shown.statements:
        assert statement.text in shown_text(customer.to_html(shown))
        assert statement.text in " ".join(sheets(customer.to_pdf(shown)))


# -- work and parts ------------------------------------------------------------------------------------------


def with_ids(draft: Draft) -> Draft:
    jobs: tuple[Job, ...] = tuple(
        job.model_copy(update={"id": f"j{at}"}) for at, job in enumerate(draft.estimate.jobs)
    )
    return draft.model_copy(update={"estimate": draft.estimate.model_copy(update={"jobs": jobs})})


def test_the_work_list_has_no_price_and_what_was_said() -> None:
    pair = papers_named("sample")["work"]
    text = " ".join(sheets(pair.pdf))
    assert not AMOUNT.findall(text)
    assert "$" not in shown_text(pair.html)
    for words in (
        "Outer tie rod end, front right",
        "0:11",
        "Time of this job: 2.2 h",
        "rotor thickness 25.6 mm",
    ):
        assert words in text
        assert words in shown_text(pair.html)
    assert "What the customer agreed to is not on this list." in text


def test_only_agreed_jobs_are_to_be_done_and_ordered_for() -> None:
    draft = with_ids(sample_draft())
    shop, agreed = shop_of("US"), {"j2"}  # front brakes
    listed = work.view(draft, shop=shop, particulars=PARTICULARS, words=words_of("US"), agreed=agreed)
    assert [job.title for job in listed.jobs] == ["Front brakes"]
    assert {job.standing for job in listed.left} == {"not agreed"}
    assert "Not agreed: do not do this." in work.to_html(listed)
    parts = parts_list.view(draft, shop=shop, particulars=PARTICULARS, agreed=agreed)
    assert [row.name for row in parts.rows] == ["Brake pads, axle set", "Brake rotor", "Brake fluid"]
    assert len(parts.left) == len(draft.estimate.jobs) - 1


def test_equal_parts_are_one_row_and_no_part_is_lost(rules_of: WorkshopOf) -> None:
    for name in NARRATIONS:
        draft = tune_draft(rules_of, name)
        parts = parts_list.view(draft, shop=shop_of(draft.market), particulars=PARTICULARS)
        lines = [line for job in draft.estimate.jobs for line in job.lines if line.kind in ("part", "fluid")]
        assert sum(len(row.uses) for row in parts.rows) == len(lines)
        assert parts.open_prices == sum(row.price == "to be found" for row in parts.rows)


# -- length and hostile text ---------------------------------------------------------------------------------


def test_sixty_lines_go_over_sheets_with_their_header() -> None:
    pair = papers_named("60 lines")["estimate"]
    pages = sheets(pair.pdf)
    assert len(pages) >= 3
    for number, sheet in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in sheet
        if "Part or work number" in sheet:
            assert "Line Quantity Hours Unit price Amount" in sheet
    for at in range(60):
        assert sum(f"Part or work number {at}," in f"{sheet}," or f"number {at} " in sheet for sheet in pages)


@pytest.mark.parametrize("kind", ["estimate", "work", "parts"])
def test_hostile_text_is_text(kind: str) -> None:
    pair = papers_named("hostile")[kind]
    assert "<script" not in pair.html.lower()
    assert "\x1b" not in pair.html
    assert "\u202e" not in pair.html
    assert "&lt;script&gt;" in pair.html
    assert "日本" in pair.html
    text = " ".join(sheets(pair.pdf))
    assert "<script>" in text.replace(" ", "").lower()
    assert "Some characters of this paper are not in its typeface" in text


def test_a_name_in_the_typeface_needs_no_remark() -> None:
    assert "not in its typeface" not in " ".join(sheets(customer.to_pdf(customer_view(uk_draft()))))


def test_very_long_text_goes_over_sheets() -> None:
    document = PARTICULARS.document.model_copy(update={"complaint": "It rattles. " * 1000})
    particulars = PARTICULARS.model_copy(
        update={
            "document": document,
            "customer": PARTICULARS.customer.model_copy(update={"name": "N" * 9000}),
        }
    )
    shown = customer_view(sample_draft(), particulars=particulars)
    text = "".join(sheets(customer.to_pdf(shown)))
    assert text.count("rattles") == 1000
    assert text.count("N") >= 4000


@pytest.mark.parametrize("name", DRAFTS)
def test_the_page_has_no_script_and_fetches_nothing(name: str) -> None:
    for pair in papers_named(name).values():
        assert not re.search(r"<script|javascript:|\son\w+=\"|<iframe|<link[^>]+href=\"(?!data:)", pair.html)
        assert "default-src 'none'" in pair.html
        assert not re.search(r"(?:src|href)=\"https?:", pair.html)


@pytest.mark.parametrize("name", DRAFTS)
def test_no_paper_calls_anything_safe_and_the_cautions_are_there(name: str) -> None:
    draft = DRAFTS[name]()
    for kind, pair in papers_named(name).items():
        text = shown_text(pair.html)
        for caution in laws().cautions:
            if kind in caution.on and (not caution.markets or draft.market in caution.markets):
                assert caution.text in text
        assert not re.search(
            r"\bsafe\b", text.replace("Nothing on this estimate says that the vehicle is safe", "")
        )


def test_the_advisors_pdf_has_every_line_and_word() -> None:
    draft = sample_draft()
    text = " ".join(sheets(draft_to_pdf(draft)))
    for job in draft.estimate.jobs:
        assert job.title in text
    same_amounts(to_html(draft), draft_to_pdf(draft))
    for word in draft.transcript.words:
        if word.read:
            assert word.read in text
    for ask in draft.asks:
        assert ask.message in text
    assert "front right / front left" in text


def test_the_advisors_draft_shows_fees_discounts_ranges_and_what_was_taken_out() -> None:
    draft = sample_draft()
    jobs = list(draft.estimate.jobs)
    gone = jobs[2].lines[-1].model_copy(update={"changed": "Left off by Kim: the customer brings it."})
    line = jobs[0].lines[0].model_copy(update={"amount_high": D("52.00"), "unit_price_high": D("52.00")})
    jobs[0] = jobs[0].model_copy(update={"lines": (line,), "subtotal_high": D("52.00")})
    jobs[1] = jobs[1].model_copy(update={"put_off": True})
    fee = jobs[4].lines[1].model_copy(update={"kind": "fee", "name": "tire recycling", "amount": D("5.55")})
    jobs[4] = jobs[4].model_copy(update={"lines": (*jobs[4].lines, fee)})
    totals = draft.estimate.totals.model_copy(
        update={"fees": D("5.55"), "discount": D("12.34"), "total_high": D("9999.00")}
    )
    check = LimitCheck(
        finding="f5", component=draft.findings[4].component, what="rotor thickness", value=D("25.6"),
        unit="mm", limit=D(26), unit_limit="mm", bound="min", origin="spoken", source="said in the recording",
        verdict="beyond", message="Rotor thickness 25.6 mm is below the limit of 26 mm.",
    )  # fmt: skip
    estimate = draft.estimate.model_copy(
        update={"jobs": tuple(jobs), "totals": totals, "left_off": (gone,), "checks": (check,)}
    )
    changed = draft.model_copy(update={"estimate": estimate})
    page, pdf = to_html(changed), draft_to_pdf(changed)
    amounts = same_amounts(page, pdf)
    assert {"$5.55", "$12.34", "$52.00", "$9,999.00"} <= amounts
    rows = {item.name: item.amount for item in arrange(changed).sums}
    assert (rows["fees"], rows["discount"]) == (D("5.55"), D("-12.34"))
    for text in (shown_text(page), " ".join(sheets(pdf))):
        assert "put off, in no total" in text
        assert "Taken out by the advisor" in text
        assert "the customer brings it" in text
        assert check.message in text
        assert "$38.50 to $52.00" in text
    now = next(part for part in arrange(changed).parts if part.urgency == "now")
    assert now.subtotal == sum((s.job.subtotal for s in now.jobs if not s.job.put_off), D(0))
    assert jobs[1].subtotal > 0
