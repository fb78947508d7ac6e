"""Board maps: pictures put on, matched and left out, pins placed and taken off; and every refusal in words."""

from typing import Any

import pytest
from sqlalchemy import event

from server.records.commands.board_moves import MoveBoard
from server.records.commands.machines import AddPosition, EnterMachine
from server.records.commands.maps import (
    AddBoardPicture,
    LeavePictureOut,
    MatchPictures,
    PlacePin,
    PointOutPosition,
    TakePinOff,
)
from server.records.commands.parts import EnterPart
from server.records.errors import NotFound, Stale
from server.records.mapping import carried
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.maps import BoardMap, map_of, photographs_off_map
from server.records.tables import BoardPicture, MapPin, MatchPoint, Photograph, Position
from tests.records.conftest import KEEPER, MAIN, TAG, Bench
from tests.records.map_scene import BACK, FRONT, HIGH, WIDE, Row, add, mapped, match, photograph, pin, point


def shown(bench: Bench, board: str = MAIN, page: int = 1, machine: str = TAG) -> BoardMap:
    with bench.store.reading() as session:
        return map_of(session, find_board(session, find_machine(session, machine), board), page)


def off_map(bench: Bench) -> list[int]:
    with bench.store.reading() as session:
        board = find_board(session, find_machine(session, TAG), MAIN)
        return [row.number for row in photographs_off_map(session, board)]


def words(bench: Bench) -> str:
    return bench.last_entry().words


# ---- Pictures ----


def test_the_first_picture_is_the_reference(bench: Bench) -> None:
    """The others are matched to it; each is one entry."""
    add(bench, 1, "layout")
    assert words(bench) == "Picture 1 of Main board of TM-03 is photograph 1, a layout; the others are matched to it."
    add(bench, 2)
    assert words(bench) == "Picture 2 of Main board of TM-03 is photograph 2, a photograph."

    seen = shown(bench)
    told = [(one.number, one.row.kind, one.is_reference, one.photograph.number) for one in seen.pictures]
    assert told == [(1, "layout", True, 1), (2, "photograph", False, 2)]
    assert [(one.plane.width, one.plane.height) for one in seen.pictures] == [(WIDE, HIGH)] * 2
    assert seen.reference == seen.picture(1)
    assert (seen.picture(9), seen.pictures[1].match) == (None, None)
    assert bench.faults() == []


def test_a_board_without_pictures_has_an_empty_map(bench: Bench) -> None:
    """Its positions all wait in the tray."""
    seen = shown(bench)

    assert (seen.pictures, seen.pins, seen.reference) == ((), (), None)
    assert [line.designator for line in seen.tray.rows] == ["R2", "R7", "R9", "U7"]


def test_a_photograph_is_on_the_map_once(bench: Bench) -> None:
    add(bench, 1)

    refused = bench.refuse(AddBoardPicture, board=MAIN, photograph=1, kind="layout")

    assert refused == {"photograph": "That photograph is picture 1 of the map already."}


def test_only_photographs_of_the_board_are_on_its_map(bench: Bench) -> None:
    """Not those of another board, and none that is not there."""
    photograph(bench, 1, "supply")

    for number in (1, 7, 10**12):
        refused = bench.refuse(AddBoardPicture, board=MAIN, photograph=number, kind="layout")
        assert refused == {"photograph": f"Main board has no photograph {number}. Add it to the board first."}
    assert "kind" in bench.refuse(AddBoardPicture, board="supply", photograph=1, kind="hologram")


def test_a_map_has_at_most_twelve_pictures(bench: Bench) -> None:
    for number in range(1, 13):
        add(bench, number)
    photograph(bench, 13)

    refused = bench.refuse(AddBoardPicture, board=MAIN, photograph=13, kind="photograph")

    assert refused == {"photograph": "Main board has 12 pictures on its map; 12 are the most."}
    assert off_map(bench) == [13]


