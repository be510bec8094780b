"""Runs the steps inside the transaction that ``linewright.ledger.migrate`` opened."""

from __future__ import annotations

from alembic import context

from linewright.ledger.schema import metadata

context.configure(
    connection=context.config.attributes["connection"], target_metadata=metadata, transaction_per_migration=False
)
context.run_migrations()
