"""What is remembered of lists that were taken in: which column a person said is which."""

from datetime import date

from sqlalchemy import JSON, Column, UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class ColumnMatching(Kept, table=True):
    """How the columns of a kind of list were matched on a day, for lists with the same headings.

    `headings_sha256` is that of the headings in any order; `columns` has each heading as it was written, with its
    field, empty where the column is left out. It is the installation's, and no machine's.
    """

    __tablename__ = "column_matching"
    __table_args__ = (UniqueConstraint("kind", "headings_sha256"),)

    kind: str
    headings_sha256: str = Field(max_length=64)
    columns: list[dict[str, str]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    day: date
