"""Codes of an authenticator beside an account's password, and recovery codes for when the device is lost."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("account", sa.Column("asks_code", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.create_table(
        "code_secret",
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("secret", sa.String(), nullable=False),
        sa.Column("last_step", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"]),
        sa.PrimaryKeyConstraint("account_id"),
    )
    op.create_table(
        "recovery_code",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_recovery_code_account_id", "recovery_code", ["account_id"])
