"""Positions: one of each designator on a board, found however it is written."""

import pytest

from server.records.commands.machines import AddPosition, RevisePosition
from server.records.commands.parts import EnterPart
from server.records.errors import NotFound
from server.records.questions.addresses import designator_key, find_board, find_machine, find_position
from server.records.tables import Position
from tests.records.conftest import MAIN, TAG, Bench


@pytest.mark.parametrize("written", ["R2", "r2", "R02", "r 002", " R2 ", "R\u00a02"])
def test_a_designator_is_one_however_it_is_written(bench: Bench, written: str) -> None:
    """Case, blanks and leading noughts do not make another position."""
    messages = bench.refuse(AddPosition, board=MAIN, designator=written, mounting="soldered")
    with bench.store.reading() as session:
        found = find_position(session, find_board(session, find_machine(session, TAG), MAIN), written)

    assert messages == {"designator": "Main board already has a position R2."}
    assert found.designator == "R2"


@pytest.mark.parametrize(
    ("one", "other"), [("R2", "R20"), ("R0", "R"), ("IC1A", "IC1B"), ("R1-2", "R12"), ("Ä1", "A1")]
)
def test_other_designators_are_other_positions(one: str, other: str) -> None:
    """Only what a person reads as the same is the same."""
    assert designator_key(one) != designator_key(other)


def test_designators_sort_as_people_count() -> None:
    """R2 before R10."""
    assert sorted(["R10", "R2", "C1", "r9", "R02A"], key=designator_key) == ["C1", "R2", "R02A", "r9", "R10"]


def test_a_typed_accent_is_one_character_or_two() -> None:
    """Both look the same, so both find the same."""
    assert designator_key("E\N{COMBINING ACUTE ACCENT}1") == designator_key("É1")


ODD = ["", "--", "R/2", "R?", "R#1", "R%", "R\\2", "R" * 41, "new", "R\u200b2", "\u202eR2"]


@pytest.mark.parametrize("designator", ODD)
def test_a_designator_is_part_of_an_address(bench: Bench, designator: str) -> None:
    """For an added position and for a part entered with its position alike."""
    added = bench.refuse(AddPosition, board=MAIN, designator=designator, mounting="soldered")
    entered = bench.refuse(EnterPart, board=MAIN, designator=designator, kind="chip", origin="new")

    assert list(added) == list(entered) == ["designator"]
    assert added == entered


def test_a_long_designator_of_many_numbers_fits_its_key(bench: Bench) -> None:
    """Padded numbers make the key longer than the designator."""
    designator = "ΐ1" * 20
    done = bench.do(AddPosition, board=MAIN, designator=designator, mounting="soldered")

    assert designator == bench.row(Position, done.key).designator


@pytest.mark.parametrize("pins", ["0", "-1", "10001", "99999999999999999999", "two", "1.5"])
def test_pins_are_counted(bench: Bench, pins: str) -> None:
    """From one to ten thousand."""
    assert list(bench.refuse(AddPosition, board=MAIN, designator="U9", mounting="soldered", pins=pins)) == ["pins"]


@pytest.mark.parametrize(("kind", "value"), [("resistor", "10 µF"), ("resistor", "many Ω"), ("other", "4M7")])
def test_an_expected_value_can_be_read(bench: Bench, kind: str, value: str) -> None:
    """As a value of this kind of part: a sum may come to read it."""
    fields = {"board": MAIN, "mounting": "soldered", "kind": kind, "expected_value": value}

    assert list(bench.refuse(AddPosition, designator="X9", **fields)) == ["expected_value"]
    assert list(bench.refuse(RevisePosition, designator="R9", opened_version=1, **fields)) == ["expected_value"]


@pytest.mark.parametrize("designator", ["", "R99", "R2\0", "\ud800", "x" * 100_000])
def test_a_position_that_is_not_there_is_told(bench: Bench, designator: str) -> None:
    """However odd the name."""
    with bench.store.reading() as session, pytest.raises(NotFound, match="There is no position"):
        find_position(session, find_board(session, find_machine(session, TAG), MAIN), designator)
