"""The nets of a board, and which pins of which positions are on each."""

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class Net(Kept, table=True):
    """One signal on a board: what the schematic calls it, and on which sheet it is drawn."""

    __table_args__ = (UniqueConstraint("board_id", "number"),)

    board_id: int = Field(foreign_key="board.id", index=True)
    number: int
    name: str
    sheet: str = ""
    note: str = ""


class NetPin(Kept, table=True):
    """A pin on a net, in the order along the schematic.

    `family` is empty where the type of the part there tells it. `drives` is the level that an output is at, empty where
    it can be either. `series_position_id` is that of a resistor between the pin and the net; `other_end` is where the
    far end of a passive part goes, such as `5 V`. `seen_at` is the place on the schematic.
    """

    __tablename__ = "net_pin"
    __table_args__ = (UniqueConstraint("net_id", "place"),)

    net_id: int = Field(foreign_key="net.id", index=True)
    place: int
    position_id: int = Field(foreign_key="position.id", index=True)
    pin: str = ""
    role: str
    family: str = ""
    drives: str = ""
    series_position_id: int | None = Field(default=None, foreign_key="position.id", index=True)
    other_end: str = ""
    seen_at: str = ""
