"""Bringing a record of any age up to what this version of the program expects."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect

from server.records.errors import Damaged

FOLDER = Path(__file__).parent / "migrations"


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Carry the record to `revision`, all of the way or not at all. A record from the future is refused."""
    with engine.execution_options(putback_writes=True).begin() as connection:
        _refuse_foreign(connection)
        command.upgrade(configuration(connection), revision)


def configuration(connection: Connection) -> Config:
    """Alembic's settings for one open connection."""
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def _refuse_foreign(connection: Connection) -> None:
    stands_at = MigrationContext.configure(connection).get_current_revision()
    known = {script.revision for script in ScriptDirectory(str(FOLDER)).walk_revisions()}
    if stands_at is not None and stands_at not in known:
        raise Damaged(f"This record was written by a newer version of Putback (revision {stands_at}). Update first.")
    if stands_at is None and inspect(connection).get_table_names():
        raise Damaged("This database holds tables that are not Putback's. Nothing was changed in it.")
