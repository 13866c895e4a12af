"""The parts to order: what, how many, new or used, for which job and place, and whether the price is known.

``view`` makes one frozen value; ``to_html`` and ``to_pdf`` show it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal

from voicecheck.documents import plain
from voicecheck.documents.arranged import arrange
from voicecheck.documents.blocks import BLANK, BOX, Block, Para, Row, Run, Table
from voicecheck.documents.letterhead import Head, cautions_for, head
from voicecheck.documents.page import Paper
from voicecheck.documents.page_and_pdf import page_of, pdf_of
from voicecheck.documents.paper_blocks import caution_blocks, head_blocks
from voicecheck.records import Draft, Job, Line, Record
from voicecheck.records.papers import Caution, Particulars, ShopIdentity

PRICE_OPEN = "to be found"


class Use(Record):
    """Where some of it goes."""

    job: int
    title: str
    where: str
    quantity: str


class PartRow(Record):
    """One thing to order. ``price`` is that of one on the estimate, or "to be found"."""

    name: str
    fluid: bool
    condition: str
    quantity: str
    price: str
    price_open: bool
    uses: tuple[Use, ...]


class PartsView(Record):
    form: str = "voicecheck-parts/1"
    head: Head
    agreed_known: bool
    rows: tuple[PartRow, ...]
    open_prices: int
    left: tuple[str, ...]  # jobs whose parts are not to be ordered, with the reason
    cautions: tuple[str, ...]


def view(
    draft: Draft,
    *,
    shop: ShopIdentity,
    particulars: Particulars,
    cautions: Sequence[Caution] = (),
    agreed: Collection[str] | None = None,
) -> PartsView:
    """The parts of the jobs to be done, equal ones in one row; ``agreed`` as in ``work.view``."""
    wanted: dict[tuple[str, ...], list[tuple[Line, int, Job]]] = {}
    left = []
    for part in arrange(draft).parts:
        for shown in part.jobs:
            job = shown.job
            if job.put_off or (agreed is not None and job.id not in agreed):
                why = "put off" if job.put_off else "not agreed"
                left.append(plain.visible(f"{shown.number}. {job.title} ({why})"))
                continue
            for line in job.lines:
                if line.kind in ("part", "fluid"):
                    wanted.setdefault(_key(line), []).append((line, shown.number, job))
    rows = tuple(_row(draft, lines) for lines in wanted.values())
    return PartsView(
        head=head("Parts to order", draft=draft, shop=shop, particulars=particulars, customer=False),
        agreed_known=agreed is not None,
        rows=rows,
        open_prices=sum(row.price_open for row in rows),
        left=tuple(left),
        cautions=cautions_for("parts", cautions, draft.market),
    )


def _key(line: Line) -> tuple[str, ...]:
    """What makes two lines the same thing to order."""
    price = "" if line.unit_price is None else f"{line.unit_price.normalize():f}"
    return (line.kind, line.name, line.unit, line.part_condition, price)


def _row(draft: Draft, lines: Sequence[tuple[Line, int, Job]]) -> PartRow:
    first = lines[0][0]
    total = sum((line.quantity for line, _, _ in lines), Decimal(0))
    price = PRICE_OPEN
    if first.unit_price is not None:
        price = plain.money_range(
            first.unit_price, first.unit_price_high, draft.estimate.currency, draft.market
        )
    condition = first.part_condition or ("not said" if first.kind == "part" else "")
    return PartRow(
        name=plain.visible(plain.capital(first.name)),
        fluid=first.kind == "fluid",
        condition=condition,
        quantity=plain.visible(plain.quantity_text(first.model_copy(update={"quantity": total}))),
        price=price,
        price_open=first.unit_price is None,
        uses=tuple(
            Use(
                job=number,
                title=plain.visible(job.title),
                where=plain.visible(plain.joined(line.positions) or ", ".join(line.place)),
                quantity=plain.visible(plain.quantity_text(line)),
            )
            for line, number, job in lines
        ),
    )


def use_text(use: Use, *, alone: bool) -> str:
    """Where it goes: "job 2, Front brakes, front left"; with the quantity where several share a row."""
    text = f"job {use.job}, {use.title}"
    if use.where and use.where.casefold() not in use.title.casefold():
        text += f", {use.where}"
    return text if alone else f"{use.quantity} for {text}"


def to_html(shown: PartsView, *, paper: Paper | None = None) -> str:
    """The list as one self-contained page without script."""
    return page_of(
        "parts_list.html.j2",
        shown,
        shown.head,
        paper=paper,
        use_text=use_text,
        consent_unknown=CONSENT_UNKNOWN,
    )


def to_pdf(shown: PartsView, *, paper: Paper | None = None) -> bytes:
    """The list as PDF."""
    return pdf_of(_blocks(shown), shown, shown.head, paper=paper)


CONSENT_UNKNOWN = "What the customer agreed to is not on this list. Ask the advisor before you order."


def _blocks(shown: PartsView) -> list[Block]:
    blocks = head_blocks(shown.head)
    if not shown.agreed_known:
        blocks.append(Para(CONSENT_UNKNOWN, "boxed"))
    if not shown.rows:
        blocks.append(Para("There is no part to order.", "body"))
    else:
        if shown.open_prices:
            text = f"{plain.counted(shown.open_prices, 'price')} to be found."
            blocks.append(Para((Run(text, bold=True),), "body"))
        blocks.append(
            Table(
                header=("", "Part", "Kind", "Quantity", "For", "Price on the estimate", "Ordered, from"),
                rows=tuple(
                    Row(
                        (
                            BOX,
                            (Run(row.name, bold=True),),
                            "fluid" if row.fluid else row.condition,
                            row.quantity,
                            "\n".join(use_text(use, alone=len(row.uses) == 1) for use in row.uses),
                            row.price,
                            BLANK,
                        ),
                        "write",
                    )
                    for row in shown.rows
                ),
                widths=(0.6, 3.4, 1.6, 1.5, 4, 1.9, 2),
                align="cllrlrl",
            )
        )
    if shown.left:
        blocks.append(Para("Nothing is ordered for", "h2"))
        blocks += [Para(text, "body") for text in shown.left]
    return [*blocks, *caution_blocks(shown.cautions)]
