"""The map of the demo's main board: a drawn layout and a drawn photograph, matched to each other, and its pins."""

from collections.abc import Iterator, Sequence

from seed_data.board_layout import draw_layout, layout_spot
from seed_data.board_photograph import draw_photograph, photograph_spot
from seed_data.board_plan import AT, FITTINGS, HOLES, Spot, studs
from seed_data.symptoms import Act
from server.records.commands import maps, photographs

BOARD = "main-board"
LAYOUT, PHOTOGRAPH = 1, 2  # their numbers on the map
KEYBOARD_END = next(studs(fitting)[-1] for fitting in FITTINGS if fitting.words == "KEYBOARD")
# Not placed yet, beside R21, which is a place at a lifted pin and not on the board as it was made.
WAITING = ("C2", "D1")
# Spots that are found in both pictures, in millimetres, and how far off the hand was in the photograph, in pixels.
MATCHED: tuple[tuple[Spot, Spot], ...] = (
    (HOLES["rear left"], (0.8, -0.5)),
    (HOLES["rear right"], (-0.6, 0.9)),
    (HOLES["front right"], (0.9, 0.4)),
    (HOLES["front left"], (-0.7, -0.6)),
    (AT["U10"].pads[10], (0.5, 0.9)),
    (KEYBOARD_END, (-0.8, -0.3)),
)


def main_board(machine: str, told: Sequence[Act]) -> Iterator[Act]:
    """Two pictures, their match, and the pins; `told` is the story so far, whose photographs have numbers already."""
    before = sum(command is photographs.AddPhotograph and given["machine"] == machine for command, given in told)
    on_board = {"machine": machine, "board": BOARD}
    for number, (kind, caption, name, content) in enumerate(_pictures(), start=before + 1):
        yield photographs.AddPhotograph, {
            "machine": machine, "on_kind": "board", "on": BOARD, "caption": caption, "file_name": name,
            "content": content,
        }  # fmt: skip
        yield maps.AddBoardPicture, on_board | {"photograph": number, "kind": kind}
    yield maps.MatchPictures, on_board | {"picture": PHOTOGRAPH, "opened_version": 1, "points": _points()}
    for place in AT.values():
        if place.designator not in WAITING:
            x, y = pressed(place.x, place.y)
            yield maps.PlacePin, on_board | {"designator": place.designator, "picture": LAYOUT, "x": x, "y": y}


def pressed(x: float, y: float) -> tuple[int, int]:
    """A spot of the board as it is pressed on the layout: a whole pixel."""
    across, down = layout_spot(x, y)
    return round(across), round(down)


def _pictures() -> Iterator[tuple[str, str, str, bytes]]:
    yield "layout", "Component layout, parts side; drawn for the demo", "layout TB-3310.png", draw_layout()
    seen = draw_photograph("2025:03:16 15:41:09")
    yield "photograph", "As it came, parts side, dust brushed off; drawn for the demo", "main board.jpg", seen


def _points() -> list[dict[str, int]]:
    points = []
    for spot, (right, down) in MATCHED:
        (across, along), (x, y) = pressed(*spot), photograph_spot(*spot)
        points.append({"reference_x": across, "reference_y": along, "x": round(x + right), "y": round(y + down)})
    return points
