"""The command ``papers``: a draft's documents, and what the law of a place wants on them.

Ends with 0, with 1 where ``--issue`` is refused because something is missing (nothing is written then), with
2 as ``voicecheck.cli`` says.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from voicecheck.cli_common import check_outputs, read_draft, refuse, to_stdout

if TYPE_CHECKING:
    from voicecheck.documents import Paper
    from voicecheck.records import Draft
    from voicecheck.records.papers import (
        DocumentKind,
        Lack,
        LawProfile,
        Laws,
        Particulars,
        PlainWords,
        ShopIdentity,
    )

NOT_ISSUED = 1

_PATH = click.Path(path_type=Path)


def register(group: click.Group) -> None:
    """Adds the command to ``group``."""
    group.add_command(papers)


@click.command()
@click.argument("draft_file", metavar="DRAFT.json", type=_PATH)
@click.option(
    "--kind",
    type=click.Choice(["estimate", "draft", "work", "parts"]),
    default="estimate",
    show_default=True,
    help="For the customer, the advisor, the technician, or whoever orders parts.",
)
@click.option("--place", metavar="NAME", help="Whose law (a profile of papers.yaml); else the shop's own.")
@click.option("--shop", "shop_file", type=_PATH, metavar="FILE", help="The shop's identity (YAML).")
@click.option(
    "--particulars", "particulars_file", type=_PATH, metavar="FILE",
    help="Customer, vehicle, document (YAML).",
)  # fmt: skip
@click.option(
    "--agreed", multiple=True, metavar="JOB", help="For work and parts: a job agreed to, by its id."
)
@click.option("--html", "html_out", type=_PATH, metavar="OUT", help="Write the document as a page.")
@click.option("--pdf", "pdf_out", type=_PATH, metavar="OUT", help="Write the document as PDF.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="The sheet; else that of the market.")
@click.option("--issue", is_flag=True, help="Only if nothing is missing or open.")
@click.option(
    "--laws", "laws_file", type=_PATH, metavar="FILE", help="Law profiles of the shop's own (YAML)."
)
@click.option("--lexicon", type=_PATH, metavar="DIR", help="The shop's term files, laid over ours.")
def papers(
    *,
    draft_file: Path,
    kind: DocumentKind,
    place: str | None,
    shop_file: Path | None,
    particulars_file: Path | None,
    agreed: tuple[str, ...],
    html_out: Path | None,
    pdf_out: Path | None,
    paper: Paper | None,
    issue: bool,
    laws_file: Path | None,
    lexicon: Path | None,
) -> None:
    """Make a document from DRAFT.json, and name what the law of a place wants on it.

    DRAFT.json is what “voicecheck draft --json” prints.
    """
    from voicecheck.catalogue.identity import load_identity, load_laws, load_particulars
    from voicecheck.documents.files import write_bytes
    from voicecheck.papers import missing
    from voicecheck.records.papers import Particulars
    from voicecheck.resources import shared_dir

    if agreed and kind not in ("work", "parts"):
        refuse("--agreed goes with --kind work and --kind parts only.")
    if issue and kind != "estimate":
        refuse("--issue goes with --kind estimate only: the other papers stay in the shop.")
    outputs = [out for out in (html_out, pdf_out) if out is not None]
    check_outputs(outputs, inputs=[draft_file, shop_file, particulars_file, laws_file])
    draft = read_draft(draft_file)
    shared = shared_dir()
    shop = load_identity(shop_file or shared / f"shop.{draft.market.lower()}.yaml")
    particulars = load_particulars(particulars_file) if particulars_file else Particulars()
    laws = load_laws(laws_file or shared / "papers.yaml")
    profile = _profile(laws, place or shop.place, draft)
    _check_agreed(agreed, draft)
    words = _words(draft, lexicon) if kind in ("estimate", "work") else None

    known = _filled(draft, particulars)
    lacks: tuple[Lack, ...] = ()
    if kind == "estimate":
        lacks = missing(shop=shop, particulars=known, estimate=draft.estimate, profile=profile)
        blockers = _blockers(draft) if issue else ()
        _tell(lacks, blockers, profile=profile, laws=laws)
        if issue and (lacks or blockers):
            click.echo("Not issued; nothing was written.", err=True)
            sys.exit(NOT_ISSUED)
    made = _documents(
        kind,
        draft,
        shop=shop,
        particulars=particulars,
        laws=laws,
        profile=profile,
        lacking=len(lacks),
        agreed=agreed or None,
        wanted=(html_out is not None, pdf_out is not None),
        paper=paper,
        words=words,
    )
    for out, data in zip((html_out, pdf_out), made, strict=True):
        if out is not None:
            write_bytes(out, data)
            click.echo(f"Wrote {out}", err=True)


def _profile(laws: Laws, place: str, draft: Draft) -> LawProfile:
    profile = laws.of(place)
    if profile is None:
        known = ", ".join(p.id for p in laws.profiles)
        refuse(f"There is no law profile “{place}”.", hint=f"Known: {known}.")
    if profile.market is not None and profile.market != draft.market:
        refuse(
            f"The law profile “{place}” is for {profile.market}, and the draft was made for {draft.market}.",
            hint="Name another --place.",
        )
    return profile


def _check_agreed(agreed: tuple[str, ...], draft: Draft) -> None:
    ids = [job.id for job in draft.estimate.jobs]
    for job in agreed:
        if job not in ids:
            refuse(f"There is no job “{job}” in this draft.", hint=f"Jobs: {', '.join(ids) or 'none'}.")


def _filled(draft: Draft, particulars: Particulars) -> Particulars:
    from voicecheck.documents.letterhead import filled_from

    return filled_from(draft, particulars)


def _blockers(draft: Draft) -> tuple[str, ...]:
    from voicecheck.estimate.issue import issue_blockers

    return issue_blockers(draft.estimate, findings=draft.findings, unplaced=draft.unplaced, asks=draft.asks)


def _tell(lacks: tuple[Lack, ...], blockers: tuple[str, ...], *, profile: LawProfile, laws: Laws) -> None:
    """What is missing and open, on stdout."""
    lines = [f"Law profile: {profile.name}.{f' {profile.scope}' if profile.scope else ''}"]
    lines += [f"  {lack.sentence}" for lack in lacks] or ["  Nothing is missing that is known here."]
    lines += [f"  Mind: {note}" for note in profile.notes]
    if blockers:
        lines += ["Still open in the draft:", *(f"  {blocker}" for blocker in blockers)]
    with to_stdout():
        click.echo("\n".join([*lines, laws.confirm]))


def _documents(
    kind: DocumentKind,
    draft: Draft,
    *,
    shop: ShopIdentity,
    particulars: Particulars,
    laws: Laws,
    profile: LawProfile,
    lacking: int,
    agreed: tuple[str, ...] | None,
    wanted: tuple[bool, bool],
    paper: Paper | None,
    words: PlainWords | None,
) -> tuple[bytes, bytes]:
    """The document as page and as PDF; b"" for what is not ``wanted``. The parts list needs no ``words``."""
    from voicecheck.documents import customer, parts_list, to_html, work
    from voicecheck.documents.draft_pdf import draft_to_pdf
    from voicecheck.documents.letterhead import fingerprint
    from voicecheck.papers import statements_to_print

    page, pdf = wanted
    if kind == "draft":
        return (
            to_html(draft, paper=paper).encode("utf-8") if page else b"",
            draft_to_pdf(draft, paper=paper) if pdf else b"",
        )
    if kind == "parts":
        parts = parts_list.view(
            draft, shop=shop, particulars=particulars, cautions=laws.cautions, agreed=agreed
        )
        click.echo(f"Parts list, sha256 {fingerprint(parts)}", err=True)
        return (
            parts_list.to_html(parts, paper=paper).encode("utf-8") if page else b"",
            parts_list.to_pdf(parts, paper=paper) if pdf else b"",
        )
    assert words is not None
    if kind == "work":
        listed = work.view(
            draft, shop=shop, particulars=particulars, words=words, cautions=laws.cautions, agreed=agreed
        )
        click.echo(f"Work list, sha256 {fingerprint(listed)}", err=True)
        return (
            work.to_html(listed, paper=paper).encode("utf-8") if page else b"",
            work.to_pdf(listed, paper=paper) if pdf else b"",
        )
    shown = customer.view(
        draft,
        shop=shop,
        particulars=particulars,
        words=words,
        statements=statements_to_print(shop=shop, estimate=draft.estimate, profile=profile),
        cautions=laws.cautions,
        lacking=lacking,
    )
    click.echo(f"Estimate, sha256 {fingerprint(shown)}", err=True)
    return (
        customer.to_html(shown, paper=paper).encode("utf-8") if page else b"",
        customer.to_pdf(shown, paper=paper) if pdf else b"",
    )


def _words(draft: Draft, lexicon: Path | None) -> PlainWords:
    from voicecheck.catalogue.plain_words import load_plain_words
    from voicecheck.lexicon import load_lexicon
    from voicecheck.resources import lexicon_dir, shared_dir

    terms = load_lexicon(lexicon_dir(), lexicon, market=draft.market)
    return load_plain_words(
        shared_dir() / "plain_words.yaml", components=terms.components, market=draft.market
    )
