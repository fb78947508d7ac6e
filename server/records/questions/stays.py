"""Where boards are and were, and which mods and steps are a machine's on a day, seeing that boards can move.

A board that never moved has no stays: it always was in its machine. One that moved has stays without a gap between,
the first without a first day, the last open; on the day of a move it is in the new machine. A mod keeps its number in
the machine that it was written for, and goes with the board that its steps lie on. Without a day, now is meant.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, and_, or_, union
from sqlalchemy import select as columns
from sqlalchemy.orm import Mapped, aliased
from sqlmodel import Session, col, func, select

from server.records.tables import Board, BoardStay, Machine, Mod, Position, Step
from server.records.words import ModState, StepKind

Day = date | Mapped[Any] | ColumnElement[Any] | None
TOLD = (ModState.FITTED.value, ModState.UNDONE.value)


@dataclass(frozen=True, slots=True)
class Stay:
    """A board in one machine from a day to a day."""

    stay: BoardStay
    machine: Machine


@dataclass(frozen=True, slots=True)
class LeftBoard:
    """A board that was in a machine until a day, and is in another now."""

    board: Board
    machine: Machine
    day: date | None


@dataclass(frozen=True, slots=True)
class MovedMod:
    """A mod that went along with a board: the machine that it is numbered in, and the board with the machine it is in.

    `day` is that on which the board came to where it is.
    """

    mod: Mod
    of: Machine
    board: Board
    at: Machine
    day: date | None


# ---- Conditions, for queries that a machine and a day narrow ----

# Made once: to name a table anew takes longer than what is asked of it.
_STEP, _POSITION, _STAY = aliased(Step), aliased(Position), aliased(BoardStay)
_MOVED_STEPS = (
    columns(col(_STEP.id))
    .join(_POSITION, col(_POSITION.id) == col(_STEP.position_id))
    .join(_STAY, col(_STAY.board_id) == col(_POSITION.board_id))
)


def covers(day: Day, stay: Any = BoardStay) -> ColumnElement[bool]:
    """The condition that a stay held at the end of a day."""
    if day is None:
        return col(stay.until).is_(None)
    begun = or_(col(stay.since).is_(None), col(stay.since) <= day)
    return and_(begun, or_(col(stay.until).is_(None), col(stay.until) > day))


def machine_on(day: Mapped[Any]) -> ColumnElement[int]:
    """The key of the machine that a query's board was in at the end of a day; without a day, the first it was in."""
    then = func.coalesce(day, date.min)
    stayed = select(BoardStay.machine_id).where(col(BoardStay.board_id) == col(Board.id), covers(then))
    return func.coalesce(stayed.correlate(Board).limit(1).scalar_subquery(), col(Board.machine_id))


def boards_on(machine: Machine, day: date | None = None) -> Any:
    """The keys of the boards that were in a machine at the end of a day."""
    if day is None:
        return select(Board.id).where(Board.machine_id == machine.id)
    of_machine = columns(col(Board.id)).where(
        col(Board.machine_id) == machine.id, col(Board.id).not_in(columns(col(BoardStay.board_id)))
    )
    came = columns(col(BoardStay.board_id)).where(col(BoardStay.machine_id) == machine.id, covers(day))
    return union(of_machine, came)


def boards_ever(machine: Machine) -> Any:
    """The keys of the boards that are, or were, in a machine."""
    was = columns(col(BoardStay.board_id)).where(col(BoardStay.machine_id) == machine.id)
    return union(columns(col(Board.id)).where(col(Board.machine_id) == machine.id), was)


def mods_ever(machine: Machine) -> ColumnElement[bool]:
    """The condition that a mod is numbered in a machine, or has steps on a board that came to it at any time."""
    came = _MOVED_STEPS.with_only_columns(col(_STEP.mod_id)).where(col(_STAY.machine_id) == machine.id)
    return or_(col(Mod.machine_id) == machine.id, col(Mod.id).in_(came))


def mod_here(machine: Machine, day: Day = None) -> ColumnElement[bool]:
    """The condition that a mod worked on a machine on a day: numbered in it, unless it went; or come with a board."""
    moved = _MOVED_STEPS.where(col(_STEP.mod_id) == col(Mod.id))
    came = moved.where(col(_STAY.machine_id) == machine.id, covers(day, _STAY))
    stayed = and_(col(Mod.machine_id) == machine.id, ~moved.exists())
    return and_(mods_ever(machine), or_(stayed, came.exists()))


def step_here(machine: Machine, day: date | None = None) -> ColumnElement[bool]:
    """The condition that a step's work lies in a machine, in a query that joins the step's mod and board.

    At a position it lies where the board is. Without one it goes with its mod; but a case stays where it is.
    """
    placed = col(Step.position_id).is_not(None)
    of_case = col(Step.kind) == StepKind.DRILL_OR_CUT_CASE.value
    return and_(
        mods_ever(machine),
        or_(
            and_(placed, col(Board.id).in_(boards_on(machine, day))),
            and_(~placed, of_case, col(Mod.machine_id) == machine.id),
            and_(~placed, ~of_case, mod_here(machine, day)),
        ),
    )


# ---- Questions ----


def stays_of(session: Session, board: Board) -> list[Stay]:
    """Where a board has been, in the order of time; nothing when it never moved."""
    query = (
        select(BoardStay, Machine)
        .join(Machine, col(Machine.id) == col(BoardStay.machine_id))
        .where(BoardStay.board_id == board.id)
        .order_by(col(BoardStay.id))
    )
    return [Stay(*row) for row in session.exec(query)]


