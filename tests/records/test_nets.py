"""Nets: written down whole or refused row by row, revised, taken off the record and listed."""

from collections.abc import Callable
from typing import Any

import pytest

from server.records.commands.board_moves import MoveBoard
from server.records.commands.machines import AddPosition, EnterMachine
from server.records.commands.nets import AddNet, DropNet, ReviseNet
from server.records.errors import NotFound, Stale
from server.records.questions.addresses import find_board, find_machine
from server.records.questions.net_cases import CAME
from server.records.questions.nets import nets_of
from server.records.tables import Net, NetPin
from tests.records.conftest import KEEPER, MAIN, TAG, Bench
from tests.records.net_scene import (
    INPUT,
    OUTPUT,
    PATH,
    Row,
    add,
    judged,
    pin,
    place,
    pull,
    refused,
    rows_in_order,
    seen,
)


@pytest.fixture
def board(bench: Bench) -> Bench:
    place(bench)
    return bench


# ---- Writing down ----


def test_a_net_is_written_down_in_one_entry(board: Bench) -> None:
    """With its pins in their order."""
    before = board.entries()
    add(board, sheet="2", note="Scanned")

    assert board.entries() == before + 1
    assert board.last_entry().words == "Net 1, KEY 2, on Main board of TM-03 is written down with 4 pins."
    assert [row.pin for row in rows_in_order(board)] == ["3", "1", "4", ""]
    assert board.faults() == []


BAD_ROWS: list[tuple[Row, str, str]] = [
    (pin("U99", "1"), "designator", "There is no position “U99”"),
    (pin("", "1"), "designator", "cannot be left empty"),
    (pin("U12", ""), "pin", "Say which pin"),
    (pin("U12", "1-3"), "pin", "Name one pin"),
    (pin("U12", "1", "louder"), "role", "Choose one of the words"),
    (pin("U12", "1", family="74XX"), "family", "no family “74XX”"),
    (pin("U12", "1", drives="low"), "drives", "Only an output"),
    (pin("U11", "3", OUTPUT, drives="floating"), "drives", "Choose one of the words"),
    (pin("U12", "1", series="R99"), "series", "There is no position “R99”"),
    (pin("U12", "1", series="U11"), "series", "a place for a chip"),
    (pin("R7", "1", series="R7"), "series", "a position of its own"),
    (pin("U12", "1", other_end="5 V"), "other_end", "Only a passive part"),
    (pull("R7", ""), "other_end", "Say to which level"),
    (pull("R7", "high"), "other_end", "number"),
    (pull("R7", "5 Ω"), "other_end", "Ω"),
    (pull("R7", "-12 V"), "other_end", "from 0 V to 30 V"),
    (pull("R7", "31 V"), "other_end", "from 0 V to 30 V"),
    (pull("R7") | {"family": "74"}, "family", "no logic family"),
    (pull("R7") | {"series": "R2"}, "series", "itself the resistor"),
]


@pytest.mark.parametrize(("row", "field", "words"), BAD_ROWS)
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_bad_row_is_told_beside_its_field(board: Bench, row: Row, field: str, words: str) -> None:
    """And nothing is stored, whatever the other rows are."""
    messages = refused(board, pin("U11", "3", OUTPUT), row)

    assert [f"pins.1.{field}"] == list(messages)
    assert words in messages[f"pins.1.{field}"]
    assert board.rows(Net) == []


def test_a_pin_is_on_a_net_once(board: Bench) -> None:
    """However it is spelled."""
    messages = refused(board, pin("U12", "1"), pin("u12", "Pin 1"))

    assert messages == {"pins.1.pin": "u12 pin Pin 1 is on this net already, as pin row 1."}


def test_a_pin_is_on_one_net(board: Bench) -> None:
    """A resistor without a named end can hang on several."""
    add(board)
    messages = refused(board, pin("U12", "pin 1"), pull("R7"))

    assert messages == {"pins.0.pin": "That pin is on net 1, KEY 2, already; a pin is on one net."}


@pytest.mark.parametrize(("one", "other"), [("PA0", "4"), ("4", "pa0"), ("pin 34", "DB0")])
def test_a_pin_is_on_a_net_once_by_its_number_or_its_name(board: Bench, one: str, other: str) -> None:
    """As the type of the part there tells: U13 holds an 8255A."""
    messages = refused(board, pin("U13", one, "either way"), pin("U12", "1"), pin("u13", other, INPUT))

    assert messages == {"pins.2.pin": f"On the 8255A there, {other} is the same pin as {one}, in pin row 1."}


def test_a_pin_is_on_one_net_by_its_number_or_its_name(board: Bench) -> None:
    add(board)
    messages = refused(board, pin("U13", "PA0", "either way"))

    assert messages == {"pins.0.pin": "That pin is on net 1, KEY 2, already; a pin is on one net."}


def test_other_chips_have_their_own_names(board: Bench) -> None:
    """Of a chip that nothing is known of, and of other pins of the same one, nothing is refused."""
    add(board, [pin("U14", "PA0", "either way"), pin("U14", "4"), pin("U13", "PA0"), pin("U13", "3")])

    assert len(board.rows(NetPin)) == 4


def test_a_net_has_pins(board: Bench) -> None:
    assert list(refused(board)) == ["pins.0.designator"]


