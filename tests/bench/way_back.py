"""The way back of a machine with 300 mods and 2,000 steps, and the machine on a day, against bare SQL and a bare sort.

The floor runs the very statements by sqlite3 and, for the way back, sorts a graph of the same size topologically; for
the day it only reads. The aim is a ratio of at most 3 for each.
"""

import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from datetime import date
from graphlib import TopologicalSorter
from itertools import pairwise
from pathlib import Path
from typing import Any

from sqlalchemy import event, update
from sqlmodel import Session, SQLModel, select

from server.records import migrate
from server.records.commands import machines, mods, parts, steps
from server.records.questions.addresses import find_machine
from server.records.questions.stacking import standing_on
from server.records.questions.states import days_of_change, mods_in_force, seats_on
from server.records.questions.stays import tags_of
from server.records.questions.way_back import way_back
from server.records.store import Store, sqlite_url
from server.records.tables import Step
from tests.bench.timing import best, told

TAG, MODS, STEPS, PARTS = "BIG-1", 300, 2_000, 2_000
DAY = date(2025, 6, 1)
AIM = 3.0


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, closing(Store(sqlite_url(Path(folder)))) as store:
        migrate.upgrade(store.engine)
        fill(store)
        with closing(sqlite3.connect(Path(folder) / "putback.sqlite3")) as connection, store.reading() as session:
            machine = find_machine(session, TAG)
            keys = list(session.exec(select(Step.id)))
            graph = {key: {later} for key, later in pairwise(keys)}
            measure("way back", session, connection, lambda: way_back(session, machine), lambda: _sorted(graph))
            measure("on a day", session, connection, lambda: on_a_day(session, machine), lambda: None)


def on_a_day(session: Session, machine: Any) -> None:
    """What the page of a day reads."""
    days_of_change(session, machine)
    tags_of(session, mods_in_force(session, machine, DAY))
    standing_on(session, machine, DAY)
    seats_on(session, machine, DAY)


def measure(
    name: str,
    session: Session,
    connection: sqlite3.Connection,
    work: Callable[[], object],
    beside: Callable[[], object],
) -> None:
    seen: list[tuple[str, Any]] = []

    def note(_: object, __: object, statement: str, values: Any, *___: object) -> None:
        if not statement.startswith("BEGIN"):
            seen.append((statement, values))

    event.listen(session.get_bind(), "before_cursor_execute", note)
    work()
    event.remove(session.get_bind(), "before_cursor_execute", note)

    def floor() -> None:
        for sql, values in seen:
            connection.execute(sql, values).fetchall()
        beside()

    def ours() -> None:
        session.expunge_all()
        work()

    took, bare = best(ours, floor, rounds=7)
    told(f"{name}, {MODS} mods, {STEPS:,} steps, {PARTS:,} parts, {len(seen)} queries", took, bare, AIM)


def _sorted(graph: dict[int | None, set[int | None]]) -> None:
    list(TopologicalSorter(graph).static_order())


def fill(store: Store) -> None:
    """One machine, through the commands; the steps' days are then set at once, as 2,000 acts would take minutes."""
    do(store, machines.EnterMachine, tag=TAG, model="Bench")
    do(store, machines.AddBoard, machine=TAG, name="Main board", kind="main board")
    rows = [{"designator": f"R{n}", "kind": "resistor", "value": "1 kΩ", "origin": "original"} for n in range(PARTS)]
    do(store, parts.ImportParts, machine=TAG, board="main-board", rows=rows)
    signed = {"day": "2025-01-02", "signer": "Bench"}
    for n in range(MODS):
        do(store, mods.PlanMod, machine=TAG, title=f"Change {n}", state="planned", **signed)
        for k in range(n * STEPS // MODS, (n + 1) * STEPS // MODS):
            at = {"board": "main-board", "designator": f"R{k}"}
            do(store, steps.AddStep, machine=TAG, mod=n + 1, kind="lift pin", pin="1", **at)
    with store.engine.execution_options(putback_writes=True).begin() as connection:
        table = SQLModel.metadata.tables["step"]
        connection.execute(update(table).values(done_on=DAY, done_order=table.c.id, done_by="Bench"))


def do(store: Store, command: Any, **given: object) -> None:
    store.carry_out(command.read(given), "Bench")


if __name__ == "__main__":
    main()
