"""The journal can be asked for the entries of one act: what was taken off keeps its number from being given again."""

from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index("ix_journal_act", "journal", ["act"])
