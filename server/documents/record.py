"""The whole record of one machine as plain JSON: what the API answers, what a sheet carries, what a dossier holds.

It has no day of its own and names nothing by integer key: the same record gives the same bytes anywhere, so that
its SHA-256 can stand on paper. Knows nothing of how a document looks.
"""

import hashlib
from collections.abc import Iterable, Mapping
from typing import TypeVar
from uuid import UUID

import rfc8785
from pydantic import JsonValue
from sqlmodel import Session

from server.documents.record_base import Recorded
from server.documents.record_mods import (
    RecordedCalculation,
    RecordedExpectation,
    RecordedInput,
    RecordedMod,
    RecordedMove,
    RecordedRun,
    RecordedStep,
)
from server.documents.record_pictures import (
    RecordedBoardPicture,
    RecordedFile,
    RecordedMapPin,
    RecordedMatchPoint,
    RecordedPhotograph,
)
from server.documents.record_schema import (
    FORMAT,
    JournalHead,
    MachineRecord,
    RecordedBoard,
    RecordedCause,
    RecordedDesign,
    RecordedEvidence,
    RecordedLoan,
    RecordedMachine,
    RecordedNet,
    RecordedOther,
    RecordedPart,
    RecordedPin,
    RecordedPlacement,
    RecordedPosition,
    RecordedProcedure,
    RecordedSheet,
    RecordedStay,
    RecordedStorage,
    RecordedSymptom,
    RecordedTrial,
    RecordedWaveform,
)
from server.records.questions.sheet import WholeMachine, whole_machine
from server.records.sheet_records import compared_of
from server.records.tables import (
    BoardPicture,
    Calculation,
    Design,
    Loan,
    Machine,
    MapPin,
    Mod,
    Net,
    PossibleCause,
    ShareLink,
    Step,
    Storage,
    Symptom,
    Trial,
)
from server.records.tables.base import Kept

PRIVATE_FIELDS: Mapping[type[Recorded], frozenset[str]] = {
    RecordedMachine: frozenset({"acquired_from", "price"}),
    RecordedStorage: frozenset({"place"}),
    RecordedLoan: frozenset({"to_whom", "note"}),
}
# The same as columns of the tables, whose changes stand in the journal; and those of tables that no record tells of.
PRIVATE_COLUMNS = {
    str(table.__tablename__): PRIVATE_FIELDS[kind]
    for table, kind in ((Machine, RecordedMachine), (Storage, RecordedStorage), (Loan, RecordedLoan))
} | {str(ShareLink.__tablename__): frozenset({"to_whom", "digest"})}
Kind = TypeVar("Kind", bound=Recorded)


def machine_record(session: Session, machine: Machine, *, private: bool = False) -> dict[str, JsonValue]:
    """The record of one machine; private fields are in it only when asked for."""
    return record_of(whole_machine(session, machine), private=private)


def record_of(whole: WholeMachine, *, private: bool = False) -> dict[str, JsonValue]:
    """The same, of a machine that has been read already."""
    return _Writer(whole, private).record().model_dump(mode="json", exclude_unset=True)


def canonical(record: Mapping[str, JsonValue]) -> bytes:
    """The record's one spelling: RFC 8785, the JSON Canonicalization Scheme."""
    return rfc8785.dumps(dict(record))


def canonical_both(record: Mapping[str, JsonValue]) -> tuple[bytes, bytes]:
    """The record's one spelling, and that of what is compared of it; each value, which can be long, is spelled once.

    Its own keys are plain ASCII, so that their order is that of the standard.
    """
    spelled = {name: rfc8785.dumps(name) + b":" + rfc8785.dumps(record[name]) for name in sorted(record)}
    compared = [spelled[name] for name in sorted(compared_of(record))]
    return b"{" + b",".join(spelled.values()) + b"}", b"{" + b",".join(compared) + b"}"


def digest(canonical_json: bytes) -> str:
    """SHA-256 of a record's canonical bytes, in hexadecimal."""
    return hashlib.sha256(canonical_json).hexdigest()


