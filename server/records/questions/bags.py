"""Questions about bags: what lies in them, what of it is lent or gone, and what became of all that ever lay in one."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from sqlmodel import Session, and_, case, col, func, select

from server.records.placing import BAG_MOST
from server.records.questions.paging import Paged, page_of, paged
from server.records.questions.parts import Seat
from server.records.questions.stays import machine_on
from server.records.tables import Board, Loan, Machine, Part, Placement, Position, Storage

BAGS_A_PAGE = 50
NAMED_MOST = 500
AS_SAID = re.compile(r"(?:bag)?\s*(?:number|no\.?|nr\.?|#)?\s*(\d+)", re.ASCII | re.IGNORECASE)


class Which(StrEnum):
    """Which of the parts that were kept aside are asked for."""

    ASIDE = "all kept aside"
    IN_BAGS = "in bags"
    LENT = "lent"
    GONE = "gone"


@dataclass(frozen=True, slots=True)
class Aside:
    """One part kept aside: its bag, the position that it came from, and its loan while it is lent.

    `since` is the day it went into the bag, however often its place or condition was noted anew since.
    """

    storage: Storage
    part: Part
    seat: Seat | None
    loan: Loan | None
    since: date


@dataclass(frozen=True, slots=True)
class GonePart:
    """One part that is gone: the bag that it left then, or none; and the position that it came from."""

    part: Part
    storage: Storage | None
    seat: Seat | None


@dataclass(frozen=True, slots=True)
class Went:
    """What became of a part when it left a bag: at a seat, in another bag or place, or gone.

    `found` is the bag that it lay in next where it was gone in between, and found again.
    """

    seat: Seat | None = None
    bag: Storage | None = None
    gone: str = ""
    found: Storage | None = None


@dataclass(frozen=True, slots=True)
class BagStay:
    """One part in one bag from a day to a day, with its loans meanwhile and what became of it."""

    storage: Storage
    part: Part
    seat: Seat | None
    loans: Sequence[Loan]
    went: Went | None

    @property
    def changed_machine(self) -> bool:
        """Whether it was fitted in another machine than the one that it came from."""
        fitted = self.went.seat if self.went else None
        return bool(self.seat and fitted and self.seat.machine.id != fitted.machine.id)


def bag_number(text: str) -> str:
    """The figures of a bag's number where it is written as people say it: “7”, “bag 7”, “no. 7”, “Bag no 7”."""
    said = AS_SAID.fullmatch(text.strip())
    return said[1] if said else ""


def asked_bag(text: str) -> int | None:
    """A bag's number as people type it; none when no bag can have it."""
    figures = bag_number(text)
    number = int(figures) if figures and len(figures) <= len(str(BAG_MOST)) else 0
    return number if 1 <= number <= BAG_MOST else None


def bag_known(session: Session, bag: int) -> bool:
    """Whether anything ever lay in a bag of that number."""
    return session.exec(select(Storage.id).where(Storage.bag == bag).limit(1)).first() is not None