def test_a_picture_that_is_left_out_takes_its_points_along(bench: Bench) -> None:
    """The photograph stays, and can come back."""
    for number in (1, 2):
        add(bench, number)
    match(bench, 2, FRONT)

    bench.do(LeavePictureOut, board=MAIN, picture=2, opened_version=2)

    assert words(bench) == "Picture 2 of Main board of TM-03 was left out of the map; its photograph stays."
    assert (len(bench.rows(MatchPoint)), len(bench.rows(BoardPicture)), len(bench.rows(Photograph))) == (0, 1, 2)
    assert off_map(bench) == [2]
    bench.do(AddBoardPicture, board=MAIN, photograph=2, kind="photograph")
    assert bench.faults() == []


def test_a_picture_with_pins_stays(bench: Bench) -> None:
    """They are named, not more than three of them."""
    add(bench, 1)
    for number, designator in enumerate(["U7", "R2"]):
        pin(bench, designator, 10 + number, 10)
    leave = {"board": MAIN, "picture": 1, "opened_version": 1}

    two = bench.refuse(LeavePictureOut, **leave)
    for number, designator in enumerate(["R7", "R9"]):
        pin(bench, designator, 20 + number, 10)
    four = bench.refuse(LeavePictureOut, **leave)

    assert two == {"": "Pins were placed on picture 1: R2, U7. Take them off it first."}
    assert four == {"": "Pins were placed on picture 1: R2, R7, R9 and 1 more. Take them off it first."}


def test_the_reference_goes_last(bench: Bench) -> None:
    """The next picture is then the reference."""
    for number in (1, 2):
        add(bench, number)

    refused = bench.refuse(LeavePictureOut, board=MAIN, picture=1, opened_version=1)

    assert refused == {"": "Picture 1 is the one that the others are matched to. Leave those out first."}
    for number in (2, 1):
        bench.do(LeavePictureOut, board=MAIN, picture=number, opened_version=1)
    bench.do(AddBoardPicture, board=MAIN, photograph=2, kind="layout")
    assert [(one.number, one.is_reference) for one in shown(bench).pictures] == [(3, True)]
    assert bench.faults() == []


def test_a_number_is_never_given_to_another_picture(bench: Bench) -> None:
    """Also after the board went to another machine, and another board's picture went."""
    for number in (1, 2):
        add(bench, number)
    photograph(bench, 3, "supply")
    bench.do(AddBoardPicture, board="supply", photograph=3, kind="layout")
    for board, number in ((MAIN, 2), ("supply", 1)):
        bench.do(LeavePictureOut, board=board, picture=number, opened_version=1)
    bench.do(EnterMachine, tag="TM-09", model="Merle 40")
    bench.do(MoveBoard, board=MAIN, to="TM-09", day="2025-03-01", signer=KEEPER)

    bench.do(AddBoardPicture, machine="TM-09", board=MAIN, photograph=2, kind="photograph")
    bench.do(AddBoardPicture, board="supply", photograph=3, kind="layout")

    assert [(row.board_id, row.number) for row in bench.rows(BoardPicture)] == [(1, 1), (1, 3), (2, 2)]


def test_a_picture_that_somebody_changed_is_not_left_out_unseen(bench: Bench) -> None:
    for number in (1, 2):
        add(bench, number)
    match(bench, 2, FRONT)

    with pytest.raises(Stale):
        bench.do(LeavePictureOut, board=MAIN, picture=2, opened_version=1)
    assert len(bench.rows(BoardPicture)) == 2


ELSEWHERE: list[tuple[type[Any], dict[str, Any]]] = [
    (LeavePictureOut, {"picture": 9, "opened_version": 1}),
    (LeavePictureOut, {"picture": 10**12, "opened_version": 1}),
    (MatchPictures, {"picture": 9, "opened_version": 1, "points": FRONT}),
    (TakePinOff, {"designator": "R2", "opened_version": 1}),
    (TakePinOff, {"designator": "R99", "opened_version": 1}),
]


@pytest.mark.parametrize(("kind", "typed"), ELSEWHERE)
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_what_is_not_on_the_map_is_not_found(bench: Bench, kind: type[Any], typed: dict[str, Any]) -> None:
    before = bench.entries()

    with pytest.raises(NotFound):
        bench.do(kind, board=MAIN, **typed)
    assert before == bench.entries()


# ---- Matching ----


