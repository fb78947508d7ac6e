"""A record of any age is brought up to date whole, or left as it was; what is not ours is left alone."""

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, event, inspect, text
from sqlmodel import SQLModel

from server.records import migrate
from server.records.commands.machines import ReviseMachine
from server.records.errors import Damaged
from server.records.store import Store, open_engine, sqlite_url
from tests.records.conftest import Bench

OLD = Path(__file__).parent / "data" / "first_tables.sql"
REVISIONS = [script.revision for script in ScriptDirectory(str(migrate.FOLDER)).walk_revisions()][::-1]


@pytest.fixture
def engine(database_url: str) -> Iterator[Engine]:
    """An empty database."""
    engine = open_engine(database_url)
    yield engine
    engine.dispose()


@pytest.fixture
def old_file(tmp_path: Path) -> Path:
    """A record as the first version of the program left it."""
    with closing(sqlite3.connect(tmp_path / "putback.sqlite3")) as connection:
        connection.executescript(OLD.read_text())
    return tmp_path


def revision_of(engine: Engine) -> str | None:
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def triggers_of(engine: Engine) -> set[str]:
    kinds = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal",
    }
    with engine.connect() as connection:
        return set(connection.execute(text(kinds[engine.dialect.name])).scalars())


# ---- Up to date ----


def test_every_revision_follows_from_the_one_before(engine: Engine) -> None:
    """One after the other, from no tables at all, on each kind of database."""
    reached = []
    for revision in REVISIONS:
        migrate.upgrade(engine, revision)
        reached.append(revision_of(engine))

    assert reached == REVISIONS


def test_the_tables_are_those_that_the_program_reads(engine: Engine) -> None:
    """Nothing is left to be migrated: a column added to a table class needs its migration."""
    migrate.upgrade(engine)

    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, SQLModel.metadata) == []


def test_bringing_it_up_to_date_twice_changes_nothing(engine: Engine) -> None:
    """As every start of the program does."""
    migrate.upgrade(engine)
    triggers = triggers_of(engine)
    migrate.upgrade(engine)

    assert triggers == triggers_of(engine)


def test_an_old_record_comes_up_to_date_whole(old_file: Path) -> None:
    """Every row and every entry is there, the chain holds, and it can be written on."""
    with closing(sqlite3.connect(old_file / "putback.sqlite3")) as connection:
        hashes = connection.execute("SELECT hash FROM journal ORDER BY seq").fetchall()
        rows = connection.execute("SELECT count(*) FROM part").fetchone()

    with closing(Store(sqlite_url(old_file))) as store:
        migrate.upgrade(store.engine)
        bench = Bench(store)
        assert (len(hashes), rows) == (18, (4,))
        assert bench.entries() == len(hashes)
        assert bench.faults() == []
        bench.do(ReviseMachine, model="Merle 41", opened_version=2)
        assert bench.faults() == []
        assert REVISIONS[-1] == revision_of(store.engine)


def test_a_column_that_came_later_is_checked_in_old_rows_too(old_file: Path) -> None:
    """No entry tells of it, so it stands at its usual value."""
    with closing(Store(sqlite_url(old_file))) as store:
        migrate.upgrade(store.engine)
        with store.engine.begin() as connection:
            connection.execute(text("UPDATE step SET done_order = 7 WHERE id = 1"))

        assert Bench(store).faults() == ["step 1 differs from what the journal says of it: done_order."]


def test_two_servers_may_start_at_once(engine: Engine) -> None:
    """The second waits for the first, and finds the work done."""
    with ThreadPoolExecutor() as pool:
        list(pool.map(lambda _: migrate.upgrade(engine), range(2)))

    assert REVISIONS[-1] == revision_of(engine)


# ---- Interrupted ----


def test_an_upgrade_that_fails_leaves_the_record_as_it_was(engine: Engine) -> None:
    """Though its first statements had succeeded."""
    migrate.upgrade(engine, "0001")

    def fail(*told: object) -> None:
        if "CREATE TRIGGER journal_" in str(told[2]) and ("delete" in str(told[2]) or "refuses" in str(told[2])):
            raise KeyboardInterrupt

    event.listen(engine, "before_cursor_execute", fail)
    with pytest.raises(KeyboardInterrupt):
        migrate.upgrade(engine)
    event.remove(engine, "before_cursor_execute", fail)

    assert (revision_of(engine), triggers_of(engine)) == ("0001", set())
    migrate.upgrade(engine)
    assert REVISIONS[-1] == revision_of(engine)


KILLED = """
import os, sys
from sqlalchemy import event
from server.records import migrate
from server.records.store import open_engine
def killed(*told):
    if "journal_delete_refused" in told[2]:
        os._exit(9)
engine = open_engine(sys.argv[1])
event.listen(engine, "before_cursor_execute", killed)
migrate.upgrade(engine)
"""


def test_an_upgrade_that_is_killed_leaves_the_file_as_it_was(old_file: Path) -> None:
    """A power cut in the middle costs the upgrade and nothing else."""
    url = sqlite_url(old_file)
    killed = subprocess.run([sys.executable, "-c", KILLED, url], check=False)
    with closing(Store(url)) as store:
        found = (killed.returncode, revision_of(store.engine), triggers_of(store.engine))
        migrate.upgrade(store.engine)

        assert found == (9, "0001", set())
        assert Bench(store).faults() == []


# ---- Not ours ----


def test_a_record_of_a_newer_version_is_refused(engine: Engine) -> None:
    """It names what it found and what to do."""
    migrate.upgrade(engine)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0999'"))

    with pytest.raises(Damaged, match=r"newer version of Putback \(revision 0999\)\. Update the program first\."):
        migrate.upgrade(engine)


@pytest.mark.parametrize("tables", [["recipe"], ["recipe", "alembic_version"]])
def test_a_foreign_database_is_refused(engine: Engine, tables: list[str]) -> None:
    """And left as it was, though it may have been migrated by the same library."""
    with engine.begin() as connection:
        for table in tables:
            connection.execute(text(f"CREATE TABLE {table} (version_num VARCHAR(32))"))
            connection.execute(text(f"INSERT INTO {table} VALUES ('0001')"))  # noqa: S608 (the names above)

    with pytest.raises(Damaged, match=r"tables that are not Putback's\. Nothing was changed in it\."):
        migrate.upgrade(engine)

    with engine.connect() as connection:
        assert tables == sorted(inspect(connection).get_table_names(), reverse=True)
