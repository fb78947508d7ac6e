"""The rules that always hold, each as a check over the whole record: a sentence for every place where one does not."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from itertools import pairwise

from sqlalchemy import case
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, func, or_, select

from server.records.questions.maps import ON_KIND
from server.records.tables import (
    Board,
    BoardPicture,
    BoardStay,
    Loan,
    MapPin,
    MatchPoint,
    Mod,
    ModMove,
    Net,
    NetPin,
    Part,
    Photograph,
    Placement,
    Position,
    Step,
    Storage,
)


def _places(session: Session) -> Iterator[str]:
    """A part is in one place (rule 1)."""
    placed = select(Placement.part_id).where(col(Placement.removed_on).is_(None))
    bagged = select(Storage.part_id).where(col(Storage.until).is_(None))
    both = select(Part.id).where(col(Part.id).in_(placed), col(Part.id).in_(bagged))
    yield from (f"Part {part} is at a position and in a bag at once." for part in session.exec(both))
    gone = select(Part.id).where(col(Part.gone).is_not(None), col(Part.id).in_(placed.union(bagged)))
    yield from (f"Part {part} is gone and yet somewhere." for part in session.exec(gone))
    nowhere = select(Part.id).where(col(Part.gone).is_(None), col(Part.id).not_in(placed.union(bagged)))
    yield from (f"Part {part} is in no place that is recorded." for part in session.exec(nowhere))
    lent = select(Loan.part_id).where(col(Loan.until).is_(None), col(Loan.part_id).not_in(bagged))
    yield from (f"Part {part} is lent, and lies in no bag that waits for it." for part in session.exec(lent))


def _placements_in_time(session: Session) -> Iterator[str]:
    """A position held one part at a time, and nothing left before it came (rule 1)."""
    query = select(Placement).order_by(
        col(Placement.position_id), col(Placement.fitted_on).asc().nulls_first(), col(Placement.id)
    )
    last: Placement | None = None
    for placement in session.exec(query):
        if placement.fitted_on and placement.removed_on and placement.removed_on < placement.fitted_on:
            yield f"Placement {placement.id} ended on {placement.removed_on}, before it began."
        if last and last.position_id == placement.position_id and _overlap(last, placement):
            position = session.get(Position, placement.position_id)
            name = position.designator if position else "that is not there"
            yield f"Position {name} (number {placement.position_id}) held two parts at once."
        last = placement


def _overlap(earlier: Placement, later: Placement) -> bool:
    if earlier.removed_on is None:
        return True
    return later.fitted_on is None or later.fitted_on < earlier.removed_on


def _bags_in_time(session: Session) -> Iterator[str]:
    """A part left its bag on the day it went in, or later (rule 1)."""
    query = select(Storage.bag).where(col(Storage.until) < col(Storage.since))
    yield from (f"A part left bag {bag} before it went in." for bag in session.exec(query))


def _loans_in_time(session: Session) -> Iterator[str]:
    """A part was lent once at a time, out of a bag, and came back no earlier than it went (rule 1)."""
    bags: dict[int, list[tuple[date, date]]] = defaultdict(list)
    for bag in session.exec(select(Storage).where(col(Storage.part_id).in_(select(Loan.part_id)))):
        bags[bag.part_id].append((bag.since, bag.until or date.max))
    last: Loan | None = None
    for loan in session.exec(select(Loan).order_by(col(Loan.part_id), col(Loan.since), col(Loan.id))):
        until = loan.until or date.max
        if until < loan.since or (loan.due and loan.due < loan.since):
            yield f"A loan of part {loan.part_id} ended, or was due, before it began on {loan.since}."
        elif not any(since <= loan.since and until <= end for since, end in bags[loan.part_id]):
            yield f"Part {loan.part_id} was lent on {loan.since} and lay in no bag meanwhile."
        if last and last.part_id == loan.part_id and loan.since < (last.until or date.max):
            yield f"Part {loan.part_id} was lent twice at once, from {loan.since}."
        last = loan


def _states(session: Session) -> Iterator[str]:
    """A mod is in the state of its latest move (rule 2)."""
    latest = select(func.max(ModMove.id)).group_by(col(ModMove.mod_id))
    query = (
        select(Mod.id, Mod.state, ModMove.state)
        .outerjoin(ModMove, (col(ModMove.mod_id) == col(Mod.id)) & col(ModMove.id).in_(latest))
        .where(col(ModMove.state).is_distinct_from(col(Mod.state)))
    )
    for mod, state, moved in session.exec(query):
        yield f"Mod {mod} is {state}, and its latest move says {moved or 'nothing'}."


def _steps_at_home(session: Session) -> Iterator[str]:
    """A step is at a position of a board that is, or was, in the machine that its mod belongs to (rule 4)."""
    was_there = select(BoardStay.id).where(
        col(BoardStay.board_id) == col(Board.id), col(BoardStay.machine_id) == col(Mod.machine_id)
    )
    query = (
        select(Step.id)
        .join(Mod, col(Mod.id) == col(Step.mod_id))
        .join(Position, col(Position.id) == col(Step.position_id))
        .join(Board, col(Board.id) == col(Position.board_id))
        .where(col(Board.machine_id) != col(Mod.machine_id), ~was_there.exists())
    )
    yield from (f"Step {step} is at a position of another machine." for step in session.exec(query))


def _boards_at_home(session: Session) -> Iterator[str]:
    """A board is in one machine at a time, that of its last stay, and on a board of the same machine (rule 1)."""
    holder = aliased(Board)
    apart = select(Board.id).join(holder, col(holder.id) == col(Board.parent_id))
    for board in session.exec(apart.where(col(holder.machine_id) != col(Board.machine_id))):
        yield f"Board {board} is held by a board of another machine."
    query = select(BoardStay, Board.machine_id).join(Board, col(Board.id) == col(BoardStay.board_id))
    stays: dict[int, list[BoardStay]] = defaultdict(list)
    machines: dict[int, int] = {}
    for stay, machine in session.exec(query.order_by(col(BoardStay.board_id), col(BoardStay.id))):
        stays[stay.board_id].append(stay)
        machines[stay.board_id] = machine
    for board, of_board in stays.items():
        last = of_board[-1]
        if last.until is not None or last.machine_id != machines[board]:
            yield f"Board {board} is in another machine than its last stay says."
        if of_board[0].since is not None or any(not _follows(*pair) for pair in pairwise(of_board)):
            yield f"The stays of board {board} do not follow each other."


def _follows(earlier: BoardStay, later: BoardStay) -> bool:
    """One stay ends on the day that the next begins, in another machine, and none ends before it began."""
    in_time = earlier.since is None or (earlier.until is not None and earlier.since <= earlier.until)
    return in_time and earlier.until == later.since is not None and earlier.machine_id != later.machine_id


def _net_pins_at_home(session: Session) -> Iterator[str]:
    """A pin of a net, and the resistor before it, are at positions of the net's own board."""
    query = (
        select(NetPin.id, Net.id)
        .join(Net, col(Net.id) == col(NetPin.net_id))
        .join(Position, col(Position.id).in_((col(NetPin.position_id), col(NetPin.series_position_id))))
        .where(col(Position.board_id) != col(Net.board_id))
        .distinct()
    )
    yield from (f"Pin {pin} of net {net} is at a position of another board." for pin, net in session.exec(query))


