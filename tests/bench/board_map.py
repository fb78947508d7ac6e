"""A board's map with 1,500 pins on two matched pictures, against the same SQL by sqlite3 and its template alone."""

import random
from collections.abc import Callable
from io import BytesIO
from typing import Any

from fastapi import FastAPI
from PIL import Image
from starlette.requests import Request

from server.pages.map_page import Asked, map_context
from server.pages.templating import environment
from server.records.commands import machines, maps, parts, photographs
from server.records.commands.base import Command
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.maps import map_of, photographs_off_map
from server.records.store import Store
from tests.bench.machine_page import against_floor, scope

PINS = 1_500
AIM = 2.0
ROUNDS = 60
PATH = "/machines/BIG-1/boards/main-board/map?picture=2"
WIDE, HIGH = 4_000, 3_000
CORNERS = ((100, 120), (3900, 90), (3850, 2900), (140, 2880), (2000, 1500), (3000, 700))


def main() -> None:
    against_floor(f"map page, {PINS:,} pins on two matched pictures", PATH, fill, _render_alone, AIM, ROUNDS)


def fill(store: Store) -> None:
    """Two pictures, and a pin for each resistor of a board, through the commands."""
    board = {"machine": "BIG-1", "board": "main-board"}
    rows = [{"designator": f"R{n}", "kind": "resistor", "value": "4.7 kΩ ±5 %"} for n in range(1, PINS + 1)]
    points = [
        dict(zip(("reference_x", "reference_y", "x", "y"), (*spot, *_askew(*spot)), strict=True)) for spot in CORNERS
    ]
    shot = {"machine": "BIG-1", "on_kind": "board", "on": "main-board", "file_name": "board.png"}
    do: list[tuple[type[Command], dict[str, Any]]] = [
        (machines.EnterMachine, {"tag": "BIG-1", "model": "Bench"}),
        (machines.AddBoard, {"machine": "BIG-1", "name": "Main board", "kind": "main board"}),
        (parts.ImportParts, board | {"rows": rows}),
        *((photographs.AddPhotograph, shot | {"content": _picture(shade)}) for shade in (80, 160)),
        (maps.AddBoardPicture, board | {"photograph": 1, "kind": "layout"}),
        (maps.AddBoardPicture, board | {"photograph": 2, "kind": "photograph"}),
        (maps.MatchPictures, board | {"picture": 2, "points": points, "opened_version": 1}),
    ]
    places = random.Random(1)  # noqa: S311 (the same board in every run)
    for row in rows:
        place = {"designator": row["designator"], "picture": 1}
        place |= {"x": places.uniform(200, 3800), "y": places.uniform(200, 2800)}
        do.append((maps.PlacePin, board | place))
    for command, given in do:
        store.carry_out(command.read(given), "Bench")


def _askew(x: float, y: float) -> tuple[float, float]:
    """Where a spot of the first picture is on the second, give or take a pixel."""
    depth = 1 + 2e-5 * x - 1e-5 * y
    return round((0.9 * x + 0.05 * y + 60) / depth), round((0.92 * y - 0.04 * x + 180) / depth)


def _picture(shade: int) -> bytes:
    file = BytesIO()
    Image.new("L", (WIDE, HIGH), shade).save(file, "PNG")
    return file.getvalue()


def _render_alone(app: FastAPI) -> Callable[[], str]:
    with app.state.store.reading() as session:
        machine = find_machine(session, "BIG-1")
        board = find_board(session, machine, "main-board")
        found, off_map = map_of(session, board), photographs_off_map(session, board)
    context = map_context(machine, board, found, Asked.of({"picture": "2"}), [("", "none")], [], off_map)
    values = {name: getattr(context, name) for name in context.__dataclass_fields__}
    template = environment().get_template("maps/map.html")
    request = Request(scope(PATH))
    return lambda: template.render(request=request, notice=None, **values)
