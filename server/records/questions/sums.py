"""Questions about calculations: their kept runs, and their inputs with what each is tied to."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session, col, select

from server.records.tables import Board, Calculation, CalculationInput, CalculationRun, Position, Trial

RUNS_MOST = 50


@dataclass(frozen=True, slots=True)
class TiedInput:
    """One input with the board, position, trial or other calculation it reads."""

    entry: CalculationInput
    position: Position | None
    board: Board | None
    trial: Trial | None
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
            "other_calculation": str(self.other.number) if self.other else "",
            "other_line": entry.other_line,
        }


def runs_of(session: Session, calculation: Calculation, most: int = RUNS_MOST) -> Sequence[CalculationRun]:
    """The kept runs, the latest first."""
    query = select(CalculationRun).where(CalculationRun.calculation_id == calculation.id)
    return session.exec(query.order_by(col(CalculationRun.number).desc()).limit(most)).all()


def tied_inputs(session: Session, calculation: Calculation) -> list[TiedInput]:
    """The inputs in their order, each with what it is tied to; three queries at most."""
    query = (
        select(CalculationInput, Position, Board)
        .outerjoin(Position, col(Position.id) == col(CalculationInput.position_id))
        .outerjoin(Board, col(Board.id) == col(Position.board_id))
        .where(CalculationInput.calculation_id == calculation.id)
        .order_by(col(CalculationInput.place))
    )
    found = session.exec(query).all()
    trial_ids = [entry.trial_id for entry, _, _ in found if entry.trial_id]
    other_ids = [entry.other_calculation_id for entry, _, _ in found if entry.other_calculation_id]
    trials = {trial.id: trial for trial in session.exec(select(Trial).where(col(Trial.id).in_(trial_ids)))}
    others = {other.id: other for other in session.exec(select(Calculation).where(col(Calculation.id).in_(other_ids)))}
    return [
        TiedInput(entry, position, board, trials.get(entry.trial_id), others.get(entry.other_calculation_id))
        for entry, position, board in found
    ]
