"""Entering and revising machines, their boards and the positions on them."""

import re
import unicodedata
from typing import Any

from sqlmodel import Session, col, select

from server.records.commands.base import (
    Command,
    Line,
    NeededLine,
    OptionalDay,
    OptionalInt,
    Prose,
    change,
    expect_version,
)
from server.records.dates import check_made
from server.records.errors import Invalid, NotFound
from server.records.questions.addresses import (
    designator_key,
    find_board,
    find_machine,
    find_position,
    free_slug,
    slug,
    tag_key,
)
from server.records.tables import Board, Machine, Position
from server.records.values import check_value
from server.records.words import BoardKind, Hazard, Mounting, PartKind
from server.records.work import Entry, Work, handles

TAG = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
RESERVED_TAGS = {"new"}
DESIGNATOR_MOST = 40
PINS_MOST = 10_000


class MachineFields(Command):
    """What is written down about a machine."""

    maker: Line = ""
    model: NeededLine
    variant: Line = ""
    serial_number: Line = ""
    made: Line = ""
    acquired_on: OptionalDay = None
    acquired_from: Line = ""
    price: Line = ""
    provenance: Prose = ""
    as_found: Prose = ""
    significance: Prose = ""
    hazards: list[Hazard] = []
    keeper: Line = ""
    handed_over_on: OptionalDay = None
    handed_over_to: Line = ""


class EnterMachine(MachineFields):
    tag: NeededLine


class ReviseMachine(MachineFields):
    machine: str
    opened_version: int


class BoardFields(Command):
    """What is written down about a board."""

    name: NeededLine
    kind: BoardKind
    part_number: Line = ""
    revision: Line = ""
    serial_number: Line = ""
    made: Line = ""
    hazards: list[Hazard] = []
    note: Prose = ""
    parent: str = ""


class AddBoard(BoardFields):
    machine: str


class ReviseBoard(BoardFields):
    machine: str
    board: str
    opened_version: int


class PositionFields(Command):
    """What the service literature says of a place on a board."""

    kind: PartKind = PartKind.OTHER
    expected_type: Line = ""
    expected_value: Line = ""
    mounting: Mounting
    pins: OptionalInt = None
    note: Prose = ""


class AddPosition(PositionFields):
    machine: str
    board: str
    designator: NeededLine


class RevisePosition(PositionFields):
    machine: str
    board: str
    designator: str
    opened_version: int


@handles(EnterMachine)
def enter_machine(work: Work, command: EnterMachine) -> Entry:
    check_tag(work.session, command.tag)
    _check_machine(command)
    machine = work.add(Machine(tag=command.tag, tag_key=tag_key(command.tag), **command.columns(MachineFields)))
    named = " ".join(filter(None, [machine.maker, machine.model, machine.variant]))
    return Entry("enter machine", machine, f"Entered machine {machine.tag}: {named}.", machine)


@handles(ReviseMachine)
def revise_machine(work: Work, command: ReviseMachine) -> Entry:
    machine = find_machine(work.session, command.machine)
    values = command.columns(MachineFields)
    expect_version("machine", machine, command.opened_version, values)
    _check_machine(command)
    said = change(machine, values)
    return Entry("revise machine", machine, f"Machine {machine.tag}: {said}.", machine)


@handles(AddBoard)
def add_board(work: Work, command: AddBoard) -> Entry:
    machine = find_machine(work.session, command.machine)
    _check_made(command.made)
    _check_name(work.session, machine, command.name)
    board = Board(
        machine_id=machine.key,
        parent_id=_parent_id(work.session, machine, command.parent),
        slug=free_board_slug(work.session, machine, command.name),
        **board_columns(command),
    )
    work.add(board)
    return Entry("add board", board, f"Added board {board.name} to {machine.tag}.", machine)


@handles(ReviseBoard)
def revise_board(work: Work, command: ReviseBoard) -> Entry:
    machine = find_machine(work.session, command.machine)
    board = find_board(work.session, machine, command.board)
    values = board_columns(command)
    expect_version("board", board, command.opened_version, values | {"parent": command.parent}, _parent(work, board))
    _check_made(command.made)
    if command.name.casefold() != board.name.casefold():
        _check_name(work.session, machine, command.name)
    parent_id = _parent_id(work.session, machine, command.parent)
    _check_no_circle(work.session, board, parent_id)
    said = change(board, values | {"parent_id": parent_id})
    return Entry("revise board", board, f"Board {board.name} of {machine.tag}: {said}.", machine)


@handles(AddPosition)
def add_position(work: Work, command: AddPosition) -> Entry:
    machine = find_machine(work.session, command.machine)
    board = find_board(work.session, machine, command.board)
    check_designator(work.session, board, command.designator)
    _check_position(command)
    position = work.add(
        Position(
            board_id=board.key,
            designator=command.designator,
            designator_key=designator_key(command.designator),
            **command.columns(PositionFields),
        )
    )
    words = f"Added position {position.designator} on {board.name} of {machine.tag}."
    return Entry("add position", position, words, machine)


