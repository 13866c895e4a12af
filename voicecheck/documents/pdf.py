"""Sets blocks as a PDF. The only module that sees reportlab.

The typefaces are the Vera family that reportlab's wheel carries, embedded. They have the letters of western
European languages only: a letter that they lack is set without its marks where that leaves one they have
("ń" as "n"), any other character as "?", and the paper says so at its end.
"""

from __future__ import annotations

import io
import unicodedata
from functools import cache
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_CENTER, TA_LEFT, TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import registerFont, registerFontFamily
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    PageTemplate,
    Paragraph,
    Spacer,
)
from reportlab.platypus import KeepTogether as Kept
from reportlab.platypus import Table as Grid

from voicecheck.documents import plain
from voicecheck.documents.blocks import (
    Blank,
    Block,
    Box,
    Bullets,
    Cell,
    Columns,
    Facts,
    Para,
    ParaStyle,
    Row,
    Run,
    Table,
    Text,
    Together,
)
from voicecheck.documents.page import Paper

_INK = HexColor("#1c1f26")
_QUIET = HexColor("#4a4f5a")
_RULE = HexColor("#8d919b")
_HAIR = HexColor("#c9ccd4")
_WASH = HexColor("#f1f1f4")
_PAPERS = {"A4": A4, "Letter": LETTER}
_SIDE, _TOP, _BOTTOM = 17 * mm, 15 * mm, 20 * mm
_FACES = {
    "Vera": "Vera.ttf",
    "Vera-Bold": "VeraBd.ttf",
    "Vera-Italic": "VeraIt.ttf",
    "Vera-BoldItalic": "VeraBI.ttf",
}
_REPLACED = {
    "→": "->", "←": "<-", "\u202f": " ", "\u2009": " ", "\u2007": " ", "\u200b": "", "\ufeff": "", "′": "'",
    "″": '"', "−": "-", "\u2010": "-", "\u2012": "-", "\t": " ",
}  # fmt: skip
LACKING = (
    "Some characters of this paper are not in its typeface: letters are printed without their marks, others "
    "as “?”. The web page of the same document shows them as they are."
)


@cache
def _glyphs() -> frozenset[int]:
    """The characters that all four faces have. Registers them."""
    known: frozenset[int] | None = None
    for name, file in _FACES.items():
        font = TTFont(name, file)
        registerFont(font)
        have = frozenset(font.face.charToGlyph)
        known = have if known is None else known & have
    registerFontFamily(
        "Vera", normal="Vera", bold="Vera-Bold", italic="Vera-Italic", boldItalic="Vera-BoldItalic"
    )
    return known or frozenset()


class _Letters:
    """Turns text into what the typeface has, and remembers whether anything was lost."""

    def __init__(self) -> None:
        self.lost = False
        self.known = _glyphs()

    def of(self, text: str) -> str:
        """``text`` with every character in the typeface."""
        return "".join(self._one(c) for c in plain.visible(unicodedata.normalize("NFC", text)))

    def _one(self, character: str) -> str:
        if ord(character) in self.known or character == "\n":
            return character
        if character in _REPLACED:
            return _REPLACED[character]
        self.lost = True
        bare = "".join(c for c in unicodedata.normalize("NFKD", character) if not unicodedata.combining(c))
        return bare if bare and all(ord(c) in self.known for c in bare) else "?"

    def markup(self, text: Text) -> str:
        """Text for a paragraph: escaped, with bold, italic and quiet runs."""
        if isinstance(text, str):
            return escape(self.of(text)).replace("\n", "<br/>")
        return "".join(self._run(run) for run in text)

    def _run(self, run: Run) -> str:
        made = escape(self.of(run.text)).replace("\n", "<br/>")
        if run.bold:
            made = f"<b>{made}</b>"
        if run.italic:
            made = f"<i>{made}</i>"
        return f'<font color="#4a4f5a">{made}</font>' if run.quiet else made


def _style(name: str, size: float, **more: Any) -> ParagraphStyle:
    base: dict[str, Any] = {
        "fontName": "Vera",
        "fontSize": size,
        "leading": size * 1.38,
        "textColor": _INK,
        "splitLongWords": 1,
        "allowWidows": 0,
        "allowOrphans": 0,
    }
    return ParagraphStyle(name, **(base | more))