def _maps_at_home(session: Session) -> Iterator[str]:
    """The pictures on a board's map, and the pins on them, are of that very board."""
    pictures = (
        select(BoardPicture.id)
        .join(Board, col(Board.id) == col(BoardPicture.board_id))
        .join(Photograph, col(Photograph.id) == col(BoardPicture.photograph_id))
        .where(or_(col(Photograph.on_kind) != ON_KIND, col(Photograph.on_uuid) != col(Board.uuid)))
    )
    for picture in session.exec(pictures):
        yield f"Board picture {picture} is a photograph of something else than its board."
    pins = (
        select(MapPin.id)
        .join(Position, col(Position.id) == col(MapPin.position_id))
        .join(BoardPicture, col(BoardPicture.id) == col(MapPin.board_picture_id))
        .where(col(Position.board_id) != col(BoardPicture.board_id))
    )
    yield from (f"Map pin {pin} is on a picture of another board." for pin in session.exec(pins))


def _one_reference(session: Session) -> Iterator[str]:
    """Of the pictures on a board's map one is the reference, and it is matched to no other."""
    referring = func.sum(case((col(BoardPicture.is_reference), 1), else_=0))
    query = select(BoardPicture.board_id, referring).group_by(col(BoardPicture.board_id)).having(referring != 1)
    for board, many in session.exec(query):
        yield f"The map of board {board} has {many or 'no'} reference pictures."
    matched = select(BoardPicture.id).join(MatchPoint).where(col(BoardPicture.is_reference)).distinct()
    yield from (f"Board picture {one} is the reference, and matched to itself." for one in session.exec(matched))


RULES = (
    _places,
    _placements_in_time,
    _bags_in_time,
    _loans_in_time,
    _states,
    _steps_at_home,
    _boards_at_home,
    _net_pins_at_home,
    _maps_at_home,
    _one_reference,
)
