"""Entering one part after another at the bench: what sits where, and on to the next position."""

import re
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from server.pages.boards import MOUNTINGS, PART_KINDS, Options, board_address, board_choices
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.machines import address, sections
from server.pages.parts import ORIGINS
from server.records.cautions import cautions
from server.records.commands.parts import EnterPart
from server.records.errors import NotFound
from server.records.list_words import kind_of_designator
from server.records.questions.addresses import find_board, find_machine, find_position
from server.records.questions.boards import all_boards, next_empty
from server.records.store import Done
from server.records.tables import Board, Machine, Position
from server.records.words import Origin

router = APIRouter()
BY_LETTERS = ("", "by the letters of its designator")
ASKED_MOST = 80
AS_ON_BOARD = ("", "as on the board; soldered where new")


@dataclass(frozen=True, slots=True)
class EntryPage:
    """The form at the bench that enters the part at a position; `position` is known where the board has it already."""

    machine: Machine
    tabs: Options
    base: str
    cautions: list[str]
    boards: Options
    position: Position | None
    form: Form
    kinds: Options
    origins: Options
    mountings: Options
    action: str
    cancel: str


@router.get("/machines/{tag}/parts/new")
def new_part(house: AtHome, tag: str, request: Request) -> Response:
    asked = {name: text.replace("\0", "")[:ASKED_MOST].strip() for name, text in request.query_params.items()}
    form = Form.blank(
        board=asked.get("board", ""),
        designator=asked.get("designator", ""),
        origin=asked.get("origin", Origin.ORIGINAL.value),
        mounting=asked.get("mounting", ""),
    )
    with house.reading() as session:
        machine = find_machine(session, tag)
        if after := asked.get("after"):
            form.set("designator", _next_designator(session, machine, form.text("board"), after))
    return _entry(house, machine, form)


@router.post("/machines/{tag}/parts/new")
def enter_part(house: AtHome, tag: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine = find_machine(session, tag)
    chosen = {name: form.text(name) for name in ("kind", "mounting")}
    if not chosen["kind"]:
        form.set("kind", kind_of_designator(form.text("designator")).value)
    if not chosen["mounting"]:
        form.values.pop("mounting", None)

    def again(form: Form, status: int) -> Response:
        for name, text in chosen.items():
            form.set(name, text)
        return _entry(house, machine, form, status)

    def onward(done: Done) -> str:
        if form.text("then") != "next":
            return f"/parts/{done.key}"
        kept = {"board": form.text("board"), "origin": form.text("origin"), "mounting": chosen["mounting"]}
        return f"{address(machine)}/parts/new?{urlencode({**kept, 'after': form.text('designator')})}"

    return house.write(form, EnterPart, to=onward, again=again, machine=machine.tag)


def _next_designator(session: Session, machine: Machine, slug: str, after: str) -> str:
    """Where the keeper goes on: the next empty position of the board, else the next number."""
    board = _board_named(session, machine, slug)
    if board is None:
        return ""
    if position := next_empty(session, board, after):
        return position.designator
    counted = re.fullmatch(r"(.*?)(\d{1,9})", after, re.ASCII)
    if not counted:
        return ""
    following = f"{counted[1]}{int(counted[2]) + 1}"
    return "" if _position_named(session, board, following) else following


def _board_named(session: Session, machine: Machine, slug: str) -> Board | None:
    try:
        return find_board(session, machine, slug)
    except NotFound:
        return None


def _position_named(session: Session, board: Board, designator: str) -> Position | None:
    try:
        return find_position(session, board, designator)
    except NotFound:
        return None


def _entry(house: House, machine: Machine, form: Form, status: int = 200) -> Response:
    with house.reading() as session:
        boards = board_choices(all_boards(session, machine))
        board = _board_named(session, machine, form.text("board") or (boards[0][0] if boards else ""))
        position = _position_named(session, board, form.text("designator")) if board else None
    if status == 200 and position:
        form.set("kind", position.kind)
    base = address(machine)
    context = EntryPage(
        machine=machine,
        tabs=sections(machine),
        base=base,
        cautions=cautions(machine.hazards, board.hazards if board else []),
        boards=boards,
        position=position,
        form=form,
        kinds=[BY_LETTERS, *PART_KINDS],
        origins=ORIGINS,
        mountings=[AS_ON_BOARD, *MOUNTINGS],
        action=f"{base}/parts/new",
        cancel=board_address(machine, board) if board else base,
    )
    return house.page("parts/new.html", context, status)
