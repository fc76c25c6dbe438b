"""Alembic's entry: runs one migration inside the connection it was handed."""

from alembic import context

from logbook.records.tables import Base
from logbook.records.upgrade import render_item

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_item=render_item,
    # transactions are ours: one around the whole upgrade
    transaction_per_migration=False,
)
context.run_migrations()
