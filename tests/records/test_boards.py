"""Boards: their names in addresses, and which holds which."""

import pytest

from server.records.commands.machines import AddBoard, EnterMachine, ReviseBoard
from server.records.errors import NotFound
from server.records.questions.addresses import SLUG_MOST, find_board, find_machine
from server.records.tables import Board
from tests.records.conftest import MAIN, TAG, Bench


def slugs(bench: Bench) -> list[str]:
    return [board.slug for board in bench.rows(Board)]


def test_a_board_is_called_by_a_slug_of_its_name(bench: Bench) -> None:
    """Accents fold, “new” is kept for the form, and what leaves no letters is a board all the same."""
    for name in ("Carte mère n° 2", "New", "主基板", "-- / --"):
        bench.do(AddBoard, name=name, kind="other")

    assert slugs(bench)[2:] == ["carte-mere-n-2", "new-board", "board", "board-2"]


def test_boards_of_one_slug_are_numbered(bench: Bench) -> None:
    """Each machine by itself, and never beyond what an address holds."""
    bench.do(EnterMachine, tag="TM-04", model="Merle 80")
    bench.do(AddBoard, machine="TM-04", name="Supply", kind="supply")
    for last in "abc":
        bench.do(AddBoard, name="x" * 100 + last, kind="other")

    assert slugs(bench)[2] == "supply"
    assert [len(slug) for slug in slugs(bench)[3:]] == [SLUG_MOST] * 3
    assert [slug[-2:] for slug in slugs(bench)[3:]] == ["xx", "-2", "-3"]


@pytest.mark.parametrize("name", ["Supply", "SUPPLY", " supply "])
def test_a_board_has_a_name_of_its_own(bench: Bench, name: str) -> None:
    """Two of one name could not be told apart in words."""
    other = {"kind": "other", "name": name}

    assert list(bench.refuse(AddBoard, **other)) == ["name"]
    assert list(bench.refuse(ReviseBoard, board=MAIN, opened_version=1, **other)) == ["name"]


def test_a_renamed_board_keeps_its_address(bench: Bench) -> None:
    """Links to it keep working."""
    bench.do(ReviseBoard, board=MAIN, name="Mother board", kind="main board", opened_version=1)

    assert slugs(bench) == [MAIN, "supply"]


def test_a_board_is_held_by_a_board_of_its_machine(bench: Bench) -> None:
    """One that is not there is told beside the field."""
    bench.do(EnterMachine, tag="TM-04", model="Merle 80")
    bench.do(AddBoard, machine="TM-04", name="Drive", kind="drive")
    bench.do(AddBoard, name="Riser", kind="other", parent=MAIN)

    assert bench.row(Board, 4).parent_id == 1
    for kind, more in ((AddBoard, {}), (ReviseBoard, {"board": "riser", "opened_version": 1})):
        assert bench.refuse(kind, name="Raiser", kind="other", parent="drive", **more) == {
            "parent": "There is no board “drive”."
        }


@pytest.mark.parametrize("parent", [MAIN, "riser", "top"])
def test_a_board_never_holds_itself(bench: Bench, parent: str) -> None:
    """Not through others either."""
    bench.do(AddBoard, name="Riser", kind="other", parent=MAIN)
    bench.do(AddBoard, name="Top", kind="other", parent="riser")

    messages = bench.refuse(
        ReviseBoard, board=MAIN, name="Main board", kind="main board", parent=parent, opened_version=1
    )
    assert messages == {"parent": "A board cannot hold itself, directly or through others."}


@pytest.mark.parametrize("name", ["", "nothing", "Main board", "MAIN-BOARD", "main-board\0", "\udfff"])
def test_a_board_that_is_not_there_is_told(bench: Bench, name: str) -> None:
    """An address is written as it is shown."""
    with bench.store.reading() as session, pytest.raises(NotFound, match="There is no board"):
        find_board(session, find_machine(session, TAG), name)
