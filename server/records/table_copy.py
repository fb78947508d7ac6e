"""Every table of a record from one open database into another, and what tells whether it arrived: rows and a digest.

The tables come from the metadata, so that a new one is copied without a word here. Rows are read in the order of their
keys and in batches, so that a long table never fills the memory.
"""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Column, Connection, Row, String, Table, bindparam, collate, delete, func, insert, select, text
from sqlalchemy.exc import DBAPIError
from sqlmodel import SQLModel

from server.records.errors import Refused

BATCH = 500


@dataclass(frozen=True, slots=True)
class Content:
    """What a table holds: the same in both kinds of database where the same is in it."""

    rows: int
    digest: str


def tables() -> list[Table]:
    """All of the record's tables, each after those that it points to."""
    return list(SQLModel.metadata.sorted_tables)


def content_of(connection: Connection, table: Table) -> Content:
    """How many rows a table has, and the SHA-256 of them all in the order of their keys."""
    running, rows = hashlib.sha256(), 0
    for batch in _batches(connection, table, _stored(table)):
        for row in batch:
            running.update(_canonical(row))
        rows += len(batch)
    return Content(rows, running.hexdigest())


def copy_table(source: Connection, target: Connection, table: Table) -> None:
    """Copy a table's rows; where they point to rows that come later stays empty until `point_onward`."""
    columns, later = _stored(table), {column.name for column in _onward(table)}
    if target.execute(select(func.count()).select_from(table)).scalar_one():
        target.execute(delete(table))  # what a migration put into an empty record
    for batch in _batches(source, table, columns):
        told = [_as_told(columns, row, later) for row in batch]
        _carry(target, table, insert(table), told)


def point_onward(source: Connection, target: Connection, table: Table) -> None:
    """Fill in what `copy_table` left empty."""
    onward, keys = _onward(table), list(table.primary_key)
    if not onward:
        return
    change = table.update().values({column.name: bindparam(f"to_{column.name}") for column in onward})
    for key in keys:
        change = change.where(key == bindparam(f"at_{key.name}"))
    for batch in _batches(source, table, [*keys, *onward]):
        told = [_named(keys, "at_", row) | _named(onward, "to_", row[len(keys) :]) for row in batch]
        if pointing := [one for one in told if any(one[f"to_{column.name}"] is not None for column in onward)]:
            _carry(target, table, change, pointing)


def set_counters(target: Connection, table: Table) -> None:
    """Let PostgreSQL's next key be a free one; SQLite looks for itself."""
    key = table.autoincrement_column
    if target.dialect.name != "postgresql" or key is None:
        return
    quoted = target.dialect.identifier_preparer.quote(table.name)
    counter = target.execute(select(func.pg_get_serial_sequence(quoted, key.name))).scalar_one()
    if counter is not None:
        highest = target.execute(select(func.max(key))).scalar_one()
        values = {"counter": counter, "at": highest or 1, "taken": highest is not None}
        target.execute(text("SELECT setval(CAST(:counter AS regclass), :at, :taken)"), values)


def _stored(table: Table) -> list[Column[Any]]:
    """The columns that are written, and not worked out by the database."""
    return [column for column in table.columns if column.computed is None]


def _onward(table: Table) -> list[Column[Any]]:
    """Columns that point to rows of the same table or of a later one."""
    order = {one: number for number, one in enumerate(tables())}
    return [
        column
        for column in _stored(table)
        if column.nullable and any(order[key.column.table] >= order[table] for key in column.foreign_keys)
    ]


def _batches(connection: Connection, table: Table, columns: Sequence[Column[Any]]) -> Iterator[Sequence[Row[Any]]]:
    ordered = [_in_order(connection, key) for key in table.primary_key]
    query = select(*columns).order_by(*ordered)
    with connection.execute(query, execution_options={"yield_per": BATCH}) as found:
        yield from found.partitions()


def _in_order(connection: Connection, key: Column[Any]) -> Any:
    """Text by its code points in both, whatever language PostgreSQL sorts in."""
    return collate(key, "C") if connection.dialect.name == "postgresql" and isinstance(key.type, String) else key


def _as_told(columns: Sequence[Column[Any]], row: Row[Any], later: set[str]) -> dict[str, Any]:
    pairs = zip(columns, row, strict=True)
    return {column.name: None if column.name in later else value for column, value in pairs}


def _named(columns: Sequence[Column[Any]], before: str, values: Sequence[Any]) -> dict[str, Any]:
    return {f"{before}{column.name}": value for column, value in zip(columns, values, strict=False)}


def _carry(target: Connection, table: Table, statement: Any, told: list[dict[str, Any]]) -> None:
    if target.dialect.name == "postgresql":
        _expect_no_nul(table, told)
    try:
        target.execute(statement, told)
    except DBAPIError as fault:
        said = str(fault.orig).partition("\n")[0]
        raise Refused(f"A row of {table.name} cannot be kept there: {said}. Nothing was moved.") from fault


def _expect_no_nul(table: Table, told: list[dict[str, Any]]) -> None:
    for row in told:
        if columns := [name for name, value in row.items() if isinstance(value, str) and "\0" in value]:
            keys = ", ".join(str(row.get(key.name)) for key in table.primary_key)
            raise Refused(
                f"{table.name} {keys} holds a NUL character in {columns[0]}, which PostgreSQL cannot keep. "
                "Nothing was moved."
            )


def _canonical(row: Row[Any]) -> bytes:
    return (json.dumps(list(row), sort_keys=True, separators=(",", ":"), default=_in_words) + "\n").encode()


def _in_words(value: object) -> str:
    """Moments, days, UUIDs and exact numbers: each kind of database gives them as the same Python value."""
    return str(value)
