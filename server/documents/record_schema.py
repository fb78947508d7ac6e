"""What the record of one machine looks like as JSON: every key by name, so that nothing private slips in by itself.

References are by UUID and lead to another entry of the same record. Days are ISO 8601, moments UTC, text as it was
typed. An importer that meets a key it does not know should say so rather than drop it.
"""

from datetime import date
from typing import Final, Literal
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from server.documents.record_base import OUTSIDE, PRIVATE, Nothing, Recorded
from server.documents.record_designs import DesignExpectation, DesignRole, DesignStep, DesignSum
from server.documents.record_mods import RecordedCalculation, RecordedMod
from server.documents.record_pictures import RecordedBoardPicture, RecordedFile, RecordedMapPin, RecordedPhotograph
from server.records.words import (
    Better,
    BoardKind,
    CauseState,
    Dating,
    EvidenceSide,
    Gone,
    Hazard,
    Level,
    Mounting,
    Origin,
    PartKind,
    PinRole,
    SymptomEnd,
)

FORMAT: Final = "putback-record/1"


class RecordedMachine(Recorded):
    """The machine itself."""

    tag: str
    maker: str
    model: str
    variant: str
    serial_number: str
    made: str = Field(description="EDTF (ISO 8601-2), such as 1981, 1979~ or 198X.")
    acquired_on: date | None
    acquired_from: str = Field(default="", description=PRIVATE)
    price: str = Field(default="", description=PRIVATE)
    provenance: str = Field(description="Markdown, as are as_found and every other text of more than one line.")
    as_found: str
    significance: str
    hazards: list[Hazard]
    keeper: str
    handed_over_on: date | None
    handed_over_to: str


class RecordedOther(Recorded):
    """Another machine that this record names: one that a board was in, or in which a photograph was added."""

    tag: str


class RecordedBoard(Recorded):
    """A board of the machine; `parent` is the board that holds it."""

    parent: UUID | None
    slug: str
    name: str
    kind: BoardKind
    part_number: str
    revision: str
    serial_number: str
    made: str
    hazards: list[Hazard]
    note: str


class RecordedStay(Recorded):
    """A board in one machine from a day to a day; only boards that moved have any. Machines are named by tag."""

    board: UUID
    machine: str
    since: date | None
    until: date | None
    signer: str
    note: str


class RecordedPosition(Recorded):
    """A place for a part, and what the service literature expects there."""

    board: UUID
    designator: str
    kind: PartKind
    expected_type: str
    expected_value: str
    mounting: Mounting
    pins: int | None
    note: str


class RecordedPart(Recorded):
    """A part that ever sat in this machine, or lies in a bag that was filled from it."""

    kind: PartKind
    type: str
    marking: str
    value: str
    rating: str
    maker_mark: str
    date_code: str
    date_reading: str
    origin: Origin
    condition: str
    pedigree: str
    note: str
    dating: Dating | Nothing = Field(
        description="The keeper's own word on whether the code tells of the board's age, or empty."
    )
    dating_note: str
    gone: Gone | None = Field(description="Null while it is somewhere.")
    gone_on: date | None


class RecordedPlacement(Recorded):
    """One part at one position of this machine from a day to a day; no first day: it was there from the start."""

    part: UUID
    position: UUID
    fitted_on: date | None
    fitted_by_step: UUID | None = Field(description=f"Null when no step did it. {OUTSIDE}")
    signer: str
    removed_on: date | None
    removed_by_step: UUID | None = Field(description=f"Null when no step did it. {OUTSIDE}")


class RecordedStorage(Recorded):
    """A part in a numbered bag from a day to a day; no last day: it lies there."""

    part: UUID
    from_position: UUID | None = Field(description="Null when the bag was filled from no position of this machine.")
    bag: int
    place: str = Field(default="", description=PRIVATE)
    since: date
    until: date | None
    condition: str


class RecordedLoan(Recorded):
    """A part lent out of its bag, which waits for it; no last day: it is still lent."""

    part: UUID
    to_whom: str = Field(default="", description=PRIVATE)
    since: date
    due: date | None
    until: date | None
    signer: str
    note: str = Field(default="", description=PRIVATE)


class RecordedPin(Recorded):
    """A pin on a net, in the order along the schematic."""

    position: UUID
    pin: str
    role: PinRole
    family: str
    drives: Level | Nothing
    series_position: UUID | None = Field(description="That of a resistor between the pin and the net.")
    other_end: str
    seen_at: str


