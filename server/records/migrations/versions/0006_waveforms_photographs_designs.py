"""Waveforms, photographs and designs; expectations of a calculation's line; why mods in force were put right."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "design",
        *_kept(),
        sa.Column("slug", sa.String(length=60), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("reasoning", sa.String(), nullable=False),
        *(
            sa.Column(name, sa.JSON(), nullable=False)
            for name in ("hazards", "roles", "steps", "calculations", "expectations")
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("slug"),
        sa.UniqueConstraint("uuid"),
    )
    _create_waveform()
    _create_photograph()
    _refer("mod", "design_id", "design")
    _refer("calculation_input", "waveform_id", "waveform")
    _refer("expectation", "calculation_id", "calculation")
    for table, column in (
        ("step", "role"),
        ("calculation_input", "figure"),
        ("expectation", "line"),
        ("trial", "mods_reason"),
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


def _create_waveform() -> None:
    op.create_table(
        "waveform",
        *_kept(),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        *(
            sa.Column(name, sa.String(), nullable=False)
            for name in ("title", "probed_at", "instrument", "conditions", "signer", "note", "file_name")
        ),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("time_unit", sa.String(), nullable=False),
        sa.Column("volt_unit", sa.String(), nullable=False),
        sa.Column("fit_from", sa.Float(), nullable=True),
        sa.Column("fit_to", sa.Float(), nullable=True),
        *(sa.Column(name, sa.JSON(), nullable=False) for name in ("figures", "reasons", "notes", "drawing")),
        *_of_machine(),
    )
    op.create_index("ix_waveform_machine_id", "waveform", ["machine_id"])


def _create_photograph() -> None:
    op.create_table(
        "photograph",
        *_kept(),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("on_kind", sa.String(), nullable=False),
        sa.Column("on_uuid", sa.Uuid(), nullable=False),
        sa.Column("caption", sa.String(), nullable=False),
        sa.Column("taken_on", sa.Date(), nullable=True),
        sa.Column("file_name", sa.String(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in ("width", "height", "size")),
        *(sa.Column(name, sa.String(length=64), nullable=False) for name in ("sha256", "sent_sha256")),
        *_of_machine(),
    )
    op.create_index("ix_photograph_machine_id", "photograph", ["machine_id"])
    op.create_index("ix_photograph_on_uuid", "photograph", ["on_uuid"])


def _of_machine() -> list[sa.Constraint]:
    return [
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("machine_id", "number"),
        sa.UniqueConstraint("uuid"),
    ]


def _refer(table: str, column: str, to: str) -> None:
    """Add a reference. Said in plain SQL, which both databases read: SQLite would else rebuild the table."""
    op.execute(f"ALTER TABLE {table} ADD COLUMN {column} INTEGER REFERENCES {to} (id)")
    op.create_index(f"ix_{table}_{column}", table, [column])
