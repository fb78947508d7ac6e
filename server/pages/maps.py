"""The map of a board: looked at, given pictures, and rid of a picture or a pin."""

from collections.abc import Callable, Sequence

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.boards import found_board
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.map_page import Asked, Words, map_address, map_context
from server.records.commands.base import Command
from server.records.commands.maps import AddBoardPicture, LeavePictureOut, TakePinOff
from server.records.errors import NotFound
from server.records.questions.addresses import find_board_picture, find_position
from server.records.questions.map_steps import mods_at
from server.records.questions.maps import map_of, photographs_off_map
from server.records.questions.mods import StepLine, steps_of
from server.records.questions.stays import tags_of
from server.records.store import Done
from server.records.tables import Board, BoardPicture, Machine, Mod

router = APIRouter()
MAP = "/machines/{tag}/boards/{slug}/map"
CHANGED_SINCE = "Someone else changed this while you were looking. Here is the map as it is now."


@router.get(MAP)
def board_map(house: AtHome, tag: str, slug: str) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    return map_page(house, machine, board)


@router.post(f"{MAP}/pictures")
def add_picture(house: AtHome, tag: str, slug: str, form: PostedForm) -> Response:
    """A photograph of the board goes onto its map."""
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)

    def onward(done: Done) -> str:
        """What there is to do with it next: the reference picture is pinned, any other is matched to that."""
        with house.reading() as session:
            picture = session.get_one(BoardPicture, done.key)
        base = map_address(machine, board)
        return base if picture.is_reference else f"{base}/{picture.number}/match"

    return _written(house, machine, board, form, AddBoardPicture, onward)


@router.post(f"{MAP}/{{n:int}}/leave-out")
def leave_picture_out(house: AtHome, tag: str, slug: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        find_board_picture(session, board, n)
    return _written(house, machine, board, form, LeavePictureOut, _to_map(machine, board), picture=n)


@router.post(f"{MAP}/pins/{{designator}}/take-off")
def take_pin_off(house: AtHome, tag: str, slug: str, designator: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        position = find_position(session, board, designator)
    onward = _to_map(machine, board)
    return _written(house, machine, board, form, TakePinOff, onward, designator=position.designator)


def map_page(house: House, machine: Machine, board: Board, form: Form | None = None, status: int = 200) -> Response:
    """The map as the address asks for it; `form` is that of an act that was refused."""
    asked = Asked.of(house.request.query_params)
    with house.reading() as session:
        found = map_of(session, board, asked.tray)
        mods, steps = _mods(session, machine, board, asked.mod)
        off_map = photographs_off_map(session, board)
        waits = _is_position(session, board, asked.find)
    context = map_context(machine, board, found, asked, mods, steps, off_map, form, waits=waits)
    return house.page("maps/map.html", context, status)


def _to_map(machine: Machine, board: Board) -> Callable[[Done], str]:
    return lambda done: map_address(machine, board)  # noqa: ARG005


def _written(
    house: House,
    machine: Machine,
    board: Board,
    form: Form,
    kind: type[Command],
    to: Callable[[Done], str],
    **fixed: object,
) -> Response:
    def again(form: Form, status: int) -> Response:
        if status == 409:
            form.errors[""] = CHANGED_SINCE
        return map_page(house, machine, board, form, status)

    return house.write(
        form,
        kind,
        to=to,
        again=again,
        machine=machine.tag,
        board=board.slug,
        **fixed,
    )


def _is_position(session: Session, board: Board, designator: str) -> bool:
    if not designator:
        return False
    try:
        find_position(session, board, designator)
    except NotFound:
        return False
    return True


def _mods(session: Session, machine: Machine, board: Board, asked: str) -> tuple[Words, Sequence[StepLine]]:
    """The mods to choose from by tag and number, and the steps at this board of the one that is asked for."""
    mods = mods_at(session, machine, board)
    tags = tags_of(session, mods)
    choices = {_name(machine, tags[mod.machine_id], mod): mod for mod in mods}
    chosen = choices.get(asked)
    steps = [line for line in steps_of(session, chosen) if _is_on(line, board)] if chosen else []
    return [("", "none"), *((name, f"mod {name}, {mod.title}") for name, mod in choices.items())], steps


def _name(machine: Machine, tag: str, mod: Mod) -> str:
    """Its number, and whose it is where it came with the board."""
    return str(mod.number) if tag == machine.tag else f"{mod.number} of {tag}"


def _is_on(line: StepLine, board: Board) -> bool:
    return line.board is not None and line.board.id == board.id
