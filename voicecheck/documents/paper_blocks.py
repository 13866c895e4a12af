"""The head and the foot of a printed paper, from its ``Head``."""

from __future__ import annotations

from voicecheck.documents.blocks import Block, Bullets, Columns, Facts, Para, Run
from voicecheck.documents.letterhead import Head


def head_blocks(head: Head) -> list[Block]:
    """Shop, title and the facts of customer, vehicle and document."""
    blocks: list[Block] = [Para(head.shop, "shop")]
    lines = [*head.shop_lines, *(f"{fact.label} {fact.value}" for fact in head.registrations)]
    if lines:
        blocks.append(Para(" · ".join(lines), "small"))
    blocks.append(Para((Run(head.title),), "title"))
    if head.groups:
        blocks.append(Columns(tuple(Facts(group.facts, group.title) for group in head.groups)))
    return blocks


def caution_blocks(cautions: tuple[str, ...]) -> list[Block]:
    """The cautions of a paper under their title."""
    return [Para("Please mind", "h2"), Bullets(cautions)] if cautions else []


def foot_of(head: Head, fingerprint: str) -> tuple[str, str]:
    """The two lines at the foot of each sheet: which document of whose, and its fingerprint."""
    return (f"{head.shop} · {head.title} {head.number}".strip(), f"sha256 {fingerprint}")
