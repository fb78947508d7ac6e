"""Bringing a record of any age up to what this version of the program expects."""

import sqlite3
import time
from contextlib import closing
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect

from server.records.errors import Damaged
from server.records.store import WRITE_LOCK_WAIT_S, take_turn
from server.records.tables import JournalEntry

FOLDER = Path(__file__).parent / "migrations"


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Carry the record to `revision`, all of the way or not at all. A record from the future is refused."""
    writing = engine.execution_options(putback_writes=True)
    if engine.dialect.name == "postgresql":
        # Two servers may start at once: the second must see what the first has made of the record.
        writing = writing.execution_options(isolation_level="READ COMMITTED")
    with writing.begin() as connection:
        take_turn(connection)
        _refuse_foreign(connection)
        if revision != "head" or not _is_at_head(connection):
            command.upgrade(configuration(connection), revision)
    if engine.dialect.name == "sqlite":
        _let_readers_and_a_writer_share(engine)


def stands_at_head(connection: Connection) -> bool:
    """Whether this is a record, and one that this version has brought up to date."""
    _refuse_foreign(connection)
    return _is_at_head(connection)


def configuration(connection: Connection) -> Config:
    """Alembic's settings for one open connection."""
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


@cache
def _steps() -> ScriptDirectory:
    """The migrations, read once: each is a module that Python would compile anew."""
    return ScriptDirectory(str(FOLDER))


def _is_at_head(connection: Connection) -> bool:
    return _revision_of(connection) == set(_steps().get_heads())


def _revision_of(connection: Connection) -> set[str]:
    return set(MigrationContext.configure(connection).get_current_heads())


def _refuse_foreign(connection: Connection) -> None:
    stands_at = _revision_of(connection)
    known = {script.revision for script in _steps().walk_revisions()}
    there = set(inspect(connection).get_table_names())
    if there and (not stands_at or str(JournalEntry.__tablename__) not in there):
        raise Damaged("This database holds tables that are not Putback's. Nothing was changed in it.")
    if newer := stands_at - known:
        raise Damaged(
            f"This record was written by a newer version of Putback (revision {min(newer)}). Update the program first."
        )


def _let_readers_and_a_writer_share(engine: Engine) -> None:
    """The write-ahead log is a property of the file, so it is set once it is known to be ours.

    SQLite does not wait for its turn here as it does elsewhere: where another server is at it, this one tries again.
    """
    give_up = time.monotonic() + WRITE_LOCK_WAIT_S
    with closing(engine.raw_connection()) as connection, closing(connection.cursor()) as cursor:
        while True:
            try:
                cursor.execute("PRAGMA journal_mode = WAL")
            except sqlite3.OperationalError:
                if time.monotonic() > give_up:
                    raise
                time.sleep(0.02)
            else:
                return