LATEST_STAY = select(func.max(col(Storage.id))).where(Storage.part_id == Part.id).correlate(Part).scalar_subquery()
ASIDE = (
    select(Storage, Part, Position, Board, Machine, Loan)  # type: ignore[call-overload]  # six at once are not typed
    .join(Part, col(Part.id) == col(Storage.part_id))
    .outerjoin(Position, col(Position.id) == col(Storage.from_position_id))
    .outerjoin(Board, col(Board.id) == col(Position.board_id))
    .outerjoin(Machine, col(Machine.id) == machine_on(col(Storage.since)))
    .outerjoin(Loan, and_(col(Loan.part_id) == col(Part.id), col(Loan.until).is_(None)))
)
IN_ORDER = (col(Storage.bag), col(Storage.id))
BY_DUE_DAY = (col(Loan.due).asc().nulls_last(), *IN_ORDER)
# Which rows are on a page is told by lean keys first: of all bags, a page of them alone is joined to what they hold.
OPEN = select(Storage.id).where(col(Storage.until).is_(None))
LENT_NOW = select(Loan.part_id).where(col(Loan.until).is_(None))
LENT = OPEN.where(col(Storage.part_id).in_(LENT_NOW)).join(
    Loan, and_(col(Loan.part_id) == col(Storage.part_id), col(Loan.until).is_(None))
)
ASKED = {
    Which.ASIDE: (OPEN, IN_ORDER),
    Which.IN_BAGS: (OPEN.where(col(Storage.part_id).not_in(LENT_NOW)), IN_ORDER),
    Which.LENT: (LENT, BY_DUE_DAY),
}
LAST_SEAT = select(func.max(col(Placement.id))).where(Placement.part_id == Part.id).correlate(Part).scalar_subquery()
OUT_OF_BAG = and_(col(Storage.id) == LATEST_STAY, col(Storage.until) == col(Part.gone_on))
CAME_FROM = case((col(Storage.id).is_(None), col(Placement.position_id)), else_=col(Storage.from_position_id))
GONE = (
    select(Part, Storage, Position, Board, Machine)  # type: ignore[call-overload]  # five at once are not typed
    .outerjoin(Storage, OUT_OF_BAG)
    .outerjoin(Placement, col(Placement.id) == LAST_SEAT)
    .outerjoin(Position, col(Position.id) == CAME_FROM)
    .outerjoin(Board, col(Board.id) == col(Position.board_id))
    .outerjoin(Machine, col(Machine.id) == machine_on(col(Part.gone_on)))
    .where(col(Part.gone).is_not(None))
    .order_by(col(Part.gone_on).desc(), col(Part.id))
)


def gone(session: Session, number: int, most: int = BAGS_A_PAGE) -> Paged[GonePart]:
    """The parts that were discarded, lost or handed over, out of a bag or straight from a position; the last first."""
    found = paged(session, GONE, number, most)
    lines = [
        GonePart(part, storage, _seat(machine, board, position))
        for part, storage, position, board, machine in found.rows
    ]
    return Paged(lines, found.number, found.last, found.total)


def kept(session: Session, which: Which, number: int, most: int = BAGS_A_PAGE) -> Paged[Aside]:
    """The parts that lie in bags, over all machines, by bag number; those lent by the day they are due."""
    return _aside_page(session, *ASKED[which], number, most)


def in_bag(session: Session, bag: int, number: int, most: int = BAGS_A_PAGE) -> Paged[Aside]:
    """What lies in one bag now, and what it waits for."""
    return _aside_page(session, OPEN.where(Storage.bag == bag), IN_ORDER, number, most)


def overdue(session: Session, today: date, most: int) -> Paged[Aside]:
    """What is lent and should have come back by now, the longest overdue first."""
    return _aside_page(session, LENT.where(col(Loan.due) < today), BY_DUE_DAY, 1, most)


def _aside_page(session: Session, keys: Any, order: Sequence[Any], number: int, most: int) -> Paged[Aside]:
    """One page of what some keys name, in an order."""
    page = page_of(session, keys, number, most)
    shown = keys.order_by(*order).offset(page.start).limit(most)
    rows = session.exec(ASIDE.where(col(Storage.id).in_(shown)).order_by(*order)).all()
    return _asides(session, Paged(rows, page.number, page.last, page.total))


def _asides(session: Session, found: Paged[tuple[Storage, Part, Position, Board, Machine, Loan]]) -> Paged[Aside]:
    began = _began(session, [row[0] for row in found.rows])
    lines = [
        Aside(storage, part, _seat(machine, board, position), loan, began[storage.key])
        for storage, part, position, board, machine, loan in found.rows
    ]
    return Paged(lines, found.number, found.last, found.total)


def in_bag_since(session: Session, storage: Storage) -> date:
    """The day on which a part went into the bag where it lies."""
    return _began(session, [storage])[storage.key]


def _began(session: Session, stays: Sequence[Storage]) -> dict[int, date]:
    """When each of some stays really began: one in the same bag that follows another without a day between goes on."""
    parts = {stay.part_id for stay in stays}
    # More parts than a statement can name are asked for as all that lie in bags.
    whose = parts if len(parts) <= NAMED_MOST else select(Storage.part_id).where(col(Storage.until).is_(None))
    query = select(Storage).where(col(Storage.part_id).in_(whose)).order_by(col(Storage.part_id), col(Storage.id))
    began: dict[int, date] = {}
    before: Storage | None = None
    for stay in session.exec(query):
        goes_on = before and (before.part_id, before.bag, before.until) == (stay.part_id, stay.bag, stay.since)
        began[stay.key] = began[before.key] if before and goes_on else stay.since
        before = stay
    return began


