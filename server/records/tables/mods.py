"""Modifications, their moves through life, their steps, and what was expected of them."""

from datetime import date

from sqlalchemy import JSON, Column, ForeignKey, UniqueConstraint
from sqlmodel import Field

from server.records.tables.base import Kept


class Mod(Kept, table=True):
    """A planned or done change. `state` is that of its latest move; `design_id` the design that it is a fitting of.

    `aim` says in the terms of conservation what kind of work it is, `symptom_id` which symptom it answers.
    """

    __table_args__ = (UniqueConstraint("machine_id", "number"),)

    machine_id: int = Field(foreign_key="machine.id", index=True)
    number: int
    title: str
    purpose: str = ""
    reasoning: str = ""
    hazards: list[str] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    state: str
    outcome: str = ""
    aim: str = ""
    symptom_id: int | None = Field(
        default=None,
        # A symptom names the mod that cured it, so the two tables know each other: this end is tied last.
        sa_column=Column(ForeignKey("symptom.id", use_alter=True, name="mod_answers_symptom"), index=True),
    )
    design_id: int | None = Field(default=None, foreign_key="design.id", index=True)


class ModMove(Kept, table=True):
    """A mod came into a state on a day, signed."""

    __tablename__ = "mod_move"

    mod_id: int = Field(foreign_key="mod.id", index=True)
    state: str
    day: date
    signer: str
    note: str = ""


class Step(Kept, table=True):
    """One act of a mod: what is planned, what was done, and whether it has been put back.

    `part_id` is the part that the act took out or fitted. `trace_stated` may only be worse than what the kind
    of step leaves by itself, and then has its reason. `done_order` counts the acts on the machine, so that those of one
    day come back in the reverse order. `role` is what the position is called in the mod’s design.
    """

    __table_args__ = (UniqueConstraint("mod_id", "number"),)

    mod_id: int = Field(foreign_key="mod.id", index=True)
    number: int
    kind: str
    position_id: int | None = Field(default=None, foreign_key="position.id", index=True)
    pin: str = ""
    instruction: str = ""
    planned_type: str = ""
    planned_value: str = ""
    before_state: str = ""
    trace_stated: str = ""
    trace_reason: str = ""
    done_on: date | None = None
    done_order: int = 0
    done_by: str = ""
    done_note: str = ""
    undone_on: date | None = None
    undone_by: str = ""
    undone_note: str = ""
    part_id: int | None = Field(default=None, foreign_key="part.id", index=True)
    role: str = ""


class Expectation(Kept, table=True):
    """What a mod is expected to do, tied to a procedure, to a line of a calculation, or to both.

    Its verdict is derived from trials. `unit` is that of `bound`, as it was when the bound was written.
    """

    __table_args__ = (UniqueConstraint("mod_id", "number"),)

    mod_id: int = Field(foreign_key="mod.id", index=True)
    number: int
    sentence: str
    procedure_id: int | None = Field(default=None, foreign_key="procedure.id", index=True)
    sense: str = ""
    bound: float | None = None
    unit: str = ""
    calculation_id: int | None = Field(default=None, foreign_key="calculation.id", index=True)
    line: str = ""