class RecordedNet(Recorded):
    """One signal on a board."""

    board: UUID
    number: int
    name: str
    sheet: str
    note: str
    pins: list[RecordedPin]


class RecordedProcedure(Recorded):
    """How a test is run; shared by machines."""

    slug: str
    title: str
    how: str
    unit: str
    unit_meaning: str
    resolution: float | None
    better: Better
    target: float | None


class RecordedTrial(Recorded):
    """One occasion of running a procedure, its readings in the order taken, and the mods then in force."""

    procedure: UUID
    number: int
    day: date
    readings: list[float]
    conditions: str
    instrument: str
    signer: str
    note: str
    mods: list[UUID] = Field(description="Those of this machine; a mod that came with a board is not named.")
    mods_reason: str = Field(description="Why other mods are noted than those that the days of their moves give.")


class RecordedWaveform(Recorded):
    """One capture of a scope: the file by its digest, the figures read from it, and the few samples that draw it."""

    number: int
    day: date
    title: str
    probed_at: str
    instrument: str
    conditions: str
    signer: str
    note: str
    file_name: str
    size: int
    sha256: str
    samples: int
    time_unit: str
    volt_unit: str
    fit_from: float | None = Field(
        description="In time_unit, as is fit_to: the stretch that the decay was fitted over."
    )
    fit_to: float | None
    figures: dict[str, JsonValue]
    reasons: dict[str, str]
    notes: list[str]
    drawing: dict[str, list[float]]


class RecordedDesign(Recorded):
    """What a mod of this machine is a fitting of: steps, calculations and expectations told of roles.

    Its words can be revised from elsewhere and are not in here; the mod has its own.
    """

    slug: str
    roles: list[DesignRole]
    steps: list[DesignStep]
    calculations: list[DesignSum]
    expectations: list[DesignExpectation]


class RecordedSheet(Recorded):
    """A mod sheet that was signed, by the digests of the record that it bears and of its PDF."""

    number: int
    day: date
    signer: str
    sha256: str = Field(description="Of the canonical record it was made from, without what is private.")
    pdf_sha256: str


class RecordedEvidence(Recorded):
    """What speaks for or against a possible cause: a trial, a calculation, or a note alone."""

    side: EvidenceSide
    day: date
    trial: UUID | None
    calculation: UUID | None
    note: str


class RecordedCause(Recorded):
    """A guess about a symptom; `assumption` is the sentence of a calculation that it was opened from, if it was."""

    number: int
    sentence: str
    state: CauseState
    judged_on: date | None
    why: str
    calculation: UUID | None
    assumption: str
    evidence: list[RecordedEvidence]


class RecordedSymptom(Recorded):
    """What the machine does that it should not, with its possible causes."""

    number: int
    title: str
    seen_on: date
    bring_about: str
    note: str
    ended_as: SymptomEnd | Nothing = Field(description="Empty while it is open.")
    ended_on: date | None
    ended_by_mod: UUID | None
    ended_note: str
    causes: list[RecordedCause]


class JournalHead(BaseModel):
    """The latest journal entry about this machine. Its hash covers every entry before it."""

    seq: int
    hash: str


class MachineRecord(BaseModel):
    """The whole record of one machine."""

    model_config = ConfigDict(title="The record of one machine", extra="forbid")

    format: Literal["putback-record/1"]
    machine: RecordedMachine
    other_machines: list[RecordedOther] = Field(default=[], description="Records from before they were told have none.")
    boards: list[RecordedBoard]
    board_stays: list[RecordedStay]
    positions: list[RecordedPosition]
    parts: list[RecordedPart]
    placements: list[RecordedPlacement]
    storages: list[RecordedStorage]
    loans: list[RecordedLoan]
    mods: list[RecordedMod]
    calculations: list[RecordedCalculation]
    nets: list[RecordedNet]
    board_pictures: list[RecordedBoardPicture]
    map_pins: list[RecordedMapPin]
    procedures: list[RecordedProcedure]
    trials: list[RecordedTrial]
    waveforms: list[RecordedWaveform]
    symptoms: list[RecordedSymptom]
    photographs: list[RecordedPhotograph]
    files: list[RecordedFile]
    designs: list[RecordedDesign]
    signed_sheets: list[RecordedSheet] = Field(
        default=[], description="As is journal, left out where a signed sheet is held against its machine's record."
    )
    journal: JournalHead | None
