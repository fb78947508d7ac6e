"""Two pictures of a board for tests of maps in a browser, drawn so that every spot of interest has a known place."""

import re
from pathlib import Path

from PIL import Image, ImageDraw
from playwright.sync_api import Locator, Page, expect

from server.records import migrate
from server.records.commands.machines import AddBoard, EnterMachine
from server.records.commands.maps import AddBoardPicture, MatchPictures, PlacePin
from server.records.commands.mods import PlanMod
from server.records.commands.parts import ImportParts
from server.records.commands.photographs import AddPhotograph
from server.records.commands.steps import AddStep
from server.records.store import Store, sqlite_url
from tests.records.map_scene import point
from tests.records.photographs import written

TAG, BOARD = "TM-03", "main-board"
MAP = f"/machines/{TAG}/boards/{BOARD}/map"
LAYOUT, SHOT = (2400, 1600), (2000, 1500)
PLACES = {"R1": (700.0, 500.0), "R2": (1650.0, 1020.0), "R3": (430.0, 1200.0)}
SPOTS = [(200.0, 150.0), (2200.0, 180.0), (2150.0, 1450.0), (240.0, 1400.0), (1200.0, 790.0)]


def on_shot(x: float, y: float) -> tuple[float, float]:
    """Where a spot of the layout is on the photograph, which was taken askew: turned, sized and shifted."""
    return 0.72 * x + 0.08 * y + 60, -0.06 * x + 0.74 * y + 260


def picture(size: tuple[int, int], spots: list[tuple[float, float]]) -> Image.Image:
    image = Image.new("RGB", size, "#d7dcc6")
    draw = ImageDraw.Draw(image)
    for x, y in spots:
        draw.ellipse((x - 14, y - 14, x + 14, y + 14), outline="#222", width=5)
    return image


def begin(folder: Path, positions: int = 3) -> Store:
    """A record with a board, resistors R1, R2 and so on, and two photographs of it."""
    folder.mkdir()
    store = Store(sqlite_url(folder))
    migrate.upgrade(store.engine)
    there = {"machine": TAG}
    rows = [{"designator": f"R{n}", "kind": "resistor", "value": f"{n} kΩ"} for n in range(1, positions + 1)]
    for command in (
        EnterMachine.read({"tag": TAG, "model": "Test machine"}),
        AddBoard.read({**there, "name": "Main board", "kind": "main board"}),
        ImportParts.read({**there, "board": BOARD, "rows": rows}),
    ):
        store.carry_out(command, "Tester")
    for caption, size, spots in (
        ("Layout", LAYOUT, SPOTS),
        ("As it is", SHOT, [on_shot(*spot) for spot in SPOTS]),
    ):
        on = {**there, "on_kind": "board", "on": BOARD, "file_name": "board.png", "caption": caption}
        store.carry_out(AddPhotograph.read({**on, "content": written("PNG", picture(size, spots))}), "Tester")
    return store


def put_on_map(store: Store) -> None:
    """Both pictures, matched by five points."""
    at = {"machine": TAG, "board": BOARD}
    for number, kind in enumerate(("layout", "photograph"), start=1):
        store.carry_out(AddBoardPicture.read({**at, "photograph": number, "kind": kind}), "Tester")
    points = [point(*spot, *on_shot(*spot)) for spot in SPOTS]
    store.carry_out(MatchPictures.read({**at, "picture": 2, "points": points, "opened_version": 1}), "Tester")


def place(store: Store, designator: str, x: float, y: float) -> None:
    given = {"machine": TAG, "board": BOARD, "designator": designator, "picture": 1, "x": x, "y": y}
    store.carry_out(PlacePin.read(given), "Tester")


def plan(store: Store) -> None:
    """A mod with steps at R1 and R2."""
    day = {"day": "2025-02-01", "signer": "Tester"}
    store.carry_out(PlanMod.read({"machine": TAG, "title": "Faster clock", "state": "planned", **day}), "Tester")
    for kind, designator in (("take out", "R1"), ("fit", "R1"), ("fit", "R2")):
        step = {"machine": TAG, "mod": 1, "kind": kind, "board": BOARD, "designator": designator}
        store.carry_out(AddStep.read(step), "Tester")


def record_with_map(folder: Path) -> None:
    """The same with its map made, R3 still to be placed, and the mod."""
    store = begin(folder)
    put_on_map(store)
    for designator in ("R1", "R2"):
        place(store, designator, *PLACES[designator])
    plan(store)
    store.close()


# ---- Where things are on the screen ----

ON_SCREEN = """(svg, [x, y]) => {
  const at = new DOMPoint(x, y).matrixTransform(svg.querySelector(".lies").getScreenCTM());
  return [at.x, at.y];
}"""
ON_PICTURE = """(svg, [x, y]) => {
  const at = new DOMPoint(x, y).matrixTransform(svg.querySelector(".lies").getScreenCTM().inverse());
  return [at.x, at.y];
}"""
MARK = """(svg, label) => {
  const mark = [...svg.querySelectorAll(".mark")].find((one) => one.querySelector("text").textContent === label);
  const at = new DOMPoint(0, 0).matrixTransform(mark.querySelector(".spot").getScreenCTM());
  return [at.x, at.y];
}"""


def on_screen(svg: Locator, spot: tuple[float, float]) -> tuple[float, float]:
    """Where a pixel of the picture is on the screen."""
    x, y = svg.evaluate(ON_SCREEN, list(spot))
    return x, y


def on_picture(svg: Locator, place: tuple[float, float]) -> tuple[float, float]:
    """Which pixel of the picture is at a place of the screen."""
    x, y = svg.evaluate(ON_PICTURE, list(place))
    return x, y


def mark_of(svg: Locator, label: str) -> tuple[float, float]:
    """Which pixel of the picture a mark is drawn at."""
    x, y = svg.evaluate(MARK, label)
    return on_picture(svg, (x, y))


def press(page: Page, svg: Locator, spot: tuple[float, float]) -> None:
    """Press a pixel of the picture, having it on the screen first."""
    svg.scroll_into_view_if_needed()
    page.mouse.click(*on_screen(svg, spot))


def seen(svg: Locator) -> list[float]:
    """What is seen of the picture: left, top, width, height."""
    return [float(number) for number in (svg.get_attribute("viewBox") or "").split()]


def middle_of(svg: Locator) -> tuple[float, float]:
    box = svg.bounding_box()
    assert box
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def page_pixels(svg: Locator, pixels: float) -> float:
    """So many pixels of the screen, in pixels of the picture."""
    (a, _), (b, _) = on_picture(svg, (100, 100)), on_picture(svg, (100 + pixels, 100))
    return abs(b - a)


def map_at(page: Page, address: str) -> Locator:
    """The picture of a page, once its script has taken hold of it."""
    page.goto(address)
    svg = page.locator("svg.map")
    expect(svg).to_have_class(re.compile(r"\blive\b"))
    return svg
