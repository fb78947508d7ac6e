"""Questions about machines: the shelf, and one machine with its boards, mods and what lies aside.

A machine's page is asked for most often, so its statements are built once; only their values change.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import bindparam
from sqlalchemy import select as columns
from sqlmodel import Session, col, func, select

from server.records.questions.paging import Paged, paged
from server.records.tables import Board, Machine, Mod, Part, Placement, Position, Step, Storage
from server.records.traces import trace_of_step, worst
from server.records.words import ModState, Trace

MODS_A_PAGE = 100


@dataclass(frozen=True, slots=True)
class OnShelf:
    """One machine as the shelf lists it."""

    machine: Machine
    boards: int
    mods_fitted: int
    mods: int


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One board with how much of it is recorded."""

    board: Board
    positions: int
    parts: int


@dataclass(frozen=True, slots=True)
class ModLine:
    """One mod with the trace that its steps would leave."""

    number: int
    title: str
    state: str
    trace: Trace
    steps: int


@dataclass(frozen=True, slots=True)
class BagLine:
    """One part kept aside, and where it came from."""

    storage: Storage
    part: Part
    position: Position | None
    board: Board | None
    machine: Machine | None


def shelf(session: Session, number: int) -> Paged[OnShelf]:
    """All machines by tag, a page at a time."""
    boards = select(func.count(col(Board.id))).where(Board.machine_id == Machine.id).scalar_subquery()
    mods = select(func.count(col(Mod.id))).where(Mod.machine_id == Machine.id).scalar_subquery()
    fitted = (
        select(func.count(col(Mod.id)))
        .where(Mod.machine_id == Machine.id, Mod.state == ModState.FITTED.value)
        .scalar_subquery()
    )
    query = select(Machine, boards, fitted, mods).order_by(col(Machine.tag_key))
    found = paged(session, query, number)
    return Paged([OnShelf(*row) for row in found.rows], found.number, found.last, found.total)


POSITIONS = select(func.count(col(Position.id))).where(Position.board_id == Board.id).correlate(Board).scalar_subquery()
PARTS = (
    select(func.count(col(Placement.id)))
    .join(Position, col(Position.id) == col(Placement.position_id))
    .where(Position.board_id == Board.id, col(Placement.removed_on).is_(None))
    .correlate(Board)
    .scalar_subquery()
)
BOARDS = select(Board, POSITIONS, PARTS).where(Board.machine_id == bindparam("machine")).order_by(col(Board.name))


def boards_of(session: Session, machine: Machine) -> list[BoardLine]:
    """Every board of a machine, with its numbers of positions and of parts in them."""
    return [BoardLine(*row) for row in session.exec(BOARDS, params={"machine": machine.id})]


MODS = (
    select(Mod.id, Mod.number, Mod.title, Mod.state)
    .where(Mod.machine_id == bindparam("machine"))
    .order_by(col(Mod.number).desc())
)
ALIKE = (col(Step.mod_id), col(Step.kind), col(Step.trace_stated), col(Position.mounting))
STEPS_ALIKE = (
    columns(*ALIKE, func.count())
    .select_from(Step)
    .outerjoin(Position, col(Position.id) == col(Step.position_id))
    .where(col(Step.mod_id).in_(bindparam("mods", expanding=True)))
    .group_by(*ALIKE)
)


def mods_of(session: Session, machine: Machine, number: int, most: int = MODS_A_PAGE) -> Paged[ModLine]:
    """The mods of a machine, the latest first, each with its derived trace."""
    found = paged(session, MODS, number, most, machine=machine.id)
    traces = traces_of(session, [row[0] for row in found.rows])
    lines = [ModLine(row[1], row[2], row[3], *traces.get(row[0], (Trace.NONE, 0))) for row in found.rows]
    return Paged(lines, found.number, found.last, found.total)


def traces_of(session: Session, mods: Sequence[int]) -> dict[int, tuple[Trace, int]]:
    """The worst trace of each mod's steps, and how many steps it has, in one query that counts like steps together."""
    found: dict[int, tuple[Trace, int]] = {}
    for mod, kind, stated, mounting, count in session.connection().execute(STEPS_ALIKE, {"mods": mods}):
        trace, steps = found.get(mod, (Trace.NONE, 0))
        found[mod] = (worst([trace, trace_of_step(kind, stated, mounting)]), steps + count)
    return found


BAGS = (
    select(Storage, Part, Position, Board)
    .join(Part, col(Part.id) == col(Storage.part_id))
    .outerjoin(Position, col(Position.id) == col(Storage.from_position_id))
    .outerjoin(Board, col(Board.id) == col(Position.board_id))
    .where(col(Storage.until).is_(None))
    .order_by(col(Storage.bag), col(Storage.id))
)
BAGS_OF_MACHINE = BAGS.where(Board.machine_id == bindparam("machine")).limit(bindparam("most"))


def bags_of(session: Session, machine: Machine, most: int) -> list[BagLine]:
    """What of a machine lies in bags now, by bag number."""
    given = {"machine": machine.id, "most": most}
    return [BagLine(*row, machine) for row in session.exec(BAGS_OF_MACHINE, params=given)]


def kept_aside(session: Session, number: int, most: int = 50) -> Paged[BagLine]:
    """What lies in bags now, over all machines, by bag number."""
    found = paged(session, BAGS, number, most)
    owners = {board.machine_id for _, _, _, board in found.rows if board}
    machines = {owner.key: owner for owner in session.exec(select(Machine).where(col(Machine.id).in_(owners)))}
    lines = [
        BagLine(storage, part, position, board, machines.get(board.machine_id) if board else None)
        for storage, part, position, board in found.rows
    ]
    return Paged(lines, found.number, found.last, found.total)
