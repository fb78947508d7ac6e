"""A mod written once, to be fitted on many machines."""

from typing import Any

from sqlalchemy import JSON, Column
from sqlmodel import Field

from server.records.tables.base import Kept


class Design(Kept, table=True):
    """What a mod does, told of roles instead of positions; a fitting is a `Mod` that names its design.

    `roles`, `steps`, `calculations` and `expectations` are lists of plain mappings. They stand as they were written, so
    that all fittings can be held against the same plan.
    """

    slug: str = Field(max_length=60, unique=True)
    title: str
    purpose: str = ""
    reasoning: str = ""
    hazards: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    roles: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    steps: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    calculations: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    expectations: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
