"""A paper's view as its page and as its PDF, which share head, fingerprint and sheet."""

from __future__ import annotations

from voicecheck.documents import plain
from voicecheck.documents.blocks import Block
from voicecheck.documents.letterhead import Head, fingerprint
from voicecheck.documents.page import Paper, environment, paper_of
from voicecheck.documents.paper_blocks import foot_of
from voicecheck.documents.pdf import render
from voicecheck.records import Record


def page_of(template: str, view: Record, head: Head, *, paper: Paper | None, **more: object) -> str:
    """The view as a self-contained page without script; ``more`` is what the ``template`` needs besides."""
    return (
        environment()
        .get_template(template)
        .render(
            view=view,
            fingerprint=fingerprint(view),
            paper=paper or paper_of(head.language),
            p=plain,
            **more,
        )
    )


def pdf_of(blocks: list[Block], view: Record, head: Head, *, paper: Paper | None) -> bytes:
    """The view, set as ``blocks``, with its title and fingerprint at the foot of each sheet."""
    return render(
        blocks,
        title=f"{head.title} {head.number}".strip(),
        author=head.shop,
        language=head.language,
        foot=foot_of(head, fingerprint(view)),
        paper=paper or paper_of(head.language),
    )
