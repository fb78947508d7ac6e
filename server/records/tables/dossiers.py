"""Dossiers that were taken in: what came with each, and from where its machine's journal went on."""

from datetime import date

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class DossierImport(Kept, table=True):
    """One dossier of a machine, kept elsewhere before, that was taken into this record.

    `sha256` is that of its `record.json`, `journal_sha256` that of what it told of the journal, empty without one; both
    lie in the files folder. `journal_seq` and `journal_hash` are the last entry about the machine where it came from.
    `said_all` tells that the record then said what the dossier says and no more.
    """

    __tablename__ = "dossier_import"
    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    number: int
    made_on: date | None = None
    sha256: str = Field(max_length=64)
    journal_sha256: str = Field(default="", max_length=64)
    journal_seq: int | None = None
    journal_hash: str = Field(default="", max_length=64)
    said_all: bool = False
