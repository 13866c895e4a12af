"""The page as text: complete, linked, escaped, self-contained. What needs a browser is in the next file."""

from __future__ import annotations

import re
from decimal import Decimal
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from sample_draft import empty_draft, sample_draft, uk_draft

from voicecheck.documents import to_html
from voicecheck.documents.plain import money, visible
from voicecheck.records import Ask, Draft, Unplaced

DRAFTS = (sample_draft(), uk_draft(), empty_draft())


class Page(HTMLParser):
    """Ids, local links, outside addresses, tags and the visible text of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.outside: list[str] = []
        self.tags: list[tuple[str, dict[str, str]]] = []
        self._text: list[str] = []
        self._muted = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        self.tags.append((tag, found))
        if "id" in found:
            self.ids.append(found["id"])
        for name in ("href", "src", "action", "data", "poster"):
            address = found.get(name, "")
            if address.startswith("#"):
                self.links.append(address[1:])
            elif address and address != "data:,":
                self.outside.append(address)
        self._muted += tag in {"style", "script", "title"}

    def handle_endtag(self, tag: str) -> None:
        self._muted -= tag in {"style", "script", "title"}

    def handle_data(self, data: str) -> None:
        if not self._muted:
            self._text.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self._text).split())


def all_asks(draft: Draft) -> list[Ask]:
    lines = [line for job in draft.estimate.jobs for line in job.lines]
    return [*draft.asks, *(a for f in draft.findings for a in f.asks), *(a for x in lines for a in x.asks)]


@pytest.mark.parametrize("draft", DRAFTS, ids=lambda d: d.recording.name)
def test_every_link_has_a_target_and_every_id_is_given_once(draft: Draft) -> None:
    page = Page(to_html(draft))
    assert len(page.ids) == len(set(page.ids))
    assert set(page.links) <= set(page.ids)
    assert {f"w{at}" for at in range(len(draft.transcript.words))} <= set(page.ids)


@pytest.mark.parametrize("draft", DRAFTS, ids=lambda d: d.recording.name)
def test_page_is_self_contained(draft: Draft) -> None:
    html = to_html(draft)
    page = Page(html)
    assert page.outside == []
    assert not {tag for tag, _ in page.tags} & {"script", "iframe", "img", "object", "form"}
    assert "url(" not in html
    assert "@import" not in html


def test_every_finding_line_and_question_links_to_its_words() -> None:
    draft = sample_draft()
    page = Page(to_html(draft))
    for at, finding in enumerate(draft.findings, start=1):
        assert f"finding-{at}" in page.ids, finding.component.name
        for span in finding.heard:
            assert f"w{span.first}" in page.links, finding.component.name
    lines = sum(len(job.lines) for job in draft.estimate.jobs)
    assert sum(i.startswith("line-") for i in page.ids) == lines
    assert sum(i.startswith("ask-") for i in page.ids) == len({(a.message, a.field) for a in all_asks(draft)})


def test_every_ask_choice_caution_and_unplaced_word_is_there() -> None:
    draft = sample_draft()
    text = Page(to_html(draft)).text
    for ask in all_asks(draft):
        assert ask.message in text
        for choice in ask.choices:
            assert choice in text
    for caution in draft.cautions:
        assert caution in text
    for item in draft.unplaced:
        assert item.why.lower() in text.lower()
    for gap in draft.transcript.unheard:
        assert gap.why in text


def test_every_word_of_the_transcript_is_there_in_order() -> None:
    draft = sample_draft()
    html = to_html(draft)
    table = html[html.index('class="transcript"') :]
    found = {
        int(n): re.sub("<[^>]+>", "", body)
        for n, body in re.findall(r'<span id="w(\d+)">(.*?)</span>', table)
    }
    assert list(found) == list(range(len(draft.transcript.words)))
    for at, word in enumerate(draft.transcript.words):
        assert found[at] == word.read


def test_repair_and_low_certainty_are_marked() -> None:
    html = to_html(sample_draft())
    assert "<del>Ride out or tight rodent</del>" in html
    assert "<del>430 seconds</del>" in html
    assert re.search(r'<u class="unsure" title="heard with certainty 0.55">three</u>', html)
    assert "0.93" not in re.findall(r'title="heard with certainty ([\d.]+)"', html)


def test_all_amounts_stand_as_in_the_draft() -> None:
    draft = sample_draft()
    text = Page(to_html(draft)).text
    totals, currency = draft.estimate.totals, draft.estimate.currency
    amounts = [x.amount for job in draft.estimate.jobs for x in job.lines if x.amount is not None]
    for amount in [*amounts, totals.labour, totals.parts, totals.supplies, totals.tax, totals.total]:
        assert money(amount, currency, draft.market) in text
    assert f"plus {totals.open_lines} lines to be priced" in text


def test_unknown_amounts_are_words_and_never_zero() -> None:
    draft = sample_draft()
    unknown = sum(line.amount is None for job in draft.estimate.jobs for line in job.lines)
    assert unknown == 4
    html = to_html(draft)
    assert html.count('data-label="Amount">to be priced<') == unknown
    assert "$0.00" not in html  # no line, subtotal or sum of the sample is a known zero


def test_urgencies_come_in_order_and_in_words() -> None:
    page = Page(to_html(sample_draft()))
    parts = [i for i in page.ids if i.startswith("part-")]
    assert parts == ["part-now", "part-soon", "part-later", "part-unstated"]
    for words in ("Do now", "Plan soon", "Can wait", "Not said"):
        assert words in page.text


def test_markup_in_any_field_is_escaped() -> None:
    evil = "<script>alert(1)</script><img src=x onerror=alert(2)>\" '"
    draft = sample_draft()
    words = tuple(
        w.model_copy(update={"heard": evil, "read": evil + str(i % 2)})
        for i, w in enumerate(draft.transcript.words)
    )
    ask = Ask(code="x", message=evil, choices=(evil,))
    name = draft.findings[0].component.model_copy(update={"name": evil})
    finding = draft.findings[0].model_copy(
        update={"component": name, "because": evil, "otherwise": evil, "only_if": evil}
    )
    line = (
        draft.estimate.jobs[0]
        .lines[0]
        .model_copy(
            update={
                "name": evil,
                "arithmetic": evil,
                "why": evil,
                "asks": (ask,),
                "catalogue": evil,
                "unit": evil,
            }
        )
    )
    job = draft.estimate.jobs[0].model_copy(update={"title": evil, "only_if": evil, "lines": (line,)})
    draft = draft.model_copy(update={
        "recording": draft.recording.model_copy(update={"name": evil}),
        "vehicle": draft.vehicle.model_copy(update={"vin": evil, "plate": evil}),
        "transcript": draft.transcript.model_copy(update={"words": words, "note": evil}),
        "findings": (finding, *draft.findings[1:]),
        "estimate": draft.estimate.model_copy(update={"jobs": (job, *draft.estimate.jobs[1:])}),
        "unplaced": (Unplaced(first=0, last=9999, start=None, end=None, text=evil, why=evil),),
        "asks": (ask,),
        "cautions": (evil,),
        "timings": {evil: 1.0},
    })  # fmt: skip
    page = Page(to_html(draft))
    tags = {tag for tag, _ in page.tags}
    assert "script" not in tags
    assert "img" not in tags
    assert not any(name.startswith("on") for _, attributes in page.tags for name in attributes)
    assert evil.replace("  ", " ") in page.text


def test_paper_follows_the_market_unless_told() -> None:
    def size(html: str) -> list[str]:
        return re.findall(r"@page { size: (\w+);", html)

    assert size(to_html(sample_draft())) == ["Letter"]
    assert size(to_html(uk_draft())) == ["A4"]
    assert size(to_html(sample_draft(), paper="A4")) == ["A4"]


def test_language_and_spelling_follow_the_market() -> None:
    us, uk = to_html(sample_draft()), to_html(uk_draft())
    assert '<html lang="en-US">' in us
    assert '<html lang="en-GB">' in uk
    assert ">Labor<" in us
    assert ">Labour<" in uk
    assert "£1,264.00" in uk


def test_tables_and_headings_are_labelled() -> None:
    page = Page(to_html(sample_draft()))
    assert all("scope" in attributes for tag, attributes in page.tags if tag == "th")
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    tables = [tag for tag, _ in page.tags if tag == "table"]
    assert len(tables) == [tag for tag, _ in page.tags].count("caption")


def test_empty_recording_gives_its_reason_and_no_sums() -> None:
    draft = empty_draft()
    text = Page(to_html(draft)).text
    assert draft.transcript.note in text
    assert "£" not in text
    assert "no total" in text


def test_typed_notes_have_no_times() -> None:
    text = Page(to_html(uk_draft())).text
    assert "typed notes" in text
    assert not re.search(r"\b\d:\d\d\b", text)


def test_a_line_of_an_unknown_finding_is_shown_and_says_so() -> None:
    draft = uk_draft().model_copy(update={"findings": ()})
    text = Page(to_html(draft)).text
    assert "finding f1, which is not in this draft" in text
    assert money(Decimal("1264.00"), "GBP", "UK") in text


def test_control_characters_are_made_visible() -> None:
    assert visible("a\x1b[31mb") == "a�[31mb"
