"""The commands ``bring`` and ``export``. ``register`` puts them into the program.

``bring`` ends with 0 where all is well, 1 where the table has faults (nothing is written then), 2 where a
file or a mapping cannot be used at all.
"""

from __future__ import annotations

import datetime
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from voicecheck.cli_common import check_outputs, read_draft, refuse

if TYPE_CHECKING:
    from voicecheck.bring import Kind, Outcome
    from voicecheck.bring.source import Tell
    from voicecheck.lexicon import Lexicon
    from voicecheck.records import Market

FAULTS_FOUND = 1

_PATH = click.Path(path_type=Path)
_market = click.option(
    "--market",
    type=click.Choice(["US", "UK"], case_sensitive=False),
    default="US",
    show_default=True,
    metavar="US|UK",
    help="Whose names of components settle a clash.",
)
_lexicon = click.option("--lexicon", type=_PATH, metavar="DIR", help="The shop's term files, laid over ours.")
_sheet = click.option("--sheet", default="", metavar="NAME", help="The sheet of a spreadsheet file.")
_to = click.option("--to", type=_PATH, required=True, metavar="DIR", help="The shop's folder.")


def register(main: click.Group) -> None:
    """Add the commands to the program."""
    main.add_command(bring)
    main.add_command(export)


@click.group(no_args_is_help=False)
def bring() -> None:
    """Bring the shop's own tables (XLSX or CSV) as its catalogue, prices and policies."""


def _bring_options(command: Callable[..., None]) -> Callable[..., None]:
    for option in reversed(
        (
            click.argument("file", type=_PATH),
            click.option(
                "--map", "mapping", type=_PATH, required=True, metavar="MAP", help="The mapping file (YAML)."
            ),
            _sheet,
            _to,
            click.option("--dry-run", is_flag=True, help="Report only; write nothing."),
            click.option("--all", "everything", is_flag=True, help="Show every fault and every change."),
            click.option("--faults", type=_PATH, metavar="OUT", help="Write every fault as a table (CSV)."),
            _market,
            _lexicon,
        )
    ):
        command = option(command)
    return command


@bring.command(name="catalogue")
@_bring_options
def bring_catalogue_command(**given: Any) -> None:
    """Bring the labour table FILE as DIR/catalogue.csv."""
    _bring("catalogue", **given)


@bring.command(name="prices")
@_bring_options
def bring_prices_command(**given: Any) -> None:
    """Bring rates, markup, fees and taxes from FILE as DIR/prices.us.yaml or prices.uk.yaml."""
    _bring("prices", **given)


@bring.command(name="policies")
@_bring_options
def bring_policies_command(**given: Any) -> None:
    """Bring what the shop has decided once for all, from FILE, as DIR/policies.yaml."""
    _bring("policies", **given)


def _bring(
    kind: Kind,
    *,
    file: Path,
    mapping: Path,
    sheet: str,
    to: Path,
    dry_run: bool,
    everything: bool,
    faults: Path | None,
    market: Market,
    lexicon: Path | None,
) -> None:
    from voicecheck.bring import bring_table, faults_csv, report_lines
    from voicecheck.documents.files import write_text

    _check_file(file)
    if to.exists() and not to.is_dir():
        refuse(f"{to} is a file, not a folder.")
    check_outputs([] if faults is None else [faults], inputs=[file, mapping])
    words = _load_lexicon(lexicon, market)
    with _progress(file.name) as tell:
        outcome = bring_table(
            kind,
            file,
            mapping,
            to=to,
            lexicon=words,
            today=datetime.date.today(),
            sheet=sheet,
            dry_run=dry_run,
            tell=tell,
        )
    for line in report_lines(outcome, everything=everything):
        click.echo(line)
    if faults is not None:
        write_text(faults, faults_csv(outcome), encoding="utf-8-sig")
        click.echo(f"Wrote {faults}", err=True)
    _end(outcome)


def _end(outcome: Outcome) -> None:
    if outcome.errors:
        sys.exit(FAULTS_FOUND)