def boards_left(session: Session, machine: Machine) -> list[LeftBoard]:
    """The boards that were in a machine and are in another now, with the last day of each."""
    query = (
        select(Board, Machine, BoardStay)
        .join(BoardStay, col(BoardStay.board_id) == col(Board.id))
        .join(Machine, col(Machine.id) == col(Board.machine_id))
        .where(BoardStay.machine_id == machine.id, Board.machine_id != machine.id)
        .order_by(col(Board.name), col(Board.id), col(BoardStay.id))
    )
    last = {board.key: LeftBoard(board, now_in, stay.until) for board, now_in, stay in session.exec(query)}
    return list(last.values())


def mods_that_came(session: Session, machine: Machine) -> list[MovedMod]:
    """The mods of other machines that came with a board that is in this one now."""
    return _moved(session, col(Board.machine_id) == machine.id, col(Mod.machine_id) != machine.id)


def mods_that_left(session: Session, machine: Machine) -> list[MovedMod]:
    """The mods of a machine that are on a board which is in another now."""
    return _moved(session, col(Mod.machine_id) == machine.id, col(Board.machine_id) != machine.id)


def mods_on(session: Session, board: Board) -> list[MovedMod]:
    """The mods with steps on a board that are numbered in another machine than the board is in."""
    return _moved(session, col(Board.id) == board.id, col(Mod.machine_id) != board.machine_id)


def _moved(session: Session, *conditions: ColumnElement[bool]) -> list[MovedMod]:
    """Each mod once, with the first by name of the boards that it is on."""
    of, at = aliased(Machine), aliased(Machine)
    pairs = (
        columns(col(Step.mod_id), col(Position.board_id))
        .join(Position, col(Position.id) == col(Step.position_id))
        .where(col(Position.board_id).in_(columns(col(BoardStay.board_id))))
        .distinct()
        .subquery()
    )
    query = (
        columns(Mod, of, Board, at, col(BoardStay.since))
        .join(pairs, pairs.c.mod_id == col(Mod.id))
        .join(Board, col(Board.id) == pairs.c.board_id)
        .join(BoardStay, and_(col(BoardStay.board_id) == col(Board.id), col(BoardStay.until).is_(None)))
        .join(of, col(of.id) == col(Mod.machine_id))
        .join(at, col(at.id) == col(Board.machine_id))
        .where(*conditions, col(Mod.state).in_(TOLD))
        .order_by(col(of.tag_key), col(Mod.number), col(Board.name), col(Board.id))
    )
    found: dict[int, MovedMod] = {}
    for row in session.execute(query):
        found.setdefault(row[0].key, MovedMod(*row))
    return list(found.values())


def home_of(session: Session, mod: Mod) -> Machine:
    """The machine that a mod works on now: its own, unless the board that its steps lie on went to another."""
    return homes_of(session, [mod])[mod.key]


def homes_of(session: Session, mods: Sequence[Mod]) -> dict[int, Machine]:
    """The machine that each of some mods works on now, by the mod's key."""
    query = (
        select(Step.mod_id, Board.machine_id)
        .join(Position, col(Position.id) == col(Step.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .where(col(Step.mod_id).in_([mod.key for mod in mods]))
        .distinct()
    )
    lie_in = defaultdict[int, set[int]](set)
    for key, machine in session.exec(query):
        lie_in[key].add(machine)
    homes = {
        mod.key: mod.machine_id if mod.machine_id in lie_in[mod.key] or not lie_in[mod.key] else min(lie_in[mod.key])
        for mod in mods
    }
    machines = session.exec(select(Machine).where(col(Machine.id).in_(set(homes.values()))))
    by_key = {machine.key: machine for machine in machines}
    return {key: by_key[home] for key, home in homes.items()}


def board_gone(session: Session, mod: Mod) -> LeftBoard | None:
    """A board that a mod has steps on and that is no longer in the mod's machine."""
    query = (
        select(Board, Machine, BoardStay)
        .join(Machine, col(Machine.id) == col(Board.machine_id))
        .join(BoardStay, and_(col(BoardStay.board_id) == col(Board.id), col(BoardStay.until).is_(None)))
        .join(Position, col(Position.board_id) == col(Board.id))
        .join(Step, col(Step.position_id) == col(Position.id))
        .where(Step.mod_id == mod.id, Board.machine_id != mod.machine_id)
        .order_by(col(Board.name), col(Board.id))
        .limit(1)
    )
    found = session.exec(query).first()
    return LeftBoard(found[0], found[1], found[2].since) if found else None


def was_in(session: Session, board: Board, machine: Machine) -> bool:
    """Whether a board is, or ever was, in a machine."""
    if board.machine_id == machine.id:
        return True
    query = select(BoardStay.id).where(BoardStay.board_id == board.id, BoardStay.machine_id == machine.id)
    return session.exec(query).first() is not None


def first_day_in(session: Session, board: Board, machine: int) -> date | None:
    """The day on which a board first came to a machine; none where it was there from the beginning, or never."""
    query = select(BoardStay).where(BoardStay.board_id == board.id, BoardStay.machine_id == machine)
    first = session.exec(query.order_by(col(BoardStay.id)).limit(1)).first()
    return first.since if first else None


def tags_of(session: Session, mods: Iterable[Mod]) -> dict[int, str]:
    """The tags of the machines that mods are numbered in, by key: they can differ where a board has moved."""
    keys = {mod.machine_id for mod in mods}
    found: Sequence[tuple[int | None, str]] = session.exec(
        select(Machine.id, Machine.tag).where(col(Machine.id).in_(keys))
    ).all()
    return {key: tag for key, tag in found if key is not None}
