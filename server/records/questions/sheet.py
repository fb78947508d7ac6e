"""Everything the record holds about one machine, in a fixed number of queries: what a mod sheet and its record need.

A part belongs to a machine when it ever sat at one of its positions or lies in a bag that was filled from one.
Rows come in an order that hangs neither on integer keys nor on how a database sorts text, so that a record reads alike
wherever it is kept.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any, TypeVar
from uuid import UUID

from sqlalchemy import ColumnElement
from sqlalchemy.orm import Mapped
from sqlmodel import Session, col, or_, select
from sqlmodel.sql.expression import SelectOfScalar

from server.records.questions import expectations
from server.records.questions.attached_files import attached_within
from server.records.questions.dossiers import IMPORTED, last_import
from server.records.questions.expectations import ExpectationLine
from server.records.questions.foretold import KeptSum
from server.records.questions.journal import about
from server.records.questions.maps import MapsWithin, maps_within
from server.records.questions.stays import MovedMod, mods_that_came, mods_that_left
from server.records.questions.way_back import WayBack, way_back
from server.records.tables import (
    AttachedFile,
    Board,
    BoardStay,
    Calculation,
    CalculationInput,
    CalculationRun,
    Design,
    Evidence,
    Expectation,
    JournalEntry,
    Loan,
    Machine,
    MatchPoint,
    Mod,
    ModMove,
    Net,
    NetPin,
    Part,
    Photograph,
    Placement,
    Position,
    PossibleCause,
    Procedure,
    SignedSheet,
    Step,
    Storage,
    Symptom,
    Trial,
    TrialMod,
    Waveform,
)
from server.records.tables.base import Kept

Row = TypeVar("Row", bound=Kept)
Key = TypeVar("Key", bound=Hashable)
Keys = SelectOfScalar[int | None]


@dataclass(frozen=True)
class WholeMachine:
    """One machine's rows, table by table, and the last journal entry about it: (seq, hash).

    A board that moved takes its positions and all that sat there along. So a step can stand at a position that is not
    here, and a placement can be the act of a step that is not. What is attached to a record comes with the tag of the
    machine in which it has its number. `came` and `left` are the mods that went with boards.
    """

    machine: Machine
    others: Sequence[Machine]
    boards: Sequence[Board]
    board_stays: Sequence[BoardStay]
    tag_of: dict[int, str]
    positions: Sequence[Position]
    parts: Sequence[Part]
    placements: Sequence[Placement]
    storages: Sequence[Storage]
    loans: Sequence[Loan]
    mods: Sequence[Mod]
    moves: Sequence[ModMove]
    steps: Sequence[Step]
    expectations: Sequence[Expectation]
    calculations: Sequence[Calculation]
    inputs: Sequence[CalculationInput]
    runs: Sequence[CalculationRun]
    nets: Sequence[Net]
    pins: Sequence[NetPin]
    maps: MapsWithin
    procedures: Sequence[Procedure]
    trials: Sequence[Trial]
    trial_mods: Sequence[TrialMod]
    symptoms: Sequence[Symptom]
    causes: Sequence[PossibleCause]
    evidence: Sequence[Evidence]
    waveforms: Sequence[Waveform]
    photographs: Sequence[tuple[Photograph, str]]
    files: Sequence[tuple[AttachedFile, str]]
    designs: Sequence[Design]
    signed_sheets: Sequence[SignedSheet]
    came: Sequence[MovedMod]
    left: Sequence[MovedMod]
    back: WayBack
    head: tuple[int, str] | None

    @cached_property
    def board(self) -> dict[int, Board]:
        return _by_key(self.boards)

    @cached_property
    def position(self) -> dict[int, Position]:
        return _by_key(self.positions)

    @cached_property
    def part(self) -> dict[int, Part]:
        return _by_key(self.parts)

    @cached_property
    def procedure(self) -> dict[int, Procedure]:
        return _by_key(self.procedures)

    @cached_property
    def moves_of(self) -> dict[int, list[ModMove]]:
        return grouped((move.mod_id, move) for move in self.moves)

    @cached_property
    def steps_of(self) -> dict[int, list[Step]]:
        return grouped((step.mod_id, step) for step in self.steps)

    @cached_property
    def placements_by(self) -> dict[int, list[Placement]]:
        """What each step has fitted, in the order of fitting."""
        made = sorted(self.placements, key=lambda placement: placement.key)
        return grouped((placement.fitted_by_step_id, placement) for placement in made if placement.fitted_by_step_id)

    @cached_property
    def expectations_of(self) -> dict[int, list[Expectation]]:
        return grouped((expected.mod_id, expected) for expected in self.expectations)

    @cached_property
    def verdicts_of(self) -> dict[int, list[ExpectationLine]]:
        """Every mod's expectations with what the trials say of each, from the rows that were read."""
        known = {mod.key: mod for mod in self.mods}
        noted = {trial.key: [known[mod] for mod in self.mods_at.get(trial.key, [])] for trial in self.trials}
        trials = sorted(self.trials, key=lambda trial: (trial.day, trial.number))
        return {
            mod: [self._verdict(known[mod], one, trials, noted) for one in of]
            for mod, of in self.expectations_of.items()
        }

    def _verdict(
        self, mod: Mod, expectation: Expectation, trials: Sequence[Trial], noted: dict[int, list[Mod]]
    ) -> ExpectationLine:
        procedure = self.procedure[expectation.procedure_id] if expectation.procedure_id else None
        # That module's own question asks the database once for every mod; here the rows are at hand.
        return expectations.verdict_on(mod, expectation, procedure, trials, noted, self._sum_of(expectation))

    def _sum_of(self, expectation: Expectation) -> KeptSum | None:
        """The calculation that an expectation is tied to, with its latest run."""
        if expectation.calculation_id is None:
            return None
        runs = self.runs_of.get(expectation.calculation_id, [])
        return self.calculation[expectation.calculation_id], runs[-1] if runs else None

    @cached_property
    def calculation(self) -> dict[int, Calculation]:
        return _by_key(self.calculations)

    @cached_property
    def calculations_of(self) -> dict[int, list[Calculation]]:
        return grouped((calculation.mod_id, calculation) for calculation in self.calculations)

    @cached_property
    def inputs_of(self) -> dict[int, list[CalculationInput]]:
        return grouped((given.calculation_id, given) for given in self.inputs)

    @cached_property
    def runs_of(self) -> dict[int, list[CalculationRun]]:
        return grouped((run.calculation_id, run) for run in self.runs)

    @cached_property
    def pins_of(self) -> dict[int, list[NetPin]]:
        return grouped((pin.net_id, pin) for pin in self.pins)

    @cached_property
    def match_points_of(self) -> dict[int, list[MatchPoint]]:
        return grouped((point.board_picture_id, point) for point in self.maps.points)

    @cached_property
    def mods_at(self) -> dict[int, list[int]]:
        """Which mods were in force at each trial."""
        return grouped((link.trial_id, link.mod_id) for link in self.trial_mods)

    @cached_property
    def causes_of(self) -> dict[int, list[PossibleCause]]:
        return grouped((cause.symptom_id, cause) for cause in self.causes)

    @cached_property
    def evidence_of(self) -> dict[int, list[Evidence]]:
        return grouped((told.possible_cause_id, told) for told in self.evidence)


