"""Reading the journal: what was done, by whom and when, for everything or for one machine."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import bindparam
from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from server.records.questions.paging import Paged, paged
from server.records.tables import JournalEntry, Machine


@dataclass(frozen=True, slots=True)
class Told:
    """One journal entry in plain words, without the rows it changed."""

    seq: int
    at: datetime
    who: str
    act: str
    words: str
    hash: str


TOLD = (
    col(JournalEntry.seq),
    col(JournalEntry.at),
    col(JournalEntry.who),
    col(JournalEntry.act),
    col(JournalEntry.words),
    col(JournalEntry.hash),
)


LATEST = (
    columns(*TOLD)
    .where(col(JournalEntry.machine) == bindparam("machine"))
    .order_by(col(JournalEntry.seq).desc())
    .limit(bindparam("most"))
)


def words_of(session: Session, seq: int) -> str | None:
    """What one entry says."""
    return session.exec(select(JournalEntry.words).where(JournalEntry.seq == seq)).first()


def latest(session: Session, machine: Machine, most: int) -> list[Told]:
    """The last entries on a machine, the latest first."""
    given = {"machine": machine.uuid, "most": most}
    return [Told(*row) for row in session.connection().execute(LATEST, given).all()]


def told(session: Session, number: int, machine: Machine | None = None, most: int = 50) -> Paged[Told]:
    """A page of the journal, the latest first."""
    query = columns(*TOLD).order_by(col(JournalEntry.seq).desc())
    if machine is not None:
        query = query.where(col(JournalEntry.machine) == machine.uuid)
    found = paged(session, query, number, most)
    return Paged([Told(*row) for row in found.rows], found.number, found.last, found.total)
