"""Loans, boards that moved, aims, the keeper's word on a date code, units of bounds, roles of inputs."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "board_stay",
        *_kept(),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("since", sa.Date(), nullable=True),
        sa.Column("until", sa.Date(), nullable=True),
        sa.Column("signer", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["board_id"], ["board.id"]),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
    )
    op.create_index("ix_board_stay_board_id", "board_stay", ["board_id"])
    op.create_index("ix_board_stay_machine_id", "board_stay", ["machine_id"])
    op.create_table(
        "loan",
        *_kept(),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("to_whom", sa.String(), nullable=False),
        sa.Column("since", sa.Date(), nullable=False),
        sa.Column("due", sa.Date(), nullable=True),
        sa.Column("until", sa.Date(), nullable=True),
        sa.Column("signer", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
    )
    op.create_index("ix_loan_part_id", "loan", ["part_id"])
    still_lent = sa.text("until IS NULL")
    op.create_index(
        "one_loan_of_a_part", "loan", ["part_id"], unique=True, sqlite_where=still_lent, postgresql_where=still_lent
    )
    op.execute("ALTER TABLE mod ADD COLUMN symptom_id INTEGER CONSTRAINT mod_answers_symptom REFERENCES symptom (id)")
    op.create_index("ix_photograph_sha256", "photograph", ["sha256"])
    op.create_index("ix_mod_symptom_id", "mod", ["symptom_id"])
    op.add_column("calculation", sa.Column("design_number", sa.Integer(), nullable=True))
    for table, column in (
        ("machine", "significance"),
        ("mod", "aim"),
        ("part", "dating"),
        ("part", "dating_note"),
        ("calculation_input", "role"),
        ("expectation", "unit"),
    ):
        op.add_column(table, sa.Column(column, sa.String(), nullable=False, server_default=""))


def _kept() -> list[sa.Column[object]]:
    return [
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
    ]
