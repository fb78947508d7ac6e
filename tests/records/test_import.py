"""A whole parts list goes onto a board at once, in one entry of the journal, or not at all."""

from datetime import date

import pytest
from sqlmodel import col, func, select

from server.records import journal, parts_list
from server.records.commands.machines import AddBoard, AddPosition, EnterMachine
from server.records.commands.parts import ROWS_MOST, EnterPart, ImportParts, ListedPart, list_faults
from server.records.errors import Invalid, NotFound
from server.records.questions.addresses import find_board, find_machine
from server.records.store import Done, Store
from server.records.tables import Board, JournalEntry, Part, Placement, Position
from server.records.words import Mounting, Origin, PartKind

HEADING = "designator,kind,type,value,date code,maker,origin,mounting,expected type,expected value,note\n"


@pytest.fixture
def board(store: Store) -> Board:
    store.carry_out(EnterMachine(tag="TM-03", model="Test machine"), "keeper")
    store.carry_out(AddBoard.read({"machine": "TM-03", "name": "Main board", "kind": "main board"}), "keeper")
    with store.reading() as session:
        return find_board(session, find_machine(session, "TM-03"), "main-board")


def enter(store: Store, text: str) -> Done:
    return store.carry_out(parts_list.command_for(store, "TM-03", "main-board", text.encode()), "keeper")


def faults(store: Store, board: Board, *rows: dict[str, object]) -> dict[int, str]:
    with store.reading() as session:
        return list_faults(session, board, [ListedPart.read(row) for row in rows])


def counts(store: Store) -> tuple[int, int, int]:
    with store.reading() as session:
        positions, parts, placements = (
            session.exec(select(func.count()).select_from(table)).one() for table in (Position, Part, Placement)
        )
        return positions, parts, placements


def at(store: Store, designator: str) -> tuple[Position, Part | None]:
    query = (
        select(Position, Part)
        .outerjoin(Placement, col(Placement.position_id) == col(Position.id))
        .outerjoin(Part, col(Part.id) == col(Placement.part_id))
        .where(Position.designator == designator)
    )
    with store.reading() as session:
        return session.exec(query).one()


def test_each_row_makes_its_position_and_its_part(store: Store, board: Board) -> None:
    enter(store, HEADING + "U1,chip,74LS00,,8342,XYZ,original,socketed,74LS00,,clean\n")

    position, part = at(store, "U1")
    assert part
    assert (position.board_id, position.mounting) == (board.id, Mounting.SOCKETED)
    assert (position.kind, position.expected_type) == (PartKind.CHIP, "74LS00")
    assert (part.type, part.date_code, part.maker_mark) == ("74LS00", "8342", "XYZ")
    assert (part.origin, part.note, part.created_by) == (Origin.ORIGINAL, "clean", "keeper")


@pytest.mark.usefixtures("board")
def test_a_row_without_a_part_makes_its_position_alone(store: Store) -> None:
    """Then a note belongs to the position."""
    enter(store, HEADING + "U2,chip,,,,,,,Z80,,left empty by the factory\n")

    position, part = at(store, "U2")
    assert part is None
    assert (position.expected_type, position.note) == ("Z80", "left empty by the factory")


@pytest.mark.usefixtures("board")
def test_a_list_adds_to_a_position_that_is_there(store: Store) -> None:
    """What the position says already stays; what it does not say is filled in."""
    added = {"machine": "TM-03", "board": "main-board", "designator": "R1", "mounting": "wired", "kind": "resistor"}
    store.carry_out(AddPosition.read({**added, "expected_type": "carbon film"}), "keeper")

    enter(store, HEADING + "r01,resistor,,330 Ω,,,,,carbon film,330 Ω ±5 %,\n")

    position, part = at(store, "R1")
    assert part
    assert part.value == "330 Ω"
    assert (position.mounting, position.expected_value) == ("wired", "330 Ω ±5 %")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"designator": "R1", "value": "1 Ω"}, "R1 holds a part already."),
        ({"designator": "r 1", "value": "1 Ω"}, "holds a part already"),
        ({"designator": "R2"}, "the row adds nothing"),
        ({"designator": "R2", "expected_value": "2 Ω"}, "R2 has the expected value “1 Ω” on the board"),
        ({"designator": "R2", "value": "1 Ω", "mounting": "socketed"}, "R2 has the mounting “soldered” on the board"),
        ({"designator": "???"}, "at least one letter or digit"),
        ({"designator": "A/B"}, "part of an address"),
        ({"designator": "U" * 41}, "at most 40 characters"),
        ({"designator": "R9", "kind": "resistor", "value": "lots"}, "has no digits"),
        ({"designator": "R9", "kind": "resistor", "expected_value": "5 V"}, "V"),
    ],
)
def test_a_row_that_cannot_stand_on_the_board_says_why(
    store: Store, board: Board, row: dict[str, object], said: str
) -> None:
    place = {"machine": "TM-03", "board": "main-board"}
    store.carry_out(
        EnterPart.read({**place, "designator": "R1", "kind": "resistor", "value": "330 Ω", "origin": "original"}), "k"
    )
    store.carry_out(
        AddPosition.read(
            {**place, "designator": "R2", "kind": "resistor", "mounting": "soldered", "expected_value": "1 Ω"}
        ),
        "k",
    )

    found = faults(store, board, row)

    assert said in found[0]


