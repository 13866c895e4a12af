"""What a printed paper is made of, told without any engine: paragraphs, facts, tables, lists.

Lengths are millimetres; widths of table columns are relative to each other. ``pdf`` sets them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from voicecheck.documents.letterhead import Fact

ParaStyle = Literal["shop", "title", "h2", "h3", "body", "quote", "small", "note", "boxed"]


@dataclass(frozen=True)
class Run:
    """Some characters in one style."""

    text: str
    bold: bool = False
    italic: bool = False
    quiet: bool = False


Text: TypeAlias = str | tuple[Run, ...]


@dataclass(frozen=True)
class Box:
    """An empty box to tick."""


@dataclass(frozen=True)
class Blank:
    """Room to write on."""


BOX = Box()
BLANK = Blank()
Cell: TypeAlias = Text | Box | Blank


@dataclass(frozen=True)
class Para:
    text: Text
    style: ParaStyle = "body"


@dataclass(frozen=True)
class Facts:
    """Labels with what stands beside them."""

    facts: tuple[Fact, ...]
    title: str = ""


@dataclass(frozen=True)
class Columns:
    """Facts beside each other."""

    groups: tuple[Facts, ...]


@dataclass(frozen=True)
class Row:
    """``spans``: how many columns each cell takes, where that is not one. "write" rows are high enough for
    a pen, "total" rows stand under a line."""

    cells: tuple[Cell, ...]
    style: Literal["", "total", "write", "wash"] = ""
    spans: tuple[int, ...] = ()


@dataclass(frozen=True)
class Table:
    """``header`` is repeated on each sheet; () for none. ``align`` is one of l, r, c per column."""

    header: tuple[str, ...]
    rows: tuple[Row, ...]
    widths: tuple[float, ...]
    align: str


@dataclass(frozen=True)
class Bullets:
    items: tuple[Text, ...]


@dataclass(frozen=True)
class Together:
    """Blocks that stay on one sheet where they fit on one."""

    blocks: tuple[Block, ...]


Block: TypeAlias = "Para | Facts | Columns | Table | Bullets | Together"
