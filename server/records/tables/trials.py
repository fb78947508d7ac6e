"""Procedures, and the occasions on which they were run."""

from datetime import date

from sqlalchemy import JSON, Column, UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class Procedure(Kept, table=True):
    """How a test is run, its unit, its resolution and which way is better; shared by machines."""

    slug: str = Field(max_length=60, unique=True)
    title: str
    how: str = ""
    unit: str = ""
    unit_meaning: str = ""
    resolution: float | None = None
    better: str
    target: float | None = None


class Trial(Kept, table=True):
    """One occasion of running a procedure on one machine, with its readings in the order they were taken.

    `mods_reason` says why the mods noted as in force are others than those that the days of their moves give.
    """

    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    procedure_id: int = Field(foreign_key="procedure.id", index=True)
    number: int
    day: date
    readings: list[float] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    conditions: str = ""
    instrument: str = ""
    signer: str = ""
    note: str = ""
    mods_reason: str = ""


class TrialMod(Kept, table=True):
    """A mod that was in force when the trial was run."""

    __tablename__ = "trial_mod"
    __table_args__ = (UniqueConstraint("trial_id", "mod_id"),)

    trial_id: int = Field(foreign_key="trial.id", index=True)
    mod_id: int = Field(foreign_key="mod.id", index=True)