def test_three_hundred_pins_are_too_many(board: Bench) -> None:
    """They are counted in one sentence, not in three hundred."""
    messages = refused(board, *(pin("U12", str(number)) for number in range(300)))

    assert messages == {"pins.0.designator": "There are 300 pins; at most 40 fit on one net."}


def test_pins_that_stay_keep_their_identity(board: Bench) -> None:
    """In another order, with one changed, one gone and one new."""
    add(board)
    known = {(row.position_id, row.pin): row.uuid for row in board.rows(NetPin)}
    rows = [PATH[3], PATH[1] | {"seen_at": "C4"}, PATH[0], pin("U12", "3")]
    board.do(ReviseNet, board=MAIN, net=1, name="KEY 2", pins=rows, opened_version=1)

    now = rows_in_order(board)
    assert [row.pin for row in now] == ["", "1", "3", "3"]
    assert [row.uuid for row in now[:3]] == [known[row.position_id, row.pin] for row in now[:3]]
    assert now[3].uuid not in known.values()
    assert board.row(Net, 1).version == 2
    assert board.faults() == []


def test_a_net_saved_as_it_was_is_not_changed(board: Bench) -> None:
    """Nor are its pins."""
    add(board)
    board.do(ReviseNet, board=MAIN, net=1, name="KEY 2", pins=PATH, opened_version=1)

    assert (board.row(Net, 1).version, board.faults()) == (1, [])


def test_a_net_is_taken_off_the_record(board: Bench) -> None:
    """Only as it was seen; its number is not looked for any more, and its pins are free."""
    add(board)
    board.do(ReviseNet, board=MAIN, net=1, name="KEY 3", pins=PATH, opened_version=1)
    with pytest.raises(Stale):
        board.do(DropNet, board=MAIN, net=1, opened_version=1)
    board.do(DropNet, board=MAIN, net=1, opened_version=2)

    assert board.rows(Net) + board.rows(NetPin) == []
    assert board.last_entry().words == "Net 1, KEY 3, on Main board of TM-03 was taken off the record."
    assert board.faults() == []
    with pytest.raises(NotFound):
        board.do(DropNet, board=MAIN, net=1, opened_version=1)


def test_a_number_is_never_given_to_another_net(board: Bench) -> None:
    """Neither the last one's, nor one in between, also after the board went to another machine and another net went."""
    other = "supply"
    for name in ("A", "B", "C"):
        add(board, [pin("U12", str("ABC".index(name) + 1))], name=name)
    for number in (3, 2):
        board.do(DropNet, board=MAIN, net=number, opened_version=1)
    add(board, [pin("U12", "8")], name="D")
    board.do(AddPosition, board=other, designator="J1", kind="connector", mounting="soldered")
    board.do(AddNet, board=other, name="E", pins=[pin("J1", "1")])
    board.do(DropNet, board=MAIN, net=4, opened_version=1)
    board.do(EnterMachine, tag="TM-04", model="Merle 40")
    board.do(MoveBoard, board=MAIN, to="TM-04", day="2025-06-01", signer=KEEPER)
    board.do(AddNet, machine="TM-04", board=MAIN, name="F", pins=[pin("U12", "9")])

    assert sorted((net.name, net.number) for net in board.rows(Net)) == [("A", 1), ("E", 1), ("F", 5)]
    assert board.faults() == []


@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_net_is_written_down_in_as_many_queries_however_many_went(board: Bench) -> None:
    """What went is asked for at once."""
    from tests.pages.benchwork import queries as counted

    counts = []
    for _ in range(6):
        with counted(board.store) as asked:
            add(board, PATH[:2])
        counts.append(len(asked))
        board.do(DropNet, board=MAIN, net=board.rows(Net)[0].number, opened_version=1)

    assert len(set(counts)) == 1


def test_nets_are_listed_with_who_drives_and_who_listens(board: Bench) -> None:
    add(board)
    with board.store.reading() as session:
        found = nets_of(session, find_board(session, find_machine(session, TAG), MAIN), 1)

    assert [line.drivers for line in found.rows] == [("U11 pin 3", "U13 pin 4")]
    assert [line.listeners for line in found.rows] == [("U12 pin 1", "U13 pin 4")]


# ---- Whatever is typed ----


@pytest.mark.parametrize("name", ["\u202eabc", "<script>", "日本🙂", "a\N{ZERO WIDTH SPACE}b", "x" * 300])
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_any_name_of_a_pin_can_be_worked_with(board: Bench, name: str) -> None:
    """Names that the sums cannot print are shown by a mark in their place."""
    add(board, [pin("U11", name, OUTPUT), pin("U12", name), pin("U12", "1")])

    assert judged(board).holds is not None


@pytest.mark.parametrize(("act", "queries"), [(lambda bench: seen(bench), 5), (lambda bench: seen(bench, CAME), 5)])
@pytest.mark.parametrize("bench", ["sqlite"], indirect=True)
def test_a_net_is_read_in_as_many_queries_however_many_pins_it_has(
    board: Bench, act: Callable[[Bench], Any], queries: int
) -> None:
    from tests.pages.benchwork import queries as counted

    add(board, PATH[:2])
    with counted(board.store) as small:
        act(board)
    rows = [*PATH, *(pin("U14", str(number)) for number in range(3, 20))]
    board.do(ReviseNet, board=MAIN, net=1, name="KEY 2", pins=rows, opened_version=1)
    with counted(board.store) as large:
        act(board)

    assert len(small) == len(large) <= queries + 3
