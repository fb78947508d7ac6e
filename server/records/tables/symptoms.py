"""What a machine does that it should not, what may cause it, and what speaks for and against each cause."""

from datetime import date

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class Symptom(Kept, table=True):
    """What a machine does that it should not, or seems to. An empty `ended_as` is an open symptom."""

    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    number: int
    title: str
    seen_on: date
    bring_about: str = ""
    note: str = ""
    ended_as: str = ""
    ended_on: date | None = None
    ended_by_mod_id: int | None = Field(default=None, foreign_key="mod.id", index=True)
    ended_note: str = ""


class PossibleCause(Kept, table=True):
    """A guess about a symptom. `assumption` is the sentence of `calculation_id` that it was opened from, if it was."""

    __tablename__ = "possible_cause"
    __table_args__ = (UniqueConstraint("symptom_id", "number"),)

    symptom_id: int = Field(foreign_key="symptom.id", index=True)
    number: int
    sentence: str
    state: str
    judged_on: date | None = None
    why: str = ""
    calculation_id: int | None = Field(default=None, foreign_key="calculation.id", index=True)
    assumption: str = ""


class Evidence(Kept, table=True):
    """What speaks for or against a possible cause: a trial, a calculation, or a note alone."""

    possible_cause_id: int = Field(foreign_key="possible_cause.id", index=True)
    side: str
    day: date
    trial_id: int | None = Field(default=None, foreign_key="trial.id", index=True)
    calculation_id: int | None = Field(default=None, foreign_key="calculation.id", index=True)
    note: str = ""
