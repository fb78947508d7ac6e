"""Parts, where they sit, and the bags in which originals are kept aside.

The partial unique indexes hold rule 1 in the database itself: a part has one open placement or one open bag,
and a position holds one part at a time.
"""

from datetime import date

from sqlalchemy import Index, text
from sqlmodel import Field

from server.records.tables.base import Kept


class Part(Kept, table=True):
    """One physical item. `value` is as the keeper typed it; the sums read it through `engineering`.

    `dating` is empty, or the keeper's own word, with a note, on whether its date code tells of its board's age.
    """

    kind: str = Field(index=True)
    type: str = ""
    marking: str = ""
    value: str = ""
    rating: str = ""
    maker_mark: str = ""
    date_code: str = ""
    date_reading: str = ""
    origin: str
    condition: str = ""
    pedigree: str = ""
    note: str = ""
    dating: str = ""
    dating_note: str = ""
    gone: str | None = None
    gone_on: date | None = None


class Placement(Kept, table=True):
    """One part at one position from a day to a day; no first day means it was there when the machine came in."""

    __table_args__ = (
        Index(
            "one_part_at_a_position",
            "position_id",
            unique=True,
            sqlite_where=text("removed_on IS NULL"),
            postgresql_where=text("removed_on IS NULL"),
        ),
        Index(
            "one_position_for_a_part",
            "part_id",
            unique=True,
            sqlite_where=text("removed_on IS NULL"),
            postgresql_where=text("removed_on IS NULL"),
        ),
        Index("placement_history", "position_id", "fitted_on"),
        Index("part_history", "part_id", "fitted_on"),
    )

    part_id: int = Field(foreign_key="part.id")
    position_id: int = Field(foreign_key="position.id")
    fitted_on: date | None = None
    fitted_by_step_id: int | None = Field(default=None, foreign_key="step.id")
    signer: str = ""
    removed_on: date | None = None
    removed_by_step_id: int | None = Field(default=None, foreign_key="step.id")


class Storage(Kept, table=True):
    """A part kept aside in a numbered bag from a day to a day. `place` is private."""

    __table_args__ = (
        Index(
            "one_bag_for_a_part",
            "part_id",
            unique=True,
            sqlite_where=text("until IS NULL"),
            postgresql_where=text("until IS NULL"),
        ),
        Index("bags_in_order", "bag", "id", sqlite_where=text("until IS NULL"), postgresql_where=text("until IS NULL")),
    )

    part_id: int = Field(foreign_key="part.id", index=True)
    from_position_id: int | None = Field(default=None, foreign_key="position.id", index=True)
    bag: int = Field(index=True)
    place: str = ""
    since: date
    until: date | None = None
    condition: str = ""


class Loan(Kept, table=True):
    """A part that was lent out of its bag, which waits for it. `to_whom` is private."""

    __table_args__ = (
        Index(
            "one_loan_of_a_part",
            "part_id",
            unique=True,
            sqlite_where=text("until IS NULL"),
            postgresql_where=text("until IS NULL"),
        ),
    )

    part_id: int = Field(foreign_key="part.id", index=True)
    to_whom: str
    since: date
    due: date | None = None
    until: date | None = None
    signer: str = ""
    note: str = ""
