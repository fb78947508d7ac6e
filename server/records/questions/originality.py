"""What of a machine is original: position by position, and where the originals are that no longer sit in their places.

A position's original is the first part called original that ever sat there, if that is where its own record begins: one
that was moved in from another position is of its time, and no original here. Whatever is private has no place in
these answers, so that a list for a buyer can be made of them. It must know no page.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property
from typing import Any, Literal, NamedTuple

from sqlalchemy.orm import aliased
from sqlmodel import Session, and_, col, func, or_, select

from server.records.questions.paging import Paged, paged_list
from server.records.questions.parts import Seat
from server.records.tables import Board, BoardStay, Loan, Machine, Mod, Part, Placement, Position, Step, Storage
from server.records.words import Origin


class Holds(StrEnum):
    """What a position holds, seen from the day the machine left its factory."""

    ORIGINAL = "original"
    PERIOD = "period"
    LATER = "later"
    NEW = "new"
    EMPTY = "empty"
    UNKNOWN = "unknown"


class Spot(NamedTuple):
    """One position, as a mark in a picture needs it."""

    position: int
    designator: str
    holds: Holds


@dataclass(frozen=True)
class BoardSpots:
    """One board's positions in the order of their designators; `came_from` is the machine it was built into."""

    board: Board
    spots: Sequence[Spot]
    came_from: str = ""  # nothing where it has always been here

    @cached_property
    def counts(self) -> Counter[Holds]:
        return Counter(spot.holds for spot in self.spots)


@dataclass(frozen=True)
class Survey:
    """What every position of a machine holds, board by board."""

    boards: Sequence[BoardSpots]

    @cached_property
    def counts(self) -> Counter[Holds]:
        return sum((one.counts for one in self.boards), Counter())

    @property
    def total(self) -> int:
        return self.counts.total()


class ModName(NamedTuple):
    """A mod as a link needs it."""

    machine: str
    number: int
    title: str


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where an original is now. Nobody's name and no storage place is among it."""

    kind: Literal["in a bag", "lent", "at a position", "gone", "not known"]
    bag: int | None = None
    seat: Seat | None = None
    gone: str = ""
    since: date | None = None


NOT_KNOWN = Whereabouts("not known")


@dataclass(frozen=True, slots=True)
class NotOriginal:
    """A position without its original: what sits there, and since when and by which mod its original is where it is.

    Of an original that nobody knows, it is since when the part there has sat there. `ever` is whether any part was
    recorded there; `moved_from` the position at which the part there began, if another.
    """

    board: Board
    position: Position
    holds: Holds
    part: Part | None
    since: date | None
    mod: ModName | None
    ever: bool
    moved_from: Seat | None
    original: Part | None
    whereabouts: Whereabouts


def survey(session: Session, machine: Machine) -> Survey:
    """What each position holds, in four questions whatever the machine's size."""
    boards = session.exec(
        select(Board).where(Board.machine_id == machine.id).order_by(col(Board.name), col(Board.id))
    ).all()
    keys = [board.key for board in boards]
    originals = _originals(session, keys)
    query = (
        select(  # type: ignore[call-overload]  # five at once are not typed
            Position.board_id, Position.id, Position.designator, Part.id, Part.origin
        )
        .outerjoin(Placement, and_(col(Placement.position_id) == col(Position.id), col(Placement.removed_on).is_(None)))
        .outerjoin(Part, col(Part.id) == col(Placement.part_id))
        .where(col(Position.board_id).in_(keys))
        .order_by(col(Position.designator_key))
    )
    spots: dict[int, list[Spot]] = {key: [] for key in keys}
    for board, position, designator, part, origin in session.exec(query):
        spots[board].append(Spot(position, designator, holding(part, origin, originals.get(position))))
    came_from = _came_from(session, machine, keys)
    return Survey([BoardSpots(board, spots[board.key], came_from.get(board.key, "")) for board in boards])


def holding(part: int | None, origin: str | None, original: int | None) -> Holds:
    """What a position holds: the key and origin of the part there, and the key of the position's original."""
    if part is None or origin is None:
        return Holds.EMPTY
    if origin == Origin.ORIGINAL and part != original:
        return Holds.PERIOD
    return Holds(origin)


def not_original(session: Session, found: Survey, number: int, most: int = 100) -> Paged[NotOriginal]:
    """The positions that do not hold their original part, by board and designator, a page at a time."""
    off = [(one.board, spot) for one in found.boards for spot in one.spots if spot.holds is not Holds.ORIGINAL]
    page = paged_list(off, number, most)
    return Paged(_told(session, page.rows), page.number, page.last, page.total)


# ---- The rows behind it ----


def _first() -> Any:
    """The key of the placement with which a part's record begins."""
    other = aliased(Placement)
    return select(func.min(other.id)).where(other.part_id == Placement.part_id).correlate(Placement).scalar_subquery()


def _originals(session: Session, boards: Sequence[int]) -> dict[int, int]:
    """The original part of each position that has one: the first to begin there."""
    query = (
        select(Placement.position_id, Placement.part_id)
        .join(Part, col(Part.id) == col(Placement.part_id))
        .join(Position, col(Position.id) == col(Placement.position_id))
        .where(
            col(Position.board_id).in_(boards),
            Part.origin == Origin.ORIGINAL.value,
            col(Placement.id) == _first(),
            or_(col(Placement.fitted_by_step_id).is_(None), Part.pedigree == ""),  # a donor's part is none
        )
        .order_by(col(Placement.id).desc())
    )
    return dict(session.exec(query).all())


