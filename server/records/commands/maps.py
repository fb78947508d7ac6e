"""Board maps: putting pictures of a board on its map, matching them to the first, and pinning positions on them."""

from collections.abc import Mapping
from typing import cast

from sqlmodel import Session, col, func, select

from server.records.commands.base import (
    Command,
    Line,
    NeededFloat,
    NeededLine,
    change,
    expect_version,
    part_changed,
    shown,
    words,
)
from server.records.commands.machines import AddPosition, PositionFields, add_position
from server.records.commands.map_points import FEWEST, MatchKind, PointFields, Row, outside_faults, read_points
from server.records.errors import Difference, Invalid, NotFound, Refused, Stale
from server.records.questions.addresses import (
    find_board,
    find_board_picture,
    find_machine,
    find_position,
    storable,
)
from server.records.questions.maps import (
    COORDINATES,
    ON_KIND,
    MapPicture,
    pictures_of,
    pin_of,
)
from server.records.questions.numbers import next_ever
from server.records.tables import Board, BoardPicture, Machine, MapPin, MatchPoint, Photograph, Position
from server.records.words import PictureKind
from server.records.work import Entry, Work, handles

__all__ = [
    "AddBoardPicture",
    "LeavePictureOut",
    "MatchPictures",
    "PlacePin",
    "PointFields",
    "PointOutPosition",
    "TakePinOff",
]

PICTURES_MOST = 12
NAMED_MOST = 3
LEFT_OUT = "leave picture out"


class AddBoardPicture(Command):
    """A photograph of the board goes onto its map. The first is the reference picture.

    `photograph` is its number, in the machine that `photograph_of` names: a board that moved brings numbers along.
    """

    machine: str
    board: str
    photograph: int
    photograph_of: Line = ""
    kind: PictureKind


class LeavePictureOut(Command):
    """A picture leaves the map with its matching points; the photograph stays."""

    machine: str
    board: str
    picture: int
    opened_version: int


class MatchPictures(Command):
    """All matching points of a picture as they now are; without any it is no longer matched."""

    machine: str
    board: str
    picture: int
    opened_version: int
    match_kind: MatchKind = ""
    points: list[PointFields] = []


class PlacePin(Command):
    """A position's pin is placed on a picture, or moved; version 0 says that there was none."""

    machine: str
    board: str
    designator: NeededLine
    picture: int
    x: NeededFloat
    y: NeededFloat
    opened_version: int = 0


class TakePinOff(Command):
    """A position's pin is taken off, and the position is back in the tray."""

    machine: str
    board: str
    designator: str
    opened_version: int


class PointOutPosition(PositionFields):
    """A position is made, and its pin where it was pointed to."""

    machine: str
    board: str
    designator: NeededLine
    picture: int
    x: NeededFloat
    y: NeededFloat


@handles(AddBoardPicture)
def add_board_picture(work: Work, command: AddBoardPicture) -> Entry:
    session = work.session
    machine = find_machine(session, command.machine)
    board = find_board(session, machine, command.board)
    photograph = _photograph(session, machine, board, command)
    on_map = session.exec(select(BoardPicture).where(BoardPicture.board_id == board.id)).all()
    if known := next((row for row in on_map if row.photograph_id == photograph.id), None):
        raise Refused(f"That photograph is picture {known.number} of the map already.", "photograph")
    if len(on_map) >= PICTURES_MOST:
        raise Refused(
            f"{board.name} has {len(on_map)} pictures on its map; {PICTURES_MOST} are the most.", "photograph"
        )
    picture = work.add(
        BoardPicture(
            board_id=board.key,
            number=next_ever(session, BoardPicture, LEFT_OUT, board_id=board.key),
            photograph_id=photograph.key,
            kind=command.kind.value,
            is_reference=not on_map,
        )
    )
    said = "" if on_map else "; the others are matched to it"
    what = f"{called(machine, board, picture)} is photograph {photograph.number}, a {picture.kind}{said}."
    return Entry("add board picture", picture, what, machine)


@handles(LeavePictureOut)
def leave_picture_out(work: Work, command: LeavePictureOut) -> Entry:
    session = work.session
    machine, board, picture = _found(session, command)
    expect_version("picture", picture, command.opened_version, {})
    _check_can_go(session, board, picture)
    for point in _points(session, picture):
        session.delete(point)
    session.flush()
    session.delete(picture)
    session.flush()
    said = f"{called(machine, board, picture)} was left out of the map; its photograph stays."
    return Entry(LEFT_OUT, picture, said, machine)


