"""Lists are paged in SQL: which rows of how many."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Generic, TypeVar

from sqlalchemy import bindparam
from sqlmodel import Session, func, select

Row = TypeVar("Row")
MOST = 50


@dataclass(frozen=True, slots=True)
class Page:
    """One page of a list: its number, the last one's, how many rows there are in all, and how many come before it."""

    number: int
    last: int
    total: int
    start: int


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


def page_in(total: int, number: int, most: int) -> Page:
    """Which page of so many rows is meant, within what there is."""
    last = max(1, -(-total // most))
    number = min(max(1, number), last)
    return Page(number, last, total, (number - 1) * most)


def page_of(session: Session, query: Any, number: int, most: int, **given: object) -> Page:
    """Which page of a select is meant, within what there is."""
    return page_in(session.exec(_counting(query), params=given).one(), number, most)


def paged_list(rows: Sequence[Row], number: int, most: int) -> Paged[Row]:
    """One page of rows that had to be read whole, for what is told of all of them."""
    page = page_in(len(rows), number, most)
    return Paged(rows[page.start : page.start + most], page.number, page.last, page.total)


def paged(session: Session, query: Any, number: int, most: int = MOST, **given: object) -> Paged[Any]:
    """Run a select for one page, with the values `given` for its parameters; two queries, however long the list."""
    page = page_of(session, query, number, most, **given)
    rows = session.exec(_cut(query), params={"_start": page.start, "_most": most} | given).all()
    return Paged(rows, page.number, page.last, page.total)
