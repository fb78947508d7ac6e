"""Machines, their boards, and the positions on them."""

from datetime import date

from sqlalchemy import JSON, Column, UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class Machine(Kept, table=True):
    """One physical computer or peripheral. `acquired_from` and `price` are private.

    `significance` says what about it matters, and so must not change. One that is `elsewhere` is known by its tag
    alone, from the dossier of a machine that its boards or photographs came to; it has no page.
    """

    tag: str = Field(max_length=40)
    tag_key: str = Field(max_length=40, unique=True)
    maker: str = ""
    model: str
    variant: str = ""
    serial_number: str = ""
    made: str = ""
    acquired_on: date | None = None
    acquired_from: str = ""
    price: str = ""
    provenance: str = ""
    as_found: str = ""
    significance: str = ""
    hazards: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    keeper: str = ""
    handed_over_on: date | None = None
    handed_over_to: str = ""
    elsewhere: bool = False


class Board(Kept, table=True):
    """A circuit board or sub-assembly; it can hold other boards."""

    __table_args__ = (UniqueConstraint("machine_id", "slug"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    parent_id: int | None = Field(default=None, foreign_key="board.id")
    slug: str = Field(max_length=60)
    name: str
    kind: str
    part_number: str = ""
    revision: str = ""
    serial_number: str = ""
    made: str = ""
    hazards: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    note: str = ""


class BoardStay(Kept, table=True):
    """A board in one machine from a day to a day. Only a board that has moved has any; the last one is open.

    Without a first day it was there from the start.
    """

    __tablename__ = "board_stay"

    board_id: int = Field(foreign_key="board.id", index=True)
    machine_id: int = Field(foreign_key="machine.id", index=True)
    since: date | None = None
    until: date | None = None
    signer: str = ""
    note: str = ""


class Position(Kept, table=True):
    """A place for a part, by reference designator, with what the service literature expects there.

    `designator_key` folds case and pads numbers, so that `r2` is `R2` and sorts before `R10`.
    """

    __table_args__ = (UniqueConstraint("board_id", "designator_key"),)

    board_id: int = Field(foreign_key="board.id", index=True)
    designator: str = Field(max_length=40)
    designator_key: str = Field(max_length=300)
    kind: str = "other"
    expected_type: str = ""
    expected_value: str = ""
    mounting: str
    pins: int | None = None
    note: str = ""
