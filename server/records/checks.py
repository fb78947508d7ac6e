"""Is the record whole? The journal's chain, the rules that always hold, and the rows against the journal.

The journal holds every row that was ever written, so replaying it must give the tables as they stand: a row that
was changed, removed or slipped in behind its back is named.
"""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, col, func, select

from server.records import journal, tables
from server.records.errors import Damaged
from server.records.file_facts import BadFile, facts_of
from server.records.files import FileStore
from server.records.reading import Unreadable, every
from server.records.rules import RULES
from server.records.sheet_records import BadRecord, read_record
from server.records.tables import AttachedFile, DossierImport, JournalEntry, Machine, Photograph, SignedSheet, Waveform
from server.records.tables.base import Kept
from server.records.work import UNJOURNALLED, filled, signed

Known = dict[tuple[str, str], dict[str, Any]]
NAMED_MOST = 200
NOTHING: tuple[object, ...] = (None, "", [], {})


def faults(session: Session, files: FileStore) -> Iterator[str]:
    """A sentence for everything that is wrong; none when the record is whole."""
    yield from _as_far_as_it_goes(session, _database)
    yield from _as_far_as_it_goes(session, _rows_against_journal)
    yield from _as_far_as_it_goes(session, partial(_files, files))
    for rule in RULES:
        yield from _as_far_as_it_goes(session, rule)


def entries_count(session: Session) -> int:
    return session.exec(select(func.count()).select_from(JournalEntry)).one()


def _as_far_as_it_goes(session: Session, check: Callable[[Session], Iterator[str]]) -> Iterator[str]:
    """What cannot be read stops its own check and no other."""
    named = check.func if isinstance(check, partial) else check
    about = (named.__doc__ or "").partition(".")[0]
    try:
        yield from check(session)
    except DBAPIError as fault:
        session.rollback()
        yield f"The database gave up while this was checked: {about}. It said: {str(fault.orig).partition(chr(10))[0]}."
    except (ValueError, TypeError):
        yield f"This could not be checked, because a row cannot be read: {about}."


def _database(session: Session) -> Iterator[str]:
    """The database file itself, where the database can tell."""
    if session.get_bind().dialect.name != "sqlite":
        return
    for (said,) in session.connection().execute(text("PRAGMA integrity_check(20)")):
        if said != "ok":
            yield f"The database file is damaged: {said}."
    for table, *_ in session.connection().execute(text("PRAGMA foreign_key_check")):
        yield f"A row of {table} points to a record that is not there."


def _files(files: FileStore, session: Session) -> Iterator[str]:
    """Every file that the record names, against its digest."""
    names = [select(Waveform.sha256, Waveform.file_name), select(Photograph.sha256, Photograph.file_name)]
    for digest, name in sorted({row for query in names for row in session.exec(query)}):
        try:
            files.read(digest)
        except Damaged as damage:
            yield f"{name}: {damage}"
    for file in session.exec(select(AttachedFile).order_by(col(AttachedFile.id))):
        yield from _attached(files, file)
    for brought in session.exec(select(DossierImport).order_by(col(DossierImport.id))):
        yield from _brought(files, brought)
    query = select(SignedSheet, Machine).join(Machine, col(Machine.id) == col(SignedSheet.machine_id))
    for sheet, machine in session.exec(query.order_by(col(SignedSheet.id))):
        yield from _sheet(files, sheet, machine)


def _brought(files: FileStore, brought: DossierImport) -> Iterator[str]:
    """What came with a dossier is there as it came."""
    for digest in filter(None, (brought.sha256, brought.journal_sha256)):
        try:
            files.read(digest)
        except Damaged as damage:
            yield f"The dossier of {brought.made_on or 'an unknown day'}: {damage}"


def _sheet(files: FileStore, sheet: SignedSheet, machine: Machine) -> Iterator[str]:
    """A signed sheet has its pages, and the record of its own machine."""
    name = f"Mod sheet {sheet.number} of {machine.tag}"
    try:
        files.read(sheet.pdf_sha256)
        if read_record(files.read(sheet.sha256)).machine != machine.uuid:
            yield f"{name} bears the record of another machine."
    except (Damaged, BadRecord) as fault:
        yield f"{name}: {fault}"


def _attached(files: FileStore, file: AttachedFile) -> Iterator[str]:
    """A file that is told of by several digests has each of them."""
    try:
        facts = facts_of(files.read(file.sha256))
    except Damaged as damage:
        yield f"{file.file_name}: {damage}"
    except BadFile as fault:
        yield f"{file.file_name}: {fault}"
    else:
        for what, told, found in (("CRC-32", file.crc32, facts.crc32), ("SHA-1", file.sha1, facts.sha1)):
            if told != found:
                yield f"{file.file_name}: its {what} is {found}, and not {told} as the record says."


def _rows_against_journal(session: Session) -> Iterator[str]:
    """The journal's chain, and every row against what the journal says of it (rule 6)."""
    known: Known = {}
    yield from journal.broken_links(session, lambda entry: _replay(known, entry))
    for table in _tables():
        yield from _table_against(known, session, table)
    for number, (name, uuid) in enumerate(known):
        if number >= NAMED_MOST:
            yield f"And {len(known) - NAMED_MOST:,} more rows are missing."
            return
        yield f"{name} {uuid} is in the journal and missing from the record."


def _tables() -> list[type[Kept]]:
    found = (getattr(tables, name) for name in tables.__all__)
    return [table for table in found if isinstance(table, type) and issubclass(table, Kept)]


def _table_against(known: Known, session: Session, table: type[Kept]) -> Iterator[str]:
    name = str(table.__tablename__)
    usual = _usual(table)
    for row in every(session, table, table.id):
        if isinstance(row, Unreadable):
            yield f"{name} {row.key} cannot be read: it was changed behind the journal's back."
            continue
        told = known.pop((name, str(row.uuid)), None)
        if told is None:
            yield f"{name} {row.id} stands in the record without a journal entry."
        elif differing := sorted(_differences(usual | told, filled(row) | signed(row))):
            yield f"{name} {row.id} differs from what the journal says of it: {', '.join(differing)}."


def _usual(table: type[Kept]) -> dict[str, Any]:
    """At what a column stands in rows whose entry is older than the column."""
    fields = {name: field for name, field in table.model_fields.items() if name not in UNJOURNALLED}
    return {name: field.default for name, field in fields.items() if not (field.is_required() or field.default_factory)}


def _replay(known: Known, entry: JournalEntry) -> None:
    """Carry one entry's changes over to what is known; changes of no known shape are left, their entry is named."""
    for changed in entry.change if isinstance(entry.change, list) else ():
        match changed:
            case {"table": str(name), "uuid": str(uuid), "before": _}:
                known.pop((name, uuid), None)
            case {"table": str(name), "uuid": str(uuid), "after": dict(after)}:
                by = {"created_by": entry.who, "created_at": entry.at.isoformat()}
                known[name, uuid] = by | after  # what came from elsewhere says itself who made it
            case {"table": str(name), "uuid": str(uuid), "set": dict(pairs)} if (name, uuid) in known:
                known[name, uuid].update({column: pair[-1] for column, pair in pairs.items() if pair})


def _differences(told: dict[str, Any], stands: dict[str, Any]) -> Iterator[str]:
    for name in told.keys() | stands.keys():
        if _held(told.get(name)) != _held(stands.get(name)):
            yield name


def _held(value: object) -> object:
    """An empty column holds nothing, whichever way it is empty; zero is something."""
    return None if value in NOTHING else value
