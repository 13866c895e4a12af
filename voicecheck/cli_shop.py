"""The commands of the shop's server. Registered by ``cli.py``; heavy imports are inside the commands."""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from voicecheck.shop.settings import Settings
    from voicecheck.shop.work.durable import DurableWork

_PATH = click.Path(path_type=Path)


@click.command()
@click.option("--data", type=_PATH, metavar="DIR", help="Where the shop's data is (VOICECHECK_DATA).")
@click.option("--name", "executor", metavar="NAME", help="The worker's name; else the machine's.")
@click.option("--model", metavar="NAME", help="Speech weights: base, tiny.en, or a folder.")
@click.option("--gently", is_flag=True, help="Leave the processor to the pages where they want it.")
def work(*, data: Path | None, executor: str | None, model: str | None, gently: bool) -> None:
    """Draft what the technicians hand in, until SIGTERM or Ctrl-C.

    Several may run, also on other machines with the same Postgres. What one leaves undone, another takes
    over.
    """
    from voicecheck.shop.settings import load_settings
    from voicecheck.shop.work.names import worker_name

    log_to_stderr()
    if gently and hasattr(os, "nice"):
        os.nice(19)
    settings = load_settings(data=data, executor=executor, model=model)
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    with worker_name(settings.data / "workers", wanted=settings.executor) as name:
        worker = make_work(settings, executor=name)
        worker.warm_up(settings.market)
        clean = worker.run_forever(stop)
        if not clean:  # a thread goes on that would hold the process back, or end it badly
            logging.shutdown()
            sys.stdout.flush()
            os._exit(0)


def register(group: click.Group) -> None:
    """Adds the commands to ``group``."""
    group.add_command(work)


def make_work(settings: Settings, *, executor: str = "") -> DurableWork:
    """The work of this shop, its tables made where they are missing. Raises ``StoreError``."""
    from voicecheck.shop.work.make import durable_work

    return durable_work(settings, executor=executor)


def log_to_stderr() -> None:
    """What servers tell goes to stderr with the time; no words of recordings, no names."""
    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    logging.getLogger("voicecheck").setLevel(logging.INFO)