def _by_key(rows: Iterable[Row]) -> dict[int, Row]:
    return {row.key: row for row in rows}


Held = TypeVar("Held")


def grouped(pairs: Iterable[tuple[Key, Held]]) -> dict[Key, list[Held]]:
    """What belongs to each key, in the order it came."""
    found: dict[Key, list[Held]] = defaultdict(list)
    for key, held in pairs:
        found[key].append(held)
    return dict(found)


def whole_machine(session: Session, machine: Machine) -> WholeMachine:
    """Read it all; as many queries for a machine of ten parts as for one of ten thousand."""
    boards = select(col(Board.id)).where(Board.machine_id == machine.id)
    positions = select(col(Position.id)).where(col(Position.board_id).in_(boards))
    mods = select(col(Mod.id)).where(Mod.machine_id == machine.id)
    sums = select(col(Calculation.id)).where(col(Calculation.mod_id).in_(mods))
    trials = select(col(Trial.id)).where(Trial.machine_id == machine.id)
    symptoms = select(col(Symptom.id)).where(Symptom.machine_id == machine.id)
    causes = select(col(PossibleCause.id)).where(col(PossibleCause.symptom_id).in_(symptoms))
    stays = read_stays(session, boards)
    photographs = _attached(session, Photograph, machine, positions)
    files = _attached(session, AttachedFile, machine, positions)
    named = {row.machine_id for rows in (stays, photographs, files) for row, _ in rows} - {machine.key}
    read = session.exec
    return WholeMachine(
        machine=machine,
        others=sorted(read(select(Machine).where(col(Machine.id).in_(named))), key=lambda other: other.uuid),
        boards=sorted(read(select(Board).where(Board.machine_id == machine.id)), key=lambda board: board.slug),
        board_stays=[stay for stay, _ in stays],
        tag_of={stay.machine_id: tag for stay, tag in stays},
        positions=_positions(session, machine),
        parts=read(select(Part).where(_belongs(col(Part.id), positions)).order_by(col(Part.uuid))).all(),
        placements=_placements(session, machine),
        storages=read(
            select(Storage)
            .where(_belongs(col(Storage.part_id), positions))
            .order_by(col(Storage.bag), col(Storage.since), col(Storage.uuid))
        ).all(),
        loans=read(
            select(Loan).where(_belongs(col(Loan.part_id), positions)).order_by(col(Loan.since), col(Loan.uuid))
        ).all(),
        mods=read(select(Mod).where(Mod.machine_id == machine.id).order_by(col(Mod.number))).all(),
        # Two moves of one day follow each other by key alone; whoever stores them elsewhere keeps this order.
        moves=read(select(ModMove).where(col(ModMove.mod_id).in_(mods)).order_by(col(ModMove.id))).all(),
        steps=read(select(Step).where(col(Step.mod_id).in_(mods)).order_by(col(Step.number))).all(),
        expectations=read(
            select(Expectation).where(col(Expectation.mod_id).in_(mods)).order_by(col(Expectation.number))
        ).all(),
        calculations=_calculations(session, machine),
        inputs=read(
            select(CalculationInput)
            .where(col(CalculationInput.calculation_id).in_(sums))
            .order_by(col(CalculationInput.place))
        ).all(),
        runs=read(
            select(CalculationRun)
            .where(col(CalculationRun.calculation_id).in_(sums))
            .order_by(col(CalculationRun.number))
        ).all(),
        nets=read(
            select(Net)
            .join(Board, col(Board.id) == col(Net.board_id))
            .where(Board.machine_id == machine.id)
            .order_by(col(Board.slug), col(Net.number))
        ).all(),
        pins=read(
            select(NetPin)
            .join(Net, col(Net.id) == col(NetPin.net_id))
            .where(col(Net.board_id).in_(boards))
            .order_by(col(NetPin.place))
        ).all(),
        maps=maps_within(session, machine),
        procedures=_procedures(session, machine, mods),
        trials=read(select(Trial).where(Trial.machine_id == machine.id).order_by(col(Trial.number))).all(),
        trial_mods=_trial_mods(session, trials, mods),
        symptoms=read(select(Symptom).where(Symptom.machine_id == machine.id).order_by(col(Symptom.number))).all(),
        causes=read(
            select(PossibleCause).where(col(PossibleCause.symptom_id).in_(symptoms)).order_by(col(PossibleCause.number))
        ).all(),
        evidence=read(
            select(Evidence)
            .where(col(Evidence.possible_cause_id).in_(causes))
            .order_by(col(Evidence.day), col(Evidence.uuid))
        ).all(),
        waveforms=read(select(Waveform).where(Waveform.machine_id == machine.id).order_by(col(Waveform.number))).all(),
        photographs=photographs,
        files=files,
        designs=_designs(session, machine),
        signed_sheets=read(
            select(SignedSheet).where(SignedSheet.machine_id == machine.id).order_by(col(SignedSheet.number))
        ).all(),
        came=mods_that_came(session, machine),
        left=mods_that_left(session, machine),
        back=way_back(session, machine),
        head=_head(session, machine),
    )


