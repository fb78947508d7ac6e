"""Reading the journal: what was done, by whom and when, for everything or for one machine."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, bindparam, or_, union
from sqlalchemy import select as columns
from sqlmodel import Session, col, func, select

from server.records.questions.paging import Paged, paged
from server.records.tables import Board, BoardStay, JournalEntry, Machine

READ_AT_ONCE = 200
ALIKE_MOST = 3  # entries of one act in a row that are each told; of more the first is, and how many follow


@dataclass(frozen=True, slots=True)
class Told:
    """One journal entry in plain words, without the rows it changed."""

    seq: int
    at: datetime
    who: str
    act: str
    words: str
    hash: str


@dataclass(frozen=True, slots=True)
class Run:
    """One entry, and those right after it that are more of the same, such as the pins of one long evening."""

    first: Told
    more: list[Told]


def runs(entries: Iterable[Told]) -> list[Run]:
    """Entries with long rows of one act by one person folded, in their order."""
    found: list[Run] = []
    for _, alike in groupby(entries, key=lambda one: (one.act, one.who)):
        first, *more = alike
        if len(more) < ALIKE_MOST:
            found += [Run(one, []) for one in (first, *more)]
        else:
            found.append(Run(first, more))
    return found


TOLD = (
    col(JournalEntry.seq),
    col(JournalEntry.at),
    col(JournalEntry.who),
    col(JournalEntry.act),
    col(JournalEntry.words),
    col(JournalEntry.hash),
)


def came_in(machine: Any) -> Select[int]:
    """The entries by which boards came into the machine of this key; each is another machine's by its own word."""
    return (
        columns(col(JournalEntry.seq))
        .join(Board, col(Board.uuid) == col(JournalEntry.subject))
        .join(BoardStay, and_(col(BoardStay.board_id) == col(Board.id), col(BoardStay.created_at) == JournalEntry.at))
        .where(col(BoardStay.machine_id) == machine, col(BoardStay.since).is_not(None))
    )


def about(machine: Machine) -> ColumnElement[bool]:
    """The condition that an entry is about a machine."""
    return or_(col(JournalEntry.machine) == machine.uuid, col(JournalEntry.seq).in_(came_in(machine.key)))


_OWN = (
    columns(col(JournalEntry.seq))
    .where(col(JournalEntry.machine) == bindparam("machine"))
    .order_by(col(JournalEntry.seq).desc())
    .limit(bindparam("most"))
    .subquery()
)
# The latest of its own are cut first: a long journal is not sorted for the sake of a few boards that came.
LATEST = (
    columns(*TOLD)
    .where(col(JournalEntry.seq).in_(union(columns(_OWN.c.seq), came_in(bindparam("key")))))
    .order_by(col(JournalEntry.seq).desc())
    .limit(bindparam("most"))
)


def words_of(session: Session, seq: int) -> str | None:
    """What one entry says."""
    return session.exec(select(JournalEntry.words).where(JournalEntry.seq == seq)).first()


def last_seq(session: Session) -> int:
    """The number of the last entry of all; 0 where nothing is written yet."""
    return session.exec(select(func.max(JournalEntry.seq))).one() or 0


def latest(session: Session, machine: Machine, most: int) -> list[Told]:
    """The last entries on a machine, the latest first."""
    given = {"machine": machine.uuid, "key": machine.key, "most": most}
    return [Told(*row) for row in session.connection().execute(LATEST, given).all()]


def told(session: Session, number: int, machine: Machine | None = None, most: int = 50) -> Paged[Told]:
    """A page of the journal, the latest first."""
    query = columns(*TOLD).order_by(col(JournalEntry.seq).desc())
    if machine is not None:
        query = query.where(about(machine))
    found = paged(session, query, number, most)
    return Paged([Told(*row) for row in found.rows], found.number, found.last, found.total)


def entries_about(session: Session, machine: Machine) -> Iterator[JournalEntry]:
    """Every entry about a machine, the first first; read a few at a time, because they hold all that was changed."""
    yield from session.exec(
        select(JournalEntry)
        .where(about(machine))
        .order_by(col(JournalEntry.seq))
        .execution_options(yield_per=READ_AT_ONCE)
    )
