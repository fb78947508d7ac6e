"""From SQLite to PostgreSQL and back: every row, in the same bytes, or nothing at all."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID

import pytest
from sqlalchemy import Connection, inspect
from sqlmodel import col, func, select

from server.documents.record import canonical, machine_record
from server.records import checks, table_copy
from server.records.commands.machines import EnterMachine
from server.records.errors import Damaged, Refused
from server.records.moving import Moved, move_to_folder, move_to_postgresql
from server.records.store import DATABASE, FILES, Store, sqlite_url
from server.records.table_copy import Content, content_of, tables
from server.records.tables import FailedAttempt, JournalEntry, Machine, SignIn
from server.records.work import unheard
from tests.databases import Databases

ROOT = Path(__file__).parents[2]


@pytest.fixture
def empty(databases: Databases) -> Iterator[str]:
    """The address of an empty PostgreSQL database."""
    with databases.empty() as url:
        yield url


@pytest.fixture
def demo(demo_copy: Path) -> Iterator[Store]:
    with closing(Store(sqlite_url(demo_copy))) as store:
        yield store


@pytest.fixture
def small(fresh_file: Path, tmp_path: Path) -> Iterator[Store]:
    """A SQLite record with one entry."""
    folder = tmp_path / "small"
    folder.mkdir()
    shutil.copy(fresh_file, folder)
    with closing(Store(sqlite_url(folder))) as store:
        enter(store, "TM-03")
        yield store


def enter(store: Store, tag: str) -> None:
    store.carry_out(EnterMachine(tag=tag, model="Merle 40"), "Ada Wren")


def records_of(store: Store) -> dict[str, bytes]:
    with store.reading() as session:
        return {one.tag: canonical(machine_record(session, one)) for one in session.exec(select(Machine))}


def faults_of(store: Store) -> list[str]:
    with store.reading() as session:
        return list(checks.faults(session, store.files))


def contents(store: Store) -> dict[str, Content]:
    with store.engine.connect() as connection:
        return {table.name: content_of(connection, table) for table in tables()}


def is_empty(url: str, files: Path) -> bool:
    with closing(Store(url, files)) as store:
        return inspect(store.engine).get_table_names() == []


def test_there_and_back_again(demo: Store, empty: str, tmp_path: Path) -> None:
    """The same digests, the same record of each machine, nothing to complain of; and writing goes on in each."""
    there = move_to_postgresql(demo, empty, unheard)
    with closing(Store(empty, demo.files.root)) as club:
        back = move_to_folder(club, tmp_path / "back", unheard)
        with closing(Store(sqlite_url(tmp_path / "back"))) as home:
            assert contents(demo) == there.tables == back.tables == contents(home)
            assert records_of(demo) == records_of(club) == records_of(home)
            assert faults_of(club) == faults_of(home) == []
            for store in (club, home):
                enter(store, "NEW-1")
                enter(store, "NEW-2")
                assert faults_of(store) == []
    assert there.entries == back.entries == there.tables["journal"].rows > 100
    assert (there.files, there.missed, back.missed) == (0, 0, 0)
    assert back.files > 0


def test_a_record_goes_back_beside_its_own_files(small: Store, empty: str, tmp_path: Path) -> None:
    """Nothing is copied where both share the folder."""
    move_to_postgresql(small, empty, unheard)
    with closing(Store(empty, tmp_path / FILES)) as club:
        assert move_to_folder(club, tmp_path, unheard).files == 0
    assert sorted(one.name for one in tmp_path.iterdir()) == [DATABASE, "small"]


def test_what_the_kinds_keep_differently_arrives(small: Store, empty: str, tmp_path: Path) -> None:
    """Moments, truths, JSON, small and large numbers, and marks that sort differently."""
    moment = datetime(2025, 3, 30, 1, 59, 59, 999_999, tzinfo=UTC)
    with small.noting() as session:
        for name in ("ada", "Ähre", "Zoe", "_", "ß"):
            session.add(FailedAttempt(name_key=name, last_at=moment))
    special = {"model": "Ω\u202e\ufeff 𝔘\n\t", "hazards": ["a\ud800", "\0", "é"]}
    with small.engine.execution_options(putback_writes=True).begin() as connection:
        connection.execute(Machine.__table__.update().values(**special))  # type: ignore[attr-defined]

    there = move_to_postgresql(small, empty, unheard)

    with closing(Store(empty, small.files.root)) as club:
        back = move_to_folder(club, tmp_path / "back", unheard)
        with club.reading() as session:
            machine = session.exec(select(Machine)).one()
            assert (machine.model, machine.hazards) == (special["model"], special["hazards"])
            assert isinstance(machine.uuid, UUID)
            assert {one.last_at for one in session.exec(select(FailedAttempt))} == {moment}
    assert there.tables == back.tables == contents(small)


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [("model", "a\0b", "machine 1 holds a NUL character in model"), ("version", 2**40, "A row of machine cannot")],
)
def test_what_postgresql_cannot_keep_is_named(small: Store, empty: str, column: str, value: object, said: str) -> None:
    """And nothing is left in the target."""
    with small.engine.execution_options(putback_writes=True).begin() as connection:
        connection.execute(Machine.__table__.update().values({column: value}))  # type: ignore[attr-defined]

    with pytest.raises(Refused, match=said):
        move_to_postgresql(small, empty, unheard)

    assert is_empty(empty, small.files.root)


def test_only_an_empty_target_is_taken(small: Store, empty: str, tmp_path: Path) -> None:
    """What stands there stays as it is."""
    move_to_postgresql(small, empty, unheard)

    with pytest.raises(Refused, match="That database is not empty"):
        move_to_postgresql(small, empty, unheard)
    with closing(Store(empty, tmp_path)) as club, pytest.raises(Refused, match="There is a record in"):
        move_to_folder(club, small.files.root.parent, unheard)


def test_what_arrives_otherwise_is_not_kept(small: Store, empty: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The comparison is of what stands in the target."""
    monkeypatch.setattr(table_copy, "_as_told", lambda columns, row, _: _shortened(columns, row))

    with pytest.raises(Damaged, match="did not arrive as it was"):
        move_to_postgresql(small, empty, unheard)

    assert is_empty(empty, small.files.root)


