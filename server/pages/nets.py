"""The nets of a board: their list, and the form that writes one. What one net says is in `net_page.py`."""

from dataclasses import dataclass

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.boards import board_address, found_board
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House, PageNumber
from server.pages.machines import sections
from server.pages.net_form import (
    DRIVES,
    ROLES,
    Words,
    compact,
    families,
    from_stored,
    labels_of,
    rows_of,
    rows_shown,
)
from server.pages.net_page import net_context, nets_address
from server.records.cautions import cautions
from server.records.commands.nets import AddNet, DropNet, ReviseNet
from server.records.questions.addresses import find_net
from server.records.questions.net_cases import NOW, record_of
from server.records.questions.nets import NetLine, nets_of, pins_of
from server.records.questions.paging import Paged
from server.records.tables import Board, Machine, Net

router = APIRouter()


@dataclass(frozen=True, slots=True)
class NetsPage:
    """The nets of a board."""

    machine: Machine
    tabs: Words
    board: Board
    board_base: str
    base: str
    cautions: list[str]
    nets: Paged[NetLine]


@dataclass(frozen=True, slots=True)
class NetFormPage:
    """The form that writes a net; `net` is none while it is new, `rows` how many pins are shown."""

    machine: Machine
    tabs: Words
    board: Board
    board_base: str
    base: str
    net: Net | None
    form: Form
    rows: int
    roles: Words
    families: Words
    drives: Words
    labels: dict[str, str]
    action: str
    cancel: str


@dataclass(frozen=True, slots=True)
class DropNetPage:
    """Whether a net is to be taken off the record."""

    machine: Machine
    tabs: Words
    board: Board
    board_base: str
    net: Net
    form: Form
    stale: bool
    action: str
    cancel: str


@router.get("/machines/{tag}/boards/{slug}/nets")
def nets_page(house: AtHome, tag: str, slug: str, number: PageNumber) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        context = NetsPage(
            machine=machine,
            tabs=sections(machine),
            board=board,
            board_base=board_address(machine, board),
            base=nets_address(machine, board),
            cautions=cautions(machine.hazards, board.hazards),
            nets=nets_of(session, board, number),
        )
    return house.page("nets/nets.html", context)


@router.get("/machines/{tag}/boards/{slug}/nets/new")
def new_net(house: AtHome, tag: str, slug: str) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    return _form_page(house, machine, board, None, Form.blank())


@router.post("/machines/{tag}/boards/{slug}/nets/new")
def add_net(house: AtHome, tag: str, slug: str, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
    compact(form)
    if form.text("more"):
        return _form_page(house, machine, board, None, form)

    def made(key: int) -> str:
        with house.reading() as session:
            return f"{nets_address(machine, board)}/{session.get_one(Net, key).number}"

    return house.write(
        form,
        AddNet,
        to=lambda done: made(done.key),
        again=lambda form, status: _form_page(house, machine, board, None, form, status),
        machine=machine.tag,
        board=board.slug,
        pins=rows_of(form),
    )


@router.get("/machines/{tag}/boards/{slug}/nets/{n}")
def net_page(house: AtHome, tag: str, slug: str, n: int) -> Response:
    query = house.request.query_params
    form = Form.blank(**{name: query.get(name, "") for name in ("supply", "pin", "level", "against")})
    with house.reading() as session:
        machine, board = found_board(session, tag, slug)
        record = record_of(session, machine, find_net(session, board, n))
    context = net_context(machine, board, record, query.get("case", "") or NOW, form)
    return house.page("nets/net.html", context, 422 if form.errors else 200)


@router.get("/machines/{tag}/boards/{slug}/nets/{n}/edit")
def edit_net(house: AtHome, tag: str, slug: str, n: int) -> Response:
    with house.reading() as session:
        machine, board, net = _found(session, tag, slug, n)
        form = from_stored(net, pins_of(session, net))
    return _form_page(house, machine, board, net, form)


@router.post("/machines/{tag}/boards/{slug}/nets/{n}/edit")
def revise_net(house: AtHome, tag: str, slug: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board, net = _found(session, tag, slug, n)
    compact(form)
    if form.text("more"):
        return _form_page(house, machine, board, net, form)
    return house.write(
        form,
        ReviseNet,
        to=lambda done: f"{nets_address(machine, board)}/{net.number}",  # noqa: ARG005
        again=lambda form, status: _form_page(house, machine, board, net, form, status),
        machine=machine.tag,
        board=board.slug,
        net=net.number,
        pins=rows_of(form),
    )


@router.get("/machines/{tag}/boards/{slug}/nets/{n}/drop")
def ask_to_drop(house: AtHome, tag: str, slug: str, n: int) -> Response:
    with house.reading() as session:
        machine, board, net = _found(session, tag, slug, n)
    return _drop_page(house, machine, board, net, Form.blank(opened_version=net.version))


@router.post("/machines/{tag}/boards/{slug}/nets/{n}/drop")
def drop_net(house: AtHome, tag: str, slug: str, n: int, form: PostedForm) -> Response:
    with house.reading() as session:
        machine, board, net = _found(session, tag, slug, n)
    return house.write(
        form,
        DropNet,
        to=lambda done: nets_address(machine, board),  # noqa: ARG005
        again=lambda form, status: _drop_page(house, machine, board, net, form, status),
        machine=machine.tag,
        board=board.slug,
        net=net.number,
    )


def _found(session: Session, tag: str, slug: str, n: int) -> tuple[Machine, Board, Net]:
    machine, board = found_board(session, tag, slug)
    return machine, board, find_net(session, board, n)


def _drop_page(house: House, machine: Machine, board: Board, net: Net, form: Form, status: int = 200) -> Response:
    here = f"{nets_address(machine, board)}/{net.number}"
    base = board_address(machine, board)
    stale = status == 409
    context = DropNetPage(machine, sections(machine), board, base, net, form, stale, f"{here}/drop", here)
    return house.page("nets/drop.html", context, status)


def _form_page(
    house: House, machine: Machine, board: Board, net: Net | None, form: Form, status: int = 200
) -> Response:
    base = nets_address(machine, board)
    here = f"{base}/{net.number}" if net else base
    context = NetFormPage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        board_base=board_address(machine, board),
        base=base,
        net=net,
        form=form,
        rows=rows_shown(form),
        roles=ROLES,
        families=families(),
        drives=DRIVES,
        labels=labels_of(form),
        action=f"{here}/edit" if net else f"{base}/new",
        cancel=here,
    )
    return house.page("nets/form.html", context, status)
