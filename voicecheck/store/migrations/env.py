"""Run by Alembic with the connection that ``voicecheck.store.migrate`` hands over."""

from __future__ import annotations

from alembic import context

from voicecheck.store.tables import Base

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=Base.metadata,
    transactional_ddl=True,  # SQLite can take back DDL too, once the driver lets transactions alone
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
