"""SQLite removes a row that INSERT OR REPLACE meets without asking the triggers on DELETE: refuse that too."""

from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

TRIGGER = """
CREATE TRIGGER journal_replace_refused BEFORE INSERT ON journal
WHEN EXISTS (SELECT 1 FROM journal WHERE seq = NEW.seq OR hash = NEW.hash)
BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END
"""


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        op.execute(TRIGGER)
