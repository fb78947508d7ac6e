"""What tests of the maps' pages begin with: a board with positions, and pictures of it larger than their views."""

from fastapi import FastAPI
from starlette.testclient import TestClient

from server.records.commands.maps import AddBoardPicture, MatchPictures
from server.records.commands.parts import ImportParts
from server.records.commands.photographs import AddPhotograph
from tests.pages.benchwork import set_up
from tests.records.conftest import MAIN, Bench
from tests.records.map_scene import Row, point
from tests.records.photographs import drawing, written

BOARD = "/machines/TM-03/boards/main-board"
MAP = f"{BOARD}/map"
LAYOUT, SHOT = (2400, 1600), (2000, 1500)  # pixels; a view of either is 1,600 wide
CORNERS = [(100, 100), (2300, 100), (2300, 1500), (100, 1500), (1200, 800)]


def on_shot(x: float, y: float) -> tuple[float, float]:
    """Where a spot of the layout is in the photograph of it: smaller, and shifted."""
    return x * 0.75 + 50, y * 0.75 + 120


def on_back(x: float, y: float) -> tuple[float, float]:
    """Where it is when the board is seen from the solder side."""
    return 1900 - x * 0.75, y * 0.75 + 120


SHOT_POINTS: list[Row] = [point(x, y, *on_shot(x, y)) for x, y in CORNERS]
BACK_POINTS: list[Row] = [point(x, y, *on_back(x, y)) for x, y in CORNERS]


def mapped_board(app: FastAPI, client: TestClient, positions: int = 4) -> Bench:
    """A board with resistors R1, R2 and so on, and no picture of it."""
    set_up(client)
    bench = Bench(app.state.store)
    rows = [{"designator": f"R{n}", "kind": "resistor", "value": f"{n} kΩ"} for n in range(1, positions + 1)]
    bench.do(ImportParts, board=MAIN, rows=rows)
    return bench


def photograph(bench: Bench, size: tuple[int, int], caption: str = "", **on: str) -> None:
    content = written("JPEG", drawing(size), quality=60, comment=caption.encode())
    there = {"on_kind": "board", "on": MAIN, **on}
    bench.do(AddPhotograph, **there, file_name="board.jpg", content=content, caption=caption)


def two_pictures(bench: Bench) -> None:
    """A layout and a photograph, not matched yet."""
    for number, (kind, size) in enumerate({"layout": LAYOUT, "photograph": SHOT}.items(), start=1):
        photograph(bench, size, f"The {kind}")
        bench.do(AddBoardPicture, board=MAIN, photograph=number, kind=kind)


def match(bench: Bench, points: list[Row], opened_version: int = 1, **more: object) -> None:
    bench.do(MatchPictures, board=MAIN, picture=2, points=points, opened_version=opened_version, **more)


def typed_points(points: list[Row], **more: str) -> dict[str, str]:
    """Matching points as their form sends them."""
    rows = {f"points.{n}.{name}": str(text) for n, row in enumerate(points) for name, text in row.items()}
    return {"match_kind": "", "opened_version": "1", **rows, **more}