def _came_from(session: Session, machine: Machine, boards: Sequence[int]) -> dict[int, str]:
    """The machine that each board was built into, where that is another."""
    query = (
        select(BoardStay.board_id, Machine.tag)
        .join(Machine, col(Machine.id) == col(BoardStay.machine_id))
        .where(col(BoardStay.board_id).in_(boards))
        .order_by(col(BoardStay.since).desc().nulls_last(), col(BoardStay.id).desc())
    )
    return {board: tag for board, tag in dict(session.exec(query).all()).items() if tag != machine.tag}


def _told(session: Session, off: Sequence[tuple[Board, Spot]]) -> list[NotOriginal]:
    """The whole of some positions, in a fixed number of questions."""
    keys = [spot.position for _, spot in off]
    positions = {one.key: one for one in session.exec(select(Position).where(col(Position.id).in_(keys)))}
    latest = _latest(session, keys)
    parts = {key: placement.part_id for key, placement in latest.items() if placement.removed_on is None}
    originals = _originals(session, list({board.key for board, _ in off}))
    known = _parts(session, {*parts.values(), *(originals[key] for key in keys if key in originals)})
    taken = _taken_out(session, keys)
    since = latest | {key: taken[key, originals[key]] for key in keys if (key, originals.get(key)) in taken}
    mods = _mods(session, since.values())
    where = _whereabouts(session, [known[originals[key]] for key in keys if key in originals])
    began = _began(session, [part for key, part in parts.items() if known[part].origin == Origin.ORIGINAL])
    rows = []
    for board, spot in off:
        placement, original = since.get(spot.position), originals.get(spot.position)
        part = known[parts[spot.position]] if spot.position in parts else None
        rows.append(
            NotOriginal(
                board=board,
                position=positions[spot.position],
                holds=spot.holds,
                part=part,
                since=(placement.removed_on or placement.fitted_on) if placement else None,
                mod=mods.get(_by_step(placement)) if placement else None,
                ever=placement is not None,
                moved_from=_elsewhere(began.get(part.key), spot.position) if part else None,
                original=known[original] if original else None,
                whereabouts=where.get(original, NOT_KNOWN) if original else NOT_KNOWN,
            )
        )
    return rows


def _latest(session: Session, positions: Sequence[int]) -> dict[int, Placement]:
    """The latest placement at each position, whether its part still sits there or not."""
    other = aliased(Placement)
    newest = select(func.max(other.id)).where(col(other.position_id).in_(positions)).group_by(col(other.position_id))
    return {one.position_id: one for one in session.exec(select(Placement).where(col(Placement.id).in_(newest)))}


def _taken_out(session: Session, positions: Sequence[int]) -> dict[tuple[int, int | None], Placement]:
    """When parts last left some positions, by position and part."""
    query = select(Placement).where(col(Placement.position_id).in_(positions), col(Placement.removed_on).is_not(None))
    return {(one.position_id, one.part_id): one for one in session.exec(query.order_by(col(Placement.id)))}


def _by_step(placement: Placement) -> int | None:
    return placement.removed_by_step_id if placement.removed_on else placement.fitted_by_step_id


def _parts(session: Session, keys: Iterable[int]) -> dict[int, Part]:
    return {part.key: part for part in session.exec(select(Part).where(col(Part.id).in_(set(keys))))}


def _mods(session: Session, placements: Iterable[Placement]) -> dict[int | None, ModName]:
    """The mods whose steps brought about what is there now, by step."""
    steps = {step for placement in placements if (step := _by_step(placement)) is not None}
    query = (
        select(Step.id, Machine.tag, Mod.number, Mod.title)
        .join(Mod, col(Mod.id) == col(Step.mod_id))
        .join(Machine, col(Machine.id) == col(Mod.machine_id))
        .where(col(Step.id).in_(steps))
    )
    return {step: ModName(tag, number, title) for step, tag, number, title in session.exec(query)}


def _whereabouts(session: Session, parts: Sequence[Part]) -> dict[int, Whereabouts]:
    """Where some parts are now, by key."""
    keys = [part.key for part in parts]
    seats = _seats(session, and_(col(Placement.part_id).in_(keys), col(Placement.removed_on).is_(None)))
    query = (
        select(Storage.part_id, Storage.bag, col(Storage.since), col(Loan.since))
        .outerjoin(Loan, and_(col(Loan.part_id) == col(Storage.part_id), col(Loan.until).is_(None)))
        .where(col(Storage.part_id).in_(keys), col(Storage.until).is_(None))
    )
    found = {part.key: Whereabouts("gone", gone=part.gone, since=part.gone_on) for part in parts if part.gone}
    found |= {part: Whereabouts("at a position", seat=seat) for part, seat in seats.items()}
    for part, bag, since, lent in session.exec(query):
        found[part] = Whereabouts("lent" if lent else "in a bag", bag=bag, since=lent or since)
    return found


def _began(session: Session, parts: Sequence[int]) -> dict[int, Seat]:
    """Where the records of some parts begin, by part."""
    return _seats(session, and_(col(Placement.part_id).in_(parts), col(Placement.id) == _first()))


def _elsewhere(seat: Seat | None, position: int) -> Seat | None:
    return seat if seat and seat.position.id != position else None


def _seats(session: Session, which: Any) -> dict[int, Seat]:
    query = (
        select(Placement.part_id, Machine, Board, Position)
        .join(Position, col(Position.id) == col(Placement.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .join(Machine, col(Machine.id) == col(Board.machine_id))
        .where(which)
    )
    return {part: Seat(machine, board, position) for part, machine, board, position in session.exec(query)}
