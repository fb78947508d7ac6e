"""Files other than photographs, and whether a photograph shows how it was before a step or after it."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("photograph", sa.Column("moment", sa.String(), nullable=False, server_default=""))
    op.create_table(
        "attached_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("on_kind", sa.String(), nullable=False),
        sa.Column("on_uuid", sa.Uuid(), nullable=False),
        *(sa.Column(name, sa.String(), nullable=False) for name in ("kind", "caption", "file_name")),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("crc32", sa.String(length=8), nullable=False),
        sa.Column("sha1", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("machine_id", "number"),
    )
    for column in ("machine_id", "on_uuid", "sha256"):
        op.create_index(f"ix_attached_file_{column}", "attached_file", [column])