@pytest.fixture
def pictured(bench: Bench) -> Bench:
    """Three pictures that are not matched yet."""
    for number, kind in enumerate(("layout", "photograph", "photograph"), start=1):
        add(bench, number, kind)
    return bench


def test_a_picture_is_matched_by_its_points(pictured: Bench) -> None:
    """From one side and from the other, with what the points leave."""
    match(pictured, 2, FRONT)
    assert words(pictured) == "Picture 2 of Main board of TM-03: matched to picture 1 by 4 points."
    match(pictured, 3, BACK, match_kind="affine")
    assert words(pictured) == (
        "Picture 3 of Main board of TM-03: match kind “affine” noted; matched to picture 1 by 4 points."
    )

    front, back = (one.match for one in shown(pictured).pictures[1:])
    assert front is not None
    assert back is not None
    assert (front.kind, front.mirrored, len(front.residuals)) == ("similarity", False, 4)
    assert (back.kind, back.mirrored) == ("affine", True)
    assert front.residual_rms == pytest.approx(0, abs=1e-9)
    assert [row.version for row in pictured.rows(BoardPicture)] == [1, 2, 2]
    assert pictured.faults() == []


def test_points_that_stay_are_the_records_they_were(pictured: Bench) -> None:
    """Moved, added and taken away, as the rows now are."""
    match(pictured, 2, FRONT)
    kept = [row.uuid for row in pictured.rows(MatchPoint)]

    match(pictured, 2, [FRONT[0], point(60, 20, 50, 20.5), FRONT[2]], 2)
    fewer = pictured.rows(MatchPoint)
    match(pictured, 2, [*FRONT, point(60, 40, 50, 30)], 3)
    more = pictured.rows(MatchPoint)

    assert [row.uuid for row in fewer] == kept[:3]
    assert [(row.place, row.x, row.y) for row in fewer] == [(0, 25, 15), (1, 50, 20.5), (2, 75, 45)]
    assert [row.uuid for row in more][:3] == kept[:3]
    assert [row.place for row in more] == [0, 1, 2, 3, 4]
    assert pictured.faults() == []


def test_without_points_a_picture_is_no_longer_matched(pictured: Bench) -> None:
    """Empty rows are none."""
    match(pictured, 2, FRONT)

    match(pictured, 2, [point("", " ", "", ""), {}], 2)

    assert words(pictured) == "Picture 2 of Main board of TM-03: no longer matched."
    assert (pictured.rows(MatchPoint), shown(pictured).pictures[1].match) == ([], None)


def test_saved_as_it_was_nothing_changes(pictured: Bench) -> None:
    match(pictured, 2, FRONT)
    before = pictured.entries()

    match(pictured, 2, FRONT, 2)

    assert before == pictured.entries()


def test_numbers_are_typed_with_a_comma_too_and_empty_rows_are_skipped(pictured: Bench) -> None:
    typed = [point("10,5", "10", "25,25", "15"), point("", "", "", ""), FRONT[1], {}, FRONT[2]]

    match(pictured, 2, typed)

    rows = [(row.place, row.reference_x, row.x) for row in pictured.rows(MatchPoint)]
    assert rows == [(0, 10.5, 25.25), (1, 110, 75), (2, 110, 75)]


def test_the_reference_is_matched_to_nothing(pictured: Bench) -> None:
    refused = pictured.refuse(MatchPictures, board=MAIN, picture=1, points=FRONT, opened_version=1)

    assert refused == {"": "Picture 1 is the reference picture; the others are matched to it."}


