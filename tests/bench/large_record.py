"""The busiest pages of a record with a million parts on 5,000 machines, against one with a thousand on fifty.

The first machine is the same in both. Rows are laid in by the database's own bulk inserts: what is measured is reading.
`PUTBACK_BENCH_POSTGRES=yes` asks it of PostgreSQL.
"""

import asyncio
import os
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, date, datetime
from itertools import islice
from pathlib import Path
from typing import Any
from uuid import uuid4

from fastapi import FastAPI
from sqlalchemy import Table, insert, text
from sqlmodel import Session, SQLModel

from server.app import create_app
from server.records.tables import Board, Machine, Part, Placement, Position, Storage
from server.settings import Settings
from tests.bench.machine_page import measured
from tests.databases import Databases, running_postgres

SMALL, LARGE = (50, 20), (5_000, 200)  # machines, and parts on each but the first, which has as many in both
FIRST_HAS = 20
A_BAG_IN = 10
ROUNDS, AT_ONCE = 60, 5_000
PAGES = {"shelf": "/", "machine page": "/machines/TM-00001", "kept-aside list": "/kept-aside"}
AIM = 2.0
TYPES = ("74LS00", "7406", "4164", "6502", "LM339", "1N4148", "74LS245", "2114")


def main() -> None:
    small, large = _medians(*SMALL), _medians(*LARGE)
    for words in PAGES:
        few, many = small[words], large[words]
        ratio = f"ratio {many / few:.2f} (aim: at most {AIM})"
        print(f"{words}: {many * 1e3:.1f} ms with 1,000,000 parts, {few * 1e3:.1f} ms with 1,000, {ratio}")


def _medians(machines: int, parts: int) -> dict[str, float]:
    with _record() as app:
        with app.state.store.noting() as session:
            _fill(session, machines, parts)
        with app.state.store.noting() as session:
            session.execute(text("ANALYZE"))
        return {words: asyncio.run(measured(app, path, lambda: None, ROUNDS))[0] for words, path in PAGES.items()}


@contextmanager
def _record() -> Iterator[FastAPI]:
    with ExitStack() as stack:
        folder, url = stack.enter_context(tempfile.TemporaryDirectory()), ""
        if os.environ.get("PUTBACK_BENCH_POSTGRES") == "yes":
            url = stack.enter_context(Databases(stack.enter_context(running_postgres())).empty()).replace(
                "+psycopg", ""
            )
        settings = Settings(data=Path(folder), allowed_hosts=["bench"], log_level="error", database_url=url, keeper="B")
        app = create_app(settings)
        stack.callback(app.state.store.close)
        yield app


def _fill(session: Session, machines: int, parts: int) -> None:
    numbers = range(1, machines + 1)
    _lay_in(session, Machine, (_machine(n) for n in numbers))
    _lay_in(session, Board, (_board(n) for n in numbers))
    held = [(n, k) for n in numbers for k in range(1, (FIRST_HAS if n == 1 else parts) + 1)]
    _lay_in(session, Position, (_position(key, n, k) for key, (n, k) in enumerate(held, start=1)))
    _lay_in(session, Part, (_part(key) for key in range(1, len(held) + 1)))
    keys = range(1, len(held) + 1)
    _lay_in(session, Placement, (_row(part_id=key, position_id=key) for key in keys if key % A_BAG_IN))
    _lay_in(session, Storage, (_bag(key) for key in keys if key % A_BAG_IN == 0))


def _lay_in(session: Session, kind: type[SQLModel], rows: Iterator[dict[str, Any]]) -> None:
    """Bulk inserts with every column that a row leaves to its default."""
    table: Table = kind.__table__  # type: ignore[attr-defined]
    usual = {name: field.default for name, field in kind.model_fields.items() if not field.is_required()}
    usual = {name: value for name, value in usual.items() if name in table.c and isinstance(value, str | int | bool)}
    while some := list(islice(rows, AT_ONCE)):
        session.execute(insert(table), [usual | row for row in some])


def _row(**columns: Any) -> dict[str, Any]:
    return {"uuid": uuid4(), "created_at": datetime(2025, 1, 1, tzinfo=UTC), "created_by": "Bench", **columns}


def _machine(number: int) -> dict[str, Any]:
    tag = f"TM-{number:05}"
    return _row(id=number, tag=tag, tag_key=tag.casefold(), model=f"Merle {number % 40}", maker="Tarn", hazards=[])


def _board(number: int) -> dict[str, Any]:
    return _row(id=number, machine_id=number, slug="main-board", name="Main board", kind="main board", hazards=[])


def _position(key: int, machine: int, place: int) -> dict[str, Any]:
    name = {"designator": f"U{place}", "designator_key": f"u{place:08}"}
    return _row(id=key, board_id=machine, kind="chip", mounting="socketed", **name)


def _part(key: int) -> dict[str, Any]:
    return _row(id=key, kind="chip", type=TYPES[key % len(TYPES)], date_code=f"{8000 + key % 400}", origin="original")


def _bag(key: int) -> dict[str, Any]:
    return _row(part_id=key, bag=key, since=date(2025, 1, 1), from_position_id=key, place="Drawer 4", condition="works")
