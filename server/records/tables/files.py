"""Other files than photographs: what is said of each; the file itself lies in the files folder."""

from uuid import UUID

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class AttachedFile(Kept, table=True):
    """One file, kept byte for byte and attached to the record `on_uuid`, which is a `on_kind`.

    It is numbered in the machine where it was added, and keeps that number when its record goes to another one.
    `crc32` and `sha1` are in hexadecimal, beside the SHA-256, because dumps of firmware are told apart by them.
    """

    __tablename__ = "attached_file"
    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    number: int
    on_kind: str
    on_uuid: UUID = Field(index=True)
    kind: str
    caption: str = ""
    file_name: str
    size: int
    sha256: str = Field(max_length=64, index=True)
    crc32: str = Field(max_length=8)
    sha1: str = Field(max_length=40)