EMPTY: Row = {}
LINE = [point(10 * n, 10 * n, 20 * n, 5 * n * n) for n in range(1, 5)]
TURNED = [
    {"reference_x": row["x"], "reference_y": row["y"], "x": row["reference_x"], "y": row["reference_y"]} for row in LINE
]
# The second and third are the wrong way about, as two pictures of one flat board cannot show them.
CROSSED = [
    row | {"x": other["x"], "y": other["y"]}
    for row, other in zip(FRONT, (FRONT[0], FRONT[2], FRONT[1], FRONT[3]), strict=True)
]
# A fit to these would lay the whole board on a line.
CRUSHED = [row | {"x": x, "y": y} for row, (x, y) in zip(FRONT, ((20, 20), (50, 60), (30, 20), (56, 60)), strict=True)]
BAD_POINTS: list[tuple[list[Row], str, dict[str, str]]] = [
    (
        [*FRONT[:3], point(121, 10, 20, 10)],
        "",
        {"points.3.reference_x": "Picture 1 is 120 pixels wide; 121 lies outside it."},
    ),
    (
        [*FRONT[:3], point(10, 80.5, 20, 10)],
        "",
        {"points.3.reference_y": "Picture 1 is 80 pixels high; 80.5 lies outside it."},
    ),
    ([*FRONT[:3], point(10, 70, -0.5, 45)], "", {"points.3.x": "Picture 2 is 120 pixels wide; -0.5 lies outside it."}),
    ([*FRONT[:3], point(10, 70, 25, 1e30)], "", {"points.3.y": "Picture 2 is 80 pixels high; 1e+30 lies outside it."}),
    (
        [*FRONT, point(10, "", 25, "")],
        "",
        dict.fromkeys(
            ["points.4.reference_y", "points.4.y"], "Say where this point is in both pictures, or empty its row."
        ),
    ),
    ([*FRONT, point("ten", 10, 25, 1)], "", {"points.4.reference_x": "Write a number."}),
    ([*FRONT, point(10, 10, "inf", 1)], "", {"points.4.x": "Write a finite number."}),
    ([*FRONT, point(10, 10, "nan", 1)], "", {"points.4.x": "Write a finite number."}),
    ([*FRONT, point(30, 30, 25, 1) | {"z": 1}], "", {"points.4.z": "There is no such field here."}),
    (FRONT[:1], "", {"points.1.reference_x": "There is 1 point, and a match needs at least 3."}),
    ([EMPTY, *FRONT[:2]], "", {"points.0.reference_x": "There are 2 points, and a match needs at least 3."}),
    (
        FRONT[:3],
        "projective",
        {"points.3.reference_x": "There are 3 points, and a match of the kind projective needs at least 4."},
    ),
    (
        [*FRONT, EMPTY, *FRONT, FRONT[0]],
        "",
        {"points.9.reference_x": "There are 9 points; 8 are the most."},
    ),
    (
        [EMPTY, *FRONT[:3], FRONT[0] | {"x": 90}],
        "",
        {
            "points.4.reference_x": "Points 2 and 5 are in the same place in the reference picture. "
            "Each point is a spot of its own."
        },
    ),
    (
        [*FRONT[:3], point(10, 70, 75, 45)],
        "affine",
        {"points.3.x": "Points 3 and 4 are in the same place in this picture. Each point is a spot of its own."},
    ),
    *(
        (
            points,
            kind,
            {
                f"points.3.{column}": f"All points lie on one line in {where}, or nearly so, and cannot tell whether "
                "the picture is mirrored. Add one that lies well off it."
            },
        )
        for points, column, where in (
            (LINE, "reference_x", "the reference picture"),
            (TURNED, "x", "this picture"),
        )
        for kind in ("", "similarity")
    ),
    (
        LINE,
        "affine",
        {
            "points.3.reference_x": "Points 1, 2, 3 and 4 lie on one line in the reference picture, or nearly so. "
            "Add a point that lies well off it."
        },
    ),
    (
        [*LINE[:3], EMPTY, point(100, 10, 70, 70)],
        "projective",
        {
            "points.2.reference_x": "Points 1, 2 and 3 lie on one line in the reference picture, or nearly so. "
            "Add a point that lies well off it."
        },
    ),
    (
        CRUSHED,
        "affine",
        {"points.3.x": "The points do not go together. Look whether each row is the same spot in both pictures."},
    ),
    (FRONT, "bent", {"match_kind": "Choose one of the words offered: '', 'similarity', 'affine' or 'projective'."}),
]


@pytest.mark.parametrize(("points", "kind", "messages"), BAD_POINTS)
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_points_that_will_not_do_are_told_beside_their_fields(
    pictured: Bench, points: list[Row], kind: str, messages: dict[str, str]
) -> None:
    """With the numbers of the rows as they were typed; nothing is stored."""
    typed = {"board": MAIN, "picture": 2, "points": points, "match_kind": kind, "opened_version": 1}

    assert pictured.refuse(MatchPictures, **typed) == messages
    assert pictured.rows(MatchPoint) == []