def _seat(machine: Machine, board: Board, position: Position | None) -> Seat | None:
    return Seat(machine, board, position) if position else None


# ---- What became of all that lay in a bag ----


def stays_in_bag(session: Session, bag: int, number: int, most: int = BAGS_A_PAGE) -> Paged[BagStay]:
    """Everything that ever lay in a bag, the latest first; as many queries for many as for one."""
    query = ASIDE.where(Storage.bag == bag).order_by(col(Storage.since).desc(), col(Storage.id).desc())
    found = _asides(session, paged(session, query, number, most))
    parts = {line.part.key for line in found.rows}
    bags = _bags_of(session, parts)
    loans = session.exec(select(Loan).where(col(Loan.part_id).in_(parts)).order_by(col(Loan.id))).all()
    seats = _seats_of(session, parts)
    lines = [
        BagStay(
            line.storage,
            line.part,
            line.seat,
            [loan for loan in loans if _lent_from(bags, loan) == line.storage.id],
            _went(line, bags, seats),
        )
        for line in found.rows
    ]
    return Paged(lines, found.number, found.last, found.total)


def _bags_of(session: Session, parts: set[int]) -> Sequence[Storage]:
    return session.exec(select(Storage).where(col(Storage.part_id).in_(parts)).order_by(col(Storage.id))).all()


def _seats_of(session: Session, parts: set[int]) -> Sequence[tuple[Placement, Seat]]:
    query = (
        select(Placement, Position, Board, Machine)
        .join(Position, col(Position.id) == col(Placement.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .join(Machine, col(Machine.id) == machine_on(col(Placement.fitted_on)))
        .where(col(Placement.part_id).in_(parts))
        .order_by(col(Placement.id))
    )
    return [(placement, Seat(machine, board, position)) for placement, position, board, machine in session.exec(query)]


def _lent_from(bags: Iterable[Storage], loan: Loan) -> int | None:
    """The stay in a bag during which a part was lent: the last one that was written down before."""
    before = [bag for bag in bags if bag.part_id == loan.part_id and bag.created_at <= loan.created_at]
    return before[-1].id if before else None


def _went(line: Aside, bags: Iterable[Storage], seats: Iterable[tuple[Placement, Seat]]) -> Went | None:
    """Where a part went on the day it left: what was written down next among what began that day."""
    left, storage = line.storage.until, line.storage
    if left is None:
        return None
    then = [
        *((bag.created_at, Went(bag=bag)) for bag in bags if bag.part_id == storage.part_id and bag.since == left),
        *(
            (placement.created_at, Went(seat=seat))
            for placement, seat in seats
            if placement.part_id == storage.part_id and placement.fitted_on == left
        ),
    ]
    later = [one for one in then if one[0] > storage.created_at]
    if later:
        return min(later, key=lambda one: one[0])[1]
    if line.part.gone and line.part.gone_on == left:
        return Went(gone=line.part.gone)
    found = (bag for bag in bags if bag.part_id == storage.part_id and bag.created_at > storage.created_at)
    return Went(found=next(found, None))


# ---- What labels are printed for ----


def lying(session: Session, machine: Machine | None = None) -> Sequence[Aside]:
    """All that lies in bags now; of one machine, all that lies in the bags that hold something from it."""
    query = ASIDE.where(col(Storage.until).is_(None)).order_by(*IN_ORDER)
    if machine is not None:
        filled = (
            select(Storage.bag)
            .join(Position, col(Position.id) == col(Storage.from_position_id))
            .join(Board, col(Board.id) == col(Position.board_id))
            .where(col(Storage.until).is_(None), Board.machine_id == machine.id)
        )
        query = query.where(col(Storage.bag).in_(filled))
    rows = session.exec(query).all()
    return _asides(session, Paged(rows, 1, 1, len(rows))).rows
