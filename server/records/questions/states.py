"""What was so on a day: which mods were in force, which part sat where."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import sqlalchemy
from sqlalchemy import ColumnElement, and_, or_
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, func, select
from sqlmodel.sql.expression import SelectOfScalar

from server.records.questions.paging import Paged, paged
from server.records.tables import Board, Machine, Mod, ModMove, Part, Placement, Position, Step
from server.records.words import ModState


@dataclass(frozen=True, slots=True)
class Seat:
    """One position on a day, and the part in it."""

    board: Board
    position: Position
    placement: Placement | None
    part: Part | None


@dataclass(frozen=True, slots=True)
class SeatChange:
    """One position that holds another part on a later day, and the mod whose step brought that about, if one did."""

    board: Board
    position: Position
    before: Part | None
    after: Part | None
    mod: Mod | None


def mods_in_force(session: Session, machine: Machine, day: date) -> Sequence[Mod]:
    """The mods whose latest move up to that day left them fitted."""
    return session.exec(select(Mod).where(col(Mod.id).in_(fitted_on(machine, day))).order_by(col(Mod.number))).all()


def fitted_on(machine: Machine, day: date) -> SelectOfScalar[int]:
    """The keys of the mods that were in force at the end of a day."""
    latest = (
        select(func.max(ModMove.id))
        .join(Mod, col(Mod.id) == col(ModMove.mod_id))
        .where(Mod.machine_id == machine.id, ModMove.day <= day)
        .group_by(col(ModMove.mod_id))
    )
    return select(ModMove.mod_id).where(col(ModMove.id).in_(latest), ModMove.state == ModState.FITTED)


def there_on(day: date, placement: type[Placement] = Placement) -> ColumnElement[bool]:
    """The condition that a placement (or an alias of it) held at the end of a day."""
    return and_(
        or_(col(placement.fitted_on).is_(None), col(placement.fitted_on) <= day),
        or_(col(placement.removed_on).is_(None), col(placement.removed_on) > day),
    )


def seats_on(session: Session, machine: Machine, day: date, number: int = 1, most: int = 100) -> Paged[Seat]:
    """The machine as of the end of a day: every position with what sat in it, a page at a time."""
    query = (
        select(Board, Position, Placement, Part)
        .join(Position, col(Position.board_id) == col(Board.id))
        .outerjoin(Placement, and_(col(Placement.position_id) == col(Position.id), there_on(day)))
        .outerjoin(Part, col(Part.id) == col(Placement.part_id))
        .where(Board.machine_id == machine.id)
        .order_by(col(Board.slug), col(Position.designator_key))
    )
    found = paged(session, query, number, most)
    return Paged([Seat(*row) for row in found.rows], found.number, found.last, found.total)


def days_of_change(session: Session, machine: Machine) -> list[date]:
    """The days on which a part or a mod of this machine changed its state."""
    of_machine = (
        select(Position.id).join(Board, col(Board.id) == col(Position.board_id)).where(Board.machine_id == machine.id)
    )
    days: set[date | None] = set()
    for column in (Placement.fitted_on, Placement.removed_on):
        days |= set(session.exec(select(col(column)).where(col(Placement.position_id).in_(of_machine)).distinct()))
    moves = select(col(ModMove.day)).join(Mod, col(Mod.id) == col(ModMove.mod_id)).where(Mod.machine_id == machine.id)
    return sorted({day for day in (*days, *session.exec(moves.distinct())) if day is not None})


def differences(
    session: Session, machine: Machine, before_day: date, after_day: date, number: int = 1, most: int = 50
) -> Paged[SeatChange]:
    """Every position that holds another part at the end of one day than of another, a page at a time."""
    before, after = aliased(Placement), aliased(Placement)
    part_before, part_after = aliased(Part), aliased(Part)
    earlier, later = (before, after) if before_day <= after_day else (after, before)
    step = func.coalesce(later.fitted_by_step_id, earlier.removed_by_step_id)
    query = (
        sqlalchemy.select(Board, Position, part_before, part_after, Mod)
        .join(Position, col(Position.board_id) == col(Board.id))
        .outerjoin(before, and_(col(before.position_id) == col(Position.id), there_on(before_day, before)))
        .outerjoin(after, and_(col(after.position_id) == col(Position.id), there_on(after_day, after)))
        .outerjoin(part_before, col(part_before.id) == col(before.part_id))
        .outerjoin(part_after, col(part_after.id) == col(after.part_id))
        .outerjoin(Step, col(Step.id) == step)
        .outerjoin(Mod, col(Mod.id) == col(Step.mod_id))
        .where(col(Board.machine_id) == machine.id, col(before.part_id).is_distinct_from(col(after.part_id)))
        .order_by(col(Board.slug), col(Position.designator_key))
    )
    found = paged(session, query, number, most)
    return Paged([SeatChange(*row) for row in found.rows], found.number, found.last, found.total)