@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_points_that_do_not_go_together_are_refused(pictured: Bench) -> None:
    """As where two were taken for one another: those that the others leave behind the camera are named."""
    typed = {"board": MAIN, "picture": 2, "opened_version": 1}

    crossed = pictured.refuse(MatchPictures, **typed, points=CROSSED, match_kind="projective")

    ((field, sentence),) = crossed.items()
    assert field.startswith("points.")
    assert "the same spot in both" in sentence


def test_the_second_to_match_a_picture_is_shown_both(pictured: Bench) -> None:
    match(pictured, 2, FRONT)

    with pytest.raises(Stale) as stale:
        match(pictured, 2, [*FRONT[:2], EMPTY, FRONT[3]], match_kind="affine")

    assert {row.field: (row.yours, row.theirs) for row in stale.value.rows} == {
        "match kind": ("affine", ""),
        "points": (
            "10 · 10 · 25 · 15; 110 · 10 · 75 · 15; 10 · 70 · 25 · 45",
            "10 · 10 · 25 · 15; 110 · 10 · 75 · 15; 110 · 70 · 75 · 45; 10 · 70 · 25 · 45",
        ),
    }


# ---- Pins ----


def test_a_pin_is_placed_and_moved(pictured: Bench) -> None:
    """On whichever picture shows the position best."""
    pin(pictured, "r2", "30,5", 20)
    assert words(pictured) == "R2 on Main board of TM-03 is pinned at 30.5, 20 on picture 1."
    pin(pictured, "R2", 40, 25, 2, opened_version=1)
    assert words(pictured) == (
        "R2 on Main board of TM-03 was pinned at 30.5, 20 on picture 1 and is at 40, 25 on picture 2 now."
    )
    before = pictured.entries()
    pin(pictured, "R2", 40, 25, 2, opened_version=2)

    assert before == pictured.entries()
    (row,) = pictured.rows(MapPin)
    assert (row.x, row.y, row.version) == (40, 25, 2)
    assert pictured.faults() == []


BAD_PINS: list[tuple[dict[str, object], dict[str, str]]] = [
    ({"x": 120.5}, {"x": "Picture 1 is 120 pixels wide; 120.5 lies outside it."}),
    (
        {"x": -1, "y": 81},
        {
            "x": "Picture 1 is 120 pixels wide; -1 lies outside it.",
            "y": "Picture 1 is 80 pixels high; 81 lies outside it.",
        },
    ),
    ({"x": ""}, {"x": "Write a number."}),
    ({"x": "left"}, {"x": "Write a number."}),
    ({"y": "nan"}, {"y": "Write a finite number."}),
    ({"picture": 9}, {"picture": "Main board has no picture 9 on its map."}),
    ({"picture": "x"}, {"picture": "Write a whole number."}),
]


@pytest.mark.parametrize(("typed", "messages"), BAD_PINS)
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_pin_that_will_not_do_is_told_beside_its_field(
    pictured: Bench, typed: dict[str, object], messages: dict[str, str]
) -> None:
    """Placed at a position or pointed out for a new one."""
    spot = {"board": MAIN, "picture": 1, "x": 10, "y": 10} | typed

    assert pictured.refuse(PlacePin, designator="R2", **spot) == messages
    assert pictured.refuse(PointOutPosition, designator="C9", mounting="soldered", **spot) == messages
    assert (pictured.rows(MapPin), len(pictured.rows(Position))) == ([], 4)


def test_only_a_position_is_pinned(pictured: Bench) -> None:
    spot = {"board": MAIN, "picture": 1, "x": 10, "y": 10}

    assert pictured.refuse(PlacePin, designator="R99", **spot) == {"designator": "There is no position “R99”."}
    assert pictured.refuse(PlacePin, designator="", **spot) == {"designator": "This cannot be left empty."}


def test_the_edge_of_a_picture_is_in_it(pictured: Bench) -> None:
    pin(pictured, "R2", 0, HIGH)
    pin(pictured, "R7", WIDE, 0)

    assert len(pictured.rows(MapPin)) == 2


