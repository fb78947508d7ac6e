"""A machine's boards, and the positions on them with the parts that sit there."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote, urlencode

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.files import Attached, attached_to
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import HAZARDS, address, sections
from server.pages.understood import Understood, understood
from server.records.cautions import cautions
from server.records.commands.machines import (
    AddBoard,
    AddPosition,
    BoardFields,
    PositionFields,
    ReviseBoard,
    RevisePosition,
)
from server.records.questions.addresses import find_board, find_machine, find_position
from server.records.questions.boards import (
    Occupied,
    Sitting,
    all_boards,
    boards_within,
    emptied_by,
    positions_of,
    sittings_at,
)
from server.records.questions.dating import BoardDating, dating_of
from server.records.questions.nets import NetLine, nets_at, nets_of
from server.records.questions.paging import Paged
from server.records.questions.stays import MovedMod, Stay, mods_on, stays_of
from server.records.tables import Board, Machine, Net, NetPin, Position
from server.records.words import BoardKind, Mounting, PartKind

router = APIRouter()
BOARD_KINDS = [(kind.value, kind.value) for kind in BoardKind]
PART_KINDS = [(kind.value, kind.value) for kind in PartKind]
MOUNTINGS = [(mounting.value, mounting.value) for mounting in Mounting]
NETS_SHOWN = 20
Options = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class BoardPage:
    """One board: what it is, what it holds, and its positions with the part that sits at each now.

    `stays` are the machines that it has been in, if it ever moved, and `moved` the mods that came with it.
    """

    machine: Machine
    tabs: Options
    board: Board
    base: str
    cautions: list[str]
    parent: Board | None
    within: Sequence[Board]
    positions: Paged[Occupied]
    dating: BoardDating
    stays: list[Stay]
    moved: list[MovedMod]
    nets: Paged[NetLine]
    attached: Attached | None


@dataclass(frozen=True, slots=True)
class BoardFormPage:
    """The form that adds or revises a board; `board` is none while it is new. `parents` are boards that can hold it."""

    machine: Machine
    tabs: Options
    board: Board | None
    form: Form
    kinds: Options
    hazards: Options
    parents: Options
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class PositionPage:
    """One position: what is expected there, what has sat there over time, and the form that revises it."""

    machine: Machine
    tabs: Options
    board: Board
    board_base: str
    position: Position
    base: str
    understood: Understood
    cautions: list[str]
    sittings: Paged[Sitting]
    nets: list[tuple[Net, NetPin]]
    enter: str
    form: Form
    kinds: Options
    mountings: Options
    attached: Attached | None


@dataclass(frozen=True, slots=True)
class PositionFormPage:
    """The form that adds a position to a board."""

    machine: Machine
    tabs: Options
    board: Board
    form: Form
    kinds: Options
    mountings: Options
    action: str
    cancel: str


def board_address(machine: Machine | str, board: Board | str) -> str:
    """Where a board's pages begin."""
    return f"{address(machine)}/boards/{quote(board if isinstance(board, str) else board.slug, safe='')}"


def position_address(machine: Machine | str, board: Board | str, designator: str) -> str:
    return f"{board_address(machine, board)}/positions/{quote(designator, safe='')}"


def entry_address(machine: Machine | str, board: Board, **known: str) -> str:
    """Where a part is entered that sits on this board; `known` is what the form begins with."""
    return f"{address(machine)}/parts/new?{urlencode({'board': board.slug, **known})}"


def board_choices(boards: Sequence[Board]) -> Options:
    """The boards to choose from, the main board first."""
    main_first = sorted(boards, key=lambda board: board.kind != BoardKind.MAIN)
    return [(board.slug, board.name) for board in main_first]


@router.get("/machines/{tag}/boards/new")
def new_board(house: AtHome, tag: str) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
        kind = BoardKind.OTHER if all_boards(session, machine) else BoardKind.MAIN
    return _board_form(house, machine, None, Form.blank(kind=kind.value))


@router.post("/machines/{tag}/boards/new")
def add_board(house: AtHome, tag: str, form: PostedForm) -> Response:
    machine = _machine(house, tag)

    def made(key: int) -> str:
        with house.reading() as session:
            return board_address(machine, session.get_one(Board, key))

    return house.write(
        form,
        AddBoard,
        to=lambda done: made(done.key),
        again=lambda form, status: _board_form(house, machine, None, form, status),
        machine=machine.tag,
    )


