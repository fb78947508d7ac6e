"""Circuits as calculations, and the nets of boards with the pins on them."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("calculation", sa.Column("circuit", sa.JSON(), nullable=True))
    op.create_table(
        "net",
        *_kept(),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.String(), nullable=False) for name in ("name", "sheet", "note")),
        sa.ForeignKeyConstraint(["board_id"], ["board.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("board_id", "number"),
    )
    op.create_index("ix_net_board_id", "net", ["board_id"])
    op.create_table(
        "net_pin",
        *_kept(),
        sa.Column("net_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("position_id", sa.Integer(), nullable=False),
        *(
            sa.Column(name, sa.String(), nullable=False)
            for name in ("pin", "role", "family", "drives", "other_end", "seen_at")
        ),
        sa.Column("series_position_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["net_id"], ["net.id"]),
        sa.ForeignKeyConstraint(["position_id"], ["position.id"]),
        sa.ForeignKeyConstraint(["series_position_id"], ["position.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("net_id", "place"),
    )
    for column in ("net_id", "position_id", "series_position_id"):
        op.create_index(f"ix_net_pin_{column}", "net_pin", [column])


def _kept() -> list[sa.Column[object]]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
    ]
