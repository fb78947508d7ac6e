"""Share links: who can look at a machine's mod sheet, and until when. They tell nothing of the machine itself."""

from datetime import date

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class ShareLink(Kept, table=True):
    """A link that opens one machine's mod sheet to whoever has it. `to_whom` is private.

    `digest` is the SHA-256 of the token in the link, which itself is kept nowhere. `expires_on` is the last day on
    which it opens anything; without one it opens until it is withdrawn.
    """

    __tablename__ = "share_link"
    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    number: int
    digest: str = Field(max_length=64, unique=True)
    to_whom: str
    length: str
    made_on: date
    expires_on: date | None = None
    withdrawn_on: date | None = None
    withdrawn_by: str = ""
