"""Alembic's way in. The connection is handed over by `server.records.migrate`; there is no alembic.ini."""

from alembic import context
from sqlmodel import SQLModel

from server.records import tables  # noqa: F401  (fills the metadata)

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=SQLModel.metadata, render_as_batch=True, compare_type=True)
with context.begin_transaction():
    context.run_migrations()
