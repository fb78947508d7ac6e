"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "journal",
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("subject", sa.Uuid(), nullable=False),
        sa.Column("machine", sa.Uuid(), nullable=True),
        sa.Column("act", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("change", sa.JSON(), nullable=False),
        sa.Column("previous", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("seq"),
        sa.UniqueConstraint("hash"),
    )
    with op.batch_alter_table("journal", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_journal_machine"), ["machine"], unique=False)
        batch_op.create_index(batch_op.f("ix_journal_subject"), ["subject"], unique=False)

    op.create_table(
        "machine",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("tag", sa.String(length=40), nullable=False),
        sa.Column("tag_key", sa.String(length=40), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("model", sa.String(), nullable=False),
        sa.Column("variant", sa.String(), nullable=False),
        sa.Column("serial_number", sa.String(), nullable=False),
        sa.Column("made", sa.String(), nullable=False),
        sa.Column("acquired_on", sa.Date(), nullable=True),
        sa.Column("acquired_from", sa.String(), nullable=False),
        sa.Column("price", sa.String(), nullable=False),
        sa.Column("provenance", sa.String(), nullable=False),
        sa.Column("as_found", sa.String(), nullable=False),
        sa.Column("hazards", sa.JSON(), nullable=False),
        sa.Column("keeper", sa.String(), nullable=False),
        sa.Column("handed_over_on", sa.Date(), nullable=True),
        sa.Column("handed_over_to", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("tag_key"),
        sa.UniqueConstraint("uuid"),
    )
    op.create_table(
        "part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("type", sa.String(), nullable=False),
        sa.Column("marking", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("rating", sa.String(), nullable=False),
        sa.Column("maker_mark", sa.String(), nullable=False),
        sa.Column("date_code", sa.String(), nullable=False),
        sa.Column("date_reading", sa.String(), nullable=False),
        sa.Column("origin", sa.String(), nullable=False),
        sa.Column("condition", sa.String(), nullable=False),
        sa.Column("pedigree", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("gone", sa.String(), nullable=True),
        sa.Column("gone_on", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("part", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_part_kind"), ["kind"], unique=False)

    op.create_table(
        "procedure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("slug", sa.String(length=60), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("how", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("unit_meaning", sa.String(), nullable=False),
        sa.Column("resolution", sa.Float(), nullable=True),
        sa.Column("better", sa.String(), nullable=False),
        sa.Column("target", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("slug"),
        sa.UniqueConstraint("uuid"),
    )
    op.create_table(
        "board",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("parent_id", sa.Integer(), nullable=True),
        sa.Column("slug", sa.String(length=60), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("part_number", sa.String(), nullable=False),
        sa.Column("revision", sa.String(), nullable=False),
        sa.Column("serial_number", sa.String(), nullable=False),
        sa.Column("made", sa.String(), nullable=False),
        sa.Column("hazards", sa.JSON(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["machine_id"],
            ["machine.id"],
        ),
        sa.ForeignKeyConstraint(
            ["parent_id"],
            ["board.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("machine_id", "slug"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("board", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_board_machine_id"), ["machine_id"], unique=False)

    op.create_table(
        "mod",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("reasoning", sa.String(), nullable=False),
        sa.Column("hazards", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["machine_id"],
            ["machine.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("machine_id", "number"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("mod", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_mod_machine_id"), ["machine_id"], unique=False)

    op.create_table(
        "trial",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.Column("procedure_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("readings", sa.JSON(), nullable=False),
        sa.Column("conditions", sa.String(), nullable=False),
        sa.Column("instrument", sa.String(), nullable=False),
        sa.Column("signer", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["machine_id"],
            ["machine.id"],
        ),
        sa.ForeignKeyConstraint(
            ["procedure_id"],
            ["procedure.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("machine_id", "number"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("trial", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_trial_machine_id"), ["machine_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_trial_procedure_id"), ["procedure_id"], unique=False)

    op.create_table(
        "calculation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("mod_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("method", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("lines", sa.JSON(), nullable=False),
        sa.Column("limits", sa.JSON(), nullable=False),
        sa.Column("assumptions", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["mod_id"],
            ["mod.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("mod_id", "number"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("calculation", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_calculation_mod_id"), ["mod_id"], unique=False)

    op.create_table(
        "expectation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("mod_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("sentence", sa.String(), nullable=False),
        sa.Column("procedure_id", sa.Integer(), nullable=True),
        sa.Column("sense", sa.String(), nullable=False),
        sa.Column("bound", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(
            ["mod_id"],
            ["mod.id"],
        ),
        sa.ForeignKeyConstraint(
            ["procedure_id"],
            ["procedure.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("mod_id", "number"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("expectation", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_expectation_mod_id"), ["mod_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_expectation_procedure_id"), ["procedure_id"], unique=False)

    op.create_table(
        "mod_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("mod_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("signer", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["mod_id"],
            ["mod.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("mod_move", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_mod_move_mod_id"), ["mod_id"], unique=False)

    op.create_table(
        "position",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("designator", sa.String(length=40), nullable=False),
        sa.Column("designator_key", sa.String(length=300), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("expected_type", sa.String(), nullable=False),
        sa.Column("expected_value", sa.String(), nullable=False),
        sa.Column("mounting", sa.String(), nullable=False),
        sa.Column("pins", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["board_id"],
            ["board.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("board_id", "designator_key"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("position", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_position_board_id"), ["board_id"], unique=False)

    op.create_table(
        "trial_mod",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=False),
        sa.Column("mod_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["mod_id"],
            ["mod.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trial_id"],
            ["trial.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("trial_id", "mod_id"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("trial_mod", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_trial_mod_mod_id"), ["mod_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_trial_mod_trial_id"), ["trial_id"], unique=False)

    op.create_table(
        "calculation_input",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("calculation_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("position_id", sa.Integer(), nullable=True),
        sa.Column("when_empty", sa.String(), nullable=False),
        sa.Column("trial_id", sa.Integer(), nullable=True),
        sa.Column("other_calculation_id", sa.Integer(), nullable=True),
        sa.Column("other_line", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["calculation_id"],
            ["calculation.id"],
        ),
        sa.ForeignKeyConstraint(
            ["other_calculation_id"],
            ["calculation.id"],
        ),
        sa.ForeignKeyConstraint(
            ["position_id"],
            ["position.id"],
        ),
        sa.ForeignKeyConstraint(
            ["trial_id"],
            ["trial.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("calculation_id", "name"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("calculation_input", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_calculation_input_calculation_id"), ["calculation_id"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_calculation_input_other_calculation_id"), ["other_calculation_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_calculation_input_position_id"), ["position_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_calculation_input_trial_id"), ["trial_id"], unique=False)

    op.create_table(
        "calculation_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("calculation_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("run_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("cases", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["calculation_id"],
            ["calculation.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("calculation_id", "number"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("calculation_run", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_calculation_run_calculation_id"), ["calculation_id"], unique=False)

    op.create_table(
        "step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("mod_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("position_id", sa.Integer(), nullable=True),
        sa.Column("pin", sa.String(), nullable=False),
        sa.Column("instruction", sa.String(), nullable=False),
        sa.Column("planned_type", sa.String(), nullable=False),
        sa.Column("planned_value", sa.String(), nullable=False),
        sa.Column("before_state", sa.String(), nullable=False),
        sa.Column("trace_stated", sa.String(), nullable=False),
        sa.Column("trace_reason", sa.String(), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=True),
        sa.Column("done_by", sa.String(), nullable=False),
        sa.Column("done_note", sa.String(), nullable=False),
        sa.Column("undone_on", sa.Date(), nullable=True),
        sa.Column("undone_by", sa.String(), nullable=False),
        sa.Column("undone_note", sa.String(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["mod_id"],
            ["mod.id"],
        ),
        sa.ForeignKeyConstraint(
            ["part_id"],
            ["part.id"],
        ),
        sa.ForeignKeyConstraint(
            ["position_id"],
            ["position.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("mod_id", "number"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("step", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_step_mod_id"), ["mod_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_step_part_id"), ["part_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_step_position_id"), ["position_id"], unique=False)

    op.create_table(
        "storage",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("from_position_id", sa.Integer(), nullable=True),
        sa.Column("bag", sa.Integer(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("since", sa.Date(), nullable=False),
        sa.Column("until", sa.Date(), nullable=True),
        sa.Column("condition", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["from_position_id"],
            ["position.id"],
        ),
        sa.ForeignKeyConstraint(
            ["part_id"],
            ["part.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("storage", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_storage_bag"), ["bag"], unique=False)
        batch_op.create_index(batch_op.f("ix_storage_part_id"), ["part_id"], unique=False)
        batch_op.create_index(
            "one_bag_for_a_part",
            ["part_id"],
            unique=True,
            sqlite_where=sa.text("until IS NULL"),
            postgresql_where=sa.text("until IS NULL"),
        )

    op.create_table(
        "placement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("created_by", sa.String(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("position_id", sa.Integer(), nullable=False),
        sa.Column("fitted_on", sa.Date(), nullable=True),
        sa.Column("fitted_by_step_id", sa.Integer(), nullable=True),
        sa.Column("removed_on", sa.Date(), nullable=True),
        sa.Column("removed_by_step_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["fitted_by_step_id"],
            ["step.id"],
        ),
        sa.ForeignKeyConstraint(
            ["part_id"],
            ["part.id"],
        ),
        sa.ForeignKeyConstraint(
            ["position_id"],
            ["position.id"],
        ),
        sa.ForeignKeyConstraint(
            ["removed_by_step_id"],
            ["step.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("uuid"),
    )
    with op.batch_alter_table("placement", schema=None) as batch_op:
        batch_op.create_index(
            "one_part_at_a_position",
            ["position_id"],
            unique=True,
            sqlite_where=sa.text("removed_on IS NULL"),
            postgresql_where=sa.text("removed_on IS NULL"),
        )
        batch_op.create_index(
            "one_position_for_a_part",
            ["part_id"],
            unique=True,
            sqlite_where=sa.text("removed_on IS NULL"),
            postgresql_where=sa.text("removed_on IS NULL"),
        )
        batch_op.create_index("part_history", ["part_id", "fitted_on"], unique=False)
        batch_op.create_index("placement_history", ["position_id", "fitted_on"], unique=False)
