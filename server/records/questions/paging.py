"""Lists are paged in SQL: which rows of how many."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlmodel import Session, func, select

Row = TypeVar("Row")
MOST = 50


@dataclass(frozen=True, slots=True)
class Paged(Generic[Row]):
    """One page of a list, which page it is, the last page's number, and how many rows there are in all."""

    rows: Sequence[Row]
    number: int
    last: int
    total: int


def paged(session: Session, query: Any, number: int, most: int = MOST) -> Paged[Any]:
    """Run a select for one page; two queries, however long the list."""
    total = session.exec(select(func.count()).select_from(query.order_by(None).subquery())).one()
    last = max(1, -(-total // most))
    number = min(max(1, number), last)
    rows = session.exec(query.offset((number - 1) * most).limit(most)).all()
    return Paged(rows, number, last, total)
