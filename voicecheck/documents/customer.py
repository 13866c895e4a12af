"""The estimate for the customer, in plain words.

``view`` makes one frozen value from draft, shop, particulars and what the place's law wants printed; page
(``to_html``), PDF (``to_pdf``) and the shop's own web page (``jobs_html``, or the template
``customer_jobs.html.j2``) all show that value, and ``fingerprint`` names it.
"""

from __future__ import annotations

from collections.abc import Mapping

from markupsafe import Markup

from voicecheck.documents import plain
from voicecheck.documents.customer_blocks import customer_blocks
from voicecheck.documents.customer_view import CONSENT, OTHERS, CustomerJob, CustomerView
from voicecheck.documents.customer_view import customer_view as view
from voicecheck.documents.page import Paper, environment
from voicecheck.documents.page_and_pdf import page_of, pdf_of

__all__ = ["CustomerJob", "CustomerView", "jobs_html", "stylesheet", "to_html", "to_pdf", "view"]


def to_html(shown: CustomerView, *, paper: Paper | None = None) -> str:
    """The estimate as one self-contained page without script; ``paper`` is the sheet when printed."""
    return page_of(
        "customer.html.j2",
        shown,
        shown.head,
        paper=paper,
        controls={},
        consent=CONSENT,
        others=OTHERS,
    )


def jobs_html(shown: CustomerView, *, controls: Mapping[str, Markup] | None = None) -> Markup:
    """The jobs and totals alone, for a page that has its own head and foot.

    ``controls`` are put at the end of each job, by ``CustomerJob.id`` (such as a form to agree or decline).
    The markup has classes and no style or script of its own: link ``stylesheet()`` as a file.
    """
    template = environment().get_template("customer_jobs.html.j2")
    return Markup(template.render(view=shown, controls=dict(controls or {}), p=plain))


def stylesheet() -> str:
    """The style sheet that ``jobs_html`` is made for, for a page that serves it as a file."""
    return environment().get_template("paper.css").render()


def to_pdf(shown: CustomerView, *, paper: Paper | None = None) -> bytes:
    """The estimate as PDF, typefaces inside, pages numbered. The same view gives the same bytes."""
    return pdf_of(customer_blocks(shown), shown, shown.head, paper=paper)