def test_a_pin_that_somebody_placed_meanwhile_is_shown(pictured: Bench) -> None:
    """Placed where there was none, and moved where another had moved it."""
    pin(pictured, "R2", 30, 20)
    pin(pictured, "R2", 31, 20, opened_version=1)
    for opened in (0, 1):
        with pytest.raises(Stale) as stale:
            pin(pictured, "R2", 50, 20, 2, opened_version=opened)

        assert stale.value.current_version == 2
        rows = [(row.field, row.yours, row.theirs) for row in stale.value.rows]
        assert rows == [("picture", "2", "1"), ("x", "50.0", "31.0"), ("y", "20.0", "20.0")]
    assert [row.x for row in pictured.rows(MapPin)] == [31]


def test_a_pin_that_somebody_took_off_is_not_placed_again_unseen(pictured: Bench) -> None:
    """The keeper is told, and can place it anew."""
    with pytest.raises(Stale) as stale:
        pin(pictured, "R2", 50, 20, opened_version=3)

    assert stale.value.current_version == 0
    assert [(row.field, row.yours, row.theirs) for row in stale.value.rows] == [
        ("picture", "1", ""),
        ("x", "50.0", ""),
        ("y", "20.0", ""),
    ]
    pin(pictured, "R2", 50, 20, opened_version=0)


def test_a_pin_that_is_taken_off_leaves_the_position_in_the_tray(pictured: Bench) -> None:
    pin(pictured, "R2", 30, 20)
    assert "R2" not in [line.designator for line in shown(pictured).tray.rows]
    with pytest.raises(Stale):
        pictured.do(TakePinOff, board=MAIN, designator="R2", opened_version=2)

    pictured.do(TakePinOff, board=MAIN, designator="r2", opened_version=1)

    assert words(pictured) == "The pin of R2 on Main board of TM-03 was taken off."
    assert (pictured.rows(MapPin), shown(pictured).pins) == ([], ())
    assert "R2" in [line.designator for line in shown(pictured).tray.rows]
    assert pictured.faults() == []


def test_a_position_is_pointed_out_in_one_entry(pictured: Bench) -> None:
    """With what the service literature says of it, and its pin."""
    before = pictured.entries()
    typed = {"kind": "capacitor", "expected_value": "100 nF", "mounting": "soldered", "note": "Beside the clip"}

    pictured.do(PointOutPosition, board=MAIN, designator="C9", picture=2, x="33,5", y=44, **typed)

    assert pictured.entries() == before + 1
    assert words(pictured) == "Added position C9 on Main board of TM-03, pinned at 33.5, 44 on picture 2."
    position = pictured.rows(Position)[-1]
    assert {name: getattr(position, name) for name in typed} == typed
    (row,) = pictured.rows(MapPin)
    assert (row.position_id, row.x, row.y) == (position.id, 33.5, 44)
    assert pictured.faults() == []


def test_a_position_that_will_not_do_is_not_pinned_either(pictured: Bench) -> None:
    """What is wrong with the place and with the position is told together."""
    spot = {"board": MAIN, "picture": 1, "x": 500, "y": 10}
    typed = {"mounting": "soldered", "kind": "resistor"}

    assert pictured.refuse(PointOutPosition, designator="R2", **spot, **typed) == {
        "x": "Picture 1 is 120 pixels wide; 500 lies outside it.",
        "designator": "Main board already has a position R2.",
    }
    refused = pictured.refuse(
        PointOutPosition, designator="R5", **spot | {"x": 5}, **typed, expected_value="many", pins=0
    )
    assert list(refused) == ["expected_value", "pins"]
    assert "mounting" in pictured.refuse(PointOutPosition, designator="R5", **spot)
    assert (pictured.rows(MapPin), len(pictured.rows(Position))) == ([], 4)


# ---- What the map shows ----


