"""Reading the journal: what was done, by whom and when, for everything or for one machine."""

from dataclasses import dataclass
from datetime import datetime

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
    JournalEntry.seq,
    JournalEntry.at,
    JournalEntry.who,
    JournalEntry.act,
    JournalEntry.words,
    JournalEntry.hash,
)


def words_of(session: Session, seq: int) -> str | None:
    """What one entry says."""
    return session.exec(select(JournalEntry.words).where(JournalEntry.seq == seq)).first()


def told(session: Session, number: int, machine: Machine | None = None, most: int = 50) -> Paged[Told]:
    """A page of the journal, the latest first."""
    query = select(*TOLD).order_by(col(JournalEntry.seq).desc())  # type: ignore[call-overload]
    if machine is not None:
        query = query.where(JournalEntry.machine == machine.uuid)
    found = paged(session, query, number, most)
    return Paged([Told(*row) for row in found.rows], found.number, found.last, found.total)
