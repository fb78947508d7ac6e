"""Questions about parts: which a machine holds, where one is and was, its loans, what the journal says of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from sqlalchemy import ColumnElement, case, or_
from sqlalchemy import select as columns
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from server.records.questions.boards import StepName, step_names
from server.records.questions.journal import TOLD, Told
from server.records.questions.paging import Paged, paged
from server.records.questions.stays import machine_on
from server.records.tables import Board, JournalEntry, Loan, Machine, Part, Placement, Position, Storage

WORDS_MOST = 10


@dataclass(frozen=True, slots=True)
class Seated:
    """One part with the place where it sits."""

    part: Part
    position: Position
    board: Board


@dataclass(frozen=True, slots=True)
class Sought:
    """What narrows a list of parts; empty means any."""

    words: str = ""
    kind: str = ""
    origin: str = ""


@dataclass(frozen=True, slots=True)
class Seat:
    """A position by all the names that lead to it."""

    machine: Machine
    board: Board
    position: Position


@dataclass(frozen=True, slots=True)
class Stay:
    """A part in one place from a day to a day: at a seat, or in a bag that it may have come to from a seat.

    The seat's machine is the one that its board is in, or was in when the part left; `first` where it came to be.
    """

    since: date | None
    until: date | None
    seat: Seat | None
    bag: Storage | None = None
    first: Machine | None = None
    began: StepName | None = None
    ended: StepName | None = None


def at_hand(session: Session, kind: str, most: int) -> Sequence[tuple[Part, int]]:
    """The parts that lie in a bag and are not lent, each with its bag's number: those of a kind first."""
    lent = select(Loan.part_id).where(col(Loan.until).is_(None))
    query = (
        select(Part, Storage.bag)
        .join(Storage, col(Storage.part_id) == col(Part.id))
        .where(col(Storage.until).is_(None), col(Part.id).not_in(lent))
        .order_by(case((col(Part.kind) == kind, 0), else_=1), col(Storage.bag), col(Storage.id))
        .limit(most)
    )
    return session.exec(query).all()


def parts_in(session: Session, machine: Machine, sought: Sought, number: int, most: int = 100) -> Paged[Seated]:
    """The parts that sit on a machine's boards now, by board and designator."""
    query = (
        select(Part, Position, Board)
        .join(Placement, col(Placement.part_id) == col(Part.id))
        .join(Position, col(Position.id) == col(Placement.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .where(Board.machine_id == machine.id, col(Placement.removed_on).is_(None), *_narrowed(sought))
        .order_by(col(Board.name), col(Board.id), col(Position.designator_key))
    )
    found = paged(session, query, number, most)
    return Paged([Seated(*row) for row in found.rows], found.number, found.last, found.total)


def _narrowed(sought: Sought) -> list[ColumnElement[bool]]:
    conditions: list[ColumnElement[bool]] = []
    if sought.kind:
        conditions.append(col(Part.kind) == sought.kind)
    if sought.origin:
        conditions.append(col(Part.origin) == sought.origin)
    columns = (Part.type, Part.marking, Part.value, Part.maker_mark, Part.date_code, Position.designator)
    for word in sought.words.replace("\0", " ").split()[:WORDS_MOST]:
        conditions += [or_(*(col(column).icontains(word, autoescape=True) for column in columns))]
    return conditions


def stays_of(session: Session, part: Part) -> list[Stay]:
    """Where a part is and was, the latest first."""
    stays = [*_seated(session, part), *_bagged(session, part)]
    return sorted(stays, key=lambda stay: (stay.until or date.max, stay.since or date.min), reverse=True)


def _seated(session: Session, part: Part) -> list[Stay]:
    first = aliased(Machine)
    left = case(
        (col(Placement.removed_on).is_(None), col(Board.machine_id)), else_=machine_on(col(Placement.removed_on))
    )
    query = (
        columns(Placement, Position, Board, Machine, first)
        .join(Position, col(Position.id) == col(Placement.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .join(Machine, col(Machine.id) == left)
        .join(first, col(first.id) == machine_on(col(Placement.fitted_on)))
        .where(col(Placement.part_id) == part.id)
        .order_by(col(Placement.id).desc())
    )
    rows = session.execute(query).all()
    names = step_names(session, [row[0] for row in rows])
    return [
        Stay(
            placement.fitted_on,
            placement.removed_on,
            Seat(machine, board, position),
            first=first_in,
            began=names.get(placement.fitted_by_step_id),
            ended=names.get(placement.removed_by_step_id),
        )
        for placement, position, board, machine, first_in in rows
    ]


def _bagged(session: Session, part: Part) -> list[Stay]:
    query = (
        select(Storage, Position, Board, Machine)
        .outerjoin(Position, col(Position.id) == col(Storage.from_position_id))
        .outerjoin(Board, col(Board.id) == col(Position.board_id))
        .outerjoin(Machine, col(Machine.id) == machine_on(col(Storage.since)))
        .where(Storage.part_id == part.id)
        .order_by(col(Storage.id).desc())
    )
    return [
        Stay(bag.since, bag.until, Seat(machine, board, position) if position else None, bag)
        for bag, position, board, machine in session.exec(query)
    ]


def seat_of(stays: Sequence[Stay]) -> Seat | None:
    """The position where a part sits now, among its stays."""
    return next((stay.seat for stay in stays if stay.until is None and stay.bag is None), None)


def bag_of(stays: Sequence[Stay]) -> Storage | None:
    """The bag in which a part lies now, among its stays."""
    return next((stay.bag for stay in stays if stay.until is None and stay.bag is not None), None)


@dataclass(frozen=True, slots=True)
class ChangedMachine:
    """A part left one machine and was fitted in another."""

    left: Seat
    came: Seat
    day: date | None


def machines_changed(stays: Sequence[Stay]) -> list[ChangedMachine]:
    """The moves from machine to machine among a part's stays, the latest first."""
    seated = [stay for stay in stays if stay.bag is None and stay.seat]
    return [
        ChangedMachine(earlier.seat, replace(later.seat, machine=later.first), later.since)
        for later, earlier in pairwise(seated)
        if earlier.seat and later.seat and later.first and earlier.seat.machine.id != later.first.id
    ]


def loans_of(session: Session, part: Part) -> Sequence[Loan]:
    """To whom a part was lent, and whether it came back; the latest first."""
    query = select(Loan).where(Loan.part_id == part.id).order_by(col(Loan.since).desc(), col(Loan.id).desc())
    return session.exec(query).all()


def told_of(session: Session, part: Part, number: int, most: int = 30) -> Paged[Told]:
    """What the journal says of one part, the latest first."""
    query = (
        select(*TOLD)  # type: ignore[call-overload]
        .where(JournalEntry.subject == part.uuid)
        .order_by(col(JournalEntry.seq).desc())
    )
    found = paged(session, query, number, most)
    return Paged([Told(*row) for row in found.rows], found.number, found.last, found.total)
