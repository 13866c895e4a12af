"""A draft as one self-contained web page for screen, phone and printer. Jinja2 is used only here."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from functools import cache
from typing import Literal

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from voicecheck.documents import plain
from voicecheck.documents.arranged import UNSURE_WORD, Row, arrange, pieces
from voicecheck.records import Draft, Span, Unplaced, Word

Paper = Literal["A4", "Letter"]
_CONTEXT = 8  # words shown on each side of unplaced ones


def paper_of(language: str) -> Paper:
    """The sheet that a document in ``language`` (BCP 47) is printed on: Letter in the US, else A4."""
    return "Letter" if language == "en-US" else "A4"


@cache
def environment() -> Environment:
    """The templates of this package, with the filters they use. Undefined names are errors."""
    made = Environment(
        loader=PackageLoader("voicecheck.documents", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["capital"] = plain.capital
    return made


def _word(at: int, word: Word, *, anchored: bool) -> Markup:
    text = escape(plain.visible(word.read))
    if word.certainty < UNSURE_WORD and word.read:
        text = Markup('<u class="unsure" title="heard with certainty {}">{}</u>').format(
            f"{word.certainty:.2f}", text
        )
    return Markup('<span id="w{}">{}</span>').format(at, text) if anchored else text


def _words(words: Sequence[Word], first: int, last: int, *, anchored: bool = False) -> Markup:
    """Words as they are read, with doubtful ones underlined and repaired ones shown as heard → read."""
    parts: list[Markup] = []
    for piece in pieces(words, first, last):
        text = Markup(" ").join(_word(at, word, anchored=anchored) for at, word in piece.words)
        if piece.repaired:
            frame = '<span class="repair"><del>{}</del> <span class="to">→</span> <ins>{}</ins></span>'
            text = Markup(frame).format(
                plain.visible(piece.heard) or "nothing", text if piece.read else "nothing"
            )
            if not piece.read and anchored:  # the words are gone, their anchors must stay
                text += Markup("").join(Markup('<span id="w{}"></span>').format(at) for at, _ in piece.words)
        parts.append(text)
    return Markup(" ").join(parts)


def to_html(draft: Draft, *, paper: Paper | None = None) -> str:
    """The advisor's draft as one HTML page: no script, no request, styles inside.

    ``paper`` is the sheet it is set for when printed; without it, Letter in the US and A4 in the UK. Anchors:
    ``#w12`` word 12 of the transcript (from 0), ``#ask-3``, ``#finding-3``, ``#line-2-1``, ``#job-2``.
    """
    market, currency, words = draft.market, draft.estimate.currency, draft.transcript.words
    language = plain.language_of(market)

    def money(amount: Decimal, high: Decimal | None = None) -> str:
        return plain.money_range(amount, high, currency, market)

    def quote(span: Span) -> Markup:
        fits = 0 <= span.first < span.last <= len(words)
        return _words(words, span.first, span.last) if fits else escape(plain.visible(plain.said(span)))

    def around(item: Unplaced) -> Markup:
        """Unplaced words marked, with up to eight words before and after them."""
        if not 0 <= item.first < item.last <= len(words):
            return Markup('<span class="lost">{}</span>').format(plain.visible(item.text))
        before, after = max(0, item.first - _CONTEXT), min(len(words), item.last + _CONTEXT)
        return Markup('{}{}<span class="lost">{}</span>{}{}').format(
            "… " if before else "",
            _words(words, before, item.first) + (" " if before < item.first else ""),
            _words(words, item.first, item.last),
            (Markup(" ") if after > item.last else Markup("")) + _words(words, item.last, after),
            " …" if after < len(words) else "",
        )

    def stamp(first: int, start: float | None) -> str:
        return plain.clock(start) or f"word {first}"

    def text_of(row: Row) -> Markup:
        return _words(words, row.first, row.last, anchored=True)

    template = environment().get_template("draft.html.j2")
    return template.render(
        draft=draft,
        arranged=arrange(draft),
        paper=paper or paper_of(language),
        language=language,
        labour=plain.labour_word(market),
        money=money,
        quote=quote,
        around=around,
        stamp=stamp,
        text_of=text_of,
        word_count=len(words),
        p=plain,
    )