_FONT = (
    "FONT",
    (0, 0),
    (-1, -1),
    "Vera",
    8,
)  # of cells without a paragraph, which would bring in another face
_STYLES: dict[ParaStyle, ParagraphStyle] = {
    "shop": _style("shop", 12, fontName="Vera-Bold"),
    "title": _style("title", 19, fontName="Vera-Bold", spaceBefore=9, spaceAfter=6),
    "h2": _style("h2", 12.5, fontName="Vera-Bold", spaceBefore=15, spaceAfter=4, keepWithNext=1),
    "h3": _style("h3", 10, fontName="Vera-Bold", spaceBefore=11, spaceAfter=3, keepWithNext=1),
    "body": _style("body", 8.8, spaceBefore=2.5, spaceAfter=1),
    "quote": _style("quote", 8.5, leftIndent=4 * mm, spaceAfter=1),
    "small": _style("small", 8, spaceAfter=1.5),
    "boxed": _style(
        "boxed", 8.8, borderWidth=1.2, borderColor=_INK, borderPadding=4, spaceBefore=8, spaceAfter=8
    ),
    "note": _style("note", 8.3, textColor=_QUIET, spaceAfter=3, keepWithNext=1),
}
_CELL = {
    "l": _style("cell", 8.3),
    "r": _style("cell-right", 8.3, alignment=TA_RIGHT),
    "c": _style("cell-center", 8.3, alignment=TA_CENTER),
}
_HEADER = {
    letter: _style(f"header-{letter}", 7.4, textColor=_QUIET, alignment=side)
    for letter, side in (("l", TA_LEFT), ("r", TA_RIGHT), ("c", TA_CENTER))
}
_LABEL = _style("label", 7.4, textColor=_QUIET)
_GROUP = _style("group", 8.3, fontName="Vera-Bold", spaceAfter=1.5)


class _Square(Flowable):
    """A box to tick."""

    def __init__(self) -> None:
        super().__init__()
        self.width = self.height = 3.2 * mm

    def wrap(self, *_: Any) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        self.canv.setStrokeColor(_INK)
        self.canv.setLineWidth(0.8)
        self.canv.rect(0, 0, self.width, self.height)


class _Setter:
    """Turns blocks into flowables for a frame of one width (points)."""

    def __init__(self, width: float, letters: _Letters) -> None:
        self.width = width
        self.letters = letters

    def all(self, blocks: list[Block] | tuple[Block, ...]) -> list[Flowable]:
        return [flowable for block in blocks for flowable in self.one(block)]

    def one(self, block: Block) -> list[Flowable]:
        if isinstance(block, Para):
            made = self.para(block.text, _STYLES[block.style])
            if block.style == "h2":  # a heading needs room for something under it
                return [CondPageBreak(32 * mm), made]
            return [made]
        if isinstance(block, Facts):
            return [self.facts(block, self.width), Spacer(0, 2 * mm)]
        if isinstance(block, Columns):
            return [self.columns(block), Spacer(0, 2 * mm)]
        if isinstance(block, Bullets):
            return [self.bullet(item) for item in block.items]
        if isinstance(block, Together):
            return [Kept(self.all(block.blocks))]
        return [self.table(block), Spacer(0, 2 * mm)] if block.rows else []

    def para(self, text: Text, style: ParagraphStyle) -> Paragraph:
        return Paragraph(self.letters.markup(text), style)

    def bullet(self, item: Text) -> Paragraph:
        style = _style(
            "bullet", 8.5, bulletFontName="Vera", leftIndent=4 * mm, bulletIndent=0.5 * mm, spaceAfter=2
        )
        return Paragraph(self.letters.markup(item), style, bulletText="•")

    def facts(self, block: Facts, width: float) -> Grid:
        rows: list[list[Any]] = []
        if block.title:
            rows.append([self.para(block.title, _GROUP), ""])
        rows += [[self.para(fact.label, _LABEL), self.para(fact.value, _CELL["l"])] for fact in block.facts]
        commands: list[Any] = [
            _FONT,
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ("TOPPADDING", (0, 0), (-1, -1), 0.6),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 0.6),
        ]
        if block.title:
            commands.append(("SPAN", (0, 0), (1, 0)))
        label = min(23 * mm, width * 0.36)
        return Grid(rows, colWidths=[label, width - label], style=commands, splitInRow=1)

    def columns(self, block: Columns) -> Grid:
        width = self.width / len(block.groups)
        cells = [self.facts(group, width - 6) for group in block.groups]
        return Grid(
            [cells],
            colWidths=[width] * len(cells),
            style=[
                _FONT,
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 6),
                ("TOPPADDING", (0, 0), (-1, -1), 4),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
                ("LINEABOVE", (0, 0), (-1, 0), 0.6, _RULE),
                ("LINEBELOW", (0, 0), (-1, 0), 0.6, _RULE),
            ],
            splitInRow=1,
        )

    def cell(self, cell: Cell, align: str) -> Any:
        if isinstance(cell, Box):
            return _Square()
        if isinstance(cell, Blank):
            return ""
        return self.para(cell, _CELL[align])

    def table(self, block: Table) -> Grid:
        unit = self.width / sum(block.widths)
        rows: list[list[Any]] = []
        commands: list[Any] = [
            _FONT,
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 4),
            ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ("LEFTPADDING", (0, 0), (0, -1), 0),
            ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 2.6),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.6),
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, _HAIR),
        ]
        commands += [
            ("ALIGN", (n, 0), (n, -1), "CENTER") for n, letter in enumerate(block.align) if letter == "c"
        ]
        if block.header:
            rows.append([self.para(t, _HEADER[a]) for t, a in zip(block.header, block.align, strict=True)])
            commands += [("LINEBELOW", (0, 0), (-1, 0), 0.8, _INK), ("BOTTOMPADDING", (0, 0), (-1, 0), 1.5)]
        for row in block.rows:
            at = len(rows)
            rows.append(self._cells(row, block, at, commands))
            if row.style == "total":
                commands.append(("LINEABOVE", (0, at), (-1, at), 0.8, _INK))
            elif row.style == "wash":
                commands.append(("BACKGROUND", (0, at), (-1, at), _WASH))
            elif row.style == "write":
                commands += [
                    ("TOPPADDING", (0, at), (-1, at), 8),
                    ("BOTTOMPADDING", (0, at), (-1, at), 8),
                    ("LINEBELOW", (0, at), (-1, at), 0.6, _RULE),
                ]
                blanks = [n for n, cell in enumerate(row.cells) if isinstance(cell, Blank)]
                commands += [("LINEBEFORE", (n, at), (n, at), 0.4, _HAIR) for n in blanks]
        return Grid(
            rows,
            colWidths=[unit * width for width in block.widths],
            style=commands,
            repeatRows=1 if block.header else 0,
            splitInRow=1,
        )

    def _cells(self, row: Row, block: Table, at: int, commands: list[Any]) -> list[Any]:
        """The cells of a row, spans filled up with empty ones and told to the table."""
        spans = row.spans or (1,) * len(row.cells)
        made: list[Any] = []
        for cell, span in zip(row.cells, spans, strict=True):
            first = len(made)
            last = first + span - 1
            align = block.align[last if first else 0]
            made.append(self.cell(cell, "l" if span > 1 and align == "c" else align))
            made += [""] * (span - 1)
            if span > 1:
                commands.append(("SPAN", (first, at), (last, at)))
                if last == len(block.widths) - 1:
                    commands.append(("RIGHTPADDING", (first, at), (first, at), 0))
        return made


