"""``voicecheck serve``: the shop's pages on this machine."""

from __future__ import annotations

import gc
from pathlib import Path

import click

_PATH = click.Path(path_type=Path)


@click.command()
@click.option("--data", type=_PATH, metavar="DIR", help="Folder of the database, recordings and shop files.")
@click.option("--host", help="Address to answer on; 0.0.0.0 lets the phones of the network in.")
@click.option("--port", type=click.IntRange(0, 65535), help="Port; 0 takes a free one.")
@click.option("--https", is_flag=True, help="Answer with a self-made certificate, so that phones may record.")
@click.option("--certificate", type=_PATH, metavar="FILE", help="A certificate (PEM) of your own …")
@click.option("--key", type=_PATH, metavar="FILE", help="… and its key.")
@click.option("--no-worker", is_flag=True, help="Only pages; “voicecheck work” listens and drafts elsewhere.")
def serve(
    data: Path | None,
    host: str | None,
    port: int | None,
    https: bool,
    certificate: Path | None,
    key: Path | None,
    no_worker: bool,
) -> None:
    """Open the shop: pages for technicians, advisors, customers and the owner."""
    from voicecheck.records import InputError
    from voicecheck.shop import serve as server
    from voicecheck.shop.opening import first_link, open_shop
    from voicecheck.shop.settings import load_settings
    from voicecheck.shop.tls import own_certificate, own_names

    if (certificate is None) != (key is None):
        raise InputError("A certificate needs its key, and a key its certificate.", hint="Give both.")
    settings = load_settings(data=data, host=host, port=port)
    chosen = (certificate, key) if certificate and key else None
    if chosen:
        for file in chosen:
            if not file.is_file():
                raise InputError(f"There is no file {file}.")
    elif https:
        chosen = own_certificate(settings.data / "tls", names=own_names())
    services = open_shop(settings)
    link = first_link(services)

    services.workshop(settings.market)  # the vocabulary: seconds now, and not at the first page
    # It stays: the garbage collector need not walk over its millions of objects while a page waits.
    gc.collect()
    gc.freeze()

    def started(address: str) -> None:
        shown = address.replace("0.0.0.0", own_names()[-1]) if settings.host == "0.0.0.0" else address
        click.echo(f"Voicecheck answers at {shown}  (data in {settings.data}; Ctrl-C ends it)")
        if link:
            click.echo(f"Nobody works here yet. The owner begins at {shown}{link}")
            click.echo("That link works once, for 24 hours.")
        if not chosen and settings.host not in ("127.0.0.1", "localhost"):
            click.echo("Phones record in the page only with --https; without it they send files.")

    worker = None if no_worker else server.worker_command("--gently", "--data", str(settings.data))
    try:
        server.serve(
            services,
            host=settings.host,
            port=settings.port,
            worker=worker,
            certificate=chosen,
            started=started,
        )
    finally:
        services.database.close()
