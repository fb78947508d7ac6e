"""Board maps: pictures are put on and left out, or refused in words; a board that moves takes its map along."""

from typing import Any

import pytest

from server.records.commands.board_moves import MoveBoard
from server.records.commands.machines import EnterMachine
from server.records.commands.maps import AddBoardPicture, LeavePictureOut, MatchPictures, TakePinOff
from server.records.errors import NotFound, Stale
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.maps import photographs_off_map
from server.records.tables import BoardPicture, MatchPoint, Photograph
from tests.records.conftest import KEEPER, MAIN, TAG, Bench
from tests.records.map_scene import FRONT, HIGH, WIDE, add, mapped, match, photograph, pin, shown, words


def off_map(bench: Bench) -> list[int]:
    with bench.store.reading() as session:
        board = find_board(session, find_machine(session, TAG), MAIN)
        return [row.photograph.number for row in photographs_off_map(session, board)]


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
    bench.do(AddBoardPicture, machine="TM-09", board=MAIN, photograph=4, photograph_of=TAG.lower(), kind="photograph")
    assert bench.rows(BoardPicture)[5].photograph_id == ours.id
    said = bench.refuse(AddBoardPicture, machine="TM-09", board=MAIN, photograph=9, photograph_of=TAG, kind="layout")
    assert "has no photograph 9" in said["photograph"]
    pin(bench, "R9", 50, 50, machine="TM-09")
    assert words(bench) == "R9 on Main board of TM-09 is pinned at 50, 50 on picture 1."
    assert bench.faults() == []
