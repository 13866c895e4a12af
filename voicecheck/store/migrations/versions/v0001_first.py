"""The tables of the shop, and the triggers that keep what people said from being changed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from voicecheck.store.tables import UtcTime

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

JSON = sa.JSON(none_as_null=True)
APPEND_ONLY = ("history", "decisions", "issued", "consents")


def upgrade() -> None:
    _make_tables()
    for table in APPEND_ONLY:
        if op.get_bind().dialect.name == "sqlite":
            _forbid_on_sqlite(table)
        else:
            _forbid_on_postgres(table)


def _forbid_on_sqlite(table: str) -> None:
    for change in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )
    # INSERT OR REPLACE deletes without a delete trigger, unless recursive triggers are on.
    key = " AND ".join(f"{column} = NEW.{column}" for column in _key_of(table))
    op.execute(
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
        f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {key}) "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
    )


def _key_of(table: str) -> tuple[str, ...]:
    return {"history": ("number",), "decisions": ("walkaround", "seq")}.get(table, ("id",))


def _forbid_on_postgres(table: str) -> None:
    op.execute(
        f"CREATE FUNCTION {table}_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{table} is append-only'; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_append_only()"
    )


def _make_tables() -> None:
    op.create_table(
        "history",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("person", sa.String(length=32), nullable=True),
        sa.Column("walkaround", sa.String(length=32), nullable=True),
        sa.Column("what", sa.String(length=48), nullable=False),
        sa.Column("details", JSON, nullable=False),
        sa.Column("before", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("number"),
    )
    op.create_index("ix_history_person", "history", ["person"], unique=False)
    op.create_index("ix_history_walkaround", "history", ["walkaround"], unique=False)
    op.create_table(
        "people",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("login", sa.String(length=120), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("password_hash", sa.String(length=200), nullable=False),
        sa.Column("created", UtcTime(), nullable=False),
        sa.Column("left_at", UtcTime(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("login"),
    )
    op.create_table(
        "vehicles",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("plate", sa.String(length=16), nullable=False),
        sa.Column("vin", sa.String(length=17), nullable=False),
        sa.Column("title", sa.String(length=120), nullable=False),
        sa.Column("customer", JSON, nullable=False),
        sa.Column("created", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_vehicles_plate", "vehicles", ["plate"], unique=False)
    op.create_index("ix_vehicles_vin", "vehicles", ["vin"], unique=False)
    op.create_table(
        "workers",
        sa.Column("executor", sa.String(length=64), nullable=False),
        sa.Column("host", sa.String(length=120), nullable=False),
        sa.Column("started", UtcTime(), nullable=False),
        sa.Column("seen", UtcTime(), nullable=False),
        sa.Column("stopped", UtcTime(), nullable=True),
        sa.Column("taken_by", sa.String(length=64), nullable=True),
        sa.PrimaryKeyConstraint("executor"),
    )
    op.create_table(
        "invitations",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("person", sa.String(length=32), nullable=True),
        sa.Column("created", UtcTime(), nullable=False),
        sa.Column("expires", UtcTime(), nullable=False),
        sa.Column("used", UtcTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["person"],
            ["people.id"],
        ),
        sa.PrimaryKeyConstraint("token_hash"),
    )
    op.create_table(
        "lexicon_versions",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("person", sa.String(length=32), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("files", JSON, nullable=False),
        sa.ForeignKeyConstraint(
            ["person"],
            ["people.id"],
        ),
        sa.PrimaryKeyConstraint("number"),
    )
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("person", sa.String(length=32), nullable=False),
        sa.Column("csrf", sa.String(length=64), nullable=False),
        sa.Column("created", UtcTime(), nullable=False),
        sa.Column("seen", UtcTime(), nullable=False),
        sa.Column("expires", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person"],
            ["people.id"],
        ),
        sa.PrimaryKeyConstraint("token_hash"),
    )
    op.create_index("ix_sessions_person", "sessions", ["person"], unique=False)
    op.create_table(
        "settings",
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("value", JSON, nullable=False),
        sa.Column("changed", UtcTime(), nullable=False),
        sa.Column("person", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(
            ["person"],
            ["people.id"],
        ),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_table(
        "suggestions",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=24), nullable=False),
        sa.Column("what", JSON, nullable=False),
        sa.Column("sentences", JSON, nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("created", UtcTime(), nullable=False),
        sa.Column("decided", UtcTime(), nullable=True),
        sa.Column("person", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(
            ["person"],
            ["people.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key"),
    )
    op.create_table(
        "walkarounds",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("vehicle", sa.String(length=32), nullable=True),
        sa.Column("title", sa.String(length=160), nullable=False),
        sa.Column("technician", sa.String(length=32), nullable=True),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("market", sa.String(length=2), nullable=False),
        sa.Column("created", UtcTime(), nullable=False),
        sa.Column("received", UtcTime(), nullable=True),
        sa.Column("drafted", UtcTime(), nullable=True),
        sa.Column("stage", sa.String(length=24), nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.Column("trouble", sa.Text(), nullable=False),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("open_asks", sa.Integer(), nullable=False),
        sa.Column("particulars", JSON, nullable=False),
        sa.ForeignKeyConstraint(
            ["technician"],
            ["people.id"],
        ),
        sa.ForeignKeyConstraint(
            ["vehicle"],
            ["vehicles.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_walkarounds_created", "walkarounds", ["created"], unique=False)
    op.create_index("ix_walkarounds_vehicle", "walkarounds", ["vehicle"], unique=False)
    op.create_index("walkarounds_by_state", "walkarounds", ["state", "created"], unique=False)
    op.create_index("walkarounds_by_technician", "walkarounds", ["technician", "created"], unique=False)
    op.create_table(
        "drafts",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("walkaround", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("made", UtcTime(), nullable=False),
        sa.Column("lexicon_version", sa.Integer(), nullable=False),
        sa.Column("document", JSON, nullable=False),
        sa.ForeignKeyConstraint(
            ["walkaround"],
            ["walkarounds.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key"),
        sa.UniqueConstraint("walkaround", "number"),
    )
    op.create_table(
        "issued",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("walkaround", sa.String(length=32), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("person", sa.String(length=32), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("document", JSON, nullable=False),
        sa.Column("draft", JSON, nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.ForeignKeyConstraint(
            ["person"],
            ["people.id"],
        ),
        sa.ForeignKeyConstraint(
            ["walkaround"],
            ["walkarounds.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("walkaround", "version"),
    )
    op.create_table(
        "takes",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("walkaround", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("client_key", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("created", UtcTime(), nullable=False),
        sa.Column("parts_expected", sa.Integer(), nullable=True),
        sa.Column("seconds_claimed", sa.Double(), nullable=True),
        sa.Column("complete", UtcTime(), nullable=True),
        sa.Column("media", sa.String(length=64), nullable=True),
        sa.Column("size", sa.Integer(), nullable=True),
        sa.Column("seconds", sa.Double(), nullable=True),
        sa.Column("transcript", JSON, nullable=True),
        sa.Column("deleted", UtcTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["walkaround"],
            ["walkarounds.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("client_key"),
        sa.UniqueConstraint("walkaround", "number"),
    )
    op.create_index("ix_takes_media", "takes", ["media"], unique=False)
    op.create_table(
        "consents",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("issued", sa.String(length=32), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("means", sa.String(length=16), nullable=False),
        sa.Column("contact", sa.String(length=160), nullable=False),
        sa.Column("person", sa.String(length=32), nullable=True),
        sa.Column("agreed", JSON, nullable=False),
        sa.Column("declined", JSON, nullable=False),
        sa.Column("amount", sa.Integer(), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["issued"],
            ["issued.id"],
        ),
        sa.ForeignKeyConstraint(
            ["person"],
            ["people.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_consents_issued", "consents", ["issued"], unique=False)
    op.create_table(
        "decisions",
        sa.Column("walkaround", sa.String(length=32), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("draft", sa.String(length=32), nullable=False),
        sa.Column("person", sa.String(length=32), nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("kind", sa.String(length=24), nullable=False),
        sa.Column("decision", JSON, nullable=False),
        sa.ForeignKeyConstraint(
            ["draft"],
            ["drafts.id"],
        ),
        sa.ForeignKeyConstraint(
            ["person"],
            ["people.id"],
        ),
        sa.ForeignKeyConstraint(
            ["walkaround"],
            ["walkarounds.id"],
        ),
        sa.PrimaryKeyConstraint("walkaround", "seq"),
    )
    op.create_table(
        "links",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("issued", sa.String(length=32), nullable=False),
        sa.Column("created", UtcTime(), nullable=False),
        sa.Column("expires", UtcTime(), nullable=False),
        sa.Column("revoked", UtcTime(), nullable=True),
        sa.Column("opened", UtcTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["issued"],
            ["issued.id"],
        ),
        sa.PrimaryKeyConstraint("token_hash"),
    )
    op.create_index("ix_links_issued", "links", ["issued"], unique=False)
    op.create_table(
        "photos",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("walkaround", sa.String(length=32), nullable=False),
        sa.Column("client_key", sa.String(length=64), nullable=False),
        sa.Column("media", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("at", sa.Double(), nullable=True),
        sa.Column("take", sa.String(length=32), nullable=True),
        sa.Column("taken", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["take"],
            ["takes.id"],
        ),
        sa.ForeignKeyConstraint(
            ["walkaround"],
            ["walkarounds.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("client_key"),
    )
    op.create_index("ix_photos_media", "photos", ["media"], unique=False)
    op.create_index("ix_photos_walkaround", "photos", ["walkaround"], unique=False)
    op.create_table(
        "put_off",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("vehicle", sa.String(length=32), nullable=False),
        sa.Column("issued", sa.String(length=32), nullable=False),
        sa.Column("job", sa.String(length=120), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("what", JSON, nullable=False),
        sa.Column("at", UtcTime(), nullable=False),
        sa.Column("settled", UtcTime(), nullable=True),
        sa.Column("how", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["issued"],
            ["issued.id"],
        ),
        sa.ForeignKeyConstraint(
            ["vehicle"],
            ["vehicles.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_put_off_vehicle", "put_off", ["vehicle"], unique=False)
    op.create_table(
        "take_parts",
        sa.Column("take", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("media", sa.String(length=64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("arrived", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["take"],
            ["takes.id"],
        ),
        sa.PrimaryKeyConstraint("take", "number"),
    )
    op.create_index("ix_take_parts_media", "take_parts", ["media"], unique=False)
