"""Is the record whole? The journal's chain, the rules that always hold, and the rows against the journal.

The journal holds every row that was ever written, so replaying it must give the tables as they stand: a row that
was changed, removed or slipped in behind its back is named.
"""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import text
from sqlmodel import Session, col, func, select

from server.records import journal, tables
from server.records.tables import JournalEntry, Part, Placement, Position, Storage
from server.records.tables.base import Kept
from server.records.work import filled

Known = dict[tuple[str, str], dict[str, Any]]
NAMED_MOST = 200


def faults(session: Session) -> Iterator[str]:
    """A sentence for everything that is wrong; none when the record is whole."""
    yield from _database(session)
    yield from journal.broken_links(session)
    yield from _places(session)
    yield from _placements_in_time(session)
    yield from _rows_against_journal(session)


def entries_count(session: Session) -> int:
    return session.exec(select(func.count()).select_from(JournalEntry)).one()


def _database(session: Session) -> Iterator[str]:
    """What the database says of its own file, where it can."""
    if session.get_bind().dialect.name != "sqlite":
        return
    for (said,) in session.connection().execute(text("PRAGMA integrity_check(20)")):
        if said != "ok":
            yield f"The database file is damaged: {said}."
    for table, *_ in session.connection().execute(text("PRAGMA foreign_key_check")):
        yield f"A row of {table} points to a record that is not there."


def _places(session: Session) -> Iterator[str]:
    """Rule 1: a part is in one place."""
    placed = select(Placement.part_id).where(col(Placement.removed_on).is_(None))
    bagged = select(Storage.part_id).where(col(Storage.until).is_(None))
    both = select(Part.id).where(col(Part.id).in_(placed), col(Part.id).in_(bagged))
    yield from (f"Part {part} is at a position and in a bag at once." for part in session.exec(both))
    gone = select(Part.id).where(col(Part.gone).is_not(None), col(Part.id).in_(placed.union(bagged)))
    yield from (f"Part {part} is gone and yet somewhere." for part in session.exec(gone))
    nowhere = select(Part.id).where(col(Part.gone).is_(None), col(Part.id).not_in(placed.union(bagged)))
    yield from (f"Part {part} is in no place that is recorded." for part in session.exec(nowhere))


def _placements_in_time(session: Session) -> Iterator[str]:
    """Rule 1 over time: a position held one part at a time, and nothing left before it came."""
    query = select(Placement).order_by(
        col(Placement.position_id), col(Placement.fitted_on).asc().nulls_first(), col(Placement.id)
    )
    last: Placement | None = None
    for placement in session.exec(query):
        if placement.fitted_on and placement.removed_on and placement.removed_on < placement.fitted_on:
            yield f"Placement {placement.id} ended on {placement.removed_on}, before it began."
        same = last is not None and last.position_id == placement.position_id
        if (
            same
            and last
            and (last.removed_on is None or (placement.fitted_on and placement.fitted_on < last.removed_on))
        ):
            name = session.get_one(Position, placement.position_id).designator
            yield f"Position {name} (number {placement.position_id}) held two parts at once."
        last = placement


def _rows_against_journal(session: Session) -> Iterator[str]:
    known = _replayed(session)
    for table in _tables():
        for row in session.exec(select(table)).yield_per(1000):
            name = str(row.__tablename__)
            told = known.pop((name, str(row.uuid)), None)
            if told is None:
                yield f"{name} {row.id} stands in the record without a journal entry."
            elif differing := sorted(_differences(told, filled(row))):
                yield f"{name} {row.id} differs from what the journal says of it: {', '.join(differing)}."
        session.expunge_all()
    for number, (name, uuid) in enumerate(known):
        if number >= NAMED_MOST:
            yield f"And {len(known) - NAMED_MOST:,} more rows are missing."
            return
        yield f"{name} {uuid} is in the journal and missing from the record."


def _tables() -> list[type[Kept]]:
    found = (getattr(tables, name) for name in tables.__all__)
    return [table for table in found if isinstance(table, type) and issubclass(table, Kept)]


def _replayed(session: Session) -> Known:
    """Every row as the journal leaves it."""
    known: Known = {}
    for entry in journal.entries(session):
        for changed in entry.change:
            key = (changed["table"], changed["uuid"])
            if "before" in changed:
                known.pop(key, None)
            elif "after" in changed:
                known[key] = dict(changed["after"])
            elif key in known:
                known[key].update({name: pair[1] for name, pair in changed["set"].items()})
    return known


def _differences(told: dict[str, Any], stands: dict[str, Any]) -> Iterator[str]:
    for name in told.keys() | stands.keys():
        if (told.get(name) or None) != (stands.get(name) or None):
            yield name
