"""Pinning positions on a board's map: one that waits in the tray, one whose pin moves, or one made by pointing."""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.pages.boards import MOUNTINGS, PART_KINDS, found_board
from server.pages.forms import Form, PostedForm
from server.pages.house import AtHome, House
from server.pages.machines import sections
from server.pages.map_page import Asked, Words, map_address
from server.pages.map_pointing import plain_view, pointed_at, shown_size
from server.pages.map_view import MapView, Spot, Way, map_view
from server.records.cautions import cautions
from server.records.commands.maps import PlacePin, PointOutPosition
from server.records.errors import NotFound
from server.records.mapping import carried
from server.records.questions.addresses import designator_key
from server.records.questions.maps import BoardMap, MapPicture, map_of
from server.records.tables import Board, Machine
from server.records.words import Mounting, PartKind

router = APIRouter()
PLACE = "/machines/{tag}/boards/{slug}/map/{n:int}/place"
POINT_OUT = "/machines/{tag}/boards/{slug}/map/{n:int}/point-out"


@dataclass(frozen=True, slots=True)
class PlacePage:
    """The picture to point on, and the form that pins a position there; `waiting` are the designators in the tray.

    `pinned` is the position that the form is about, if it has a pin. Where `makes` says so, it makes the position.
    """

    machine: Machine
    tabs: Words
    board: Board
    base: str
    cautions: list[str]
    picture: MapPicture
    view: MapView
    size: tuple[int, int]
    form: Form
    waiting: list[str]
    left: int
    pinned: str
    makes: bool
    kinds: Words
    mountings: Words
    action: str


@router.get(PLACE)
def place_form(house: AtHome, tag: str, slug: str, n: int) -> Response:
    with house.reading() as session:
        machine, board, found, picture = _found(session, tag, slug, n)
    asked = house.request.query_params.get("designator", "").strip()
    form = _form_for(found, picture, asked)
    _turn_as_asked(form, house.request.query_params)
    return _page(house, machine, board, n, form)


@router.post(PLACE)
def place_pin(house: AtHome, tag: str, slug: str, n: int, form: PostedForm) -> Response:
    """A pin is placed, and the next position of the tray is asked for."""
    with house.reading() as session:
        machine, board, _, picture = _found(session, tag, slug, n)
    _take_press(form, picture)
    placed = designator_key(form.text("designator"))
    return house.write(
        form,
        PlacePin,
        to=lambda done: _onward(house, machine, board, n, placed, _way(form.typed)),  # noqa: ARG005
        again=lambda form, status: _page(house, machine, board, n, form, status),
        machine=machine.tag,
        board=board.slug,
        picture=n,
    )


@router.get(POINT_OUT)
def point_out_form(house: AtHome, tag: str, slug: str, n: int) -> Response:
    with house.reading() as session:
        machine, board, *_ = _found(session, tag, slug, n)
    form = Form.blank(kind=PartKind.CHIP.value, mounting=Mounting.SOLDERED.value)
    _turn_as_asked(form, house.request.query_params)
    return _page(house, machine, board, n, form, makes=True)


@router.post(POINT_OUT)
def point_out(house: AtHome, tag: str, slug: str, n: int, form: PostedForm) -> Response:
    """A position is made where it was pointed to; where only a picture was pressed, the rest is still asked for."""
    with house.reading() as session:
        machine, board, _, picture = _found(session, tag, slug, n)

    def again(form: Form, status: int) -> Response:
        return _page(house, machine, board, n, form, status, makes=True)

    if _take_press(form, picture):
        return again(form, 200)
    return house.write(
        form,
        PointOutPosition,
        to=lambda done: _shown_at(machine, board, n, form),  # noqa: ARG005
        again=again,
        machine=machine.tag,
        board=board.slug,
        picture=n,
    )


def _take_press(form: Form, picture: MapPicture) -> bool:
    """Put a spot that was pressed without a script into the form's fields; whether there was one."""
    spot = pointed_at(form, "at", picture)
    if spot is not None:
        form.set("x", f"{spot[0]:.1f}")
        form.set("y", f"{spot[1]:.1f}")
    return spot is not None


