"""The sums behind a mod, where each input comes from, and every result that was kept."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, Column, UniqueConstraint
from sqlmodel import Field

from server.records.clock import now
from server.records.tables.base import Kept, UtcDateTime


class Calculation(Kept, table=True):
    """Lines and limits of one sum. `lines`, `limits` and `assumptions` are lists of plain mappings.

    `design_number` is its place in the design that its mod is a fitting of. With a `circuit`, the inputs are the values
    of its elements, and what it comes to is solved for instead of read from `lines`.
    """

    __table_args__ = (UniqueConstraint("mod_id", "number"),)

    mod_id: int = Field(foreign_key="mod.id", index=True)
    number: int
    title: str
    method: str = ""
    note: str = ""
    design_number: int | None = None
    circuit: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON(none_as_null=True)))
    lines: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    limits: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    assumptions: list[dict[str, Any]] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))


class CalculationInput(Kept, table=True):
    """One named input: typed, or read from a part at a position, a trial, a waveform, or another sum’s line.

    `when_empty` is the value where the position holds no part (a missing series resistor is 0 Ω). `role` is what the
    position is called in the mod's design.
    """

    __tablename__ = "calculation_input"
    __table_args__ = (UniqueConstraint("calculation_id", "name"),)

    calculation_id: int = Field(foreign_key="calculation.id", index=True)
    place: int
    name: str
    label: str = ""
    unit: str = ""
    source: str
    text: str = ""
    position_id: int | None = Field(default=None, foreign_key="position.id", index=True)
    when_empty: str = ""
    trial_id: int | None = Field(default=None, foreign_key="trial.id", index=True)
    other_calculation_id: int | None = Field(default=None, foreign_key="calculation.id", index=True)
    other_line: str = ""
    waveform_id: int | None = Field(default=None, foreign_key="waveform.id", index=True)
    figure: str = ""
    role: str = ""


class CalculationRun(Kept, table=True):
    """A result that was kept, with the inputs it was run with (rule 3). `cases` holds stock, planned, fitted."""

    __tablename__ = "calculation_run"
    __table_args__ = (UniqueConstraint("calculation_id", "number"),)

    calculation_id: int = Field(foreign_key="calculation.id", index=True)
    number: int
    run_at: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    reason: str
    digest: str
    cases: dict[str, Any] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))
