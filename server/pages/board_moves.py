"""A board goes to another machine: the form that says where, when and by whom."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from server.pages.boards import board_address, found_board
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.machines import sections
from server.records import clock
from server.records.commands.board_moves import MoveBoard
from server.records.questions.boards import boards_within
from server.records.questions.machines import machines_offered
from server.records.tables import Board, Machine

router = APIRouter()


@dataclass(frozen=True, slots=True)
class MoveBoardPage:
    """The form; `machines` are those that it can go to, `held` the boards that go with it."""

    machine: Machine
    tabs: list[tuple[str, str]]
    board: Board
    held: list[str]
    form: Form
    machines: list[tuple[str, str]]
    action: str
    cancel: str


@router.get("/machines/{tag}/boards/{slug}/move")
def move_form(house: AtHome, tag: str, slug: str) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    form = Form.blank(day=clock.today(), signer=machine.keeper or house.settings.keeper)
    return _form_page(house, machine, board, form)


@router.post("/machines/{tag}/boards/{slug}/move")
def move_board(house: AtHome, tag: str, slug: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    return house.write(
        form,
        MoveBoard,
        to=lambda done: _address_of(house, done.key),
        again=lambda form, status: _form_page(house, machine, board, form, status),
        machine=machine.tag,
        board=board.slug,
    )


def _address_of(house: House, key: int) -> str:
    """Where the board's page is now: in another machine, and maybe under another name."""
    with house.reading() as session:
        board = session.get_one(Board, key)
        return board_address(session.get_one(Machine, board.machine_id), board)


def _form_page(house: House, machine: Machine, board: Board, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        offered = [(tag, words) for tag, words in machines_offered(session) if tag != machine.tag]
        held = [one.name for one in boards_within(session, board)]
    base = board_address(machine, board)
    context = MoveBoardPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        held=held,
        form=form,
        machines=offered,
        action=f"{base}/move",
        cancel=base,
    )
    return house.page("boards/move.html", context, status)
