"""Mod sheets that were signed: what each bore; its record and its pages lie in the files folder."""

from datetime import date

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class SignedSheet(Kept, table=True):
    """One mod sheet as it was signed on a day.

    `sha256` is the digest that the sheet bears: that of the record it was made from, as canonical JSON without what is
    private. `pdf_sha256` is that of the sheet itself, so that what was handed over can be printed again.
    """

    __tablename__ = "signed_sheet"
    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    number: int
    day: date
    signer: str
    sha256: str = Field(max_length=64, index=True)
    pdf_sha256: str = Field(max_length=64)
