"""Board maps: pictures of a board, the points that match them, and the pins of positions."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "board_picture",
        *_kept(),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("photograph_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("is_reference", sa.Boolean(), nullable=False),
        sa.Column("match_kind", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["board_id"], ["board.id"]),
        sa.ForeignKeyConstraint(["photograph_id"], ["photograph.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("photograph_id"),
        sa.UniqueConstraint("board_id", "number"),
    )
    op.create_index("ix_board_picture_board_id", "board_picture", ["board_id"])
    op.create_table(
        "match_point",
        *_kept(),
        sa.Column("board_picture_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Float(), nullable=False) for name in ("reference_x", "reference_y", "x", "y")),
        sa.ForeignKeyConstraint(["board_picture_id"], ["board_picture.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("board_picture_id", "place"),
    )
    op.create_index("ix_match_point_board_picture_id", "match_point", ["board_picture_id"])
    op.create_table(
        "map_pin",
        *_kept(),
        sa.Column("position_id", sa.Integer(), nullable=False),
        sa.Column("board_picture_id", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Float(), nullable=False) for name in ("x", "y")),
        sa.ForeignKeyConstraint(["position_id"], ["position.id"]),
        sa.ForeignKeyConstraint(["board_picture_id"], ["board_picture.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
        sa.UniqueConstraint("position_id"),
    )
    op.create_index("ix_map_pin_board_picture_id", "map_pin", ["board_picture_id"])


def _kept() -> list[sa.Column[object]]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
    ]
