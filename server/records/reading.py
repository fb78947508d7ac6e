"""Reading every row of a table in the order of its key, even where some rows cannot be read.

A row that was tampered with may hold no date where a date belongs, or no JSON. It must not hide the rows after it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlmodel import Session, SQLModel, col, select

Row = TypeVar("Row", bound=SQLModel)
BATCH = 200


@dataclass(frozen=True, slots=True)
class Unreadable:
    """Stands in the place of a row that cannot be read."""

    key: int


def every(session: Session, table: type[Row], key: Any) -> Iterator[Row | Unreadable]:
    """All rows, read in batches so that a long table never fills the memory; the session forgets each batch."""
    keys = session.exec(select(col(key)).order_by(col(key))).all()
    for start in range(0, len(keys), BATCH):
        yield from _batch(session, table, key, keys[start : start + BATCH])
        session.expunge_all()


def _batch(session: Session, table: type[Row], key: Any, keys: Sequence[int]) -> list[Row | Unreadable]:
    try:
        return [*session.exec(select(table).where(col(key).in_(keys)).order_by(col(key)))]
    except (ValueError, TypeError):
        if len(keys) == 1:
            return [Unreadable(keys[0])]
        return [row for one in keys for row in _batch(session, table, key, [one])]
