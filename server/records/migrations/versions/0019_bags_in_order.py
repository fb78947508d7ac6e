"""Bags are found by their number, and by the position that their part came from, however many there are."""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    still_there = sa.text("until IS NULL")
    op.create_index("bags_in_order", "storage", ["bag", "id"], sqlite_where=still_there, postgresql_where=still_there)
    op.create_index("ix_storage_from_position_id", "storage", ["from_position_id"])
