"""Brings a database to the tables of this version. The only module that runs Alembic."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError

from voicecheck.records import StoreError
from voicecheck.store.database import Database

SCRIPTS = Path(__file__).resolve().parent / "migrations"


def migrate(database: Database) -> None:
    """Makes or changes the tables where needed, all in one transaction; does nothing where they are right.

    Several processes may call it at once: the second waits for the first. Raises ``StoreError`` for a
    database of a newer version.
    """
    with database.connection() as connection:
        config = Config()
        config.set_main_option("script_location", str(SCRIPTS).replace("%", "%%"))
        config.attributes["connection"] = connection
        known = ScriptDirectory.from_config(config)
        there = MigrationContext.configure(connection).get_current_revision()
        if there == known.get_current_head():
            return
        try:
            if there is not None:
                known.get_revision(there)
            command.upgrade(config, "head")
        except CommandError as error:
            raise StoreError(
                f"The database {database.shown} was made by a newer voicecheck.",
                hint="Install that version again, or bring back a backup.",
            ) from error


def revisions() -> tuple[str, ...]:
    """The shapes that the tables have had, the newest first."""
    config = Config()
    config.set_main_option("script_location", str(SCRIPTS).replace("%", "%%"))
    return tuple(script.revision for script in ScriptDirectory.from_config(config).walk_revisions())
