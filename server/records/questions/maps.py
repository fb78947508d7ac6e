"""Questions about board maps: the pictures of a board, its pins, and the positions that wait to be placed."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import and_
from sqlmodel import Session, col, select

from server.records.mapping import Match, PicturePlane, match_of
from server.records.placing import described
from server.records.questions.paging import Paged, paged
from server.records.questions.photographs import Numbered
from server.records.tables import (
    Board,
    BoardPicture,
    Machine,
    MapPin,
    MatchPoint,
    Part,
    Photograph,
    Placement,
    Position,
)

ON_KIND = "board"
IN_THE_TRAY = 50
COORDINATES = ("reference_x", "reference_y", "x", "y")


@dataclass(frozen=True, slots=True)
class MapPicture:
    """A picture on the map with its photograph and its matching points in their order."""

    row: BoardPicture
    photograph: Photograph
    points: tuple[MatchPoint, ...]
    plane: PicturePlane

    @property
    def number(self) -> int:
        return self.row.number

    @property
    def is_reference(self) -> bool:
        return self.row.is_reference

    @property
    def match(self) -> Match | None:
        """How it is matched to the reference picture; None where it is not."""
        return match_of(self.plane)


@dataclass(frozen=True, slots=True)
class PinLine:
    """A pin where it was placed: its position, what is expected there and what sits there now, in words.

    `plane` is the picture that it was placed on, `there` is empty where nothing sits.
    """

    position_id: int
    designator: str
    kind: str
    expected: str
    there: str
    plane: PicturePlane
    x: float
    y: float
    version: int


@dataclass(frozen=True, slots=True)
class TrayLine:
    """A position that has no pin yet, told as `PinLine` tells it."""

    position_id: int
    designator: str
    kind: str
    expected: str
    there: str


@dataclass(frozen=True, slots=True)
class BoardMap:
    """The pictures of a board by number, its pins by designator, and a page of the positions that have none."""

    pictures: tuple[MapPicture, ...]
    pins: tuple[PinLine, ...]
    tray: Paged[TrayLine]

    @property
    def reference(self) -> MapPicture | None:
        """The picture that the others are matched to; None only where there are none."""
        return next((picture for picture in self.pictures if picture.is_reference), None)

    def picture(self, number: int) -> MapPicture | None:
        """The picture of this number, if it is on the map."""
        return next((picture for picture in self.pictures if picture.number == number), None)


def map_of(session: Session, board: Board, tray_page: int = 1) -> BoardMap:
    """The map of a board; five queries, however much is on it."""
    pictures = pictures_of(session, board)
    planes = {picture.row.key: picture.plane for picture in pictures}
    return BoardMap(tuple(pictures), _pins(session, board, planes), _tray(session, board, tray_page))


def pictures_of(session: Session, board: Board) -> list[MapPicture]:
    """The pictures on a board's map by number; two queries."""
    query = (
        select(BoardPicture, Photograph)
        .join(Photograph, col(Photograph.id) == col(BoardPicture.photograph_id))
        .where(BoardPicture.board_id == board.id)
        .order_by(col(BoardPicture.number))
    )
    points = (
        select(MatchPoint)
        .join(BoardPicture, col(BoardPicture.id) == col(MatchPoint.board_picture_id))
        .where(BoardPicture.board_id == board.id)
        .order_by(col(MatchPoint.place))
    )
    points_of: dict[int, list[MatchPoint]] = defaultdict(list)
    for point in session.exec(points):
        points_of[point.board_picture_id].append(point)
    return [_picture(row, photograph, tuple(points_of[row.key])) for row, photograph in session.exec(query)]


def photographs_off_map(session: Session, board: Board) -> list[Numbered]:
    """The photographs of a board that are not on its map yet, in the order in which they were added."""
    on_map = select(BoardPicture.photograph_id)
    query = (
        select(Photograph, Machine.tag)
        .join(Machine, col(Machine.id) == col(Photograph.machine_id))
        .where(Photograph.on_kind == ON_KIND, Photograph.on_uuid == board.uuid, col(Photograph.id).not_in(on_map))
        .order_by(col(Photograph.id))
    )
    return [Numbered(*row) for row in session.exec(query)]


