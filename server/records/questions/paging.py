"""Lists are paged in SQL: which rows of how many."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Generic, TypeVar

from sqlalchemy import bindparam
from sqlmodel import Session, func, select

Row = TypeVar("Row")
MOST = 50


# A statement that is built once for all requests is counted and cut once too.
_counting = lru_cache(lambda query: select(func.count()).select_from(query.order_by(None).subquery()))


@lru_cache
def _cut(query: Any) -> Any:
    return query.offset(bindparam("_start")).limit(bindparam("_most"))


@dataclass(frozen=True, slots=True)
class Paged(Generic[Row]):
    """One page of a list, which page it is, the last page's number, and how many rows there are in all."""

    rows: Sequence[Row]
    number: int
    last: int
    total: int


def paged(session: Session, query: Any, number: int, most: int = MOST, **given: object) -> Paged[Any]:
    """Run a select for one page, with the values `given` for its parameters; two queries, however long the list."""
    total = session.exec(_counting(query), params=given).one()
    last = max(1, -(-total // most))
    number = min(max(1, number), last)
    page = {"_start": (number - 1) * most, "_most": most}
    rows = session.exec(_cut(query), params=page | given).all()
    return Paged(rows, number, last, total)
