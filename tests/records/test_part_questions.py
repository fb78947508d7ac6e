"""What is asked about boards, parts and bags answers alike on each kind of database."""

from datetime import date

import pytest

from server.records import checks, parts_list
from server.records.commands.base import Command
from server.records.commands.machines import AddBoard, EnterMachine
from server.records.commands.mods import PlanMod
from server.records.commands.parts import EnterPart, KeepAside
from server.records.commands.steps import AddStep, CarryOutStep, UndoStep
from server.records.errors import Invalid
from server.records.questions.addresses import find_board, find_machine, find_part, find_position
from server.records.questions.boards import next_empty, positions_of, sittings_at
from server.records.questions.parts import Sought, bag_of, parts_in, seat_of, stays_of, told_of
from server.records.store import Store

LIST = """ref,value,type,origin
R1,330 Ω,carbon film,original
R2,,,
R10,1 kΩ,100% carbon,later
U1,,74LS00,original
"""
DAY = {"day": "2024-03-01", "signer": "keeper"}
STEP = {"machine": "TM-03", "mod": 1}


def do(store: Store, command: type[Command], /, **typed: object) -> None:
    store.carry_out(command.read(typed), "keeper")


@pytest.fixture
def bench(store: Store) -> Store:
    """A board with a list on it; R1 was taken out into bag 1 and 360 Ω fitted by a mod."""
    do(store, EnterMachine, tag="TM-03", model="Test machine")
    do(store, AddBoard, machine="TM-03", name="Main board", kind="main board")
    store.carry_out(parts_list.command_for(store, "TM-03", "main-board", LIST.encode()), "keeper")
    do(store, PlanMod, machine="TM-03", title="Test", state="planned", **DAY)
    for number, kind in ((1, "take out"), (2, "fit")):
        do(store, AddStep, **STEP, kind=kind, board="main-board", designator="R1")
        fitted = {"value": "360 Ω"} if kind == "fit" else {"place": "Drawer 4"}
        do(store, CarryOutStep, **STEP, step=number, **DAY, **fitted)
    return store


@pytest.mark.parametrize(
    ("sought", "found"),
    [
        (Sought(), ["R1", "R10", "U1"]),
        (Sought("CARBON"), ["R10"]),
        (Sought("100%"), ["R10"]),
        (Sought("1_0%"), []),
        (Sought("74ls u1"), ["U1"]),
        (Sought("\0"), ["R1", "R10", "U1"]),
        (Sought("x " * 500), []),
        (Sought(kind="resistor"), ["R1", "R10"]),
        (Sought(kind="resistor", origin="later"), ["R10"]),
    ],
)
def test_parts_are_found_by_words_kind_and_origin(bench: Store, sought: Sought, found: list[str]) -> None:
    with bench.reading() as session:
        parts = parts_in(session, find_machine(session, "TM-03"), sought, 1)

    assert [line.position.designator for line in parts.rows] == found
    assert parts.total == len(found)


def test_positions_come_in_the_order_of_their_numbers(bench: Store) -> None:
    with bench.reading() as session:
        board = find_board(session, find_machine(session, "TM-03"), "main-board")
        positions = positions_of(session, board, 1).rows

    held = [(line.position.designator, line.part.value if line.part else None) for line in positions]
    assert held == [("R1", "360 Ω"), ("R2", None), ("R10", "1 kΩ"), ("U1", "")]


@pytest.mark.parametrize(("after", "following"), [("R1", "R2"), ("A", "R2"), ("R2", None), ("U1", None), ("r01", "R2")])
def test_the_next_empty_position_lies_behind_the_one_that_was_filled(
    bench: Store, after: str, following: str | None
) -> None:
    with bench.reading() as session:
        board = find_board(session, find_machine(session, "TM-03"), "main-board")
        position = next_empty(session, board, after)

    assert (position.designator if position else None) == following


def test_a_position_names_the_steps_that_changed_it_the_latest_part_first(bench: Store) -> None:
    with bench.reading() as session:
        board = find_board(session, find_machine(session, "TM-03"), "main-board")
        sittings = sittings_at(session, find_position(session, board, "R1"), 1).rows

    assert [line.part.value for line in sittings] == ["360 Ω", "330 Ω"]
    assert [
        (line.fitted_by and line.fitted_by.step, line.removed_by and line.removed_by.step) for line in sittings
    ] == [
        (2, None),
        (None, 1),
    ]


def test_a_part_is_followed_from_place_to_place(bench: Store) -> None:
    do(bench, KeepAside, part=1, day="2024-04-01", place="Shelf", from_bag=1)
    do(bench, KeepAside, part=1, day="2024-04-01", bag=9)

    with bench.reading() as session:
        part = find_part(session, 1)
        stays = stays_of(session, part)
        told = [entry.act for entry in told_of(session, part, 1).rows]

    places = [(stay.bag.bag if stay.bag else None, stay.since, stay.until) for stay in stays]
    april = date(2024, 4, 1)
    assert places == [(9, april, None), (1, april, april), (1, date(2024, 3, 1), april), (None, None, date(2024, 3, 1))]
    assert seat_of(stays) is None
    assert bag_of(stays) == stays[0].bag
    assert told == ["keep aside", "keep aside"]


def test_a_record_with_lists_mods_and_bags_is_whole(bench: Store) -> None:
    """The journal tells every row, those of the list as well, and each part is in one place."""
    do(bench, UndoStep, **STEP, step=2, day="2024-05-01", signer="keeper", becomes="lost")
    do(bench, EnterPart, machine="TM-03", board="main-board", designator="R2", kind="resistor", origin="new")
    do(bench, KeepAside, part=1, day="2024-06-01", becomes="discarded")

    with bench.reading() as session:
        assert list(checks.faults(session, bench.files)) == []


def test_a_part_that_is_gone_is_put_nowhere(bench: Store) -> None:
    """Rule 1: it is discarded, so it lies in no bag to be fitted from or moved from."""
    do(bench, KeepAside, part=1, day="2024-06-01", becomes="discarded")

    with pytest.raises(Invalid, match="Only a part that lies in a bag"):
        do(bench, KeepAside, part=1, day="2024-07-01", becomes="bag")
    do(bench, UndoStep, **STEP, step=2, day="2024-05-01", signer="keeper")
    with pytest.raises(Invalid, match="discarded"):
        do(bench, UndoStep, **STEP, step=1, day="2024-07-01", signer="keeper")
