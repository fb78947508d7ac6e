"""A copy of a SQLite record's database: taken while others write, and what it tells of itself.

Of a copy's own tables it is asked what they are, so that one of an older schema is read as well. Whether it is whole is
told by `checks`, on a copy of the copy that is first brought up to date; the copy itself stays as it was taken.
"""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy.exc import DBAPIError

from server.records import checks, migrate
from server.records.errors import Damaged
from server.records.files import sync_file
from server.records.store import DATABASE, WRITE_LOCK_WAIT_S, Store, sqlite_url

# Columns that name a file of the files folder; a test asks for each new digest in the tables on which side it is.
KEPT_FILES = {"sha256", "pdf_sha256", "journal_sha256"}
OTHER_DIGESTS = {"sent_sha256", "headings_sha256"}


@dataclass(frozen=True, slots=True)
class Told:
    """What a database says of itself: its schema, where its journal ends, how many rows each table has, its files."""

    schema: str
    seq: int
    hash: str
    rows: dict[str, int]
    files: frozenset[str]


def copy_database(source: Path, place: Path) -> None:
    """One moment of the database as one plain file, durably; nobody waits for it. Raises Damaged and OSError.

    Written by SQLite itself, which knows what of its log belongs to that moment; no other way of reading the file does.
    """
    if not source.is_file():
        raise Damaged(f"There is no database {source}.")
    with _as_damage(source.name), closing(_opened(source, "rw")) as record, closing(sqlite3.connect(place)) as copy:
        record.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # it is read where nothing can be written beside it, too
        for (said,) in copy.execute("PRAGMA integrity_check(1)"):
            if said != "ok":
                raise Damaged(f"The database file is damaged: {said}.")
    sync_file(place)


def told_by(place: Path) -> Told:
    """What a copy says of itself. Raises Damaged where it is none of ours, or cannot be read."""
    with _as_damage("The copy's database"), closing(_opened(place, "ro")) as copy:
        there = [name for (name,) in copy.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        if not {"journal", "alembic_version"} <= set(there):
            raise Damaged("The copy's database holds tables that are not Putback's.")
        rows = {name: _count(copy, name) for name in sorted(there)}
        schema = copy.execute("SELECT max(version_num) FROM alembic_version").fetchone()[0]
        last = copy.execute("SELECT seq, hash FROM journal ORDER BY seq DESC LIMIT 1").fetchone() or (0, "")
        return Told(str(schema), int(last[0]), str(last[1]), rows, frozenset(_files_named(copy, there)))


def faults_of(place: Path, files: Path) -> list[str]:
    """Everything that `putback check` would say of a copy with these files. Raises Damaged for a newer one's."""
    with TemporaryDirectory(prefix=".putback-", dir=place.parent) as folder:
        shutil.copyfile(place, Path(folder) / DATABASE)
        with _as_damage("The copy's database"), closing(Store(sqlite_url(Path(folder)), files)) as store:
            migrate.upgrade(store.engine)
            with store.reading() as session:
                return list(checks.faults(session, store.files))


def _files_named(copy: sqlite3.Connection, tables: list[str]) -> Iterator[str]:
    for table in tables:
        for column in (row[1] for row in copy.execute(f"PRAGMA table_info({_quoted(table)})")):
            if column in KEPT_FILES:
                query = f"SELECT DISTINCT {_quoted(column)} FROM {_quoted(table)}"  # noqa: S608 (names of its own)
                yield from (digest for (digest,) in copy.execute(query) if digest)


def _count(copy: sqlite3.Connection, table: str) -> int:
    return int(copy.execute(f"SELECT count(*) FROM {_quoted(table)}").fetchone()[0])  # noqa: S608 (a name of its own)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _opened(place: Path, mode: str) -> sqlite3.Connection:
    return sqlite3.connect(f"{place.resolve().as_uri()}?mode={mode}", uri=True, timeout=WRITE_LOCK_WAIT_S)


@contextmanager
def _as_damage(what: str) -> Iterator[None]:
    """SQLite's complaint as the house's own."""
    try:
        yield
    except (sqlite3.Error, DBAPIError) as fault:
        said = str(fault.orig if isinstance(fault, DBAPIError) else fault).partition("\n")[0]
        raise Damaged(f"{what} could not be copied or read: {said}.") from fault
