"""Mods, their steps and their sums as a machine's record has them."""

from datetime import date, datetime
from typing import Literal
from uuid import UUID

from pydantic import Field, JsonValue

from server.documents.record_base import OUTSIDE, Nothing, Recorded, Told
from server.records.words import Aim, Hazard, ModState, Sense, Source, StepKind, Trace


class RecordedMove(Recorded):
    """A mod came into a state on a day, signed. The moves of a mod stand in the order they were made."""

    state: ModState
    day: date
    signer: str
    note: str


class RecordedStep(Recorded):
    """One act of a mod: what was planned, what was done, and whether it has been put back."""

    number: int
    kind: StepKind
    position: UUID | None = Field(description=f"Null when the step is at none. {OUTSIDE}")
    pin: str
    instruction: str
    planned_type: str
    planned_value: str
    before_state: str
    trace_stated: Trace | Nothing
    trace_reason: str
    done_on: date | None
    done_order: int
    done_by: str
    done_note: str
    undone_on: date | None
    undone_by: str
    undone_note: str
    part: UUID | None = Field(description=f"Null when it moved none. {OUTSIDE}")
    role: str = Field(description="What the position is called in the mod's design; empty without one.")


class RecordedExpectation(Recorded):
    """What a mod is expected to do."""

    number: int
    sentence: str
    procedure: UUID | None
    sense: Sense | Nothing
    bound: float | None
    unit: str = Field(description="That of the bound.")
    calculation: UUID | None = Field(description="The calculation of which `line` foretells what the readings will be.")
    line: str


class RecordedMod(Recorded):
    """A modification with its life, steps and expectations."""

    number: int
    title: str
    purpose: str
    reasoning: str
    hazards: list[Hazard]
    state: ModState
    outcome: str
    aim: Aim | Nothing = Field(description="Empty where it was not said.")
    symptom: UUID | None = Field(description="The symptom that it answers.")
    design: UUID | None = Field(description="The design that this mod is a fitting of.")
    moves: list[RecordedMove]
    steps: list[RecordedStep]
    expectations: list[RecordedExpectation]


class RecordedInput(Recorded):
    """One named input of a calculation and where its value comes from."""

    name: str
    label: str
    unit: str
    source: Source
    text: str
    position: UUID | None = Field(description=f"Null when no position is read. {OUTSIDE}")
    when_empty: str
    trial: UUID | None
    other_calculation: UUID | None
    other_line: str
    waveform: UUID | None
    figure: str = Field(description="Which figure of the waveform is read.")
    role: str = Field(description="What the position is called in the mod's design; empty without one.")


class RecordedRun(Recorded):
    """A result that was kept, with the inputs it was run with, for the stock, planned and fitted machine."""

    number: int
    run_at: datetime
    reason: str
    digest: str = Field(description="SHA-256 of what the result rests on; equal digests give equal results.")
    cases: dict[str, JsonValue]


class RecordedLine(Told):
    """One line of a sum: its name, its expression, and the unit that it is shown in."""

    name: str
    expression: str
    unit: str
    label: str


class RecordedLimit(Told):
    """What a line must keep to, and on what that rests."""

    line: str
    kind: Literal["at_least", "at_most", "between"]
    value: str
    basis: str


class RecordedAssumption(Told):
    """What a sum takes for granted."""

    sentence: str
    tested: bool
    note: str


class RecordedCalculation(Recorded):
    """Lines and limits of one sum of a mod."""

    mod: UUID
    number: int
    title: str
    method: str
    note: str
    design_number: int | None = Field(description="Its place in the design that its mod is a fitting of.")
    circuit: dict[str, JsonValue] | None = Field(description="Elements between nodes, and what is asked of them.")
    lines: list[RecordedLine]
    limits: list[RecordedLimit]
    assumptions: list[RecordedAssumption]
    inputs: list[RecordedInput]
    runs: list[RecordedRun]
