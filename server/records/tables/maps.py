"""Board maps: the pictures of a board, the points that match each to the first, and where positions are pinned.

Places on a picture are in pixels of the upright photograph, x to the right and y down from its upper left corner.
"""

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class BoardPicture(Kept, table=True):
    """A photograph of a board, or a layout drawing of it, that is on the board's map.

    The first is the reference picture, which the others are matched to. `match_kind` is that of the fit to the matching
    points, empty for the simplest that they bear.
    """

    __tablename__ = "board_picture"
    __table_args__ = (UniqueConstraint("board_id", "number"),)

    board_id: int = Field(foreign_key="board.id", index=True)
    number: int
    photograph_id: int = Field(foreign_key="photograph.id", unique=True)
    kind: str
    is_reference: bool = False
    match_kind: str = ""


class MatchPoint(Kept, table=True):
    """One spot of the board as it is seen in the reference picture and in another."""

    __tablename__ = "match_point"
    __table_args__ = (UniqueConstraint("board_picture_id", "place"),)

    board_picture_id: int = Field(foreign_key="board_picture.id", index=True)
    place: int
    reference_x: float
    reference_y: float
    x: float
    y: float


class MapPin(Kept, table=True):
    """Where a position is, on the picture on which it was placed."""

    __tablename__ = "map_pin"

    position_id: int = Field(foreign_key="position.id", unique=True)
    board_picture_id: int = Field(foreign_key="board_picture.id", index=True)
    x: float
    y: float
