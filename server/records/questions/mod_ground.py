"""The machine as it stands, as far as a list of its mods is concerned: its places, its mods, and what was done where.

All of it is read at once, in as many queries for one mod as for a thousand.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import select as columns
from sqlmodel import Session, col, func, select

from server.records.list_words import folded
from server.records.questions.addresses import designator_key, slug
from server.records.questions.stacking import Row, done_where, rows_of
from server.records.tables import Board, BoardStay, Machine, Mod, ModMove, Placement, Position, Step


@dataclass(frozen=True, slots=True)
class Standing:
    """A mod that is in the record, with its latest move and its steps."""

    mod: Mod
    move: ModMove
    steps: list[Step]


@dataclass(frozen=True, slots=True)
class Seat:
    """Whether a position holds a part, and since when; one that holds none held one before."""

    holds: bool
    since: date | None = None


@dataclass(frozen=True, slots=True)
class Ground:
    """What a list of mods is held against; `named` are the boards by their names, and by those in addresses.

    `last_act` is the last day on which anything was done to a part or a pin, `seats` are the positions that ever held a
    part, `came` the days on which boards came to the machine that were not there from the beginning.
    """

    machine: Machine
    boards: Sequence[Board]
    named: dict[str, Board]
    positions: dict[tuple[int, str], Position]
    standing: dict[str, list[Standing]]
    last_act: dict[Row, date]
    seats: dict[int, Seat]
    came: dict[int, date]

    def board(self, name: str) -> Board | None:
        """A board by its name, or by its name in an address."""
        return self.named.get(name) or self.named.get(slug(name)) or self.named.get(folded(name))

    def position(self, board: Board, designator: str) -> Position | None:
        return self.positions.get((board.key, designator_key(designator)))

    def called(self, title: str) -> Sequence[Standing]:
        """The mods of a title."""
        return self.standing.get(title_key(title), ())


def title_key(title: str) -> str:
    """A title without regard to its case and blanks."""
    return " ".join(title.split()).casefold()


def ground_of(session: Session, machine: Machine) -> Ground:
    boards = session.exec(select(Board).where(Board.machine_id == machine.id).order_by(col(Board.id))).all()
    here = columns(col(Board.id)).where(col(Board.machine_id) == machine.id)
    there = columns(col(Position.id)).where(col(Position.board_id).in_(here))
    positions = session.exec(select(Position).where(col(Position.board_id).in_(here)))
    return Ground(
        machine=machine,
        boards=boards,
        named={folded(one.name): one for one in boards} | {one.slug: one for one in boards},
        positions={(one.board_id, one.designator_key): one for one in positions},
        standing=_standing(session, machine),
        last_act=_last_acts(session, there),
        seats=_seats(session, there),
        came=_came(session, machine),
    )


def _standing(session: Session, machine: Machine) -> dict[str, list[Standing]]:
    mods = session.exec(select(Mod).where(Mod.machine_id == machine.id).order_by(col(Mod.number))).all()
    own = columns(col(Mod.id)).where(col(Mod.machine_id) == machine.id)
    latest = select(func.max(ModMove.id)).where(col(ModMove.mod_id).in_(own)).group_by(col(ModMove.mod_id))
    moves = {move.mod_id: move for move in session.exec(select(ModMove).where(col(ModMove.id).in_(latest)))}
    steps: dict[int, list[Step]] = defaultdict(list)
    for step in session.exec(select(Step).where(col(Step.mod_id).in_(own)).order_by(col(Step.number))):
        steps[step.mod_id].append(step)
    found: dict[str, list[Standing]] = defaultdict(list)
    for mod in mods:
        found[title_key(mod.title)].append(Standing(mod, moves[mod.key], steps[mod.key]))
    return dict(found)


def _last_acts(session: Session, positions: Any) -> dict[Row, date]:
    last: dict[Row, date] = {}
    for step in done_where(session, col(Step.position_id).in_(positions)):
        for row in rows_of(step):
            last[row] = max(day for day in (last.get(row), step.done_on, step.undone_on) if day)
    return last


def _seats(session: Session, positions: Any) -> dict[int, Seat]:
    query = columns(col(Placement.position_id), col(Placement.fitted_on), col(Placement.removed_on))
    seats: dict[int, Seat] = {}
    for position, fitted, removed in session.execute(query.where(col(Placement.position_id).in_(positions))):
        if removed is None:
            seats[position] = Seat(holds=True, since=fitted)
        else:
            seats.setdefault(position, Seat(holds=False))
    return seats


def _came(session: Session, machine: Machine) -> dict[int, date]:
    query = select(BoardStay).where(BoardStay.machine_id == machine.id).order_by(col(BoardStay.id))
    first: dict[int, date | None] = {}
    for stay in session.exec(query):
        first.setdefault(stay.board_id, stay.since)
    return {board: day for board, day in first.items() if day}