def test_pins_say_what_is_expected_and_what_is_there(bench: Bench) -> None:
    """In the order of their designators."""
    mapped(bench)
    pin(bench, "R9", 60, 60)
    bench.do(EnterPart, board=MAIN, designator="R10", kind="resistor", value="47 Ω", origin="original")

    seen = shown(bench)

    told = [(line.designator, line.kind, line.expected, line.there, line.plane.number) for line in seen.pins]
    assert told == [
        ("R2", "resistor", "", "360 Ω ±5 % resistor", 1),
        ("R7", "resistor", "", "1 kΩ ±5 % resistor", 2),
        ("R9", "resistor", "10 kΩ", "", 1),
    ]
    assert [(line.designator, line.there) for line in seen.tray.rows] == [
        ("R10", "47 Ω resistor"),
        ("U7", "7414 chip"),
    ]
    assert (seen.pins[1].x, seen.pins[1].y, seen.pins[1].version) == (40, 30, 1)


def test_what_was_taken_out_is_not_there(bench: Bench) -> None:
    """The part that took its place is."""
    bench.replace_r2()
    mapped(bench)

    assert shown(bench).pins[0].there == "330 Ω ±1 % resistor"


def test_a_pin_is_seen_on_every_picture(bench: Bench) -> None:
    """By the matching points: R2 is at 30, 20 on the layout and R7 at 40, 40."""
    mapped(bench)
    seen = shown(bench)

    found = [carried(seen.pins, picture.plane) for picture in seen.pictures]

    places = [[(round(one.x, 6), round(one.y, 6)) for one in of if one] for of in found]
    assert places == [[(30, 20), (40, 40)], [(35, 20), (40, 30)], [(90, 20), (80, 40)]]
    assert [[one.radius == 0 for one in of if one] for of in found] == [[True, False], [False, True], [False, False]]


def test_the_tray_comes_page_by_page(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.records.questions.maps.IN_THE_TRAY", 3)

    pages = [shown(bench, page=page).tray for page in (1, 2, 9)]

    assert [[line.designator for line in page.rows] for page in pages] == [["R2", "R7", "R9"], ["U7"], ["U7"]]
    assert {(page.last, page.total) for page in pages} == {(2, 4)}


def test_a_map_takes_as_many_queries_with_many_pins_as_with_few(bench: Bench) -> None:
    mapped(bench)
    few = queries_of(bench)
    for number in range(20, 40):
        bench.do(AddPosition, board=MAIN, designator=f"C{number}", mounting="soldered")
        pin(bench, f"C{number}", number, number)

    assert few == queries_of(bench)
    assert len(shown(bench).pins) == 22


def queries_of(bench: Bench) -> int:
    """Of the map alone."""
    asked: list[str] = []
    with bench.store.reading() as session:
        board = find_board(session, find_machine(session, TAG), MAIN)
        event.listen(bench.store.engine, "before_cursor_execute", note := lambda *told: asked.append(told[2]))
        map_of(session, board)
        event.remove(bench.store.engine, "before_cursor_execute", note)
    return len(asked)


# ---- A board that moves ----


def test_a_board_that_moves_keeps_its_map(bench: Bench) -> None:
    """And takes its photographs along, under the numbers that they had; the new machine's own come first."""
    mapped(bench)
    photograph(bench, 4)
    photograph(bench, 5)
    bench.do(EnterMachine, tag="TM-09", model="Merle 40")

    bench.do(MoveBoard, board=MAIN, to="TM-09", day="2025-03-01", signer=KEEPER)

    assert [line.designator for line in shown(bench, machine="TM-09").pins] == ["R2", "R7"]
    for number in (6, 7, 8, 9):
        photograph(bench, number, machine="TM-09")
    ours, theirs = bench.rows(Photograph)[3], bench.rows(Photograph)[8]
    assert (ours.number, theirs.number, ours.machine_id == theirs.machine_id) == (4, 4, False)
    for number in (4, 5):
        bench.do(AddBoardPicture, machine="TM-09", board=MAIN, photograph=number, kind="photograph")
    added = [row.photograph_id for row in bench.rows(BoardPicture)[3:]]
    assert added == [theirs.id, 5]
    pin(bench, "R9", 50, 50, machine="TM-09")
    assert words(bench) == "R9 on Main board of TM-09 is pinned at 50, 50 on picture 1."
    assert bench.faults() == []