def _way(asked: Mapping[str, str]) -> Way:
    """How the picture is turned while it is pressed: as on the map's page, but always whole."""
    way = Asked.of(asked).way
    return Way(way.turn, way.mirror)


def _turn_as_asked(form: Form, query: Mapping[str, str]) -> None:
    for name, text in _way(query).asked().items():
        form.set(name, text)


def _onward(house: House, machine: Machine, board: Board, n: int, placed: str, way: Way) -> str:
    """To the next position that waits after the one that was placed, or to the map when none does."""
    with house.reading() as session:
        waiting = [line.designator for line in map_of(session, board).tray.rows]
    if not waiting:
        return f"{map_address(machine, board)}?{urlencode({'picture': n} | way.asked())}"
    following = next((one for one in waiting if designator_key(one) > placed), waiting[0])
    return f"{map_address(machine, board)}/{n}/place?{urlencode({'designator': following} | way.asked())}#pin-picture"


def _shown_at(machine: Machine, board: Board, n: int, form: Form) -> str:
    found = {"picture": str(n), "find": form.text("designator").strip()}
    return f"{map_address(machine, board)}?{urlencode(found | _way(form.typed).asked())}"


def _form_for(found: BoardMap, picture: MapPicture, asked: str) -> Form:
    """The form for a position: where its pin was placed, if on this picture; else for the first that waits.

    A spot that is only carried here is drawn and not filled in: saved, it would pass for one that was pointed out.
    """
    name = asked or (found.tray.rows[0].designator if found.tray.rows else "")
    pin = next((one for one in found.pins if designator_key(one.designator) == designator_key(name)), None)
    if pin is None:
        return Form.blank(designator=name, opened_version=0)
    placed_here = pin.plane.number == picture.number
    there = {"x": f"{pin.x:.1f}", "y": f"{pin.y:.1f}"} if placed_here else {}
    return Form.blank(designator=pin.designator, opened_version=pin.version, **there)


def _found(session: Session, tag: str, slug: str, n: int) -> tuple[Machine, Board, BoardMap, MapPicture]:
    machine, board = found_board(session, tag, slug)
    found = map_of(session, board)
    picture = found.picture(n)
    if picture is None:
        raise NotFound("picture", str(n))
    return machine, board, found, picture


def _page(
    house: House, machine: Machine, board: Board, n: int, form: Form, status: int = 200, *, makes: bool = False
) -> Response:
    with house.reading() as session:
        *_, found, picture = _found(session, machine.tag, board.slug, n)
    base = map_address(machine, board)
    context = PlacePage(
        machine=machine,
        tabs=sections(machine),
        board=board,
        base=base,
        cautions=cautions(machine.hazards, board.hazards),
        picture=picture,
        view=_with_pins(found, picture, _way(form.typed)),
        size=shown_size(picture),
        form=form,
        waiting=[line.designator for line in found.tray.rows],
        left=found.tray.total,
        pinned=_pinned(found, form),
        makes=makes,
        kinds=PART_KINDS,
        mountings=MOUNTINGS,
        action=f"{base}/{n}/{'point-out' if makes else 'place'}",
    )
    return house.page("maps/place.html", context, status)


def _pinned(found: BoardMap, form: Form) -> str:
    """The position that the form is about, if it has a pin."""
    key = designator_key(form.text("designator"))
    return next((one.designator for one in found.pins if designator_key(one.designator) == key), "")


def _with_pins(found: BoardMap, picture: MapPicture, way: Way) -> MapView:
    """The picture with the pins that are on it already, so that none is placed twice."""
    view = plain_view(picture)
    spots = [
        Spot(pin.designator, spot.x, spot.y, spot.radius or 0.0, "pin", "", pin.designator, pin.designator)
        for pin, spot in zip(found.pins, carried(found.pins, picture.plane), strict=True)
        if spot is not None
    ]
    return map_view(view.href, (view.width, view.height), way, spots, view.description, view.fine)
