"""Questions about boards and positions: what a board holds, and what has sat at a position over time."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import and_
from sqlmodel import Session, col, select

from server.records.questions.addresses import designator_key
from server.records.questions.paging import Paged, paged
from server.records.tables import Board, Machine, Mod, Part, Placement, Position, Step
from server.records.words import StepKind


@dataclass(frozen=True, slots=True)
class Occupied:
    """One position with the part that sits there now, if any does."""

    position: Position
    part: Part | None


@dataclass(frozen=True, slots=True)
class StepName:
    """A step as a link needs it."""

    machine: str
    mod: int
    step: int


@dataclass(frozen=True, slots=True)
class Sitting:
    """One part that has sat at a position, from when to when, and the steps that brought and took it."""

    part: Part
    placement: Placement
    fitted_by: StepName | None
    removed_by: StepName | None


def all_boards(session: Session, machine: Machine) -> Sequence[Board]:
    """The boards of a machine by name."""
    return session.exec(select(Board).where(Board.machine_id == machine.id).order_by(col(Board.name))).all()


def boards_within(session: Session, board: Board) -> Sequence[Board]:
    """The boards that a board holds."""
    return session.exec(select(Board).where(Board.parent_id == board.id).order_by(col(Board.name))).all()


def positions_of(session: Session, board: Board, number: int, most: int = 100) -> Paged[Occupied]:
    """The positions of a board in the order of their designators, each with its part."""
    query = (
        select(Position, Part)
        .outerjoin(Placement, and_(col(Placement.position_id) == col(Position.id), col(Placement.removed_on).is_(None)))
        .outerjoin(Part, col(Part.id) == col(Placement.part_id))
        .where(Position.board_id == board.id)
        .order_by(col(Position.designator_key))
    )
    found = paged(session, query, number, most)
    return Paged([Occupied(*row) for row in found.rows], found.number, found.last, found.total)


def emptied_by(session: Session, position: Position) -> StepName | None:
    """The step that took out what sat at a position, and that stands."""
    query = (
        select(Machine.tag, Mod.number, Step.number)
        .join(Mod, col(Mod.machine_id) == col(Machine.id))
        .join(Step, col(Step.mod_id) == col(Mod.id))
        .where(
            Step.position_id == position.id,
            Step.kind == StepKind.TAKE_OUT,
            col(Step.done_on).is_not(None),
            col(Step.undone_on).is_(None),
        )
        .order_by(col(Step.done_on).desc(), col(Step.done_order).desc())
        .limit(1)
    )
    found = session.exec(query).first()
    return StepName(*found) if found else None


def sittings_at(session: Session, position: Position, number: int, most: int = 50) -> Paged[Sitting]:
    """Every part that has sat at a position, the latest first."""
    query = (
        select(Part, Placement)
        .join(Placement, col(Placement.part_id) == col(Part.id))
        .where(Placement.position_id == position.id)
        .order_by(
            col(Placement.removed_on).desc().nulls_first(),
            col(Placement.fitted_on).desc().nulls_last(),
            col(Placement.id).desc(),
        )
    )
    found = paged(session, query, number, most)
    names = step_names(session, [placement for _, placement in found.rows])
    lines = [
        Sitting(part, placement, names.get(placement.fitted_by_step_id), names.get(placement.removed_by_step_id))
        for part, placement in found.rows
    ]
    return Paged(lines, found.number, found.last, found.total)


def step_names(session: Session, placements: Iterable[Placement]) -> dict[int | None, StepName]:
    """The steps that began and ended some placements, by their keys, in one query."""
    keys = {key for one in placements for key in (one.fitted_by_step_id, one.removed_by_step_id) if key is not None}
    query = (
        select(Step.id, Machine.tag, Mod.number, Step.number)
        .join(Mod, col(Mod.id) == col(Step.mod_id))
        .join(Machine, col(Machine.id) == col(Mod.machine_id))
        .where(col(Step.id).in_(keys))
    )
    return {key: StepName(tag, mod, step) for key, tag, mod, step in session.exec(query)}


def next_empty(session: Session, board: Board, after: str) -> Position | None:
    """The first position behind this designator that holds nothing; where the keeper goes on at the bench."""
    query = (
        select(Position)
        .outerjoin(Placement, and_(col(Placement.position_id) == col(Position.id), col(Placement.removed_on).is_(None)))
        .where(
            Position.board_id == board.id,
            col(Placement.id).is_(None),
            Position.designator_key > designator_key(after),
        )
        .order_by(col(Position.designator_key))
        .limit(1)
    )
    return session.exec(query).first()