def render(
    blocks: list[Block], *, title: str, author: str, language: str, foot: tuple[str, str], paper: Paper
) -> bytes:
    """The blocks as a PDF of ``paper`` size, pages numbered, ``foot`` on every page.

    The same input gives the same bytes: no date is written into the file. Set twice, because the number of
    pages stands on each of them.
    """
    about: dict[str, Any] = {"title": plain.visible(title), "author": plain.visible(author), "lang": language}
    _, pages = _set(blocks, about=about, foot=foot, paper=paper, pages=0)
    made, _ = _set(blocks, about=about, foot=foot, paper=paper, pages=pages)
    return made


def _set(
    blocks: list[Block], *, about: dict[str, Any], foot: tuple[str, str], paper: Paper, pages: int
) -> tuple[bytes, int]:
    """The PDF, and how many pages it came to."""
    letters = _Letters()
    width, height = _PAPERS[paper]
    setter = _Setter(width - 2 * _SIDE, letters)
    flowables = setter.all(blocks)
    lines = (letters.of(foot[0]), letters.of(foot[1]))
    if letters.lost:
        flowables.append(setter.para(LACKING, _STYLES["note"]))

    def draw_foot(canvas: Canvas, document: BaseDocTemplate) -> None:
        _foot(canvas, lines, page=f"Page {document.page} of {pages}", width=width)

    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=(width, height), creator="Voicecheck", invariant=1, initialFontName="Vera", **about
    )
    frame = Frame(
        _SIDE, _BOTTOM, width - 2 * _SIDE, height - _TOP - _BOTTOM,
        leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
    )  # fmt: skip
    document.addPageTemplates([PageTemplate(frames=[frame], onPage=draw_foot)])
    document.build(flowables)
    return out.getvalue(), document.page


def _foot(canvas: Canvas, lines: tuple[str, str], *, page: str, width: float) -> None:
    canvas.saveState()
    canvas.setStrokeColor(_RULE)
    canvas.setLineWidth(0.5)
    canvas.line(_SIDE, _BOTTOM - 4 * mm, width - _SIDE, _BOTTOM - 4 * mm)
    canvas.setFillColor(_QUIET)
    canvas.setFont("Vera", 7)
    room = width - 2 * _SIDE - canvas.stringWidth(page, "Vera", 7) - 6 * mm
    canvas.drawString(_SIDE, _BOTTOM - 7.6 * mm, _fitting(canvas, lines[0], room))
    canvas.drawRightString(width - _SIDE, _BOTTOM - 7.6 * mm, page)
    canvas.setFont("Vera", 6.2)
    canvas.drawString(_SIDE, _BOTTOM - 11 * mm, lines[1])
    canvas.restoreState()


def _fitting(canvas: Canvas, text: str, width: float) -> str:
    """``text``, cut with an ellipsis where it is wider than ``width`` (points, in the foot's size)."""
    if canvas.stringWidth(text, "Vera", 7) <= width:
        return text
    while text and canvas.stringWidth(f"{text}…", "Vera", 7) > width:
        text = text[:-1]
    return f"{text}…"
