"""Questions about one mod: its life, and its steps with what they touch and leave."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import ColumnElement, and_, or_
from sqlmodel import Session, col, select

from server.records.tables import Board, Mod, ModMove, Part, Placement, Position, Step
from server.records.traces import (
    BY_MOUNTING,
    CANNOT_BE_PUT_BACK,
    rank_of,
    trace_of_step,
    why_it_leaves,
    words_of,
    worst,
)
from server.records.words import StepKind, Trace


@dataclass(frozen=True, slots=True)
class Sitting:
    """A part that a step fitted, from which day and by whom; a later one took the place of the one before."""

    part: Part
    day: date | None
    signer: str


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step with the board, position and part it concerns, and the trace it leaves.

    `sittings` are the parts that it put at its position: those it fitted, or what returned where it had taken one out.
    """

    step: Step
    board: Board | None
    position: Position | None
    part: Part | None
    sittings: tuple[Sitting, ...] = ()

    @property
    def trace(self) -> Trace:
        """What the step leaves when it is undone."""
        mounting = self.position.mounting if self.position else None
        return trace_of_step(self.step.kind, self.step.trace_stated, mounting)

    @property
    def words(self) -> str:
        """What is to be done, in few words."""
        step = self.step
        where = f"{self.position.designator} on {self.board.name}" if self.position and self.board else ""
        return words_of(step.kind, step.planned_type, step.planned_value, step.pin, where)

    @property
    def substitute(self) -> Part | None:
        """The part that took the place of the one that was taken out, when the step was put back."""
        returned = self.sittings[-1].part if self.sittings else None
        if self.step.kind != StepKind.TAKE_OUT or returned is None:
            return None
        return returned if returned.id != self.step.part_id else None

    @property
    def stands(self) -> bool:
        return self.step.done_on is not None and self.step.undone_on is None

    @property
    def can_be_put_back(self) -> bool:
        return self.stands and self.step.kind not in CANNOT_BE_PUT_BACK


def moves_of(session: Session, mod: Mod) -> Sequence[ModMove]:
    return session.exec(select(ModMove).where(ModMove.mod_id == mod.id).order_by(col(ModMove.id))).all()


def steps_of(session: Session, mod: Mod) -> list[StepLine]:
    """A mod's steps in order, with everything a page says of them, in two queries."""
    return lines_where(session, col(Step.mod_id) == mod.key)


def lines_where(session: Session, *conditions: ColumnElement[bool]) -> list[StepLine]:
    """Steps that answer to some conditions, with their board, position and parts, in two queries."""
    query = (
        select(Step, Board, Position, Part)
        .join(Mod, col(Mod.id) == col(Step.mod_id))
        .outerjoin(Position, col(Position.id) == col(Step.position_id))
        .outerjoin(Board, col(Board.id) == col(Position.board_id))
        .outerjoin(Part, col(Part.id) == col(Step.part_id))
        .where(*conditions)
        .order_by(col(Mod.number), col(Mod.id), col(Step.number))
    )
    found = session.exec(query).all()
    sittings = _sittings(session, [step.key for step, *_ in found if step.kind in BY_MOUNTING])
    return [
        StepLine(step, board, position, part, tuple(sittings.get(step.key, ())))
        for step, board, position, part in found
    ]


def _sittings(session: Session, steps: list[int]) -> dict[int, list[Sitting]]:
    """Every part that steps put at their positions, in the order of time, by step."""
    query = (
        select(Placement, Part)
        .join(Part, col(Part.id) == col(Placement.part_id))
        .where(col(Placement.fitted_by_step_id).in_(steps))
        .order_by(col(Placement.id))
    )
    found: dict[int, list[Sitting]] = {}
    for placement, part in session.exec(query):
        if placement.fitted_by_step_id is not None:
            found.setdefault(placement.fitted_by_step_id, []).append(
                Sitting(part, placement.fitted_on, placement.signer)
            )
    return found


def stood_on(day: date) -> ColumnElement[bool]:
    """The condition that a step was done, and not put back, at the end of a day."""
    return and_(
        col(Step.done_on).is_not(None),
        col(Step.done_on) <= day,
        or_(col(Step.undone_on).is_(None), col(Step.undone_on) > day),
    )


def trace_of(lines: Sequence[StepLine]) -> Trace:
    """The mod's trace: the worst of its steps."""
    return worst(line.trace for line in lines)


def why_of(lines: Sequence[StepLine]) -> str:
    """Why the trace is what it is: that of the worst step, by its kind, and the reason that was written for it."""
    if not lines:
        return ""
    step = max(lines, key=lambda line: rank_of(line.trace)).step
    return why_it_leaves(step.kind, step.trace_stated, step.trace_reason)
