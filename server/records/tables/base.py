"""What every stored record has: an integer key inside, a UUID that survives export, a version, who and when.

Table classes do not validate (SQLModel skips it for tables): the commands do.
"""

from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import DateTime, Dialect, TypeDecorator
from sqlalchemy.orm import declared_attr
from sqlmodel import Field, SQLModel

from server.records.clock import now


class UtcDateTime(TypeDecorator[datetime]):
    """Aware UTC moments; SQLite forgets the zone, so it is put back on the way out."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        if value is not None and value.tzinfo is None:
            raise ValueError("a stored moment must carry its zone")
        return value.astimezone(UTC) if value else None

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Kept(SQLModel):
    """Columns that every record shares."""

    id: int | None = Field(default=None, primary_key=True)
    uuid: UUID = Field(default_factory=uuid4, unique=True)
    version: int = Field(default=1, nullable=False)
    created_at: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    created_by: str = ""

    @declared_attr.directive
    def __mapper_args__(cls) -> dict[str, Any]:  # noqa: N805
        return {"version_id_col": cls.__table__.c.version}  # type: ignore[attr-defined]

    @property
    def key(self) -> int:
        """The integer key of a record that has been stored."""
        if self.id is None:
            raise ValueError("this record has not been stored yet")
        return self.id
