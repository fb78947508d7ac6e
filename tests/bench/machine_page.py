"""A machine's page with 2,000 parts and 300 mods, against the same SQL by sqlite3 and the same template alone."""

import asyncio
import sqlite3
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

from fastapi import FastAPI
from sqlalchemy import event
from starlette.requests import Request

from server.app import create_app
from server.pages.machine_page import machine_context
from server.pages.templating import environment
from server.records.commands import machines, mods, parts, steps
from server.records.commands.base import Command
from server.records.questions.addresses import find_machine
from server.records.store import Store
from server.settings import Settings
from tests.bench.timing import told

PARTS, MODS, STEPS_A_MOD = 2_000, 300, 6
AIM = 2.0
ROUNDS = 300
PATH = "/machines/BIG-1"


def main() -> None:
    against_floor(f"machine page, {PARTS:,} parts, {MODS} mods", PATH, fill, _render_alone, AIM, ROUNDS)


def against_floor(
    words: str,
    path: str,
    fill: Callable[[Store], None],
    render_alone: Callable[[FastAPI], Callable[[], object]],
    aim: float,
    rounds: int,
) -> None:
    """Tell what a page takes of a record that was filled, and the same SQL and template by themselves."""
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(
            data=Path(folder), allowed_hosts=["bench"], log_level="error", database_url="", keeper="Bench"
        )
        app = create_app(settings)
        fill(app.state.store)
        statements = statements_of(app, path)
        connection = sqlite3.connect(Path(folder) / "putback.sqlite3")
        render = render_alone(app)

        def floor() -> None:
            for sql, values in statements:
                connection.execute(sql, values).fetchall()
            render()

        page, bare = asyncio.run(measured(app, path, floor, rounds))
        told(f"{words}, {len(statements)} queries", page, bare, aim)
        connection.close()
        app.state.store.close()


def fill(store: Store) -> None:
    """One machine with many parts and mods, through the commands."""
    do: list[tuple[type[Command], dict[str, Any]]] = [
        (machines.EnterMachine, {"tag": "BIG-1", "model": "Bench", "hazards": ["mains inside"]}),
        (machines.AddBoard, {"machine": "BIG-1", "name": "Main board", "kind": "main board"}),
    ]
    rows = [
        {"designator": f"R{n}", "kind": "resistor", "value": "4.7 kΩ ±5 %", "origin": "original", "date_code": "8123"}
        for n in range(1, PARTS + 1)
    ]
    do.append((parts.ImportParts, {"machine": "BIG-1", "board": "main-board", "rows": rows}))
    for mod in range(1, MODS + 1):
        plan = {"machine": "BIG-1", "title": f"Change {mod}", "day": "2025-01-02", "signer": "Bench"}
        do.append((mods.PlanMod, plan))
        for step in range(STEPS_A_MOD):
            place = {"board": "main-board", "designator": f"R{mod * STEPS_A_MOD + step}"}
            kind = "take out" if step % 2 else "fit"
            do.append((steps.AddStep, {"machine": "BIG-1", "mod": mod, "kind": kind, **place}))
    for command, given in do:
        store.carry_out(command.read(given), "Bench")


def get(app: FastAPI, path: str) -> bytes:
    """One request straight into the application, without a client's own cost."""
    return asyncio.run(_get(app, path))


async def measured(app: FastAPI, path: str, floor: Callable[[], None], rounds: int) -> tuple[float, float]:
    """The median round of each, in one event loop as in a server: a loop a request would be a cost of its own."""
    pages, floors = [], []
    for _ in range(rounds):
        started = perf_counter()
        await _get(app, path)
        between = perf_counter()
        floor()
        pages.append(between - started)
        floors.append(perf_counter() - between)
    return median(pages), median(floors)


async def _get(app: FastAPI, path: str) -> bytes:
    body = b""
    status = 0

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        nonlocal body, status
        status = message.get("status", status)
        body += message.get("body", b"")

    await app(scope(path), receive, send)  # type: ignore[arg-type]
    if status != 200:
        raise RuntimeError(f"the page answered {status}")
    return body


def scope(address: str) -> dict[str, Any]:
    path, _, query = address.partition("?")
    return {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET", "scheme": "http",
        "path": path, "raw_path": path.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(b"host", b"bench")], "client": ("127.0.0.1", 1), "server": ("bench", 80),
    }  # fmt: skip


def statements_of(app: FastAPI, path: str) -> list[tuple[str, tuple[Any, ...]]]:
    """The SQL that the page runs, with its values."""
    seen: list[tuple[str, tuple[Any, ...]]] = []

    def note(_: object, __: object, statement: str, values: tuple[Any, ...], *___: object) -> None:
        if not statement.startswith("BEGIN"):
            seen.append((statement, values))

    event.listen(app.state.store.engine, "before_cursor_execute", note)
    get(app, path)
    event.remove(app.state.store.engine, "before_cursor_execute", note)
    return seen


def _render_alone(app: FastAPI) -> Any:
    with app.state.store.reading() as session:
        context = machine_context(session, find_machine(session, "BIG-1"), 1)
    values = {name: getattr(context, name) for name in context.__dataclass_fields__}
    template = environment().get_template("machines/machine.html")
    request = Request(scope(PATH))
    return lambda: template.render(request=request, notice=None, **values)
