"""Alembic's entry: runs one migration inside the connection it was handed."""

from alembic import context

from logbook.records.search import is_ours
from logbook.records.tables import Base
from logbook.records.upgrade import render_item

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_item=render_item,
    include_name=is_ours,
    # transactions are ours: one around the whole upgrade
    transaction_per_migration=False,
)
context.run_migrations()
