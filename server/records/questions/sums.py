"""Questions about calculations: their kept runs, their inputs with what each is tied to, and what can be tied."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import ColumnElement, and_
from sqlmodel import Session, col, func, select

from server.records.questions.waveforms import UNDRAWN
from server.records.tables import (
    Board,
    Calculation,
    CalculationInput,
    CalculationRun,
    Machine,
    Mod,
    Position,
    Procedure,
    Trial,
    Waveform,
)
from server.records.words import Better, ModState

RUNS_MOST = 50
OFFERED_MOST = 200
OFFERED_A_MACHINE = 20
OPEN_STATES = (ModState.PLANNED, ModState.CONSIDERED, ModState.FITTED)


@dataclass(frozen=True, slots=True)
class TiedInput:
    """One input with the board, position, trial, waveform or other calculation it reads."""

    entry: CalculationInput
    position: Position | None
    board: Board | None
    trial: Trial | None
    waveform: Waveform | None
    other: Calculation | None

    def as_typed(self) -> dict[str, str]:
        """The input as the form takes it."""
        entry = self.entry
        return {
            "name": entry.name,
            "label": entry.label,
            "unit": entry.unit,
            "source": entry.source,
            "text": entry.text,
            "board": self.board.slug if self.board else "",
            "designator": self.position.designator if self.position else "",
            "when_empty": entry.when_empty,
            "trial": str(self.trial.number) if self.trial else "",
            "waveform": str(self.waveform.number) if self.waveform else "",
            "figure": entry.figure,
            "other_calculation": str(self.other.number) if self.other else "",
            "other_line": entry.other_line,
        }


def latest_runs(session: Session, *mods: Mod) -> Sequence[tuple[Calculation, CalculationRun]]:
    """Every calculation of these mods with its latest kept run, in order."""
    return latest_runs_where(session, col(Calculation.mod_id).in_([mod.key for mod in mods]))


def latest_runs_where(session: Session, chosen: ColumnElement[bool]) -> Sequence[tuple[Calculation, CalculationRun]]:
    """The calculations that a condition chooses, each with its latest kept run, by number."""
    latest = (
        select(CalculationRun.calculation_id, func.max(CalculationRun.number).label("number"))
        .join(Calculation, col(Calculation.id) == col(CalculationRun.calculation_id))
        .where(chosen)
        .group_by(col(CalculationRun.calculation_id))
        .subquery()
    )
    query = (
        select(Calculation, CalculationRun)
        .join(latest, latest.c.calculation_id == col(Calculation.id))
        .join(
            CalculationRun,
            and_(col(CalculationRun.calculation_id) == col(Calculation.id), latest.c.number == CalculationRun.number),
        )
        .order_by(col(Calculation.number))
    )
    return session.exec(query).all()


def runs_of(session: Session, calculation: Calculation, most: int = RUNS_MOST) -> Sequence[CalculationRun]:
    """The kept runs, the latest first."""
    query = select(CalculationRun).where(CalculationRun.calculation_id == calculation.id)
    return session.exec(query.order_by(col(CalculationRun.number).desc()).limit(most)).all()


def tied_inputs(session: Session, calculation: Calculation) -> list[TiedInput]:
    """The inputs in their order, each with what it is tied to; four queries."""
    query = (
        select(CalculationInput, Position, Board)
        .outerjoin(Position, col(Position.id) == col(CalculationInput.position_id))
        .outerjoin(Board, col(Board.id) == col(Position.board_id))
        .where(CalculationInput.calculation_id == calculation.id)
        .order_by(col(CalculationInput.place))
    )
    found = session.exec(query).all()
    trial_ids = [entry.trial_id for entry, _, _ in found if entry.trial_id]
    waveform_ids = [entry.waveform_id for entry, _, _ in found if entry.waveform_id]
    other_ids = [entry.other_calculation_id for entry, _, _ in found if entry.other_calculation_id]
    trials = {trial.id: trial for trial in session.exec(select(Trial).where(col(Trial.id).in_(trial_ids)))}
    seen = select(Waveform).where(col(Waveform.id).in_(waveform_ids)).options(UNDRAWN)
    waveforms = {waveform.id: waveform for waveform in session.exec(seen)}
    others = {other.id: other for other in session.exec(select(Calculation).where(col(Calculation.id).in_(other_ids)))}
    return [
        TiedInput(
            entry,
            position,
            board,
            trials.get(entry.trial_id),
            waveforms.get(entry.waveform_id),
            others.get(entry.other_calculation_id),
        )
        for entry, position, board in found
    ]


@dataclass(frozen=True, slots=True)
class MeanOffered:
    """A trial whose mean an input can read."""

    number: int
    day: date
    title: str
    unit: str


@dataclass(frozen=True, slots=True)
class LineOffered:
    """A line of another calculation of the same mod, for an input to read."""

    calculation: int
    title: str
    line: str
    label: str


@dataclass(frozen=True, slots=True)
class ModOffered:
    """A mod that a sum can be attached to."""

    machine: str
    number: int
    title: str


def means_offered(session: Session, machine: Machine, most: int = OFFERED_MOST) -> list[MeanOffered]:
    """The latest trials of a machine that have a mean; what was seen or not seen has none."""
    query = (
        select(col(Trial.number), col(Trial.day), col(Procedure.title), col(Procedure.unit))
        .join(Procedure, col(Procedure.id) == col(Trial.procedure_id))
        .where(Trial.machine_id == machine.id, col(Procedure.better).not_in((Better.YES.value, Better.NO.value)))
        .order_by(col(Trial.day).desc(), col(Trial.number).desc())
        .limit(most)
    )
    return [MeanOffered(*row) for row in session.exec(query)]


def lines_offered(session: Session, mod: Mod, reader: Calculation | None) -> list[LineOffered]:
    """The lines of a mod's other calculations."""
    query = select(Calculation).where(Calculation.mod_id == mod.id).order_by(col(Calculation.number))
    others = [other for other in session.exec(query) if reader is None or other.id != reader.id]
    return [
        LineOffered(other.number, other.title, line["name"], line["label"]) for other in others for line in other.lines
    ]


def mods_offered(session: Session, most: int = OFFERED_MOST) -> list[ModOffered]:
    """Mods that a sum can be attached to: the latest of each machine; undone and dropped ones are over."""
    latest = func.row_number().over(partition_by=col(Mod.machine_id), order_by=col(Mod.number).desc()).label("latest")
    open_mods = select(Mod.machine_id, Mod.number, Mod.title, latest).where(
        col(Mod.state).in_([state.value for state in OPEN_STATES])
    )
    ranked = open_mods.subquery()
    query = (
        select(col(Machine.tag), ranked.c.number, ranked.c.title)
        .join(ranked, ranked.c.machine_id == col(Machine.id))
        .where(ranked.c.latest <= OFFERED_A_MACHINE)
        .order_by(col(Machine.tag_key), ranked.c.number.desc())
        .limit(most)
    )
    return [ModOffered(*row) for row in session.exec(query)]
