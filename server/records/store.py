"""Opening the record, reading it, and carrying out commands.

`carry_out` is the only way to write: one command, one transaction, one journal entry. Leaving it by any error
rolls everything back. SQLite takes the write lock at the start (BEGIN IMMEDIATE); PostgreSQL takes an advisory
lock, because the journal's chain has one end.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID

import structlog
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import IntegrityError, OperationalError
from sqlalchemy.orm.exc import StaleDataError
from sqlmodel import Session

from server.records import commands, journal
from server.records.clock import now
from server.records.commands.base import Command
from server.records.errors import Refused
from server.records.files import FileStore
from server.records.work import HANDLERS, Heard, Work, unheard

log = structlog.get_logger("putback.record")
JOURNAL_LOCK = 0x70757462  # "putb": any number will do, all servers of one record must share it
WRITE_LOCK_WAIT_S = 30
FILES = "files"
DATABASE = "putback.sqlite3"


@dataclass(frozen=True, slots=True)
class Done:
    """What was written: the journal's number and the record it concerns; no number when nothing changed."""

    seq: int | None
    subject: UUID
    key: int
    words: str


class Store:
    """One record, in a SQLite file or a PostgreSQL database."""

    def __init__(self, url: str, files: Path | None = None) -> None:
        self.url = url
        self.files = FileStore(files or _files_beside(url))
        self.engine = open_engine(url)
        self._writing = self.engine.execution_options(putback_writes=True)
        if self.engine.dialect.name == "postgresql":
            # A write waits for the lock below; what it then reads must be what the one before it wrote.
            self._writing = self._writing.execution_options(isolation_level="READ COMMITTED")

    def close(self) -> None:
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that sees one consistent state and writes nothing."""
        with Session(self.engine, autoflush=False, expire_on_commit=False) as session:
            yield session  # closing ends the transaction and leaves the rows that were read as they are

    @contextmanager
    def noting(self) -> Iterator[Session]:
        """A session for what is no record and in no journal, such as who is signed in; an error undoes all of it.

        Whatever the journal holds is written by `carry_out` alone.
        """
        with Session(self._writing, expire_on_commit=False) as session:
            take_turn(session.connection())
            yield session
            session.commit()

    def carry_out(self, command: Command, who: str, progress: Heard = unheard) -> Done:
        """Do what the command asks, with its journal entry, or leave everything as it was."""
        handler = HANDLERS[type(command)]
        command.keep_files(self.files)
        with Session(self._writing, expire_on_commit=False) as session:
            try:
                work = Work(session, who, now(), progress, self.files)
                take_turn(session.connection())
                said = handler(work, command)
                commands.follow_up(work)
                session.flush()
                if not work.changes:
                    return Done(None, said.subject.uuid, said.subject.key, "Nothing was changed.")
                entry = journal.append(work, said)
                done = Done(entry.seq, said.subject.uuid, said.subject.key, said.words)
                session.commit()
            except (IntegrityError, StaleDataError) as clash:
                log.warning("write refused by the database", command=type(command).__name__, fault=str(clash.__class__))
                raise Refused(
                    "Another entry was saved at the same moment and stands in the way. Look again."
                ) from clash
            except OperationalError as fault:
                log.warning("write failed", command=type(command).__name__, fault=str(fault.orig))
                raise Refused(_could_not_write(fault)) from fault
        log.info("written", seq=done.seq, act=said.act, who=who)
        return done


def take_turn(connection: Connection) -> None:
    """Wait until nobody else writes. SQLite did so at BEGIN IMMEDIATE; in PostgreSQL all wait for one lock."""
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SET LOCAL lock_timeout = '{WRITE_LOCK_WAIT_S}s'"))
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": JOURNAL_LOCK})


def _could_not_write(fault: OperationalError) -> str:
    said = str(fault.orig).partition("\n")[0]
    if "locked" in said or "lock timeout" in said:
        return "Someone else is still writing to the record. Nothing was changed; try again in a moment."
    return f"The record could not be written ({said}). See the journal for what was stored last."


def open_engine(url: str) -> Engine:
    """An engine with the house's settings for its kind of database."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        engine = create_engine(
            parsed, connect_args={"timeout": WRITE_LOCK_WAIT_S, "check_same_thread": False}, pool_size=20
        )
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    if parsed.get_backend_name() != "postgresql":
        raise ValueError(f"A record is kept in SQLite or PostgreSQL, not in {parsed.get_backend_name()}.")
    url_with_driver = parsed.set(drivername="postgresql+psycopg")
    return create_engine(url_with_driver, pool_pre_ping=True, isolation_level="REPEATABLE READ")


def sqlite_url(folder: Path) -> str:
    """The record's file in a data folder, whatever characters the folder's name has."""
    return URL.create("sqlite", database=str(folder / DATABASE)).render_as_string()


def _files_beside(url: str) -> Path:
    """The files of a SQLite record lie beside it; where those of another database are has to be said."""
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite":
        raise ValueError("a record in a database server needs a folder for its files")
    return Path(parsed.database or "").parent / FILES


def _prepare_sqlite(connection: object, _: object) -> None:
    # The driver's own transaction handling is switched off, so that BEGIN IMMEDIATE below is the only one.
    connection.isolation_level = None  # type: ignore[attr-defined]
    cursor = connection.cursor()  # type: ignore[attr-defined]
    for pragma in ("foreign_keys = ON", "synchronous = FULL", "trusted_schema = OFF"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("putback_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
