"""The database itself refuses to change or remove a journal entry."""

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

SQLITE = """
CREATE TRIGGER journal_{act}_refused BEFORE {ACT} ON journal
BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END
"""
POSTGRESQL_FUNCTION = """
CREATE FUNCTION journal_only_grows() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'the journal only grows'; END $$
"""
POSTGRESQL_TRIGGER = """
CREATE TRIGGER journal_refuses BEFORE UPDATE OR DELETE OR TRUNCATE ON journal
FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows()
"""


def upgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute(POSTGRESQL_FUNCTION)
        op.execute(POSTGRESQL_TRIGGER)
        return
    for act in ("update", "delete"):
        op.execute(SQLITE.format(act=act, ACT=act.upper()))
