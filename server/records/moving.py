"""Moving a record from SQLite to PostgreSQL, or back: all of it, compared, or nothing.

The source is read in one transaction, so that it is of one moment, and nothing is written there. The target is written
in one transaction too; a SQLite file is written in a folder of its own and takes its name last.
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from alembic import command
from sqlalchemy import Connection, Table, func, inspect, select
from sqlmodel import Session, col

from server.records import journal, migrate
from server.records.copied import KEPT_FILES
from server.records.errors import Damaged, Refused
from server.records.files import FileStore, sync_file, sync_folder, written_beside
from server.records.store import DATABASE, FILES, Store, open_engine, sqlite_url, take_turn
from server.records.table_copy import Content, content_of, copy_table, point_onward, set_counters, tables
from server.records.tables import JournalEntry
from server.records.work import Heard

OLDEST_POSTGRESQL = 15


@dataclass(frozen=True, slots=True)
class Moved:
    """What was moved. `missed` entries were written into the source meanwhile, and are not in the target."""

    entries: int
    tables: dict[str, Content]
    files: int
    missed: int

    @property
    def rows(self) -> int:
        return sum(one.rows for one in self.tables.values())


Fill = Callable[[Connection], dict[str, Content]]


def move_to_postgresql(source: Store, url: str, heard: Heard) -> Moved:
    """Into an empty PostgreSQL database; the files stay where they are. Raises Refused and Damaged."""
    with source.engine.connect() as moment:
        entries = _last_entry(moment)
        content = _written(url, lambda target: _fill(moment, target, heard))
    return Moved(entries, content, 0, _newest_entry(source) - entries)


def move_to_folder(source: Store, folder: Path, heard: Heard) -> Moved:
    """Into a new SQLite file in a folder, with the files unless they lie there already. Raises Refused and Damaged."""
    place = folder / DATABASE
    if place.exists():
        raise Refused(f"There is a record in {folder} already. Name an empty folder; nothing was changed.")
    folder.mkdir(parents=True, exist_ok=True)
    with source.engine.connect() as moment, TemporaryDirectory(prefix=".putback-", dir=folder) as beside:
        entries = _last_entry(moment)
        content = _written(sqlite_url(Path(beside)), lambda target: _fill(moment, target, heard))
        files = _copy_files(moment, source.files, FileStore(folder / FILES))
        sync_file(Path(beside) / DATABASE)
        place.hardlink_to(Path(beside) / DATABASE)  # unlike a rename, it never takes the place of another record
        sync_folder(folder)
    return Moved(entries, content, files, _newest_entry(source) - entries)


def _written(url: str, fill: Fill) -> dict[str, Content]:
    engine = open_engine(url)
    try:
        writing = engine.execution_options(putback_writes=True)
        if engine.dialect.name == "postgresql":
            # Of two that move into one database, the second must see that it is not empty any more.
            writing = writing.execution_options(isolation_level="READ COMMITTED")
        with writing.begin() as target:
            take_turn(target)
            _expect_empty(target)
            return fill(target)
    finally:
        engine.dispose()


def _expect_empty(target: Connection) -> None:
    version = target.dialect.server_version_info
    if target.dialect.name == "postgresql" and version and int(version[0]) < OLDEST_POSTGRESQL:
        raise Refused(f"That is PostgreSQL {version[0]}; a record needs {OLDEST_POSTGRESQL} or later.")
    if inspect(target).get_table_names():
        raise Refused("That database is not empty. A record is moved into an empty one only; nothing was changed.")


def _fill(moment: Connection, target: Connection, heard: Heard) -> dict[str, Content]:
    """The schema, every table, and the proof that all of it arrived."""
    command.upgrade(migrate.configuration(target), "head")
    every = tables()
    for number, table in enumerate(every):
        heard(number, 2 * len(every))
        copy_table(moment, target, table)
    for table in every:
        point_onward(moment, target, table)
        set_counters(target, table)
    content = {}
    for number, table in enumerate(every):
        heard(len(every) + number, 2 * len(every))
        content[table.name] = _same(moment, target, table)
    _expect_chain(target)
    heard(2 * len(every), 2 * len(every))
    return content


def _same(moment: Connection, target: Connection, table: Table) -> Content:
    was, stands = content_of(moment, table), content_of(target, table)
    if was != stands:
        raise Damaged(
            f"The table {table.name} did not arrive as it was ({was.rows:,} rows there, {stands.rows:,} here). "
            "Nothing was moved."
        )
    return stands


def _expect_chain(target: Connection) -> None:
    with Session(target) as session:
        for said in journal.broken_links(session):
            raise Damaged(f"{said} Nothing was moved; see what `putback check` says of the record.")


def _last_entry(connection: Connection) -> int:
    return int(connection.execute(select(func.max(col(JournalEntry.seq)))).scalar_one() or 0)


def _newest_entry(source: Store) -> int:
    with closing(source.engine.connect()) as connection:
        return _last_entry(connection)


def _copy_files(moment: Connection, source: FileStore, target: FileStore) -> int:
    """Every file that the rows name, each against its digest; none where both are the same folder."""
    if source.root.resolve() == target.root.resolve():
        return 0
    named = [column for table in tables() for column in table.columns if column.name in KEPT_FILES]
    digests = {digest for column in named for digest in moment.execute(select(column).distinct()).scalars() if digest}
    for digest in sorted(digests):
        place = target.path(digest)
        with written_beside(place) as beside, beside.open("xb") as file:
            for piece in source.pieces(digest):
                file.write(piece)
        sync_file(place)
        sync_folder(place.parent)
    return len(digests)
