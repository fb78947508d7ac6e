"""Dossiers that are taken in, and machines that are known by name only because one of them speaks of them."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "dossier_import",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("made_on", sa.Date(), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("journal_sha256", sa.String(length=64), nullable=False),
        sa.Column("journal_seq", sa.Integer(), nullable=True),
        sa.Column("journal_hash", sa.String(length=64), nullable=False),
        sa.Column("said_all", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("machine_id", "number"),
    )
    op.create_index("ix_dossier_import_machine_id", "dossier_import", ["machine_id"])
    op.add_column("machine", sa.Column("elsewhere", sa.Boolean(), nullable=False, server_default=sa.false()))
