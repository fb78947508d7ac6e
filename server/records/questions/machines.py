"""Questions about machines: the shelf, and one machine with its boards, mods and what lies aside.

A machine's page is asked for most often, so its statements are built once; only their values change.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, and_, bindparam, case
from sqlalchemy import select as columns
from sqlalchemy.orm import Mapped
from sqlmodel import Session, col, func, select

from server.records.errors import NotFound
from server.records.questions.addresses import tag_key
from server.records.questions.paging import Paged, page_of, paged
from server.records.tables import Board, Machine, Mod, Part, Placement, Position, Step, Storage
from server.records.traces import BY_MOUNTING, ORDER, rank_of, trace_of_kind
from server.records.words import ModState, Mounting, StepKind, Trace

MODS_A_PAGE = 100
OFFERED_MOST = 200


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


HERE = col(Machine.elsewhere).is_(False)  # a machine of which more is known than its name


def shelf(session: Session, number: int) -> Paged[OnShelf]:
    """All machines by tag, a page at a time."""
    boards = select(func.count(col(Board.id))).where(Board.machine_id == Machine.id).scalar_subquery()
    mods = select(func.count(col(Mod.id))).where(Mod.machine_id == Machine.id).scalar_subquery()
    fitted = (
        select(func.count(col(Mod.id)))
        .where(Mod.machine_id == Machine.id, Mod.state == ModState.FITTED.value)
        .scalar_subquery()
    )
    query = select(Machine, boards, fitted, mods).where(HERE).order_by(col(Machine.tag_key))
    found = paged(session, query, number)
    return Paged([OnShelf(*row) for row in found.rows], found.number, found.last, found.total)


def machines_offered(session: Session, most: int = OFFERED_MOST) -> list[tuple[str, str]]:
    """Machines as choices, by tag: the tag, and it with what the machine is."""
    query = (
        select(Machine.tag, Machine.maker, Machine.model, Machine.variant)
        .where(HERE)
        .order_by(col(Machine.tag_key))
        .limit(most)
    )
    return [(tag, " ".join(filter(None, [tag, *named]))) for tag, *named in session.exec(query)]


def tags_of_machines(session: Session, asked: Sequence[str]) -> list[str]:
    """The tags of the machines that are asked for, or of all. Raises NotFound for the first that is not there."""
    query = select(Machine.tag_key, Machine.tag).where(HERE).order_by(col(Machine.tag_key))
    if not asked:
        return [tag for _, tag in session.exec(query)]
    keys = {tag_key(tag): tag for tag in asked}
    found = dict(session.exec(query.where(col(Machine.tag_key).in_(keys))).all())
    if missing := next((tag for key, tag in keys.items() if key not in found), None):
        raise NotFound("machine", missing)
    return list(found.values())


def tag_of(session: Session, uuid: UUID) -> str:
    """What a machine is called here. Raises NotFound."""
    tag = session.exec(select(Machine.tag).where(Machine.uuid == uuid)).first()
    if tag is None:
        raise NotFound("machine", uuid)
    return tag


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


def designators_of(session: Session, machine: Machine, kind: str, most: int = OFFERED_MOST) -> list[str]:
    """Designators of a machine's positions for one kind of part, to be offered while typing."""
    query = select(Position.designator_key, Position.designator).join(Board, col(Board.id) == col(Position.board_id))
    of_kind = query.where(Board.machine_id == machine.id, Position.kind == kind).order_by(col(Position.designator_key))
    return list(dict.fromkeys(designator for _, designator in session.exec(of_kind.limit(most))))


def _rank(column: Mapped[str]) -> ColumnElement[int]:
    """How bad a trace is that a column names; none is the least."""
    return case({trace.value: rank for rank, trace in enumerate(Trace)}, value=column, else_=0)


# What each kind of step leaves by itself, as `traces` has it, so that the database can tell the worst of a mod's steps.
BY_ITSELF = case(
    *(
        (and_(col(Step.kind) == kind.value, col(Position.mounting) == how.value), rank_of(trace_of_kind(kind, how)))
        for kind in BY_MOUNTING
        for how in Mounting
    ),
    *((col(Step.kind) == kind.value, rank_of(trace_of_kind(kind, None))) for kind in StepKind),
    else_=0,
)
MODS = select(Mod.id, Mod.number, Mod.title, Mod.state).where(Mod.machine_id == bindparam("machine"))
MODS_OF_PAGE = (
    columns(col(Mod.id), col(Mod.number), col(Mod.title), col(Mod.state), func.count().over().label("total"))
    .where(col(Mod.machine_id) == bindparam("machine"))
    .order_by(col(Mod.number).desc())
    .offset(bindparam("start"))
    .limit(bindparam("most"))
    .subquery()
)
MOD_LINES = (
    columns(
        MODS_OF_PAGE.c.number,
        MODS_OF_PAGE.c.title,
        MODS_OF_PAGE.c.state,
        func.max(BY_ITSELF),
        func.max(_rank(col(Step.trace_stated))),
        func.count(col(Step.id)),
        func.max(MODS_OF_PAGE.c.total),
    )
    .select_from(MODS_OF_PAGE)
    .outerjoin(Step, col(Step.mod_id) == MODS_OF_PAGE.c.id)
    .outerjoin(Position, col(Position.id) == col(Step.position_id))
    .group_by(MODS_OF_PAGE.c.number, MODS_OF_PAGE.c.title, MODS_OF_PAGE.c.state)
    .order_by(MODS_OF_PAGE.c.number.desc())
)


def mods_of(session: Session, machine: Machine, number: int, most: int = MODS_A_PAGE) -> Paged[ModLine]:
    """The mods of a machine, the latest first, each with its derived trace; one query where the page is there."""
    rows = _mod_rows(session, machine, number, most)
    if not rows and number > 1:
        number = page_of(session, MODS, number, most, machine=machine.id).number
        rows = _mod_rows(session, machine, number, most)
    total = rows[0][-1] if rows else 0
    lines = [
        ModLine(mod, title, state, ORDER[max(own, stated)], steps) for mod, title, state, own, stated, steps, _ in rows
    ]
    return Paged(lines, number, max(1, -(-total // most)), total)


def _mod_rows(session: Session, machine: Machine, number: int, most: int) -> Sequence[Any]:
    given = {"machine": machine.id, "start": (number - 1) * most, "most": most}
    return session.connection().execute(MOD_LINES, given).all()


BAGS = (
    select(Storage, Part, Position, Board)
    .join(Part, col(Part.id) == col(Storage.part_id))
    .outerjoin(Position, col(Position.id) == col(Storage.from_position_id))
    .outerjoin(Board, col(Board.id) == col(Position.board_id))
    .where(col(Storage.until).is_(None))
    .order_by(col(Storage.bag), col(Storage.id))
)
_POSITIONS = (
    columns(col(Position.id))
    .join(Board, col(Board.id) == col(Position.board_id))
    .where(col(Board.machine_id) == bindparam("machine"))
)
# By way of the machine's positions: in the order of all bags a database would go through those of every machine.
BAGS_OF_MACHINE = (
    BAGS.where(col(Storage.from_position_id).in_(_POSITIONS))
    .order_by(None)
    .order_by(col(Storage.bag) + 0, col(Storage.id))
    .limit(bindparam("most"))
)


def bags_of(session: Session, machine: Machine, most: int) -> list[BagLine]:
    """What of a machine lies in bags now, by bag number."""
    given = {"machine": machine.id, "most": most}
    return [BagLine(*row, machine) for row in session.exec(BAGS_OF_MACHINE, params=given).all()]
