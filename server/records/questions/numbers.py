"""Numbers that people write on notes and labels: none is given twice, not even after what bore it was taken off."""

from typing import Any

from sqlmodel import Session, col, func, select

from server.records.tables import JournalEntry


def next_ever(session: Session, table: Any, act: str, **of: int) -> int:
    """The number after the highest that any row of a table ever had, of those whose columns `of` are these.

    Rows that are no longer there stand in the journal, in the entries of the act that took them off; two queries.
    """
    stands = select(func.max(table.number)).where(*(getattr(table, name) == value for name, value in of.items()))
    acts = select(JournalEntry.change).where(col(JournalEntry.act) == act)
    gone = [
        row["before"]["number"]
        for change in session.exec(acts)
        for row in change
        if row["table"] == table.__tablename__ and of.items() <= row.get("before", {}).items()
    ]
    return int(max([session.exec(stands).one() or 0, *gone])) + 1
