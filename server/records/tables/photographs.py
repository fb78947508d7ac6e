"""Photographs: what is said of each; the picture itself lies in the files folder."""

from datetime import date
from uuid import UUID

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class Photograph(Kept, table=True):
    """One photograph, attached to the record `on_uuid`, which is a `on_kind` (such as a symptom).

    It is numbered in the machine where it was added, and keeps that number when what it shows goes to another one.
    `moment` says of a step's photograph whether it was taken before the step or after it, if it is said at all.
    `sha256` is that of the kept file, from which place data was taken out; `sent_sha256` that of the file as it came.
    """

    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    number: int
    on_kind: str
    on_uuid: UUID = Field(index=True)
    moment: str = ""
    caption: str = ""
    taken_on: date | None = None
    file_name: str
    media_type: str
    width: int
    height: int
    size: int
    sha256: str = Field(max_length=64, index=True)
    sent_sha256: str = Field(max_length=64)