@router.get("/machines/{tag}/boards/{slug}")
def board_page(house: AtHome, tag: str, slug: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        context = BoardPage(
            machine=machine,
            tabs=sections(machine),
            board=board,
            base=board_address(machine, board),
            cautions=cautions(machine.hazards, board.hazards),
            parent=session.get(Board, board.parent_id) if board.parent_id else None,
            within=boards_within(session, board),
            positions=positions_of(session, board, number),
            dating=dating_of(session, board),
            stays=stays_of(session, board),
            moved=mods_on(session, board),
            nets=nets_of(session, board, 1, NETS_SHOWN),
            attached=attached_to(session, "board", board),
        )
    return house.page("boards/board.html", context)


@router.get("/machines/{tag}/boards/{slug}/edit")
def edit_board(house: AtHome, tag: str, slug: str) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        parent = session.get(Board, board.parent_id) if board.parent_id else None
    form = Form.of_row(BoardFields, board, parent=parent.slug if parent else "")
    return _board_form(house, machine, board, form)


@router.post("/machines/{tag}/boards/{slug}/edit")
def revise_board(house: AtHome, tag: str, slug: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    return house.write(
        form,
        ReviseBoard,
        to=lambda done: board_address(machine, board),  # noqa: ARG005
        again=lambda form, status: _board_form(house, machine, board, form, status),
        machine=machine.tag,
        board=board.slug,
    )


@router.get("/machines/{tag}/boards/{slug}/positions/new")
def new_position(house: AtHome, tag: str, slug: str) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    return _position_form(house, machine, board, Form.blank(mounting=Mounting.SOLDERED.value, kind=PartKind.CHIP.value))


@router.post("/machines/{tag}/boards/{slug}/positions/new")
def add_position(house: AtHome, tag: str, slug: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    return house.write(
        form,
        AddPosition,
        to=lambda done: position_address(machine, board, form.text("designator").strip()),  # noqa: ARG005
        again=lambda form, status: _position_form(house, machine, board, form, status),
        machine=machine.tag,
        board=board.slug,
    )


@router.get("/machines/{tag}/boards/{slug}/positions/{designator}")
def position_page(house: AtHome, tag: str, slug: str, designator: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        position = find_position(session, board, designator)
    return _position_page(house, machine, board, position, Form.of_row(PositionFields, position), number=number)


@router.post("/machines/{tag}/boards/{slug}/positions/{designator}")
def revise_position(house: AtHome, tag: str, slug: str, designator: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        position = find_position(session, board, designator)
    return house.write(
        form,
        RevisePosition,
        to=lambda done: position_address(machine, board, position.designator),  # noqa: ARG005
        again=lambda form, status: _position_page(house, machine, board, position, form, status),
        machine=machine.tag,
        board=board.slug,
        designator=position.designator,
    )


def _machine(house: House, tag: str) -> Machine:
    with house.reading() as session:
        return find_machine(session, tag)


def found_board(session: Session, tag: str, slug: str) -> tuple[Machine, Board]:
    machine = find_machine(session, tag)
    return machine, find_board(session, machine, slug)


def _board_form(house: House, machine: Machine, board: Board | None, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        others = [other for other in all_boards(session, machine) if board is None or other.id != board.id]
    context = BoardFormPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        form=form,
        kinds=BOARD_KINDS,
        hazards=HAZARDS,
        parents=[("", "none"), *((other.slug, other.name) for other in others)] if others else [],
        action=f"{board_address(machine, board)}/edit" if board else f"{address(machine)}/boards/new",
        cancel=board_address(machine, board) if board else address(machine),
    )
    return house.page("boards/form.html", context, status)


def _position_form(house: House, machine: Machine, board: Board, form: Form, status: int = 200) -> Response:
    base = board_address(machine, board)
    context = PositionFormPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        form=form,
        kinds=PART_KINDS,
        mountings=MOUNTINGS,
        action=f"{base}/positions/new",
        cancel=base,
    )
    return house.page("boards/position_form.html", context, status)


def _position_page(
    house: House,
    machine: Machine,
    board: Board,
    position: Position,
    form: Form,
    status: int = 200,
    number: int = 1,
) -> Response:
    with house.reading() as session:
        sittings = sittings_at(session, position, number)
        nets = nets_at(session, position)
        emptied = emptied_by(session, position)
        attached = attached_to(session, "position", position)
    context = PositionPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        board_base=board_address(machine, board),
        position=position,
        base=position_address(machine, board, position.designator),
        understood=understood(position.expected_value, position.kind),
        cautions=cautions(machine.hazards, board.hazards),
        sittings=sittings,
        nets=nets,
        enter="" if emptied else entry_address(machine, board, designator=position.designator),
        form=form,
        kinds=PART_KINDS,
        mountings=MOUNTINGS,
        attached=attached,
    )
    return house.page("boards/position.html", context, status)
