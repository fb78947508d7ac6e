"""What was so on a day: which mods were in force, which part sat where."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy
from sqlalchemy import ColumnElement, Select, and_, case, or_
from sqlalchemy.orm import Mapped, aliased
from sqlmodel import Session, col, func, select
from sqlmodel.sql.expression import SelectOfScalar

from server.records.questions.paging import Paged, paged
from server.records.questions.stays import TOLD, boards_ever, boards_on, covers, mod_here
from server.records.tables import Board, BoardStay, Machine, Mod, ModMove, Part, Placement, Position, Step
from server.records.traces import BY_MOUNTING
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
    """One position that holds another part on a later day, and the mod whose step brought that about, if one did.

    `mod_of` is the tag of the machine that this mod is numbered in.
    """

    board: Board
    position: Position
    before: Part | None
    after: Part | None
    mod: Mod | None
    mod_of: str | None = None


def mods_in_force(session: Session, machine: Machine, day: date) -> Sequence[Mod]:
    """The mods whose latest move up to that day left them fitted: the machine's own, then what came with a board."""
    own_first = case((col(Mod.machine_id) == machine.id, 0), else_=1)
    query = select(Mod).where(col(Mod.id).in_(fitted_on(machine, day)))
    return session.exec(query.order_by(own_first, col(Mod.number), col(Mod.id))).all()


def own_in_force(session: Session, machine: Machine, day: date) -> list[Mod]:
    """Those of the mods in force that are numbered in the machine itself."""
    return [mod for mod in mods_in_force(session, machine, day) if mod.machine_id == machine.id]


def fitted_on(machine: Machine, day: date) -> SelectOfScalar[int]:
    """The keys of the mods that were in force at the end of a day."""
    latest = (
        select(func.max(ModMove.id))
        .join(Mod, col(Mod.id) == col(ModMove.mod_id))
        .where(mod_here(machine, day), ModMove.day <= day)
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
        .where(col(Board.id).in_(boards_on(machine, day)))
        .order_by(col(Board.slug), col(Board.id), col(Position.designator_key))
    )
    found = paged(session, query, number, most)
    return Paged([Seat(*row) for row in found.rows], found.number, found.last, found.total)


def days_of_change(session: Session, machine: Machine) -> list[date]:
    """The days at whose end other parts, boards or mods in force were there than the day before."""
    of = (_days_of_parts, _days_of_work, _days_of_mods, _days_of_boards)
    return sorted({day for days in of for day in days(session, machine) if day is not None})


def _days_of_parts(session: Session, machine: Machine) -> Iterator[date | None]:
    """When a part came to a position or left it, while its board was in the machine; not for less than a day."""
    stayed = col(Placement.fitted_on).is_distinct_from(col(Placement.removed_on))
    for day in (col(Placement.fitted_on), col(Placement.removed_on)):
        query = sqlalchemy.select(day).join(Position, col(Position.id) == col(Placement.position_id))
        yield from session.execute(_while_here(query, machine, day).where(stayed).distinct()).scalars()


def _days_of_work(session: Session, machine: Machine) -> Iterator[date | None]:
    """When a pin, a trace or whatever else is no part was worked on, or put back; not for less than a day."""
    for day in (col(Step.done_on), col(Step.undone_on)):
        worked = and_(
            col(Step.kind).not_in([kind.value for kind in BY_MOUNTING]),
            col(Step.done_on).is_distinct_from(col(Step.undone_on)),
        )
        at_positions = sqlalchemy.select(day).join(Position, col(Position.id) == col(Step.position_id))
        yield from session.execute(_while_here(at_positions, machine, day).where(worked).distinct()).scalars()
        elsewhere = sqlalchemy.select(day).join(Mod, col(Mod.id) == col(Step.mod_id))
        of_it = and_(col(Step.position_id).is_(None), mod_here(machine, day))
        yield from session.execute(elsewhere.where(worked, of_it).distinct()).scalars()


def _while_here(query: Select[Any], machine: Machine, day: Mapped[Any]) -> Select[Any]:
    """A question about positions, narrowed to those whose board was in a machine on a day."""
    here = and_(col(BoardStay.board_id) == col(Position.board_id), col(BoardStay.machine_id) == machine.id, covers(day))
    never_moved = col(Position.board_id).not_in(select(BoardStay.board_id))
    return query.outerjoin(BoardStay, here).where(
        col(Position.board_id).in_(boards_ever(machine)), or_(col(BoardStay.id).is_not(None), never_moved)
    )


def _days_of_mods(session: Session, machine: Machine) -> Sequence[date]:
    """When a mod came into force or went; one that was undone on the day it was fitted did neither."""
    state = col(ModMove.state)
    query = (
        sqlalchemy.select(col(ModMove.day))
        .join(Mod, col(Mod.id) == col(ModMove.mod_id))
        .where(mod_here(machine, col(ModMove.day)), state.in_(TOLD))
        .group_by(col(ModMove.mod_id), col(ModMove.day))
        .having(func.sum(case((state == ModState.FITTED.value, 1), else_=-1)) != 0)
    )
    return session.execute(query).scalars().all()


def _days_of_boards(session: Session, machine: Machine) -> Iterator[date | None]:
    stays = session.exec(select(BoardStay).where(BoardStay.machine_id == machine.id)).all()
    return (day for stay in stays for day in (stay.since, stay.until))


def differences(
    session: Session, machine: Machine, before_day: date, after_day: date, number: int = 1, most: int = 50
) -> Paged[SeatChange]:
    """Every position that holds another part at the end of one day than of another, a page at a time.

    A board that was not in the machine on both days came or went as a whole; its positions are not told.
    """
    before, after = aliased(Placement), aliased(Placement)
    part_before, part_after = aliased(Part), aliased(Part)
    earlier, later = (before, after) if before_day <= after_day else (after, before)
    step = func.coalesce(later.fitted_by_step_id, earlier.removed_by_step_id)
    query = (
        sqlalchemy.select(Board, Position, part_before, part_after, Mod, col(Machine.tag))
        .join(Position, col(Position.board_id) == col(Board.id))
        .outerjoin(before, and_(col(before.position_id) == col(Position.id), there_on(before_day, before)))
        .outerjoin(after, and_(col(after.position_id) == col(Position.id), there_on(after_day, after)))
        .outerjoin(part_before, col(part_before.id) == col(before.part_id))
        .outerjoin(part_after, col(part_after.id) == col(after.part_id))
        .outerjoin(Step, col(Step.id) == step)
        .outerjoin(Mod, col(Mod.id) == col(Step.mod_id))
        .outerjoin(Machine, col(Machine.id) == col(Mod.machine_id))
        .where(
            col(Board.id).in_(boards_on(machine, before_day)),
            col(Board.id).in_(boards_on(machine, after_day)),
            col(before.part_id).is_distinct_from(col(after.part_id)),
        )
        .order_by(col(Board.slug), col(Board.id), col(Position.designator_key))
    )
    found = paged(session, query, number, most)
    return Paged([SeatChange(*row) for row in found.rows], found.number, found.last, found.total)
