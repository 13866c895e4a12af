"""Alembic's scripts; ``voicecheck.store.migrate`` runs them."""
