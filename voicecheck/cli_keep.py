"""The commands ``backup`` and ``restore``. Registered by ``cli.py``; heavy imports are inside them."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import click

_PATH = click.Path(path_type=Path)


@click.command()
@click.argument("target", type=_PATH, metavar="DIR|FILE")
@click.option("--data", type=_PATH, metavar="DIR", help="Where the shop's data is (VOICECHECK_DATA).")
def backup(*, target: Path, data: Path | None) -> None:
    """Copy everything of the shop into one file: rows, recordings, photos, the shop's own files.

    The shop may go on working meanwhile. The copy is read once more before it counts. It holds customers'
    data and the hashes of passwords: keep it where only you can read it.
    """
    from voicecheck.records import InputError
    from voicecheck.shop.backup import backup as copy
    from voicecheck.shop.backup import sums
    from voicecheck.shop.opening import open_shop
    from voicecheck.shop.settings import load_settings

    settings = load_settings(data=data)
    if not settings.database_url and not (settings.data / "voicecheck.db").exists():
        raise InputError(f"There is no shop in {settings.data}.", hint="Name its folder with --data.")
    services = open_shop(settings)
    try:
        path, report = copy(services, target)
    finally:
        services.database.close()
    click.echo(f"Wrote {path} ({report.size / 1e6:,.1f} MB): {sums(report)}.")
    told = report.manifest
    click.echo(f"Head of the history: {told.history_rows} {told.history_head}")


@click.command()
@click.argument("file", type=_PATH)
@click.option("--data", type=_PATH, metavar="DIR", help="A new folder for the shop.")
@click.option("--check", "only_check", is_flag=True, help="Only read the copy and compare every sum.")
def restore(*, file: Path, data: Path | None, only_check: bool) -> None:
    """Make a new shop from the copy FILE in a new folder.

    With VOICECHECK_DATABASE_URL (or a settings.toml in the folder) the rows go into an empty Postgres.
    Nothing is ever put over a shop that is there.
    """
    from voicecheck.records import InputError
    from voicecheck.shop.backup import restore as bring_back
    from voicecheck.shop.backup import sums, verify
    from voicecheck.shop.settings import load_settings

    tell = _told()
    if only_check:
        report = verify(file, tell=tell)
        click.echo(f"{file} is whole, made {report.manifest.made:%Y-%m-%d %H:%M} UTC: {sums(report)}.")
        return
    if data is None:
        raise InputError("A new folder for the shop is needed.", hint="Name it with --data.")
    settings = load_settings(data=data)
    report = bring_back(file, settings, tell=tell)
    click.echo(f"Made a shop in {settings.data}: {sums(report)}.")
    click.echo(f"“voicecheck serve --data {settings.data}” opens it. Everybody signs in again.")


def _told() -> Callable[[int, int], None] | None:
    """How far the reading is, on stderr; nothing where stderr is no terminal."""
    if not sys.stderr.isatty():
        return None

    def tell(done: int, whole: int) -> None:
        end = "\n" if done >= whole else ""
        click.echo(f"\rreading the copy: {done / 1e6:,.0f} of {whole / 1e6:,.0f} MB{end}", err=True, nl=False)

    return tell


def register(group: click.Group) -> None:
    """Adds the commands to ``group``."""
    group.add_command(backup)
    group.add_command(restore)