@handles(MatchPictures)
def match_pictures(work: Work, command: MatchPictures) -> Entry:
    session = work.session
    machine, board, picture = _found(session, command)
    stored = _points(session, picture)
    typed = [_as_typed(point) for point in command.points if not point.is_empty]
    theirs = {"points": [_as_typed(point) for point in stored]}
    values = {"match_kind": command.match_kind}
    expect_version("picture", picture, command.opened_version, values | {"points": typed}, theirs)
    if picture.is_reference:
        raise Refused(f"Picture {picture.number} is the reference picture; the others are matched to it.")
    pictures = {one.row.key: one for one in pictures_of(session, board)}
    reference = next(one for one in pictures.values() if one.is_reference)
    rows = read_points(command.points, command.match_kind, reference, pictures[picture.key])
    if not stored and not rows:
        raise Invalid({"points.0.reference_x": f"No point was given, and a match needs at least {FEWEST}."})
    if not rows:
        _check_bears_no_pins(session, picture)
    said = [change(picture, values)]
    if _replace_points(work, picture, stored, rows):
        if not said[0]:
            part_changed(picture)
        said.append(f"matched to picture {reference.number} by {len(rows)} points" if rows else "no longer matched")
    what = f"{called(machine, board, picture)}: {'; '.join(filter(None, said)) or 'nothing changed'}."
    return Entry("match pictures", picture, what, machine)


@handles(PlacePin)
def place_pin(work: Work, command: PlacePin) -> Entry:
    session = work.session
    machine = find_machine(session, command.machine)
    board = find_board(session, machine, command.board)
    position = _position(session, board, command.designator)
    pin = pin_of(session, position)
    _expect_pin(session, pin, command)
    picture = _spot_on(session, board, command)
    if pin is None:
        pin = work.add(_pin(position, picture, command.x, command.y))
        said = f"is pinned at {_at(pin, picture.row)}"
    else:
        before = _at(pin, session.get_one(BoardPicture, pin.board_picture_id))
        moved = change(pin, {"board_picture_id": picture.row.key, "x": command.x, "y": command.y})
        after = _at(pin, picture.row)
        said = f"was pinned at {before} and is at {after} now" if moved else f"stays pinned at {after}"
    return Entry("place pin", pin, f"{_named(machine, board, position)} {said}.", machine)


@handles(TakePinOff)
def take_pin_off(work: Work, command: TakePinOff) -> Entry:
    session = work.session
    machine = find_machine(session, command.machine)
    board = find_board(session, machine, command.board)
    position = find_position(session, board, command.designator)
    pin = pin_of(session, position)
    if pin is None:
        raise NotFound("pin", position.designator)
    expect_version("pin", pin, command.opened_version, {})
    session.delete(pin)
    session.flush()
    return Entry("take pin off", pin, f"The pin of {_named(machine, board, position)} was taken off.", machine)


@handles(PointOutPosition)
def point_out_position(work: Work, command: PointOutPosition) -> Entry:
    session = work.session
    machine = find_machine(session, command.machine)
    board = find_board(session, machine, command.board)
    faults: dict[str, str] = {}
    try:
        picture = _spot_on(session, board, command)
    except Invalid as fault:
        faults |= fault.messages
    try:
        made = add_position(work, AddPosition(**{name: getattr(command, name) for name in AddPosition.model_fields}))
    except Invalid as fault:
        faults |= fault.messages
    if faults:
        raise Invalid(faults)
    position = cast(Position, made.subject)
    pin = work.add(_pin(position, picture, command.x, command.y))
    said = f"{made.words.removesuffix('.')}, pinned at {_at(pin, picture.row)}."
    return Entry("point out position", position, said, machine)


def called(machine: Machine, board: Board, picture: BoardPicture) -> str:
    """A picture as the journal names it."""
    return f"Picture {picture.number} of {board.name} of {machine.tag}"


def _named(machine: Machine, board: Board, position: Position) -> str:
    return f"{position.designator} on {board.name} of {machine.tag}"


def _at(pin: MapPin, picture: BoardPicture) -> str:
    return f"{pin.x:.10g}, {pin.y:.10g} on picture {picture.number}"


def _found(session: Session, command: LeavePictureOut | MatchPictures) -> tuple[Machine, Board, BoardPicture]:
    machine = find_machine(session, command.machine)
    board = find_board(session, machine, command.board)
    return machine, board, find_board_picture(session, board, command.picture)


