"""The estimate for the customer, in plain words.

``view`` makes one frozen value from draft, shop, particulars and what the place's law wants printed; page
(``to_html``), PDF (``to_pdf``) and the shop's own web page all show that value, and ``fingerprint`` names it.
"""

from __future__ import annotations

from voicecheck.documents.customer_blocks import customer_blocks
from voicecheck.documents.customer_view import CONSENT, OTHERS, CustomerJob, CustomerView
from voicecheck.documents.customer_view import customer_view as view
from voicecheck.documents.page import Paper
from voicecheck.documents.page_and_pdf import page_of, pdf_of

__all__ = ["CustomerJob", "CustomerView", "to_html", "to_pdf", "view"]


def to_html(shown: CustomerView, *, paper: Paper | None = None) -> str:
    """The estimate as one self-contained page without script; ``paper`` is the sheet when printed."""
    return page_of(
        "customer.html.j2",
        shown,
        shown.head,
        paper=paper,
        consent=CONSENT,
        others=OTHERS,
    )


def to_pdf(shown: CustomerView, *, paper: Paper | None = None) -> bytes:
    """The estimate as PDF, typefaces inside, pages numbered. The same view gives the same bytes."""
    return pdf_of(customer_blocks(shown), shown, shown.head, paper=paper)
