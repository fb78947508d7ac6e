"""Accounts: people, the machines that some of them keep, their passwords, their sign-ins, and attempts that failed."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

MOMENT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "account",
        *_kept(),
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("name_key", sa.String(length=40), nullable=False),
        sa.Column("signs_as", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("closed", sa.Boolean(), nullable=False),
        sa.Column("password_set_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("name_key"),
    )
    op.create_table(
        "account_machine",
        *_kept(),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"]),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("account_id", "machine_id"),
    )
    op.create_table(
        "account_secret",
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"]),
        sa.PrimaryKeyConstraint("account_id"),
    )
    op.create_table(
        "sign_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("browser", sa.String(), nullable=False),
        sa.Column("begun_at", MOMENT, nullable=False),
        sa.Column("seen_at", MOMENT, nullable=False),
        sa.Column("ends_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("digest"),
    )
    op.create_table(
        "failed_attempt",
        sa.Column("name_key", sa.String(length=64), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("last_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("name_key"),
    )
    for table, column in (
        ("account_machine", "account_id"),
        ("account_machine", "machine_id"),
        ("sign_in", "account_id"),
    ):
        op.create_index(f"ix_{table}_{column}", table, [column])


def _kept() -> list[sa.Column[object]]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", MOMENT, nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
    ]
