"""A board with pictures on its map: a layout, a photograph of it from the front, and one from the solder side."""

from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st

from server.records.commands.base import Command
from server.records.commands.maps import (
    AddBoardPicture,
    LeavePictureOut,
    MatchPictures,
    PlacePin,
    PointOutPosition,
    TakePinOff,
)
from server.records.commands.photographs import AddPhotograph
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.maps import BoardMap, map_of
from tests.records.conftest import MAIN, TAG, Bench
from tests.records.photographs import drawing, png

WIDE, HIGH = 120, 80
Row = dict[str, Any]


def point(reference_x: object, reference_y: object, x: object, y: object) -> Row:
    return {"reference_x": reference_x, "reference_y": reference_y, "x": x, "y": y}


CORNERS = [(10, 10), (110, 10), (110, 70), (10, 70)]
# The front view is half as large and shifted; in the one from the solder side left is right.
FRONT = [point(x, y, x / 2 + 20, y / 2 + 10) for x, y in CORNERS]
BACK = [point(x, y, WIDE - x, y) for x, y in CORNERS]


def photograph(bench: Bench, number: int, board: str = MAIN, **more: object) -> None:
    """A photograph of the board, unlike that of any other number."""
    content = png(image=drawing((WIDE, HIGH)).rotate(number), taken=f"2025:03:{number:02d} 10:00:00")
    bench.do(AddPhotograph, on_kind="board", on=board, file_name=f"{number}.png", content=content, **more)


def add(bench: Bench, number: int, kind: str = "photograph", **more: object) -> None:
    photograph(bench, number)
    bench.do(AddBoardPicture, board=MAIN, photograph=number, kind=kind, **more)


def match(bench: Bench, picture: int, points: Sequence[Row], opened_version: int = 1, **more: object) -> None:
    bench.do(MatchPictures, board=MAIN, picture=picture, points=points, opened_version=opened_version, **more)


def pin(bench: Bench, designator: str, x: object, y: object, picture: int = 1, **more: object) -> None:
    bench.do(PlacePin, board=MAIN, designator=designator, picture=picture, x=x, y=y, **more)


def mapped(bench: Bench) -> None:
    """Three pictures, two of them matched to the layout; R2 pinned there and R7 on the front view."""
    pictures(bench)
    match(bench, 2, FRONT)
    match(bench, 3, BACK)
    pin(bench, "R2", 30, 20)
    pin(bench, "R7", 40, 30, 2)


def pictures(bench: Bench) -> None:
    """Three pictures that are not matched yet."""
    for number, kind in enumerate(("layout", "photograph", "photograph"), start=1):
        add(bench, number, kind)


def shown(bench: Bench, board: str = MAIN, page: int = 1, machine: str = TAG) -> BoardMap:
    with bench.store.reading() as session:
        return map_of(session, find_board(session, find_machine(session, machine), board), page)


def words(bench: Bench) -> str:
    return bench.last_entry().words


# ---- What `test_checks` asks for, in whatever order ----

PICTURES = st.sampled_from([1, 2, 2, 3])
PLACE = {"x": st.sampled_from([30.0, 60.5, 500.0]), "y": st.sampled_from([20.0, 70.0])}
VERSIONS = st.just(1)
ON_MAIN = {"board": st.just(MAIN)}
ACTS: dict[type[Command], dict[str, st.SearchStrategy[Any]]] = {
    AddBoardPicture: {
        **ON_MAIN,
        "photograph": st.sampled_from([1, 2, 3, 4]),
        "kind": st.sampled_from(["layout", "photograph"]),
    },
    LeavePictureOut: {**ON_MAIN, "picture": PICTURES, "opened_version": VERSIONS},
    MatchPictures: {
        **ON_MAIN,
        "picture": PICTURES,
        "opened_version": VERSIONS,
        "match_kind": st.sampled_from(["", "affine", "projective"]),
        "points": st.sampled_from([FRONT, FRONT[1:], BACK, [], FRONT[:2]]),
    },
    PlacePin: {
        **ON_MAIN,
        "designator": st.sampled_from(["R2", "R7", "U7", "R9", "C4"]),
        "picture": PICTURES,
        **PLACE,
        "opened_version": st.sampled_from([0, 1]),
    },
    TakePinOff: {**ON_MAIN, "designator": st.sampled_from(["R2", "R7", "U7"]), "opened_version": VERSIONS},
    PointOutPosition: {
        **ON_MAIN,
        "designator": st.sampled_from(["C4", "C5", "R2"]),
        "mounting": st.just("soldered"),
        "picture": PICTURES,
        **PLACE,
    },
}