@bring.command(name="sketch")
@click.argument("file", type=_PATH)
@click.option(
    "--for",
    "kind",
    type=click.Choice(["catalogue", "prices", "policies"]),
    default="catalogue",
    show_default=True,
    help="What FILE is to become.",
)
@_sheet
@_market
@_lexicon
def bring_sketch(*, file: Path, kind: Kind, sheet: str, market: Market, lexicon: Path | None) -> None:
    """Print a mapping file to start from, guessed from the headings of FILE."""
    from voicecheck.bring import sketch

    _check_file(file)
    click.echo(
        sketch(file, kind=kind, lexicon=_load_lexicon(lexicon, market), sheet=sheet).encode(), nl=False
    )


@bring.command(name="back")
@click.argument("name", metavar="NAME")
@_to
@click.option("--number", type=int, metavar="N", help="Which one; without it, the last.")
@click.option("--list", "only_list", is_flag=True, help="List the earlier files; change nothing.")
def bring_back(*, name: str, to: Path, number: int | None, only_list: bool) -> None:
    """Put the earlier file NAME (such as catalogue.csv) of DIR back; the present one is kept too."""
    from voicecheck.bring import earlier_files, put_back

    if Path(name).name != name:
        refuse(f"“{name}” is no plain file name.", hint="Give the folder with --to.")
    if not to.is_dir():
        refuse(f"There is no folder {to}.")
    target = to / name
    if only_list:
        for one in earlier_files(target):
            click.echo(f"{one.number}: replaced on {one.day}, {one.path}")
        return
    restored, kept = put_back(target, number=number, today=datetime.date.today())
    click.echo(f"Put {restored.path} back as {target}.")
    if kept is not None:
        click.echo(f"The one before is kept as {kept.path}.")


@click.command()
@click.argument("drafts", type=_PATH, nargs=-1, required=True, metavar="DRAFT.json...")
@click.option("--csv", "csv_out", type=_PATH, metavar="OUT", help="Write the lines as CSV.")
@click.option("--jsonl", "jsonl_out", type=_PATH, metavar="OUT", help="Write the lines as JSON Lines.")
@click.option("--totals", "totals_out", type=_PATH, metavar="OUT", help="Write the totals as CSV.")
@click.option(
    "--plain",
    is_flag=True,
    help="CSV for programs: no byte-order mark, no ' before texts that a spreadsheet could run as a formula.",
)
def export(
    *,
    drafts: tuple[Path, ...],
    csv_out: Path | None,
    jsonl_out: Path | None,
    totals_out: Path | None,
    plain: bool,
) -> None:
    """Write the lines of drafts for the system that the shop bills with.

    One row for each line, with the name of the draft's file as its id. What is not known stays empty.
    """
    from voicecheck.documents.export import export_drafts

    outputs = [out for out in (csv_out, jsonl_out, totals_out) if out is not None]
    if not outputs:
        refuse("Nothing to write was named.", hint="Give --csv, --jsonl or --totals with a file.")
    check_outputs(outputs, inputs=drafts)
    done = export_drafts(
        ((path.stem, read_draft(path)) for path in drafts),
        csv_out=csv_out,
        jsonl_out=jsonl_out,
        totals_out=totals_out,
        plain=plain,
    )
    click.echo(
        f"{done.drafts} drafts, {done.lines} lines, {done.open_lines} of them without a price. "
        f"Wrote {', '.join(str(out) for out in outputs)}",
        err=True,
    )


def _load_lexicon(folder: Path | None, market: Market) -> Lexicon:
    from voicecheck.lexicon import load_lexicon
    from voicecheck.resources import lexicon_dir

    return load_lexicon(lexicon_dir(), folder, market=market)


def _check_file(file: Path) -> None:
    if file.is_dir():
        refuse(f"{file} is a folder; a file is needed.")
    if not file.exists():
        refuse(f"There is no file {file}.")


@contextmanager
def _progress(name: str) -> Iterator[Tell]:
    """A counter of rows on stderr while a long table is read; nothing where stderr is no terminal."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return

    def tell(rows: int) -> None:
        click.echo(f"\r{name}: {rows:,} rows", err=True, nl=False)

    yield tell
    click.echo("\r\033[K", err=True, nl=False)
