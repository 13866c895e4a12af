#!/usr/bin/env python3
"""Kill workers at random moments, many times, and see that no walk-around is lost or drafted twice.

    python benchmarks/kills.py                                    200 kills of two workers, SQLite
    python benchmarks/kills.py --kills 50 --workers 3 --seed 7
    python benchmarks/kills.py --postgres URL                     on a server where a database may be made

The recogniser is a double that hears a fixed text; everything else is the product: upload parts, queue,
steps, heartbeat, taking over. Exit code 0: every walk-around has exactly one whole draft. Not part of the
package.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from kill_kit import close_nursery, kill_at_random
from store_kit import POSTGRES, drop_templates, ready_database

from voicecheck.store.media import MediaStore


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--postgres", metavar="URL", help="a server; else SQLite in a temporary folder")
    given = parser.parse_args()
    if given.postgres:
        os.environ[POSTGRES] = given.postgres
    kind = "postgres" if given.postgres else "sqlite"
    with tempfile.TemporaryDirectory() as name, ready_database(kind, Path(name)) as database:
        media = MediaStore(f"file://{name}/media")
        told = kill_at_random(
            database, media, Path(name), kills=given.kills, workers=given.workers, seed=given.seed, tell=print
        )
    close_nursery()
    drop_templates()
    print(
        f"{told.kills} kills on {kind} in {told.seconds:.0f} s, of {given.workers} workers; "
        f"{told.restarts_under_other_names} times nobody of that name came back.\n"
        f"{told.walkarounds} walk-arounds, {told.takes} recordings: every one has exactly one whole draft.\n"
        f"Recordings heard to the end {told.hearings} times, {told.hearings - told.takes} of them again.\n"
        "What was being done at the kill: "
        + ", ".join(f"{stage} {number}" for stage, number in told.at.most_common())
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
