"""Symptoms, their possible causes, and the evidence for and against each."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "symptom",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("seen_on", sa.Date(), nullable=False),
        sa.Column("bring_about", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("ended_as", sa.String(), nullable=False),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("ended_by_mod_id", sa.Integer(), nullable=True),
        sa.Column("ended_note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["ended_by_mod_id"], ["mod.id"]),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("machine_id", "number"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("symptom", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_symptom_ended_by_mod_id"), ["ended_by_mod_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_symptom_machine_id"), ["machine_id"], unique=False)

    op.create_table(
        "possible_cause",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("symptom_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("judged_on", sa.Date(), nullable=True),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("calculation_id", sa.Integer(), nullable=True),
        sa.Column("assumption", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["calculation_id"], ["calculation.id"]),
        sa.ForeignKeyConstraint(["symptom_id"], ["symptom.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("symptom_id", "number"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("possible_cause", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_possible_cause_calculation_id"), ["calculation_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_possible_cause_symptom_id"), ["symptom_id"], unique=False)

    op.create_table(
        "evidence",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("possible_cause_id", sa.Integer(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=True),
        sa.Column("calculation_id", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["calculation_id"], ["calculation.id"]),
        sa.ForeignKeyConstraint(["possible_cause_id"], ["possible_cause.id"]),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"]),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("evidence", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_evidence_calculation_id"), ["calculation_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_evidence_possible_cause_id"), ["possible_cause_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_evidence_trial_id"), ["trial_id"], unique=False)