def _shortened(columns: list[object], row: list[object]) -> dict[str, object]:
    pairs = {column.name: value for column, value in zip(columns, row, strict=True)}  # type: ignore[attr-defined]
    return pairs | ({"model": "Merle"} if "model" in pairs else {})


def test_a_broken_chain_is_not_moved(small: Store, empty: str) -> None:
    with closing(sqlite3.connect(str(small.engine.url.database))) as connection, connection:
        connection.execute("DROP TRIGGER journal_update_refused")
        connection.execute("UPDATE journal SET words = 'Something else'")

    with pytest.raises(Damaged, match="Journal entry 1 was changed after it was written"):
        move_to_postgresql(small, empty, unheard)

    assert is_empty(empty, small.files.root)


def test_what_is_written_meanwhile_is_counted(small: Store, empty: str) -> None:
    """The source is of one moment; the new entry is not in the target, and is said to be missing there."""
    wrote: list[int] = []

    def meanwhile(done: int, _: int) -> None:
        if done == 1:
            enter(small, "LATE-1")
            wrote.append(done)

    with closing(sqlite3.connect(str(small.engine.url.database))) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
    moved: Moved = move_to_postgresql(small, empty, meanwhile)

    assert (wrote, moved.entries, moved.missed) == ([1], 1, 1)
    with closing(Store(empty, small.files.root)) as club:
        assert faults_of(club) == []


KILLED = """
import os, signal, sys
from pathlib import Path
from server.records.moving import move_to_folder, move_to_postgresql
from server.records.store import Store
def heard(done, whole):
    if done > whole * 3 // 4:
        os.kill(os.getpid(), signal.SIGKILL)
move_to_postgresql(Store(sys.argv[1]), sys.argv[2], heard)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a signal that cannot be caught")
def test_killed_half_way_nothing_has_changed(demo: Store, empty: str) -> None:
    """Neither here nor there, and the next attempt succeeds."""
    before = contents(demo)

    words = [sys.executable, "-c", KILLED, demo.url, empty]
    killed = subprocess.run(words, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False)

    assert killed.returncode == -signal.SIGKILL
    assert contents(demo) == before
    assert faults_of(demo) == []
    assert move_to_postgresql(demo, empty, unheard).tables == before


def test_a_table_is_read_in_batches(demo: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """So many rows are held at a time and no more, and the digest does not depend on it."""
    whole = contents(demo)
    monkeypatch.setattr(table_copy, "BATCH", 7)

    assert contents(demo) == whole
    with demo.engine.connect() as connection:
        held = max(len(batch) for batch in _batches(connection))
    assert held == 7


def _batches(connection: Connection) -> Iterator[list[object]]:
    table = JournalEntry.__table__  # type: ignore[attr-defined]
    yield from table_copy._batches(connection, table, list(table.columns))  # type: ignore[misc]


def test_every_table_is_among_those_that_are_copied(demo: Store) -> None:
    """Also what stands in no journal, such as who is signed in."""
    there = set(inspect(demo.engine).get_table_names()) - {"alembic_version"}

    assert {table.name for table in tables()} == there
    assert str(SignIn.__tablename__) in there
    with demo.reading() as session:
        assert session.exec(select(func.count(col(Machine.id)))).one() > 1