class _Writer:
    """Turns rows into entries, integer keys into UUIDs."""

    def __init__(self, whole: WholeMachine, private: bool) -> None:
        self.whole = whole
        self.private = private
        self.board = _uuids(whole.boards)
        self.position = _uuids(whole.positions)
        self.part = _uuids(whole.parts)
        self.step = _uuids(whole.steps)
        self.mod = _uuids(whole.mods)
        self.calculation = _uuids(whole.calculations)
        self.procedure = _uuids(whole.procedures)
        self.trial = _uuids(whole.trials)
        self.waveform = _uuids(whole.waveforms)
        self.design = _uuids(whole.designs)
        self.symptom = _uuids(whole.symptoms)
        self.board_picture = _uuids(picture for picture, _ in whole.maps.pictures)

    def record(self) -> MachineRecord:
        whole = self.whole
        return MachineRecord(
            format=FORMAT,
            machine=self.entry(RecordedMachine, whole.machine),
            other_machines=[self.entry(RecordedOther, row) for row in whole.others],
            boards=[self.entry(RecordedBoard, row, parent=_of(self.board, row.parent_id)) for row in whole.boards],
            board_stays=[
                self.entry(RecordedStay, row, board=self.board[row.board_id], machine=whole.tag_of[row.machine_id])
                for row in whole.board_stays
            ],
            positions=[self.entry(RecordedPosition, row, board=self.board[row.board_id]) for row in whole.positions],
            parts=[self.entry(RecordedPart, row) for row in whole.parts],
            placements=self.placements(),
            storages=self.storages(),
            loans=[self.entry(RecordedLoan, row, part=self.part[row.part_id]) for row in whole.loans],
            mods=[self.of_mod(row) for row in whole.mods],
            calculations=[self.of_calculation(row) for row in whole.calculations],
            nets=[self.of_net(row) for row in whole.nets],
            board_pictures=[self.of_picture(*row) for row in whole.maps.pictures],
            map_pins=[self.of_map_pin(row) for row in whole.maps.pins],
            procedures=[self.entry(RecordedProcedure, row) for row in whole.procedures],
            trials=[self.of_trial(row) for row in whole.trials],
            waveforms=[self.entry(RecordedWaveform, row) for row in whole.waveforms],
            symptoms=[self.of_symptom(row) for row in whole.symptoms],
            photographs=[self.entry(RecordedPhotograph, row, machine=tag) for row, tag in whole.photographs],
            files=[self.entry(RecordedFile, row, machine=tag) for row, tag in whole.files],
            designs=[self.entry(RecordedDesign, row, roles=_roles(row)) for row in whole.designs],
            signed_sheets=[self.entry(RecordedSheet, row) for row in whole.signed_sheets],
            journal=JournalHead(seq=whole.head[0], hash=whole.head[1]) if whole.head else None,
        )

    def entry(self, kind: type[Kind], row: Kept, **given: object) -> Kind:
        """One row as its schema names it; what refers to other rows is given."""
        hidden = frozenset() if self.private else PRIVATE_FIELDS.get(kind, frozenset())
        own = kind.model_fields.keys() - given.keys() - hidden
        return kind.model_validate({name: getattr(row, name) for name in own} | given)

    def placements(self) -> list[RecordedPlacement]:
        return [
            self.entry(
                RecordedPlacement,
                row,
                part=self.part[row.part_id],
                position=self.position[row.position_id],
                # A board brings what was done to it in another machine, whose steps stand in that one's record.
                fitted_by_step=_here(self.step, row.fitted_by_step_id),
                removed_by_step=_here(self.step, row.removed_by_step_id),
            )
            for row in self.whole.placements
        ]

    def storages(self) -> list[RecordedStorage]:
        return [
            self.entry(
                RecordedStorage,
                row,
                part=self.part[row.part_id],
                from_position=_here(self.position, row.from_position_id),
            )
            for row in self.whole.storages
        ]

    def of_mod(self, mod: Mod) -> RecordedMod:
        expectations = self.whole.expectations_of.get(mod.key, [])
        return self.entry(
            RecordedMod,
            mod,
            symptom=_of(self.symptom, mod.symptom_id),
            design=_of(self.design, mod.design_id),
            moves=[self.entry(RecordedMove, row) for row in self.whole.moves_of.get(mod.key, [])],
            steps=[self.of_step(row) for row in self.whole.steps_of.get(mod.key, [])],
            expectations=[
                self.entry(
                    RecordedExpectation,
                    row,
                    procedure=_of(self.procedure, row.procedure_id),
                    calculation=_of(self.calculation, row.calculation_id),
                )
                for row in expectations
            ],
        )

    def of_step(self, step: Step) -> RecordedStep:
        position, part = _here(self.position, step.position_id), _here(self.part, step.part_id)
        return self.entry(RecordedStep, step, position=position, part=part)

    def of_calculation(self, calculation: Calculation) -> RecordedCalculation:
        inputs = [
            self.entry(
                RecordedInput,
                row,
                position=_here(self.position, row.position_id),
                trial=_of(self.trial, row.trial_id),
                other_calculation=_of(self.calculation, row.other_calculation_id),
                waveform=_of(self.waveform, row.waveform_id),
            )
            for row in self.whole.inputs_of.get(calculation.key, [])
        ]
        runs = [self.entry(RecordedRun, row) for row in self.whole.runs_of.get(calculation.key, [])]
        return self.entry(RecordedCalculation, calculation, mod=self.mod[calculation.mod_id], inputs=inputs, runs=runs)

    def of_net(self, net: Net) -> RecordedNet:
        pins = [
            self.entry(
                RecordedPin,
                row,
                position=self.position[row.position_id],
                series_position=_of(self.position, row.series_position_id),
            )
            for row in self.whole.pins_of.get(net.key, [])
        ]
        return self.entry(RecordedNet, net, board=self.board[net.board_id], pins=pins)

    def of_picture(self, picture: BoardPicture, photograph: UUID) -> RecordedBoardPicture:
        points = [self.entry(RecordedMatchPoint, row) for row in self.whole.match_points_of.get(picture.key, [])]
        board = self.board[picture.board_id]
        return self.entry(RecordedBoardPicture, picture, board=board, photograph=photograph, points=points)

    def of_map_pin(self, pin: MapPin) -> RecordedMapPin:
        position, picture = self.position[pin.position_id], self.board_picture[pin.board_picture_id]
        return self.entry(RecordedMapPin, pin, position=position, board_picture=picture)

    def of_trial(self, trial: Trial) -> RecordedTrial:
        mods = [self.mod[key] for key in self.whole.mods_at.get(trial.key, [])]
        return self.entry(RecordedTrial, trial, procedure=self.procedure[trial.procedure_id], mods=mods)

    def of_symptom(self, symptom: Symptom) -> RecordedSymptom:
        causes = [self.of_cause(row) for row in self.whole.causes_of.get(symptom.key, [])]
        cure = _of(self.mod, symptom.ended_by_mod_id)
        return self.entry(RecordedSymptom, symptom, ended_by_mod=cure, causes=causes)

    def of_cause(self, cause: PossibleCause) -> RecordedCause:
        evidence = [
            self.entry(
                RecordedEvidence,
                row,
                trial=_of(self.trial, row.trial_id),
                calculation=_of(self.calculation, row.calculation_id),
            )
            for row in self.whole.evidence_of.get(cause.key, [])
        ]
        calculation = _of(self.calculation, cause.calculation_id)
        return self.entry(RecordedCause, cause, calculation=calculation, evidence=evidence)


def _roles(design: Design) -> list[dict[str, JsonValue]]:
    """A design's roles; on which machine it was written, and where they were there, is no part of another's record."""
    return [{name: role[name] for name in ("name", "kind", "board_kind")} for role in design.roles]


def _uuids(rows: Iterable[Kept]) -> dict[int, UUID]:
    return {row.key: row.uuid for row in rows}


def _of(known: Mapping[int, UUID], key: int | None) -> UUID | None:
    return None if key is None else known[key]


def _here(known: Mapping[int, UUID], key: int | None) -> UUID | None:
    """What lies outside is named as nothing: a record refers to itself only."""
    return None if key is None else known.get(key)