def read_stays(session: Session, boards: Keys) -> Sequence[tuple[BoardStay, str]]:
    """Where these boards have been, each with its machine's tag, in the order of time."""
    query = (
        select(BoardStay, Machine.tag)
        .join(Machine, col(Machine.id) == col(BoardStay.machine_id))
        .where(col(BoardStay.board_id).in_(boards))
    )
    return sorted(session.exec(query).all(), key=lambda row: (row[0].since or date.min, row[0].uuid))


Attached = TypeVar("Attached", Photograph, AttachedFile)


def _attached(
    session: Session, table: type[Attached], machine: Machine, positions: Keys
) -> Sequence[tuple[Attached, str]]:
    """What is attached to the records of this machine, wherever it was added; with the tag of where that was."""
    boards = select(col(Board.id)).where(Board.machine_id == machine.id)
    mods = select(col(Mod.id)).where(Mod.machine_id == machine.id)
    kinds = {
        "machine": select(Machine.uuid).where(Machine.id == machine.id),
        "board": select(Board.uuid).where(Board.machine_id == machine.id),
        "position": select(Position.uuid).where(col(Position.board_id).in_(boards)),
        "part": select(Part.uuid).where(_belongs(col(Part.id), positions)),
        "mod": select(Mod.uuid).where(Mod.machine_id == machine.id),
        "step": select(Step.uuid).where(col(Step.mod_id).in_(mods)),
        "symptom": select(Symptom.uuid).where(Symptom.machine_id == machine.id),
        "trial": select(Trial.uuid).where(Trial.machine_id == machine.id),
    }
    query = (
        select(table, Machine.tag)
        .join(Machine, col(Machine.id) == col(table.machine_id))
        .where(attached_within(table, kinds))
    )
    return sorted(session.exec(query).all(), key=lambda row: (row[1], row[0].number))


