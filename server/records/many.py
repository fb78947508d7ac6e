"""Storing many new rows of one table at once, where building an object for each would take far longer than the writing.

The rows come out as if each had been added by itself: with its UUID, with who and when, and in the same journal entry.
That what they hold is complete and right is the command's to see to.
"""

from collections.abc import Sequence
from typing import Any
from uuid import uuid4

from sqlalchemy import insert

from server.records.tables.base import Kept
from server.records.work import UNJOURNALLED, Work, plain

EMPTY: tuple[object, ...] = (None, "", [], {})


def add_many(work: Work, kind: type[Kept], rows: Sequence[dict[str, Any]]) -> list[int]:
    """Store rows given by their columns, the others at their usual values; their keys, in the same order."""
    if not rows:
        return []
    table = kind.__table__  # type: ignore[attr-defined]
    usual = _usual(kind)
    whole = [usual | row | _signed(work) for row in rows]
    asked = insert(table).returning(table.c.id, sort_by_parameter_order=True)
    keys = [int(key) for key in work.session.scalars(asked, whole)]
    for key, row in zip(keys, whole, strict=True):
        _journal(work, str(table.name), row | {"id": key})
    return keys


def _usual(kind: type[Kept]) -> dict[str, Any]:
    """What a column holds of which nothing is said; those that are made anew for each row are not among them."""
    fields = kind.model_fields.items()
    usual = {name: field.default for name, field in fields if not field.is_required() and not field.default_factory}
    del usual["id"]
    return usual


def _signed(work: Work) -> dict[str, Any]:
    return {"uuid": uuid4(), "version": 1, "created_at": work.at, "created_by": work.who}


def _journal(work: Work, table: str, row: dict[str, Any]) -> None:
    uuid = str(row["uuid"])
    said = {name: plain(value) for name, value in row.items() if name not in UNJOURNALLED | {"uuid"}}
    after = {name: value for name, value in said.items() if value not in EMPTY}
    work.changes[table, uuid] = {"table": table, "uuid": uuid, "after": after}
