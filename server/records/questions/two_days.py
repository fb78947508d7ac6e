"""Two days of one machine side by side: which mods, parts and marks came between them, and which went.

`states` knows one day; what held another part is its `differences`. Every list is paged in SQL, so that two days of a
machine with a long past take as many queries as two of a young one.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import and_, not_, or_
from sqlalchemy import select as columns
from sqlmodel import Session, col, func, select

from server.records.questions.mods import StepLine, lines_where, stood_on
from server.records.questions.paging import Paged, paged
from server.records.questions.states import SeatChange, differences, fitted_on
from server.records.questions.stays import step_here, tags_of
from server.records.tables import Board, BoardStay, Machine, Mod, Position, Step
from server.records.words import StepKind

MOVES_A_PART = (StepKind.TAKE_OUT.value, StepKind.FIT.value)
MOST = 50


@dataclass(frozen=True, slots=True)
class ModOfDays:
    """One mod that was in force on either day; `of` is the tag of the machine that it is numbered in."""

    mod: Mod
    of: str
    before: bool
    after: bool

    @property
    def change(self) -> str:
        return "stayed" if self.before == self.after else "came" if self.after else "went"


@dataclass(frozen=True, slots=True)
class StepOfDays:
    """One step that moves no part and stood here on one of the days only; on the later one, if it `came`.

    `with_board` is whether it was not done or put back between them, but came or went with what it is on; `day` is
    when, where that is known.
    """

    mod: Mod
    of: str
    line: StepLine
    came: bool
    day: date | None
    with_board: bool


@dataclass(frozen=True, slots=True)
class BoardOfDays:
    """One board that was in the machine on one of the days only; `day` is when it came, or went."""

    board: Board
    at: Machine
    came: bool
    day: date | None


@dataclass(frozen=True, slots=True)
class PageNumbers:
    """Which page of each list is asked for."""

    seats: int = 1
    mods: int = 1
    steps: int = 1


@dataclass(frozen=True, slots=True)
class TwoDays:
    """A machine at the end of one day, and of a later one."""

    earlier: date
    later: date
    boards: list[BoardOfDays]
    mods: Paged[ModOfDays]
    mods_changed: int
    seats: Paged[SeatChange]
    steps: Paged[StepOfDays]

    @property
    def nothing_changed(self) -> bool:
        return not (self.boards or self.mods_changed or self.seats.total or self.steps.total)


def two_days(session: Session, machine: Machine, one: date, other: date, numbers: PageNumbers) -> TwoDays:
    """What differs between two days, in the order of time, whichever was named first."""
    earlier, later = sorted((one, other))
    mods, mods_changed = _mods(session, machine, earlier, later, numbers.mods)
    boards = _boards(session, machine, earlier, later)
    return TwoDays(
        earlier=earlier,
        later=later,
        boards=boards,
        mods=mods,
        mods_changed=mods_changed,
        seats=differences(session, machine, earlier, later, numbers.seats, MOST),
        steps=_steps(session, machine, (earlier, later), boards, numbers.steps),
    )


def _boards(session: Session, machine: Machine, earlier: date, later: date) -> list[BoardOfDays]:
    """The boards that came to the machine between the days, or left it, each with the machine that it is in now."""
    query = (
        select(Board, Machine, BoardStay)
        .join(BoardStay, col(BoardStay.board_id) == col(Board.id))
        .join(Machine, col(Machine.id) == col(Board.machine_id))
        .where(BoardStay.machine_id == machine.id)
        .order_by(col(Board.name), col(Board.id), col(BoardStay.id))
    )
    stays: dict[int, list[BoardStay]] = defaultdict(list)
    known: dict[int, tuple[Board, Machine]] = {}
    for board, now_in, stay in session.exec(query):
        known[board.key] = (board, now_in)
        stays[board.key].append(stay)
    found = []
    for key, (board, now_in) in known.items():
        before, after = (_stay_on(stays[key], day) for day in (earlier, later))
        if after and not before:
            found.append(BoardOfDays(board, now_in, True, after.since))
        elif before and not after:
            found.append(BoardOfDays(board, now_in, False, before.until))
    return found


def _stay_on(stays: Sequence[BoardStay], day: date) -> BoardStay | None:
    """The stay that held at the end of a day."""
    held = (stay for stay in stays if (stay.since or date.min) <= day and (stay.until is None or day < stay.until))
    return next(held, None)


def _mods(session: Session, machine: Machine, earlier: date, later: date, number: int) -> tuple[Paged[ModOfDays], int]:
    """The mods in force on either day, first those that came or went, and how many did."""
    before, after = (col(Mod.id).in_(fitted_on(machine, day)) for day in (earlier, later))
    stayed = and_(before, after)
    changed = func.count().filter(not_(stayed)).over()
    query = (
        columns(Mod, col(Machine.tag), before.label("before"), after.label("after"), changed.label("changed"))
        .join(Machine, col(Machine.id) == col(Mod.machine_id))
        .where(before | after)
        .order_by(stayed, col(Mod.number), col(Mod.id))
    )
    found = paged(session, query, number, MOST)
    rows = [ModOfDays(mod, of, bool(before), bool(after)) for mod, of, before, after, _ in found.rows]
    return Paged(rows, found.number, found.last, found.total), found.rows[0].changed if found.rows else 0


def _steps(
    session: Session, machine: Machine, days: tuple[date, date], boards: Sequence[BoardOfDays], number: int
) -> Paged[StepOfDays]:
    """The steps without a part that stood in the machine on one day and not on the other."""
    before, after = (and_(step_here(machine, day), stood_on(day)) for day in days)
    query = (
        columns(col(Step.id), after.label("after"))
        .join(Mod, col(Mod.id) == col(Step.mod_id))
        .outerjoin(Position, col(Position.id) == col(Step.position_id))
        .outerjoin(Board, col(Board.id) == col(Position.board_id))
        .where(col(Step.kind).not_in(MOVES_A_PART), or_(and_(before, not_(after)), and_(after, not_(before))))
        .order_by(col(Mod.number), col(Mod.id), col(Step.number))
    )
    found = paged(session, query, number, MOST)
    came: dict[int, bool] = {key: bool(after) for key, after in found.rows}
    lines = lines_where(session, col(Step.id).in_(came))
    known = {mod.key: mod for mod in session.exec(select(Mod).where(col(Mod.id).in_({_mod(line) for line in lines})))}
    tags = tags_of(session, known.values())
    moved = {line.board.key: line.day for line in boards}
    rows = []
    for line in lines:
        day, with_board = _when(line, came[line.step.key], days, moved)
        mod = known[_mod(line)]
        rows.append(StepOfDays(mod, tags[mod.machine_id], line, came[line.step.key], day, with_board))
    return Paged(rows, found.number, found.last, found.total)


def _mod(line: StepLine) -> int:
    return line.step.mod_id


def _when(
    line: StepLine, came: bool, days: tuple[date, date], moved: Mapping[int, date | None]
) -> tuple[date | None, bool]:
    """The day on which a step's work came or went, and whether it did so with the board that it is on."""
    board_day = moved.get(line.board.key) if line.board else None
    own = line.step.done_on if came else line.step.undone_on
    done_here = own is not None and days[0] < own <= days[1]
    if board_day and own and done_here:  # the work counts from when both it and its board were here
        done_here = own >= board_day if came else own < board_day
    return (own, False) if done_here else (board_day, True)
