"""Tokens by which a person's programs reach the record: what each may do, until when, and a digest of it."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "api_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("scopes", sa.String(), nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("used_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("digest"),
    )
    op.create_index("ix_api_token_account_id", "api_token", ["account_id"])
