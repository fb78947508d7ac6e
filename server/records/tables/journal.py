"""The append-only, hash-chained log of every change to the record."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, Column
from sqlmodel import Field, SQLModel

from server.records.tables.base import UtcDateTime


class JournalEntry(SQLModel, table=True):
    """One act: who did what to which record and when, every row it changed, and the chain of hashes."""

    __tablename__ = "journal"

    seq: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    at: datetime = Field(sa_type=UtcDateTime)
    who: str
    subject: UUID = Field(index=True)
    machine: UUID | None = Field(default=None, index=True)
    act: str = Field(index=True)
    words: str
    change: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    previous: str
    hash: str = Field(unique=True)
