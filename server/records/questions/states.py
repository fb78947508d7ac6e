"""What was so on a day: which mods were in force, which part sat where."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import ColumnElement, and_, or_
from sqlmodel import Session, col, func, select

from server.records.tables import Board, Machine, Mod, ModMove, Part, Placement, Position
from server.records.words import ModState


@dataclass(frozen=True, slots=True)
class Seat:
    """One position on a day, and the part in it."""

    board: Board
    position: Position
    placement: Placement | None
    part: Part | None


def mods_in_force(session: Session, machine: Machine, day: date) -> Sequence[Mod]:
    """The mods whose latest move up to that day left them fitted."""
    latest = (
        select(ModMove.mod_id, func.max(ModMove.id).label("move"))
        .join(Mod, col(Mod.id) == col(ModMove.mod_id))
        .where(Mod.machine_id == machine.id, ModMove.day <= day)
        .group_by(col(ModMove.mod_id))
        .subquery()
    )
    query = (
        select(Mod)
        .join(latest, latest.c.mod_id == col(Mod.id))
        .join(ModMove, col(ModMove.id) == latest.c.move)
        .where(ModMove.state == ModState.FITTED)
        .order_by(col(Mod.number))
    )
    return session.exec(query).all()


def there_on(day: date) -> ColumnElement[bool]:
    """The condition that a placement held at the end of a day."""
    return and_(
        or_(col(Placement.fitted_on).is_(None), col(Placement.fitted_on) <= day),
        or_(col(Placement.removed_on).is_(None), col(Placement.removed_on) > day),
    )


def seats_on(session: Session, machine: Machine, day: date, start: int = 0, most: int = 200) -> list[Seat]:
    """The machine as of the end of a day: every position with what sat in it, a page at a time."""
    query = (
        select(Board, Position, Placement, Part)
        .join(Position, col(Position.board_id) == col(Board.id))
        .outerjoin(Placement, and_(col(Placement.position_id) == col(Position.id), there_on(day)))
        .outerjoin(Part, col(Part.id) == col(Placement.part_id))
        .where(Board.machine_id == machine.id)
        .order_by(col(Board.slug), col(Position.designator_key))
        .offset(start)
        .limit(most)
    )
    return [Seat(*row) for row in session.exec(query)]