@handles(RevisePosition)
def revise_position(work: Work, command: RevisePosition) -> Entry:
    machine = find_machine(work.session, command.machine)
    board = find_board(work.session, machine, command.board)
    position = find_position(work.session, board, command.designator)
    values = command.columns(PositionFields)
    expect_version("position", position, command.opened_version, values)
    _check_position(command)
    said = change(position, values)
    work.touched_positions.add(position.key)
    words = f"Position {position.designator} on {board.name} of {machine.tag}: {said}."
    return Entry("revise position", position, words, machine)


def board_columns(command: BoardFields) -> dict[str, Any]:
    """The columns of a board; which board holds it is found by its slug."""
    columns = command.columns(BoardFields)
    columns.pop("parent")
    return columns


def check_tag(session: Session, tag: str) -> None:
    """Whether a machine can have this tag here; raises Invalid."""
    if not TAG.fullmatch(tag) or tag_key(tag) in RESERVED_TAGS:
        raise Invalid(
            {"tag": "A tag is up to 40 letters, digits, dots, hyphens or underscores, such as TM-03, and not “new”."}
        )
    if session.exec(select(Machine.id).where(Machine.tag_key == tag_key(tag))).first() is not None:
        raise Invalid({"tag": f"Another machine has the tag {tag}. Choose one that is free."})


def _check_machine(command: MachineFields) -> None:
    _check_made(command.made)
    if command.acquired_on and command.handed_over_on and command.handed_over_on < command.acquired_on:
        raise Invalid({"handed_over_on": "It cannot have been handed over before it came in."})


def _check_made(made: str) -> None:
    if problem := check_made(made):
        raise Invalid({"made": problem})


def _check_position(command: PositionFields) -> None:
    faults = {}
    if problem := check_value(command.expected_value, command.kind):
        faults["expected_value"] = problem
    if command.pins is not None and not 1 <= command.pins <= PINS_MOST:
        faults["pins"] = f"A part has from 1 to {PINS_MOST:,} pins."
    if faults:
        raise Invalid(faults)


def check_designator(session: Session, board: Board, designator: str) -> None:
    """Refuse a designator that is too long or that the board already has."""
    if problem := designator_fault(designator):
        raise Invalid({"designator": problem})
    taken = select(Position.designator).where(
        Position.board_id == board.id, Position.designator_key == designator_key(designator)
    )
    if (other := session.exec(taken).first()) is not None:
        raise Invalid({"designator": f"{board.name} already has a position {other}."})


def designator_fault(designator: str) -> str:
    """What is wrong with a designator by itself; empty when nothing is."""
    if len(designator) > DESIGNATOR_MOST:
        return f"A designator has at most {DESIGNATOR_MOST} characters."
    if not any(character.isalnum() for character in designator):
        return "A designator has at least one letter or digit, such as U7."
    if any(unicodedata.category(character) == "Cf" for character in designator):
        return "A designator holds only what can be seen; an invisible character is in this one."
    if designator.casefold() == "new":
        return "“new” cannot be a designator, because it is part of an address."
    if set(designator) & set("/?#%\\"):
        return "A designator cannot hold / ? # % or \\, because it is part of an address."
    return ""


def _parent_id(session: Session, machine: Machine, parent: str) -> int | None:
    if not parent:
        return None
    try:
        return find_board(session, machine, parent).key
    except NotFound as missing:
        raise Invalid({"parent": str(missing)}) from None


def _parent(work: Work, board: Board) -> dict[str, str]:
    """Which board holds this one, as the form names it."""
    parent = work.session.get(Board, board.parent_id) if board.parent_id else None
    return {"parent": parent.slug if parent else ""}


def _check_no_circle(session: Session, board: Board, parent_id: int | None) -> None:
    while parent_id is not None:
        if parent_id == board.id:
            raise Invalid({"parent": "A board cannot hold itself, directly or through others."})
        parent_id = session.exec(select(Board.parent_id).where(Board.id == parent_id)).one()


def _check_name(session: Session, machine: Machine, name: str) -> None:
    """Two boards of one name would be told apart by nobody; most often a form was sent twice."""
    names = session.exec(select(Board.name).where(Board.machine_id == machine.id))
    if name.casefold() in {other.casefold() for other in names}:
        raise Invalid({"name": f"{machine.tag} has a board called {name} already. Give this one a name of its own."})


def free_board_slug(session: Session, machine: Machine, name: str) -> str:
    """What a board of this name is called in the machine's addresses."""
    wanted = slug(name) or "board"
    wanted = f"{wanted}-board" if wanted == "new" else wanted
    return free_slug(wanted, set(session.exec(select(col(Board.slug)).where(Board.machine_id == machine.id))))