@dataclass(frozen=True, slots=True)
class MapsWithin:
    """The maps of all boards of a machine: pictures with the UUIDs of their photographs, matching points, pins."""

    pictures: Sequence[tuple[BoardPicture, UUID]]
    points: Sequence[MatchPoint]
    pins: Sequence[MapPin]


def maps_within(session: Session, machine: Machine) -> MapsWithin:
    """All of them, by board and number, and by board and designator; three queries."""
    pictures = (
        select(BoardPicture, Photograph.uuid, Board.slug)
        .join(Photograph, col(Photograph.id) == col(BoardPicture.photograph_id))
        .join(Board, col(Board.id) == col(BoardPicture.board_id))
        .where(Board.machine_id == machine.id)
    )
    points = (
        select(MatchPoint)
        .join(BoardPicture, col(BoardPicture.id) == col(MatchPoint.board_picture_id))
        .join(Board, col(Board.id) == col(BoardPicture.board_id))
        .where(Board.machine_id == machine.id)
        .order_by(col(MatchPoint.place))
    )
    pins = (
        select(MapPin, Board.slug, Position.designator_key)
        .join(Position, col(Position.id) == col(MapPin.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .where(Board.machine_id == machine.id)
    )
    return MapsWithin(
        [row[:2] for row in sorted(session.exec(pictures).all(), key=lambda row: (row[2], row[0].number))],
        session.exec(points).all(),
        [row[0] for row in sorted(session.exec(pins).all(), key=lambda row: (row[1], row[2]))],
    )


def pin_of(session: Session, position: Position) -> MapPin | None:
    """The pin of a position, if it has one."""
    return session.exec(select(MapPin).where(MapPin.position_id == position.id)).first()


def _picture(row: BoardPicture, photograph: Photograph, points: tuple[MatchPoint, ...]) -> MapPicture:
    pairs = tuple((point.reference_x, point.reference_y, point.x, point.y) for point in points)
    plane = PicturePlane(row.number, photograph.width, photograph.height, row.is_reference, row.match_kind, pairs)
    return MapPicture(row, photograph, points, plane)


# Columns and not rows: a map of many pins is read at every look at it.
_POSITION = (
    col(Position.id),
    col(Position.designator),
    col(Position.kind),
    col(Position.expected_type),
    col(Position.expected_value),
    col(Part.id),
    col(Part.kind),
    col(Part.type),
    col(Part.value),
)
_SITS = and_(col(Placement.position_id) == col(Position.id), col(Placement.removed_on).is_(None))


def _columns(*more: Any) -> Any:
    """A select of positions with what sits at each now, by designator; whether each has a pin is for the caller."""
    query: Any = select(*_POSITION, *more).select_from(Position)  # type: ignore[call-overload]
    return (
        query.outerjoin(Placement, _SITS)
        .outerjoin(Part, col(Part.id) == col(Placement.part_id))
        .outerjoin(MapPin, col(MapPin.position_id) == col(Position.id))
        .order_by(col(Position.designator_key))
    )


def _told(row: Any) -> tuple[int, str, str, str, str]:
    key, designator, kind, expected_type, expected_value, part, part_kind, part_type, part_value = row[:9]
    expected = " ".join(filter(None, [expected_type, expected_value]))
    return key, designator, kind, expected, described(part_kind, part_type, part_value) if part is not None else ""


def _pins(session: Session, board: Board, planes: dict[int, PicturePlane]) -> tuple[PinLine, ...]:
    pin = (col(MapPin.board_picture_id), col(MapPin.x), col(MapPin.y), col(MapPin.version))
    query = _columns(*pin).where(Position.board_id == board.id, col(MapPin.id).is_not(None))
    found = session.exec(query)
    # A pin on a picture of another board, which `putback check` names, has no place here.
    return tuple(PinLine(*_told(row), planes[row[9]], *row[10:]) for row in found if row[9] in planes)


def _tray(session: Session, board: Board, page: int) -> Paged[TrayLine]:
    query = _columns().where(Position.board_id == board.id, col(MapPin.id).is_(None))
    found = paged(session, query, page, IN_THE_TRAY)
    return Paged([TrayLine(*_told(row)) for row in found.rows], found.number, found.last, found.total)
