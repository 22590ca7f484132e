"""Alembic's entry: the connection is handed in; batch mode lets SQLite change its tables."""

from __future__ import annotations

from alembic import context

from sibilant.store.schema import METADATA

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=METADATA, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