def _belongs(part: Mapped[Any], positions: Keys) -> ColumnElement[bool]:
    seated = select(col(Placement.part_id)).where(col(Placement.position_id).in_(positions))
    bagged = select(col(Storage.part_id)).where(col(Storage.from_position_id).in_(positions))
    return or_(part.in_(seated), part.in_(bagged))


def _positions(session: Session, machine: Machine) -> list[Position]:
    query = select(Position, Board.slug).join(Board).where(Board.machine_id == machine.id)
    rows = sorted(session.exec(query), key=lambda row: (row[1], row[0].designator_key))
    return [position for position, _ in rows]


def _placements(session: Session, machine: Machine) -> list[Placement]:
    query = (
        select(Placement, Position.designator_key, Board.slug)
        .join(Position, col(Position.id) == col(Placement.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .where(Board.machine_id == machine.id)
    )
    rows = sorted(session.exec(query), key=lambda row: (row[2], row[1], _stay(row[0])))
    return [placement for placement, _, _ in rows]


def _stay(placement: Placement) -> tuple[date, date, UUID]:
    """What was there from the start comes first, what is there still last."""
    return placement.fitted_on or date.min, placement.removed_on or date.max, placement.uuid


def _calculations(session: Session, machine: Machine) -> Sequence[Calculation]:
    query = select(Calculation).join(Mod).where(Mod.machine_id == machine.id)
    return session.exec(query.order_by(col(Mod.number), col(Calculation.number))).all()


def _procedures(session: Session, machine: Machine, mods: Keys) -> list[Procedure]:
    tried = select(Trial.procedure_id).where(Trial.machine_id == machine.id)
    expected = select(Expectation.procedure_id).where(col(Expectation.mod_id).in_(mods))
    query = select(Procedure).where(or_(col(Procedure.id).in_(tried), col(Procedure.id).in_(expected)))
    return sorted(session.exec(query), key=lambda procedure: procedure.slug)


def _designs(session: Session, machine: Machine) -> list[Design]:
    fitted = select(Mod.design_id).where(Mod.machine_id == machine.id)
    return sorted(session.exec(select(Design).where(col(Design.id).in_(fitted))), key=lambda design: design.slug)


def _trial_mods(session: Session, trials: Keys, mods: Keys) -> Sequence[TrialMod]:
    """Of the mods in force at trials the machine's own; one that came with a board is another machine's."""
    query = select(TrialMod).join(Mod, col(Mod.id) == col(TrialMod.mod_id)).where(col(TrialMod.trial_id).in_(trials))
    return session.exec(query.where(col(Mod.id).in_(mods)).order_by(col(Mod.number))).all()


def _head(session: Session, machine: Machine) -> tuple[int, str] | None:
    """The last entry about the machine; that of the journal it came from, while it says what its dossier said."""
    query = select(JournalEntry.seq, JournalEntry.hash, JournalEntry.act).where(about(machine))
    last = session.exec(query.order_by(col(JournalEntry.seq).desc()).limit(1)).first()
    if last is None:
        return None
    seq, digest, act = last
    brought = last_import(session, machine) if act == IMPORTED else None
    if brought is None or not brought.said_all:
        return seq, digest
    return None if brought.journal_seq is None else (brought.journal_seq, brought.journal_hash)