def test_a_position_that_once_held_another_part_asks_for_a_day(store: Store, board: Board) -> None:
    """A list has no days, so its part cannot take a place in that position's history."""
    enter(store, HEADING + "R1,resistor,,330 Ω,,,original,,,,\n")
    with store.reading() as session:
        placement = session.exec(select(Placement)).one()
        placement.removed_on = date(2020, 1, 1)
        session.add(placement)
        session.flush()

        found = list_faults(session, board, [ListedPart.read({"designator": "R1", "value": "1 Ω"})])

    assert "has held another part before" in found[0]


def test_a_designator_may_stand_in_a_list_once(store: Store, board: Board) -> None:
    """However it is written."""
    found = faults(store, board, {"designator": "R1"}, {"designator": "R2"}, {"designator": "r01"})

    assert found == {2: "The designator r01 stands in row 1 already."}


def test_one_bad_row_stores_nothing(store: Store, board: Board) -> None:
    rows = [ListedPart.read({"designator": name, "type": "x"}) for name in ("U1", "U2", "U1")]
    before = counts(store)

    with pytest.raises(Invalid) as refused:
        store.carry_out(ImportParts(machine="TM-03", board=board.slug, rows=rows), "keeper")

    assert refused.value.messages == {"rows": "Row 3 (U1): The designator U1 stands in row 1 already."}
    assert counts(store) == before


@pytest.mark.usefixtures("board")
def test_a_file_with_bad_lines_names_them(store: Store) -> None:
    with pytest.raises(Invalid) as refused:
        enter(store, HEADING + "U1,chip,a\nU1,chip,b\n,chip,c\n" + "Q1,gizmo\n" * 30)

    lines = refused.value.messages["text"].splitlines()
    assert lines[0] == "Line 3 (U1): The designator U1 stands in line 2 already."
    assert lines[1] == "Line 4: No designator says where this part sits."
    assert lines[-1] == "And 12 more."


@pytest.mark.parametrize("rows", [0, ROWS_MOST + 1])
def test_a_list_has_some_rows_and_not_too_many(rows: int) -> None:
    row = ListedPart.read({"designator": "R1"})

    with pytest.raises(Invalid) as refused:
        ImportParts.read({"machine": "TM-03", "board": "main-board", "rows": [row] * rows})

    assert "rows" in refused.value.messages


@pytest.mark.usefixtures("board")
def test_a_list_for_a_board_that_is_not_there_is_not_found(store: Store) -> None:
    with pytest.raises(NotFound):
        parts_list.command_for(store, "TM-03", "no-board", b"ref\nR1\n")


@pytest.mark.usefixtures("board")
def test_hostile_text_is_stored_as_it_was_written(store: Store) -> None:
    text = "<script>alert(1)</script> '; DROP TABLE part; -- =cmd|' /C calc'!A0 ${7*7} {{7*7}} \u202e"

    enter(store, f'ref,type,note\nU1,"{text}","{text}"\n')

    _, part = at(store, "U1")
    assert part
    assert (part.type, part.note) == (text, text)


@pytest.mark.usefixtures("board")
def test_a_list_and_a_single_entry_are_journalled_alike(store: Store) -> None:
    """The rows that are stored in bulk leave the same in the journal as those stored one by one."""
    described = {"kind": "chip", "type": "74LS00", "date_code": "8342", "origin": "original", "note": "clean"}
    entry = {**described, "machine": "TM-03", "board": "main-board", "designator": "U1", "mounting": "socketed"}
    store.carry_out(EnterPart.read(entry), "keeper")
    row = ListedPart.read({**described, "designator": "U2", "mounting": "socketed"})

    store.carry_out(ImportParts(machine="TM-03", board="main-board", rows=[row]), "keeper")

    with store.reading() as session:
        by_hand, listed = session.exec(select(JournalEntry).order_by(col(JournalEntry.seq).desc()).limit(2)).all()[::-1]
    said = [{change["table"]: set(change["after"]) for change in entry.change} for entry in (by_hand, listed)]
    assert said[0] == said[1]
    assert [change["after"]["id"] for change in listed.change] == [2, 2, 2]


@pytest.mark.usefixtures("board")
def test_a_list_that_was_stopped_leaves_nothing(store: Store) -> None:
    """Whoever hears of progress stops it by raising."""

    class Halt(Exception):
        pass

    def stopping(done: int, total: int) -> None:  # noqa: ARG001
        if done:
            raise Halt

    rows = "\n".join(f"R{n},resistor,,330 Ω,,,unknown,soldered,,," for n in range(1, 1001))
    command = parts_list.command_for(store, "TM-03", "main-board", (HEADING + rows).encode())

    with pytest.raises(Halt):
        store.carry_out(command, "keeper", stopping)

    assert counts(store) == (0, 0, 0)
    with store.reading() as session:
        assert session.exec(select(func.max(JournalEntry.seq))).one() == 2
    assert store.carry_out(command, "keeper").seq == 3


@pytest.mark.usefixtures("board")
def test_five_thousand_rows_go_in_with_progress_and_one_entry(store: Store) -> None:
    lines = (f"R{n},resistor,carbon film,{n % 900 + 1} kΩ ±5 %,8342,XYZ,original,soldered,,," for n in range(1, 5001))
    command = parts_list.command_for(store, "TM-03", "main-board", (HEADING + "\n".join(lines)).encode())
    heard: list[tuple[int, int]] = []

    done = store.carry_out(command, "keeper", lambda *told: heard.append(told))

    assert done.seq == 3
    assert counts(store) == (5000, 5000, 5000)
    assert heard[0] == (0, 5000)
    assert heard[-1] == (5000, 5000)
    assert heard == sorted(heard)
    with store.reading() as session:
        assert list(journal.broken_links(session)) == []
        assert len(session.get_one(JournalEntry, 3).change) == 15_000
