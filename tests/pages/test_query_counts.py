"""No page asks more questions of the record because there is more in it."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI
from sqlalchemy import event
from starlette.testclient import TestClient

from server.records.commands.base import Command
from server.records.commands.calculations import AttachCalculation
from server.records.commands.circuits import AttachCircuit
from server.records.commands.files import AddFile
from server.records.commands.machines import AddBoard, EnterMachine
from server.records.commands.maps import AddBoardPicture, MatchPictures, PlacePin
from server.records.commands.mods import Expect, PlanMod
from server.records.commands.nets import AddNet, ReviseNet
from server.records.commands.parts import ImportParts
from server.records.commands.photographs import AddPhotograph
from server.records.commands.share_links import MakeShareLink
from server.records.commands.steps import AddStep, CarryOutStep
from server.records.commands.waveforms import RecordWaveform
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.maps import photographs_off_map
from server.records.store import Store
from tests.records.captures import capture, falling, sum_of
from tests.records.map_scene import point
from tests.records.photographs import drawing, written

TAG = "QC-1"
PAGES = (
    "",
    "/mods",
    "/mods/import",
    "/mods/1",
    "/parts",
    "/parts/import",
    "/boards/main-board",
    "/boards/main-board/dating",
    "/boards/main-board/map",
    "/boards/main-board/map?picture=2&find=R1&mod=1",
    "/boards/main-board/map/2/match",
    "/boards/main-board/map/1/place",
    "/boards/main-board/map/1/point-out",
    "/boards/main-board/nets",
    "/boards/main-board/nets/1",
    "/boards/main-board/nets/1?case=mod-1",
    "/originality",
    "/originality/list",
    "/way-back",
    "/way-back?mod=2",
    "/history",
    "/labels",
    "/on/2025-06-01",
    "/on/2025-06-01?against=2024-12-01",
    "/sheet",
    "/sharing",
    "/dossier",
    "/lists",
    "/lists/parts.csv",
    "/lists/mods.csv",
    "/waveforms",
    "/waveforms/1",
    "/mods/1/calculations/new",
    "/mods/1/calculations/3",
    "/mods/1/calculations/3/edit",
    "/mods/1/circuits/new",
    "/photographs/on/step/1/1",
    "/photographs/1",
    "/files/on/machine",
    "/files/1",
)


def begin(store: Store) -> None:
    do(store, EnterMachine, tag=TAG, model="Tern")
    do(store, AddBoard, machine=TAG, name="Main board", kind="main board")


def add(store: Store, numbers: range) -> None:
    """So many parts, mods, and steps, sums and expectations of the first mod."""
    for n in numbers:
        part = {"designator": f"R{n}", "kind": "resistor", "value": "1 kΩ ±5 %", "date_code": "8114"}
        part["origin"] = "original" if n % 2 else "new"
        do(store, ImportParts, machine=TAG, board="main-board", rows=[part])
        do(store, PlanMod, machine=TAG, title=f"Change {n}", day="2025-01-02", signer="Tester", state="planned")
        at = {"board": "main-board", "designator": f"R{n}"}
        do(store, AddStep, machine=TAG, mod=1, kind="take out", **at)
        do(store, AddStep, machine=TAG, mod=n, kind="cut trace", pin="1", **at)
        if n > 1:
            do(store, CarryOutStep, machine=TAG, mod=n, step=1, day="2025-02-03", signer="Tester")
        do(store, Expect, machine=TAG, mod=1, sentence=f"It does {n}")
        reads = {"name": "R", "source": "part", "board": "main-board", "designator": f"R{n}"}
        inputs = [reads, {"name": "V", "text": "5 V"}]
        lines = [{"name": "I", "expression": "V / R", "unit": "mA"}]
        do(store, AttachCalculation, machine=TAG, mod=1, title=f"Sum {n}", inputs=inputs, lines=lines)
        pins = [{"designator": f"R{one}", "role": "passive", "other_end": "5 V"} for one in range(1, n + 1)]
        net = {"machine": TAG, "board": "main-board", "name": f"Signal {n}", "pins": pins}
        do(store, AddNet, **net)
        do(store, ReviseNet, **net | {"name": "Signal", "net": 1, "opened_version": n})
        do(store, RecordWaveform, machine=TAG, **capture(falling(samples=200)))
        do(store, AttachCalculation, machine=TAG, **sum_of(title=f"Capacitance {n}"))
        source = {"name": "V", "kind": "source", "nodes": "rail, 0", "text": "5 V"}
        rows = [source, *({**reads, "name": f"R{one}", "nodes": "rail, 0"} for one in range(n))]
        do(store, AttachCircuit, machine=TAG, mod=1, title=f"Circuit {n}", elements=rows)
        do(store, MakeShareLink, machine=TAG, to_whom="Ida Quern", lasts="never", digest=f"{n:064x}")
        attach(store, n)
        put_on_map(store, n)


def put_on_map(store: Store, n: int) -> None:
    """The board's latest photograph, matched to the first one, and a pin."""
    at = {"machine": TAG, "board": "main-board"}
    with store.reading() as session:
        off_map = photographs_off_map(session, find_board(session, find_machine(session, TAG), "main-board"))
    do(store, AddBoardPicture, **at, photograph=off_map[-1].photograph.number, kind="photograph")
    if n > 1:
        points = [point(x, y, x, y) for x, y in ((1, 1), (35, 2), (30, 28), (2, 29))]
        do(store, MatchPictures, **at, picture=n, points=points, opened_version=1)
    do(store, PlacePin, **at, designator=f"R{n}", picture=1, x=n, y=20)


def attach(store: Store, n: int) -> None:
    """A photograph and a file on the machine, its board, and the first and the latest step of the first mod."""
    for kind, on in (("machine", ""), ("board", "main-board"), ("step", "1/1"), ("step", f"1/{n}")):
        if n > 1 or on != "1/1":
            there = {"machine": TAG, "on_kind": kind, "on": on}
            sent = written("JPEG", drawing((40 + n, 30)))
            do(store, AddPhotograph, **there, file_name="shot.jpg", content=sent)
            do(store, AddFile, **there, kind="other", file_name="notes.txt", content=b"%d" % n)


def do(store: Store, command: type[Command], **given: object) -> None:
    store.carry_out(command.read(given), "Tester")


@pytest.fixture
def counted(app: FastAPI, client: TestClient) -> Callable[[str], int]:
    """How many statements a page runs."""
    seen: list[str] = []

    def note(_: object, __: object, statement: str, *___: object) -> None:
        if not statement.startswith("BEGIN"):
            seen.append(statement)

    event.listen(app.state.store.engine, "before_cursor_execute", note)

    def count(path: str) -> int:
        seen.clear()
        assert client.get(f"/machines/{TAG}{path}").status_code == 200
        return len(seen)

    return count


def test_a_way_back_asks_no_more_for_more_mods(app: FastAPI, counted: Callable[[str], int]) -> None:
    begin(app.state.store)
    add(app.state.store, range(1, 9))

    assert counted("/way-back?mod=2&mod=3") == counted(
        "/way-back?" + "&".join(f"mod={number}" for number in range(2, 9))
    )


def test_no_page_asks_more_of_a_larger_record(app: FastAPI, counted: Callable[[str], int]) -> None:
    """The same pages over a machine with two of everything, and then with eight."""
    begin(app.state.store)
    add(app.state.store, range(1, 3))
    small = {path: counted(path) for path in PAGES}
    add(app.state.store, range(3, 9))

    assert small == {path: counted(path) for path in PAGES}