def _photograph(session: Session, machine: Machine, board: Board, command: AddBoardPicture) -> Photograph:
    """The board's photograph of a number; without a word on whose number, one from the machine it is in comes first."""
    number = command.photograph
    query = select(Photograph).where(
        Photograph.on_kind == ON_KIND, Photograph.on_uuid == board.uuid, Photograph.number == storable(number)
    )
    if command.photograph_of:
        query = query.where(Photograph.machine_id == find_machine(session, command.photograph_of).id)
    found = sorted(session.exec(query), key=lambda row: (row.machine_id != machine.id, row.key))
    if not found:
        raise Invalid({"photograph": f"{board.name} has no photograph {number}. Add it to the board first."})
    return found[0]


def _check_can_go(session: Session, board: Board, picture: BoardPicture) -> None:
    _check_bears_no_pins(session, picture)
    others = session.exec(select(func.count()).where(BoardPicture.board_id == board.id)).one() - 1
    if picture.is_reference and others:
        raise Refused(f"Picture {picture.number} is the one that the others are matched to. Leave those out first.")


def _check_bears_no_pins(session: Session, picture: BoardPicture) -> None:
    """Pins that were placed on a picture are seen on the others only by way of its points."""
    query = (
        select(Position.designator)
        .join(MapPin, col(MapPin.position_id) == col(Position.id))
        .where(MapPin.board_picture_id == picture.id)
        .order_by(col(Position.designator_key))
    )
    if pinned := session.exec(query).all():
        more = len(pinned) - NAMED_MOST
        names = ", ".join(pinned[:NAMED_MOST]) + (f" and {more:,} more" if more > 0 else "")
        raise Refused(f"Pins were placed on picture {picture.number}: {names}. Take them off it first.")


def _points(session: Session, picture: BoardPicture) -> list[MatchPoint]:
    query = select(MatchPoint).where(MatchPoint.board_picture_id == picture.id).order_by(col(MatchPoint.place))
    return list(session.exec(query))


def _as_typed(point: PointFields | MatchPoint) -> dict[str, str]:
    """A point as the two versions are shown."""
    there = {name: getattr(point, name) for name in COORDINATES}
    return {name: "" if value is None else f"{value:.10g}" for name, value in there.items()}


def _replace_points(work: Work, picture: BoardPicture, stored: list[MatchPoint], rows: list[Row]) -> bool:
    """Make the stored points those of the rows, in their order; whether anything changed."""
    for gone in stored[len(rows) :]:
        work.session.delete(gone)
    changed = len(stored) != len(rows)
    for point, row in zip(stored, rows, strict=False):
        changed = bool(change(point, row)) or changed
    for place, row in enumerate(rows[len(stored) :], start=len(stored)):
        work.session.add(MatchPoint(board_picture_id=picture.key, place=place, **row))
    work.session.flush()
    return changed


def _position(session: Session, board: Board, designator: str) -> Position:
    try:
        return find_position(session, board, designator)
    except NotFound as missing:
        raise Invalid({"designator": str(missing)}) from None


def _expect_pin(session: Session, pin: MapPin | None, command: PlacePin) -> None:
    """Rule 7, of a pin that may not have been there when the page was opened, or may be gone since."""
    opened = command.opened_version
    if (pin.version if pin else 0) == opened:
        return
    theirs: Mapping[str, object] = {}
    if pin:
        theirs = {"picture": session.get_one(BoardPicture, pin.board_picture_id).number, "x": pin.x, "y": pin.y}
    yours = {name: getattr(command, name) for name in ("picture", "x", "y")}
    rows = [Difference(words(name), shown(value), shown(theirs.get(name))) for name, value in yours.items()]
    raise Stale("pin", pin.version if pin else 0, rows)


def _spot_on(session: Session, board: Board, command: PlacePin | PointOutPosition) -> MapPicture:
    """The picture that a spot is on; told beside the fields when there is no such picture or no such spot."""
    picture = next((one for one in pictures_of(session, board) if one.number == command.picture), None)
    if picture is None:
        raise Invalid({"picture": f"{board.name} has no picture {command.picture} on its map."})
    if faults := outside_faults(picture, command.x, command.y):
        raise Invalid(faults)
    return picture


def _pin(position: Position, picture: MapPicture, x: float, y: float) -> MapPin:
    return MapPin(position_id=position.key, board_picture_id=picture.row.key, x=x, y=y)
